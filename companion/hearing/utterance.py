"""The sound of an utterance as it comes in, acted on at fixed sample positions only.

Frames may be cut anywhere; what is decided here depends on the samples and on which of them are
voiced, counted in blocks of 20 ms from the start of the utterance, and so never on the cuts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from companion.hearing.pace import Pace
from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    import numpy.typing as npt

    from companion.ports import Frame, Samples

BLOCK = 320  # samples, 20 ms
PAUSE_BLOCKS = 6  # 120 ms without voice begin a pause
BEFORE_BLOCKS = 8  # 160 ms kept before the first voiced block
AFTER_BLOCKS = 6  # 120 ms kept after the last one
SHORTEST_BLOCKS = 4  # 80 ms of voice: less is a click
LONGEST_S = 12.0  # no command is longer
_LONGEST_BLOCKS = int(LONGEST_S * SAMPLE_RATE_HZ) // BLOCK
_FULL_SCALE = 32_768.0
_FLOOR_DBFS = -100.0  # digital silence


class Cut(NamedTuple):
    """A stretch of the utterance in blocks, `end` not included."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Loudness:
    """How loud noise and speech were; None where there was nothing to measure it on."""

    noise_dbfs: float | None
    snr_db: float | None


class Utterance:
    """Frames of one utterance, put together."""

    def __init__(self) -> None:
        self._sound: list[Samples] = []
        self._voice: list[npt.NDArray[np.bool_]] = []
        self._rest_sound: Samples = np.zeros(0, np.int16)
        self._rest_voice: npt.NDArray[np.bool_] = np.zeros(0, np.bool_)
        self.samples = 0
        self._blocks = 0
        self._first: int | None = None
        self._last = -1
        self._voiced_blocks = 0

    def add(self, frame: Frame) -> bool:
        """Take a frame; True when the sound so far ends in a pause that it made complete.

        A frame of which nobody has said whether it is voiced counts as voiced.
        """
        voiced = frame.voiced is None or frame.voiced
        sound = np.concatenate([self._rest_sound, frame.samples])
        voice = np.concatenate([self._rest_voice, np.full(len(frame.samples), voiced)])
        self.samples += len(frame.samples)
        whole = len(sound) // BLOCK * BLOCK
        self._rest_sound, self._rest_voice = sound[whole:], voice[whole:]
        before = self._pause
        if whole:
            self._take(sound[:whole], np.any(voice[:whole].reshape(-1, BLOCK), axis=1))
        return before != self._pause and self._pause is not None

    def close(self) -> None:
        """Take the last piece, shorter than a block, as a block."""
        if len(self._rest_sound):
            missing = BLOCK - len(self._rest_sound)
            sound = np.pad(self._rest_sound, (0, missing))
            self._take(sound, np.array([bool(self._rest_voice.any())]))
            self._rest_sound, self._rest_voice = self._rest_sound[:0], self._rest_voice[:0]

    @property
    def cut(self) -> Cut | None:
        """The speech with a margin on both sides; None where there is too little, or too much."""
        if self._first is None or self._voiced_blocks < SHORTEST_BLOCKS:
            return None
        cut = Cut(
            max(0, self._first - BEFORE_BLOCKS), min(self._blocks, self._last + 1 + AFTER_BLOCKS)
        )
        return cut if cut.end - cut.start <= _LONGEST_BLOCKS else None

    @property
    def pace(self) -> Pace:
        """How long it took to say."""
        span = 0 if self._first is None else self._last + 1 - self._first
        block_s = BLOCK / SAMPLE_RATE_HZ
        return Pace(self._voiced_blocks * block_s, span * block_s)

    def sound(self, cut: Cut) -> Samples:
        """Return the samples of a cut, int16, shape (n,)."""
        whole = np.concatenate(self._sound)
        return whole[cut.start * BLOCK : cut.end * BLOCK]

    @property
    def loudness(self) -> Loudness:
        """Noise from the blocks without voice, speech from those with."""
        if not self._sound:
            return Loudness(None, None)
        voice = np.concatenate(self._voice)
        blocks = np.concatenate(self._sound).reshape(-1, BLOCK).astype(np.float64) / _FULL_SCALE
        power = (blocks**2).mean(axis=1)
        if voice.all():
            return Loudness(None, None)
        noise = float(np.median(power[~voice]))
        if not voice.any():
            return Loudness(_db(noise), None)
        speech = max(float(power[voice].mean()) - noise, 0.0)
        return Loudness(_db(noise), _db(speech) - _db(noise))

    @property
    def _pause(self) -> int | None:
        """The last voiced block, where a pause follows it."""
        return self._last if 0 <= self._last < self._blocks - PAUSE_BLOCKS else None

    def _take(self, sound: Samples, voice: npt.NDArray[np.bool_]) -> None:
        where = np.flatnonzero(voice)
        if len(where):
            if self._first is None:
                self._first = self._blocks + int(where[0])
            self._last = self._blocks + int(where[-1])
            self._voiced_blocks += len(where)
        self._keep(sound, voice)
        self._blocks += len(voice)

    def _keep(self, sound: Samples, voice: npt.NDArray[np.bool_]) -> None:
        """Keep what can still be part of a command; the rest of a long speech is not stored."""
        first = self._blocks + len(voice) if self._first is None else self._first
        room = max(0, first + _LONGEST_BLOCKS - self._blocks)
        self._sound.append(sound[: room * BLOCK].copy())
        self._voice.append(voice[:room].copy())


def _db(power: float) -> float:
    return max(10.0 * float(np.log10(power)), _FLOOR_DBFS) if power > 0.0 else _FLOOR_DBFS
