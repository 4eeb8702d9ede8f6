"""A line as sound in a room: cut as endpointing cuts, in noise, through some microphone.

Every sound comes twice: mostly quiet, and noisy. What endpointing leaves before and after the words
varies, so does the noise: a recording, or the hum of a synthetic blower. Some sounds are cut down
to the band of a telephone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.sound_files import from_int16, read_sound, resampled, to_int16
from companion.ports import SAMPLE_RATE_HZ
from companion.rehearsal.hum import FULL_SCALE, active_dbfs, hum

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path
    from random import Random

    import numpy.typing as npt

    from companion.ports import Samples

    Floats = npt.NDArray[np.float64]

SHORTEST_S, LONGEST_S = 0.1, 9.0  # above, the merged decoder slices its mask: models/README.md
_MARGINS_S = (0.02, 0.35)
_QUIET_DB, _NOISY_DB = (15.0, 45.0), (-2.0, 15.0)
_QUIET_SHARE = 0.7  # of the first of the two versions
_HUM_SHARE = 0.35
_BLOWERS = 8
_TILT_SHARE, _TILT = 0.3, 0.6  # microphones that are bright or dull
_TELEPHONE_SHARE, _TELEPHONE_HZ = 0.15, 8_000
_OTHER_PACES = (0.9, 1.12)  # the pitch goes with it, as by another person
_GAPS_S = (0.0, 0.12)  # between joined words
_SILENT, _FRAME = 0.02, 160  # of a word's peak; 10 ms
_PEAK = 0.5  # of full scale
_PAUSE_S = (0.3, 2.5)


@dataclass(frozen=True)
class Noises:
    """Where noise comes from.

    Args:
        recordings: of noise; with none, all noise is hum.
    """

    recordings: tuple[Path, ...]

    def stretch(self, count: int, chance: Random) -> Floats:
        """Return so many samples of some noise, shape (count,), root mean square 1 (0: silence)."""
        if not self.recordings or chance.random() < _HUM_SHARE:
            blower, start = chance.randrange(_BLOWERS), chance.randrange(SAMPLE_RATE_HZ)
            return _unit(hum(count, -20.0, blower, start).astype(np.float64))
        whole = _recording(chance.choice(self.recordings))
        places = np.arange(count) + chance.randrange(len(whole))
        return _unit(np.take(whole, places, mode="wrap").astype(np.float64))

    def alone(self, chance: Random) -> Samples:
        """Return a piece of noise in which nothing is said, int16 mono PCM at 16 kHz."""
        count = round(chance.uniform(*_PAUSE_S) * SAMPLE_RATE_HZ)
        return _int16(self.stretch(count, chance))


def is_usable(speech: Samples) -> bool:
    """Return whether a sound is neither silent nor too short or long to be trained on."""
    length_s = len(speech) / SAMPLE_RATE_HZ
    return SHORTEST_S <= length_s <= LONGEST_S and bool(np.isfinite(active_dbfs(speech)))


def versions(speech: Samples, noises: Noises, chance: Random) -> Iterator[tuple[Samples, float]]:
    """Yield a sound in two rooms, with the signal-to-noise ratio in dB.

    Args:
        speech: int16 mono PCM at 16 kHz, not silent.
        noises: what it may be mixed with.
        chance: what decides.
    """
    for is_first in (True, False):
        quiet = is_first and chance.random() < _QUIET_SHARE
        snr_db = chance.uniform(*(_QUIET_DB if quiet else _NOISY_DB))
        before, after = (round(chance.uniform(*_MARGINS_S) * SAMPLE_RATE_HZ) for _ in range(2))
        noise = noises.stretch(before + len(speech) + after, chance)
        heard = telephoned(speech) if chance.random() < _TELEPHONE_SHARE else speech
        sound = mixed(heard, noise, snr_db, before)
        if chance.random() < _TILT_SHARE:
            sound = tilted(sound, chance.uniform(-_TILT, _TILT))
        yield _int16(sound), snr_db


def mixed(speech: Samples, noise: Floats, snr_db: float, before: int) -> Floats:
    """Return speech in noise, 1 is full scale, shape of the noise.

    Args:
        speech: int16 mono PCM at 16 kHz, shape (n,), not silent.
        noise: root mean square 1, shape (m,), m >= before + n.
        snr_db: the level of the speech while it sounds (`active_dbfs`) over that of the noise.
        before: how many samples of noise come before the speech.
    """
    after = len(noise) - before - len(speech)
    padded = np.pad(speech.astype(np.float64) / FULL_SCALE, (before, after))
    return np.asarray(padded + noise * 10 ** ((active_dbfs(speech) - snr_db) / 20))


def joined(words: Sequence[Samples], chance: Random) -> Samples:
    """Return sounds one behind the other, with little between; a single one as it is.

    Args:
        words: int16 mono PCM at 16 kHz, at least one.
        chance: how much silence comes between two, up to 0.12 s.
    """
    if len(words) == 1:
        return words[0]
    pieces = []
    for word in words:
        pieces += [_cut(word), np.zeros(round(chance.uniform(*_GAPS_S) * SAMPLE_RATE_HZ), np.int16)]
    return np.concatenate(pieces[:-1])


def paced(speech: Samples, chance: Random) -> Samples:
    """Return speech up to a tenth faster or slower, higher or lower: as by someone else."""
    pace = chance.uniform(*_OTHER_PACES)
    slower_hz = round(SAMPLE_RATE_HZ / pace)
    return to_int16(resampled(from_int16(speech), SAMPLE_RATE_HZ, slower_hz))


def telephoned(speech: Samples) -> Samples:
    """Return speech as a telephone line leaves it, same shape: nothing above 4 kHz."""
    narrow = resampled(from_int16(speech), SAMPLE_RATE_HZ, _TELEPHONE_HZ)
    wide = resampled(narrow, _TELEPHONE_HZ, SAMPLE_RATE_HZ)[: len(speech)]
    return to_int16(np.pad(wide, (0, len(speech) - len(wide))))


def _cut(word: Samples) -> Samples:
    """A word without the silence around it."""
    loud = np.abs(word.astype(np.float64)) > _SILENT * np.max(np.abs(word.astype(np.float64)))
    at = np.flatnonzero(loud)
    if not len(at):
        return word
    return word[max(0, int(at[0]) - _FRAME) : int(at[-1]) + 3 * _FRAME]


def tilted(sound: Floats, tilt: float) -> Floats:
    """Return sound with the highs lowered (tilt above 0) or raised, as by another microphone."""
    return np.asarray(sound + tilt * np.append(0.0, sound[:-1]))


def _unit(noise: Floats) -> Floats:
    loud = np.sqrt(np.mean(np.square(noise)))
    return np.asarray(noise / loud if loud > 0 else noise)


def _int16(sound: Floats) -> Samples:
    """Bring sound to one peak."""
    peak = float(np.max(np.abs(sound), initial=0.0)) or 1.0
    return np.rint(sound * (_PEAK / peak * (FULL_SCALE - 1))).astype(np.int16)


@lru_cache(maxsize=128)
def _recording(path: Path) -> Samples:
    return read_sound(path)
