"""A job worked by sound, its log and sounds in a folder: for notes, and the sound of readings."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from tones import LevelActivity, SoundEar, ToneRecogniser, room, spelled

from companion.audio.endpointing import Endpointer
from companion.dialogue.events import Say
from companion.dialogue.noted import sound_of
from companion.joblog import SqliteStore
from companion.listening import Listener
from companion.loop import Happened, Loop, run
from companion.note_taking import Evidence
from companion.procedures.loader import load
from companion.speaking.mouths import FileMouth, TextVoice

if TYPE_CHECKING:
    from companion.ports import Clip, Entry, Recogniser, Samples, SoundShelf

START = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
JOB = "job-1"
SMALL = Path(__file__).parent / "dialogue" / "small.toml"
SAID = (
    "sheet metal", "primary one nineteen", "take a note", "blue elephants", "the rack is bent",
    "end of note", "cancel the note", "play the note", "done", "i smell gas", "primary fifty",
    "yes", "make it one fifteen", "remind me in five seconds",
)  # fmt: skip


@dataclass
class NotedRoom:
    """A loop on sound; its clock, and that of its mouth, is the sound itself."""

    log: Path
    sound: Samples
    keeps_sound: bool = False
    shelf: SoundShelf | None = None
    recogniser: Recogniser = field(default_factory=lambda: ToneRecogniser(SAID))
    endpointer: Endpointer = field(default_factory=lambda: Endpointer(LevelActivity()))
    said: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.ear = SoundEar(self.sound)
        self.mouth = FileMouth(lambda: self.ear.at_s)
        self.store = SqliteStore(self.log)
        shelf = self.shelf or self.store.sounds
        self.loop = Loop(self.store, JOB, TextVoice(), self.mouth, self._now, watch=self._watch)
        self.loop.shelf = shelf
        self.loop.evidence = Evidence(shelf, JOB) if self.keeps_sound else None

    def _now(self) -> datetime:
        return START + timedelta(seconds=self.ear.at_s)

    def _watch(self, happened: Happened) -> None:
        self.said.extend(act.text for act in happened.outcome.acts if isinstance(act, Say))

    def run(self) -> NotedRoom:
        """Open the job and work it to the end of the sound; the log is closed then."""
        self.loop.open(load(SMALL.read_text("utf-8"), SMALL.name, safety=False))
        try:
            run(self.loop, self.ear, Listener(self.endpointer, self.recogniser, self.loop.language))
        finally:
            self.entries = list(self.store.entries(JOB))
            self.store.close()
        return self

    def logged(self, kind: str) -> list[dict[str, Any]]:
        """Return the payloads of a kind."""
        return [dict(entry.payload) for entry in self.entries if entry.kind == kind]

    def kinds(self) -> list[str]:
        return [entry.kind for entry in self.entries]

    def kept(self, entry: Entry | dict[str, Any]) -> Clip:
        """Return the sound that an entry names."""
        payload = entry if isinstance(entry, dict) else entry.payload
        sound = sound_of(payload)
        assert sound is not None
        return self.store.sounds.clip(sound)

    def files(self) -> list[Path]:
        """Return all that lies in the folder of sounds."""
        return [path for path in self.store.sounds.folder.rglob("*") if path.is_file()]


def said(*lines: str | float, lead_s: float = 3.0) -> Samples:
    """Return lines as sound; a number is a pause of so many seconds."""
    pieces = [room(lead_s)]
    pieces += [spelled(x, SAID) if isinstance(x, str) else room(x) for x in lines]
    return np.concatenate(pieces)
