"""A furnace blower beside the technician: made of tones and air noise, the same for the same seed.

The tones are the motor's: multiples of 60 Hz, strongest at 120. The air noise falls by about 5 dB
an octave above 250 Hz and by 6 dB an octave below 60 Hz. The tones hold a quarter of the power.
The shape is ours (common practice, no source): it stands for a blower, it was not measured at one.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    import numpy.typing as npt

    from companion.ports import Samples

FULL_SCALE = 32_768
LOOP_S = 10  # a whole number of periods of 60 Hz, so that the end meets the start
TONE_HZ = (60, 120, 180, 240, 360, 480)
TONE_WEIGHT = (0.5, 1.0, 0.35, 0.5, 0.25, 0.12)
TONE_SHARE = 0.25  # of the power
FLAT_HZ = (60.0, 250.0)
FALL_DB_PER_OCTAVE = 5.0
ACTIVITY_FRAME_S = 0.020
# ITU-T P.56 counts as active what lies above a threshold 15.9 dB under the active level itself.
ACTIVITY_MARGIN_DB = 15.9


def active_dbfs(speech: Samples) -> float:
    """Return the level of speech while it sounds, pauses left out, dB under full scale.

    The idea of ITU-T P.56 (from memory) on frames of 20 ms: those within 15.9 dB of the level of
    the active ones are active. -inf for silence.

    Args:
        speech: int16 mono PCM at 16 kHz, shape (n,).
    """
    size = round(ACTIVITY_FRAME_S * SAMPLE_RATE_HZ)
    whole = np.concatenate([speech, np.zeros(-len(speech) % size, speech.dtype)])
    power = np.square(whole.astype(np.float64) / FULL_SCALE).reshape(-1, size).mean(axis=1)
    power = power[power > 0]
    if not len(power):
        return -np.inf
    active = power
    while True:
        kept = active[active >= active.mean() * 10 ** (-ACTIVITY_MARGIN_DB / 10)]
        if len(kept) == len(active):
            return float(10 * np.log10(active.mean()))
        active = kept


def hum(count: int, level_dbfs: float, seed: int, start: int = 0) -> Samples:
    """Return blower hum; pieces of one seed fit together without a click.

    Args:
        count: how many samples at 16 kHz.
        level_dbfs: its level (root mean square), dB under full scale, below 0.
        seed: which blower.
        start: the place of the first sample in the stream.
    """
    loop = _loop(seed)
    places = np.arange(start, start + count) % len(loop)
    return _int16(loop[places] * 10 ** (level_dbfs / 20))


def mix(speech: Samples, snr_db: float, seed: int) -> Samples:
    """Return speech with hum over all of it.

    Args:
        speech: int16 mono PCM at 16 kHz, shape (n,); silence around it is hummed over too.
        snr_db: the level of the speech while it sounds (`active_dbfs`) over the level of the
            hum, both unweighted from 0 to 8 kHz.
        seed: which blower.
    """
    level_dbfs = active_dbfs(speech) - snr_db
    if not np.isfinite(level_dbfs):
        return speech
    noise = _loop(seed)[np.arange(len(speech)) % (LOOP_S * SAMPLE_RATE_HZ)]
    return _int16(speech / FULL_SCALE + noise * 10 ** (level_dbfs / 20))


@lru_cache(maxsize=4)
def _loop(seed: int) -> npt.NDArray[np.float64]:
    """Ten seconds of hum that end where they start, root mean square 1."""
    rng = np.random.default_rng(seed)
    count = LOOP_S * SAMPLE_RATE_HZ
    time_s = np.arange(count) / SAMPLE_RATE_HZ
    phases = rng.uniform(0, 2 * np.pi, len(TONE_HZ))
    weights = np.array(TONE_WEIGHT) * rng.uniform(0.7, 1.3, len(TONE_HZ))
    tones = sum(
        weight * np.sin(2 * np.pi * hz * time_s + phase)
        for hz, weight, phase in zip(TONE_HZ, weights, phases, strict=True)
    )
    air = _shaped(rng.standard_normal(count))
    return np.asarray(np.sqrt(TONE_SHARE) * _unit(tones) + np.sqrt(1 - TONE_SHARE) * _unit(air))


def _shaped(white: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Give white noise the spectrum of moving air; shaping a whole loop keeps it seamless."""
    spectrum = np.fft.rfft(white)
    hz = np.maximum(np.fft.rfftfreq(len(white), 1 / SAMPLE_RATE_HZ), 1.0)
    low, high = FLAT_HZ
    fall_db = FALL_DB_PER_OCTAVE * np.log2(np.maximum(hz, high) / high)
    rise = np.minimum(hz / low, 1.0)
    return np.asarray(np.fft.irfft(spectrum * rise * 10 ** (-fall_db / 20), len(white)))


def _unit(sound: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    return np.asarray(sound / np.sqrt(np.mean(np.square(sound))))


def _int16(sound: npt.NDArray[np.float64]) -> Samples:
    scaled = np.clip(np.rint(sound * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1)
    return scaled.astype(np.int16)
