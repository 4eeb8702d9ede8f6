"""The rehearsal: technician and companion in one room, until the job is done.

The companion's process gets frames and nothing else; the technician gets what the companion says
and nothing else. What was heard is shown beside for whoever watches.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from companion.dialogue.state import fold
from companion.errors import InputError
from companion.joblog import SqliteStore
from companion.joblog.export import job_json, readings_csv
from companion.ports import SAMPLE_RATE_HZ
from companion.procedures import procedure
from companion.rehearsal.companion_side import Assignment
from companion.rehearsal.hum import active_dbfs
from companion.rehearsal.room import Companion, Room
from companion.rehearsal.speakers import DEFAULT_SPEAKER, speaker
from companion.rehearsal.summary import Summary
from companion.rehearsal.technician import Technician, script
from companion.rehearsal.wire import Cost, Cut, Ended, Heard, Logged, Said
from companion.report.page import report_page

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from companion.ports import Samples
    from companion.rehearsal.speakers import Speaker
    from companion.rehearsal.technician import Spoken
    from companion.rehearsal.wire import Note

PROCEDURE = "fresh-air-damper"
LONGEST_S = 3600.0
LOG_NAME = "rehearsal.sqlite3"  # never the name of a real log: each rehearsal begins afresh
SPEECH_DBFS = -23.0  # the level that noise is set against, if nothing was said yet
MUTTER_TAIL_S = 0.22
MUTTER_GAIN = 0.12


@dataclass(frozen=True, slots=True)
class Settings:
    """How to rehearse.

    `snr_db` mixes a blower hum at that ratio to the technician's active speech; `kill_at_s` kills
    the companion at that moment, `kill_after_s` of wall time into a frame's work, resumes it, and
    stops there.
    """

    out: Path
    seed: int = 1
    speaker: str | None = None
    snr_db: float | None = None
    real_time: bool = False
    quiet: bool = False
    kill_at_s: float | None = None
    kill_after_s: float = 0.0


def rehearse(settings: Settings) -> Summary:
    """Play the prepared job; leave conversation, log and report in the folder.

    Raises:
        VoiceError: the technician's or the companion's voice is not there.
        ModelError: the recogniser's files are missing or altered.
        InputError: the folder cannot be written.
    """
    return _Performance(settings).play()


@dataclass(slots=True)
class _Watched:
    """What the companion made of the utterance at hand."""

    spoken: Spoken | None = None
    heard: list[Heard] = field(default_factory=list)


class _Performance:
    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._name = settings.speaker or DEFAULT_SPEAKER
        self._voice: Speaker = speaker(self._name, settings.seed)
        self._technician = Technician(script(procedure(PROCEDURE)))
        self._summary = Summary(
            self._name, settings.snr_db, settings.seed, real_time=settings.real_time
        )
        self._acknowledged: list[tuple[str, dict[str, object]]] = []
        self._watched = _Watched()
        self._ended = ""
        self._cost_before = 0.0
        self._starts_at = datetime.now(UTC).replace(microsecond=0)
        self._job = ""
        level = self._level_dbfs()
        noise = None if settings.snr_db is None else level - settings.snr_db
        self._room = Room(noise, settings.seed, settings.real_time)

    @cached_property
    def _log(self) -> Path:
        """A fresh log in the folder."""
        try:
            self._settings.out.mkdir(parents=True, exist_ok=True)
            for old in self._settings.out.glob(f"{LOG_NAME}*"):
                old.unlink()
        except OSError as problem:
            raise InputError(
                f"{self._settings.out} cannot be written: {problem.strerror}",
                "Choose another folder with --out.",
            ) from problem
        return self._settings.out / LOG_NAME

    def _level_dbfs(self) -> float:
        """The level of this technician's speech while it sounds."""
        level = active_dbfs(self._voice.say("supply static point four five inches"))
        return level if np.isfinite(level) else SPEECH_DBFS

    # ---------------------------------------------------------------- playing

    def play(self) -> Summary:
        with SqliteStore(self._log) as store:
            self._job = store.new_job_id(self._starts_at)
        self._companion = self._start(resuming=False)
        try:
            while not self._ended and self._room.at_s < LONGEST_S:
                if self._over():
                    break
                self._step()
        finally:
            self._companion.end()
            self._leave()
        return self._summary

    def _over(self) -> bool:
        """Whether the technician has nothing more to say, or the kill was shown."""
        kill_at_s = self._settings.kill_at_s
        if kill_at_s is not None and self._room.at_s >= kill_at_s:
            self._companion.kill_amid(self._room.frame(), self._settings.kill_after_s)
            self._kill()
            return True
        if self._technician.gave_up:
            self._summary.problem = self._technician.gave_up
            return True
        silent_s = self._room.at_s - self._room.quiet_from_s
        return self._technician.line is None and silent_s > 1.0

    def _step(self) -> None:
        """One frame: the technician may begin to speak, the companion hears the frame."""
        room = self._room
        if not room.is_speaking and room.at_s >= room.quiet_from_s:
            spoken = self._technician.speak(room.at_s - room.quiet_from_s)
            if spoken:
                self._speak(spoken)
        self._take(self._companion.hear(room.frame()))

    def _speak(self, spoken: Spoken) -> None:
        self._close_utterance()
        if spoken.line.kind == "kill":
            self._kill()
            self._technician.waiting = True
            return
        self._watched = _Watched(spoken)
        speech = self._voice.say(spelled(spoken.text))
        if spoken.line.mutters and spoken.first:
            speech = muttered(speech)
        if spoken.line.shows and spoken.first:
            self._summary.shown.append(spoken.line.shows)
        self._print("technician", spoken.text)
        self._room.speak(speech)

    def _close_utterance(self) -> None:
        """Count what came of the last thing said."""
        watched = self._watched
        if watched.spoken and watched.spoken.is_line:
            self._summary.count_utterance(watched.spoken.line, watched.heard)
        self._watched = _Watched()

    # ---------------------------------------------------------------- the companion

    def _start(self, *, resuming: bool) -> Companion:
        at = self._starts_at + timedelta(seconds=self._room.at_s)
        real_time = self._settings.real_time
        given = Assignment(self._log, self._job, PROCEDURE, resuming, at, real_time)
        companion = Companion(given)
        notes = companion.started()
        self._room.restart_clock()
        self._take(notes)
        return companion

    def _kill(self) -> None:
        """Kill the companion in the middle of what it does, and start it again."""
        self._print("-", "(the companion is killed, and started again)")
        self._companion.kill()
        self._summary.kills += 1
        self._room.companion_died()
        self._cost_before = self._summary.cpu_s
        self._check_nothing_lost()
        self._technician.heard.clear()
        self._companion = self._start(resuming=True)
        if any("Resuming" in text for text in self._technician.heard):
            self._summary.resumed += 1

    def _check_nothing_lost(self) -> None:
        """Every entry that the room was told of must be on the log."""
        with SqliteStore(self._log, read_only=True) as store:
            stored = [(e.kind, dict(e.payload)) for e in store.entries(self._job)]
        if stored[: len(self._acknowledged)] != self._acknowledged:
            self._summary.problem = "entries that were acknowledged are not on the log"

    def _take(self, notes: Sequence[Note]) -> None:
        for note in sorted(notes, key=lambda each: not isinstance(each, Heard)):
            match note:
                case Said(text=text):
                    self._room.place(note)
                    if text:
                        self._technician.listen(text)
                        self._print("companion", text)
                case Cut():
                    self._room.cut(note)
                case Heard():
                    self._hear(note)
                case Logged(drafts=drafts):
                    self._acknowledged += drafts
                case Cost(cpu_s=cpu_s, peak_memory_mb=peak):
                    self._summary.cpu_s = self._cost_before + cpu_s
                    self._summary.peak_memory_mb = max(self._summary.peak_memory_mb, peak)
                case Ended(how=how):
                    self._ended = how or "ended"

    def _hear(self, note: Heard) -> None:
        self._acknowledged += note.drafts
        self._watched.heard.append(note)
        self._summary.count_answer(note)
        heard = f"(not for me: {note.freely})" if note.ignored else note.words
        again = ", not sure" if note.asked_again else ""
        self._print("  heard", f"{heard}  [match {note.match:.2f}{again}]")

    # ---------------------------------------------------------------- leaving it behind

    def _leave(self) -> None:
        """Write the conversation, the report and the exports, and finish the summary."""
        self._close_utterance()
        out, summary = self._settings.out, self._summary
        summary.sound_s = self._room.at_s
        self._room.write(out / "conversation.wav")
        with SqliteStore(self._log, read_only=True) as store:
            entries = list(store.entries(self._job))
            salts = store.salts(self._job)
        (out / "report.html").write_text(report_page(entries), encoding="utf-8")
        (out / "readings.csv").write_text(readings_csv(entries), encoding="utf-8", newline="")
        (out / "job.json").write_text(job_json(entries, salts), encoding="utf-8")
        job = fold(entries)
        kinds = [entry.kind for entry in entries]
        summary.steps = kinds.count("step-done")
        summary.questions = kinds.count("question")
        summary.cautions = kinds.count("caution-given")
        summary.holds = kinds.count("hold-met")
        summary.misheard = self._technician.corrected
        summary.asked_between = self._technician.between
        done = self._technician.at
        expected = [ln.reads for ln in self._technician.script[:done] if ln.reads and ln.stands]
        summary.compare(expected, [(r.point, r.value) for r in job.standing()])
        summary.completed = (
            job.ended == "finished" and not summary.problem and not summary.standing_wrong
        )
        if not summary.completed and not summary.problem:
            summary.problem = f"the job is {job.ended or 'open'}"
        self._print("-", f"(left in {out}: conversation.wav, {LOG_NAME}, report.html, …)")

    def _print(self, who: str, text: str) -> None:
        if not self._settings.quiet:
            print(f"{self._room.at_s:7.1f} s  {who:>10}  {text}", flush=True)


def spelled(text: str) -> str:
    """Return a sentence as a synthesis engine must get it, so that letters are spelled.

    >>> spelled("what fuse on a forty v a secondary")
    'what fuse on a forty V A secondary'
    """
    return re.sub(r"\b(?:[a-z] )+[a-z]\b", lambda letters: letters[0].upper(), text)


def muttered(speech: Samples) -> Samples:
    """Return speech whose end is swallowed: what a man says who bends into the cabinet."""
    tail = min(len(speech), round(MUTTER_TAIL_S * SAMPLE_RATE_HZ))
    gain = np.ones(len(speech))
    gain[len(speech) - tail :] = np.linspace(1.0, MUTTER_GAIN, tail)
    return np.rint(speech * gain).astype(np.int16)
