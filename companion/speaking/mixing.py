"""What sounds in the headset, block by block: clips one after another, ducked, lifted, cut.

Pure arithmetic on samples; `HeadsetMouth` calls it from the sound system's thread.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from companion.speaking.mouths import DUCKED_GAIN

if TYPE_CHECKING:
    import numpy.typing as npt

    from companion.ports import Samples

RAMP_S = 0.008  # from one loudness to another: short, and without a click


class Track:
    """A clip in line or sounding.

    Args:
        samples: int16 mono PCM at the stream's rate, shape (n,).
        rate_hz: the stream's rate.
    """

    def __init__(self, samples: Samples, rate_hz: int) -> None:
        self._samples = samples
        self._step = np.float32(1.0 / max(1.0, RAMP_S * rate_hz))
        self._gain, self._target = np.float32(1.0), np.float32(1.0)
        self.position = 0  # samples handed over so far
        self._is_stopping = False

    @property
    def is_over(self) -> bool:
        """Whether all of it was handed over, or it was cut and has faded out."""
        silenced = self._is_stopping and (self.position == 0 or bool(self._gain <= 0))
        return silenced or self.position >= len(self._samples)

    def duck(self) -> None:
        """Lower it from the next block on."""
        self._turn_to(DUCKED_GAIN)

    def lift(self) -> None:
        """Bring it back from the next block on."""
        self._turn_to(1.0)

    def stop(self) -> None:
        """Fade it out from the next block on; one that has not begun never does."""
        self._turn_to(0.0)
        self._is_stopping = True

    def _turn_to(self, gain: float) -> None:
        if not self._is_stopping:
            self._target = np.float32(gain)
        if self.position == 0:
            self._gain = self._target

    def take(self, count: int) -> Samples:
        """Return the next samples, at most `count`; fewer at its end."""
        sound = self._samples[self.position : self.position + count]
        gains = self._gains(len(sound))
        if self._is_stopping:  # what follows the fade is not played, so it is not counted
            gains = gains[: int(np.count_nonzero(gains > 0))]
            sound = sound[: len(gains)]
            self._gain = np.float32(0.0) if len(sound) < count else self._gain
        self.position += len(sound)
        lowered: Samples = np.rint(sound * gains).astype(np.int16)
        return lowered

    def _gains(self, count: int) -> npt.NDArray[np.float32]:
        """Return a gain for each sample, on the way to the one wanted."""
        if self._gain == self._target:
            return np.full(count, self._gain, np.float32)
        rising = 1.0 if self._target > self._gain else -1.0
        steps = rising * np.arange(1, count + 1, dtype=np.float32) * self._step
        low, high = sorted((self._gain, self._target))
        gains: npt.NDArray[np.float32] = np.clip(self._gain + steps, low, high).astype(np.float32)
        self._gain = gains[-1] if count else self._gain
        return gains


class ClipLine:
    """Clips that sound one after another, without a gap."""

    def __init__(self) -> None:
        self._tracks: deque[Track] = deque()

    def add(self, track: Track) -> None:
        """Put a clip at the end of the line."""
        self._tracks.append(track)

    def block(self, count: int) -> tuple[Samples, list[tuple[Track, int, int]]]:
        """Return what sounds next.

        Args:
            count: how many samples.

        Returns:
            int16 mono PCM, shape (count,), silence where there is nothing; and for each clip in
            it (the clip, where in the block it begins, how many samples of it).
        """
        sound, at = np.zeros(count, np.int16), 0
        placed: list[tuple[Track, int, int]] = []
        while at < count and self._tracks:
            track = self._tracks[0]
            piece = track.take(count - at)
            sound[at : at + len(piece)] = piece
            if len(piece):
                placed.append((track, at, len(piece)))
            at += len(piece)
            if track.is_over or not len(piece):
                self._tracks.popleft()
        return sound, placed
