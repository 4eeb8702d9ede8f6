"""What is done to rendered samples: silence cut off, made louder, brought to another rate."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from companion.ports import Clip, Samples

FULL_SCALE = 32_768
SILENT = 60  # about -55 dBFS, far below the quietest sound of speech
LEAD_S = 0.005
TRAIL_S = 0.040
KNEE = 0.7  # of full scale: above it peaks are bent, not cut


def trimmed(samples: Samples, rate_hz: int) -> Samples:
    """Return speech without the silence around it, so that an answer starts at once.

    Args:
        samples: int16 mono PCM, shape (n,).
        rate_hz: its rate.
    """
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > SILENT)
    if not len(loud):
        return samples[:0]
    start = max(0, int(loud[0]) - round(LEAD_S * rate_hz))
    return samples[start : int(loud[-1]) + 1 + round(TRAIL_S * rate_hz)]


def louder(clip: Clip, gain_db: float) -> Clip:
    """Return a clip louder (or, below 0, softer), its peaks bent rather than cut.

    Args:
        clip: rendered speech.
        gain_db: decibels.
    """
    if gain_db == 0.0:
        return clip
    sound = clip.samples.astype(np.float64) / FULL_SCALE * 10 ** (gain_db / 20)
    over = np.maximum(np.abs(sound) - KNEE, 0.0)
    bent = np.minimum(np.abs(sound), KNEE) + (1 - KNEE) * np.tanh(over / (1 - KNEE))
    scaled = np.rint(np.copysign(bent, sound) * (FULL_SCALE - 1))
    return replace(clip, samples=scaled.astype(np.int16))


def at_rate(clip: Clip, rate_hz: int) -> Samples:
    """Return a clip's samples at another rate.

    Args:
        clip: rendered speech or a cue.
        rate_hz: the rate wanted.
    """
    if clip.rate_hz == rate_hz or not len(clip.samples):
        return clip.samples
    import soxr  # noqa: PLC0415 -- loaded when used

    sound = soxr.resample(clip.samples.astype(np.float32), clip.rate_hz, rate_hz)
    result: Samples = np.clip(np.rint(sound), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)
    return result
