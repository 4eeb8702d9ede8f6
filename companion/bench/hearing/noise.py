"""A case in its room: noise before, over and after the words, at a signal-to-noise ratio.

Signal-to-noise ratio: the level of the speech while it sounds (the idea of ITU-T P.56, see
`rehearsal.hum.active_dbfs`) over the level (root mean square) of the noise, both unweighted from
0 to 8 kHz.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.sound_files import read_sound
from companion.errors import InputError
from companion.ports import SAMPLE_RATE_HZ
from companion.rehearsal.hum import FULL_SCALE, active_dbfs, hum

if TYPE_CHECKING:
    import numpy.typing as npt

    from companion.ports import Samples

BEFORE_S, AFTER_S = 1.0, 1.2
QUIET_ROOM_DBFS = -75.0
HUM = "hum"
CLEAN = "clean"
_PEAK = 0.9  # of full scale: louder sums are brought down, speech and noise alike
_SOUNDS = (".flac", ".wav", ".ogg")


def loudness(cell: str) -> float:
    """Order cells from clean to loud."""
    return float("-inf") if cell == CLEAN else -float(cell)


@dataclass(frozen=True)
class Room:
    """Where the cases are said.

    Args:
        noise: a folder of recordings of noise, or 'hum' for a synthetic blower.

    Raises:
        InputError: the folder is not there or holds no sound.
    """

    noise: str = HUM

    def __post_init__(self) -> None:
        self.recordings()

    def recordings(self) -> tuple[Path, ...]:
        """Return the folder's recordings in the order of their names; none for 'hum'."""
        if self.noise == HUM:
            return ()
        folder = Path(self.noise)
        found = tuple(p for p in sorted(folder.glob("**/*")) if p.suffix.lower() in _SOUNDS)
        if not found:
            raise InputError(
                f"There is no noise in '{self.noise}'",
                f"Name a folder of recordings ({', '.join(_SOUNDS)}), or 'hum'.",
            )
        return found

    def noisy(
        self, speech: Samples, snr_db: float | None, key: str, gain_db: float = 0.0
    ) -> Samples:
        """Return the speech in the room: a second before it, and 1.2 seconds after.

        Args:
            speech: int16 mono PCM at 16 kHz.
            snr_db: the signal-to-noise ratio; None for a quiet room.
            key: decides which noise and which stretch of it: the same for the same key.
            gain_db: makes the speech louder or, below 0, softer, the noise staying as it was.
        """
        before, after = (round(each * SAMPLE_RATE_HZ) for each in (BEFORE_S, AFTER_S))
        gain = 10 ** (gain_db / 20)
        padded = np.pad(gain * speech.astype(np.float64) / FULL_SCALE, (before, after))
        level_dbfs = active_dbfs(speech)
        if snr_db is None or not np.isfinite(level_dbfs):
            return _int16(padded + hum(len(padded), QUIET_ROOM_DBFS, 1) / FULL_SCALE)
        noise = self._stretch(len(padded), _number(key))
        return _int16(padded + noise * 10 ** ((level_dbfs - snr_db) / 20))

    def _stretch(self, count: int, number: int) -> npt.NDArray[np.float64]:
        """Return a stretch of noise, root mean square 1."""
        there = self.recordings()
        if not there:
            sound = hum(count, -20.0, number % 8, start=number % SAMPLE_RATE_HZ).astype(np.float64)
        else:
            whole = _recording(there[number % len(there)])
            start = number // len(there) % max(1, len(whole))
            sound = np.take(whole, range(start, start + count), mode="wrap")
        loud = np.sqrt(np.mean(np.square(sound)))
        return np.asarray(sound / loud if loud > 0 else sound)


@dataclass(frozen=True)
class Rooms:
    """Several places, each case in one of them: about as many in each, the same in every run.

    Args:
        noises: what `Room` takes, one or more.

    Raises:
        InputError: a folder is not there or holds no sound.
    """

    noises: tuple[str, ...]

    def __post_init__(self) -> None:
        for noise in self.noises:
            Room(noise)

    def room(self, key: str) -> Room:
        """Return the place for a key."""
        # Another number than the one that picks the recording, or some would never be picked.
        return Room(self.noises[_number(f"room of {key}") % len(self.noises)])

    def noisy(
        self, speech: Samples, snr_db: float | None, key: str, gain_db: float = 0.0
    ) -> Samples:
        """Return the speech in the key's room, as `Room.noisy` does."""
        return self.room(key).noisy(speech, snr_db, key, gain_db)


@lru_cache(maxsize=64)
def _recording(path: Path) -> npt.NDArray[np.float64]:
    return np.asarray(read_sound(path), np.float64)


def _number(key: str) -> int:
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:6], "big")


def _int16(sound: npt.NDArray[np.float64]) -> Samples:
    peak = float(np.max(np.abs(sound), initial=0.0))
    scaled = np.rint(sound * (min(1.0, _PEAK / peak) if peak else 1.0) * (FULL_SCALE - 1))
    return np.asarray(scaled, np.int16)
