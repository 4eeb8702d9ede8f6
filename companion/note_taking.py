"""The sound of notes and of readings: what to keep of the stream, and when.

A note begins where the technician begins to speak after "take a note" and ends with 2.5 s of
silence, with "end of note", or when it is full; its words are what the recogniser makes of each
piece by itself, without a grammar. Positions are counted in samples of the stream, never read off
a clock. What the dialogue makes of it is not decided here.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from companion.dialogue.events import NoteEnded
from companion.errors import SoundShelfError
from companion.listening import MARGIN_S, Onset, Overlong, Torn, Utterance
from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from companion.dialogue.session import Noting
    from companion.listening import Listened, Listener
    from companion.ports import Draft, KeptSound, Samples, SoundShelf

SILENCE_S = 2.5  # ends a note; common practice, no source: people draw breath for a second
LONGEST_S = 60.0
NOTHING_S = 8.0  # so long nobody spoke after "go ahead"
NOISE_S = 0.8  # what is shorter and has no words was a noise: the note has not begun with it
UNHEARD = "…"  # in the words: a piece that nothing was made of
_SHORTEST_S = 0.1
_REMEMBERED = 8  # utterances: a doubt is settled within a few


@dataclass(slots=True)
class _Begun:
    """A note being said; times are seconds from the start of the stream."""

    at_s: float
    onset_s: float | None = None
    pieces: list[str] = field(default_factory=list)
    until_s: float | None = None  # where "end of note" began
    gaps: int = 0


class NoteTaker:
    """Follows what is heard while a note is said, and keeps its sound when it has ended.

    Args:
        listener: remembers the sound.
        shelf: keeps it; None where there is none, then a note is its words.
        job: the job's id.
    """

    def __init__(self, listener: Listener, shelf: SoundShelf | None, job: str) -> None:
        self._listener, self._shelf, self._job = listener, shelf, job
        self._begun: _Begun | None = None

    def follow(
        self, note: Noting | None, at: datetime, listened: Listened | None = None
    ) -> NoteEnded | None:
        """Take what was heard; return that the note has ended, once it has.

        Args:
            note: the note that the dialogue knows of, after what was heard.
            at: the time, UTC.
            listened: what was heard; None for a frame in which nothing happened.
        """
        if note is None:
            self._drop()
            return None
        if self._begun is None:
            self._begun = _Begun(self._listener.at_s)
            self._listener.hold(self._begun.at_s)
        else:
            _take(self._begun, note, listened)
        why = note.ended or self._ending(self._begun)
        return self._end(self._begun, why, at) if why else None

    def stop(self, note: Noting | None, at: datetime) -> NoteEnded | None:
        """The stream has ended: return the note that was still being said, if one was."""
        if note is None or self._begun is None:
            return None
        return self._end(self._begun, note.ended or "stopped", at)

    def _drop(self) -> None:
        if self._begun is not None:
            self._begun = None
            self._listener.hold(None)

    def _ending(self, begun: _Begun) -> str:
        now_s = self._listener.at_s
        if begun.onset_s is None:
            return "nothing" if now_s - begun.at_s >= NOTHING_S else ""
        if now_s - begun.onset_s >= LONGEST_S:
            return "full"
        return "silence" if self._listener.quiet_s >= SILENCE_S else ""

    def _end(self, begun: _Begun, why: str, at: datetime) -> NoteEnded:
        sound = self._sound(begun)
        words = " ".join(begun.pieces)
        self._drop()
        if sound is None:
            return NoteEnded("nothing", "", None, at)
        kept, spoken = self._kept(sound)
        return NoteEnded(why, words, kept, at, spoken, begun.gaps)

    def _sound(self, begun: _Begun) -> Samples | None:
        """Return what was said, a margin around it; None where nothing was."""
        if begun.onset_s is None:
            return None
        start_s = max(begun.at_s, begun.onset_s - MARGIN_S)
        end_s = self._listener.at_s - max(0.0, self._listener.quiet_s - MARGIN_S)
        end_s = min(end_s, begun.onset_s + LONGEST_S)
        if begun.until_s is not None:
            end_s = min(end_s, begun.until_s)
        sound = self._listener.between(start_s, end_s)
        return sound if len(sound) >= _SHORTEST_S * SAMPLE_RATE_HZ else None

    def _kept(self, sound: Samples) -> tuple[KeptSound | None, str]:
        if self._shelf is None:
            return None, ""
        try:
            return self._shelf.keep(self._job, sound, SAMPLE_RATE_HZ), ""
        except SoundShelfError as failed:
            return None, failed.spoken


def _take(begun: _Begun, note: Noting, listened: Listened | None) -> None:
    """Let what was heard become part of the note."""
    match listened:
        case Onset(at_s=at_s) if begun.onset_s is None:
            begun.onset_s = at_s
        case Utterance(span=span) if note.ended == "end of note":
            begun.until_s = span.start_s
            if begun.onset_s == span.start_s:  # nothing was said before it
                begun.onset_s = None
        case Utterance(hearing=hearing, span=span):
            is_noise = not hearing.free and span.end_of_speech_s - span.start_s < NOISE_S
            if is_noise and not begun.pieces:
                begun.onset_s = None
            elif not is_noise:
                begun.pieces.append(hearing.free or UNHEARD)
        case Overlong():
            begun.pieces.append(UNHEARD)
        case Torn():
            begun.pieces.append(UNHEARD)
            begun.gaps += 1
        case _:
            pass


class Evidence:
    """The sound of the last utterances, kept where one becomes a reading.

    Args:
        shelf: keeps it.
        job: the job's id.
    """

    def __init__(self, shelf: SoundShelf, job: str) -> None:
        self._shelf, self._job = shelf, job
        self._heard: dict[str, Samples] = {}
        self._count = 0

    def hold(self, samples: Samples) -> str:
        """Remember an utterance's sound for a while; return what it is found by."""
        self._count += 1
        name = str(self._count)
        self._heard[name] = samples
        while len(self._heard) > _REMEMBERED:
            del self._heard[next(iter(self._heard))]
        return name

    def kept(self, drafts: Sequence[Draft]) -> tuple[tuple[Draft, ...], str]:
        """Return drafts whose sound is on the disk, by its name there, and why some is not.

        Where a sound cannot be kept the draft stands without it: 'full' for all the room that
        there is for sound, 'failed' for any other reason, '' where nothing is missing.
        """
        made: list[Draft] = []
        why = ""
        for draft in drafts:
            name = draft.payload.get("sound")
            if not isinstance(name, str):
                made.append(draft)
                continue
            payload = {key: value for key, value in draft.payload.items() if key != "sound"}
            try:
                samples = self._heard.get(name)
                if samples is not None and len(samples):
                    sound = self._shelf.keep(self._job, samples, SAMPLE_RATE_HZ, spare=True)
                    payload["sound"] = sound.payload
            except SoundShelfError as failed:
                why = "full" if failed.is_bound else "failed"
            made.append(replace(draft, payload=payload))
        return tuple(made), why
