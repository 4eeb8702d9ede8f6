"""Mouths without a loudspeaker: one that keeps a track, one that shows text, one that is silent."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from companion.ports import Clip
from companion.speaking.loudness import FULL_SCALE, at_rate

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.ports import Samples

DUCKED_GAIN = 0.25  # -12 dB: still to be followed, but under the technician's own voice


@dataclass(eq=False)
class Placed:
    """A clip on a track: where it starts, and where it was lowered, lifted or cut, seconds.

    `ducked` holds (from, to) for each time that it was lowered; the last may be without an end.
    """

    clip: Clip
    start_s: float
    clock: Callable[[], float]
    ducked: list[tuple[float, float]] = field(default_factory=list)
    stopped_s: float | None = None

    def duck(self) -> None:
        """Lower it from now on."""
        if not self._is_ducked:
            self.ducked.append((self.clock(), math.inf))

    def lift(self) -> None:
        """Bring it back from now on."""
        if self._is_ducked:
            self.ducked[-1] = (self.ducked[-1][0], self.clock())

    @property
    def _is_ducked(self) -> bool:
        return bool(self.ducked) and math.isinf(self.ducked[-1][1])

    def stop(self) -> None:
        """Cut it now; one that has ended, or was cut, stays as it is."""
        if self.stopped_s is None and self.clock() < self.end_s:
            self.stopped_s = max(self.start_s, self.clock())

    @property
    def end_s(self) -> float:
        """Where it ends, or was cut, on the track."""
        if self.stopped_s is not None:
            return self.stopped_s
        return self.start_s + self.clip.duration_s

    @property
    def heard_s(self) -> float:
        """How much of it was heard by now."""
        return max(0.0, min(self.clock(), self.end_s) - self.start_s)


@dataclass
class FileMouth:
    """A mouth that puts clips on a track, for the rehearsal and for recordings.

    One clip at a time: a clip played while another sounds starts when that one ends.

    Args:
        clock: where the stream is now, seconds from its start; never a wall clock.
    """

    clock: Callable[[], float]
    placed: list[Placed] = field(default_factory=list)

    def play(self, clip: Clip) -> Placed:
        """Put a clip on the track, now or when the one before has ended.

        Args:
            clip: speech or a cue, any rate.
        """
        playing = Placed(clip, max(self.clock(), self.quiet_from_s), self.clock)
        self.placed.append(playing)
        return playing

    @property
    def quiet_from_s(self) -> float:
        """Where the last clip so far ends."""
        return max((each.end_s for each in self.placed), default=0.0)

    def track(self, rate_hz: int) -> Samples:
        """Return all that was heard, silence between, as int16 mono PCM.

        Args:
            rate_hz: the rate wanted.
        """
        sound = np.zeros(round(self.quiet_from_s * rate_hz) + 1, np.int32)
        for each in self.placed:
            heard = _as_heard(each, rate_hz)
            start = round(each.start_s * rate_hz)
            sound[start : start + len(heard)] += heard[: len(sound) - start]
        return np.clip(sound, -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


def _as_heard(placed: Placed, rate_hz: int) -> Samples:
    """Return a placed clip, lowered and cut as it was."""
    sound = at_rate(placed.clip, rate_hz).copy()
    for from_s, to_s in placed.ducked:
        lowered = slice(*(_place(at_s - placed.start_s, rate_hz) for at_s in (from_s, to_s)))
        sound[lowered] = np.rint(sound[lowered] * DUCKED_GAIN).astype(np.int16)
    return sound[: round((placed.end_s - placed.start_s) * rate_hz)]


def _place(at_s: float, rate_hz: int) -> int | None:
    """Return a time as a place in samples; None for no end."""
    return None if math.isinf(at_s) else max(0, round(at_s * rate_hz))


@dataclass(frozen=True, eq=False)
class Shown:
    """A clip that counts as heard to its end at once."""

    heard_s: float

    def duck(self) -> None:
        """Nothing sounds."""

    def lift(self) -> None:
        """Nothing sounds."""

    def stop(self) -> None:
        """Nothing sounds."""


@dataclass(frozen=True)
class TextMouth:
    """A mouth that shows what it would say; a clip without text, a cue, shows nothing.

    Args:
        show: takes a sentence, for example `print`.
    """

    show: Callable[[str], None]

    def play(self, clip: Clip) -> Shown:
        """Show the clip's text."""
        if clip.text:
            self.show(clip.text)
        return Shown(clip.duration_s)


class SilentMouth:
    """A mouth that says nothing and counts everything as heard."""

    def play(self, clip: Clip) -> Shown:
        """Count the clip as heard."""
        return Shown(clip.duration_s)


class TextVoice:
    """A voice for where nobody listens: clips that carry their text and no sound."""

    identity = "text"

    def render(self, text: str) -> Clip:
        """Return a clip of no samples that says the text."""
        return Clip(np.zeros(0, np.int16), 22_050, text)
