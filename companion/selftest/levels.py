"""How loud a recording is, and what its level spoils."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.clipping import clipped_share
from companion.audio.noise_floor import FULL_SCALE, SILENCE_DBFS, level_dbfs

if TYPE_CHECKING:
    from companion.ports import Samples

CLIPPED_SHARE = 0.0001  # from here on it is worth a word: common practice, no source
_STEP_SAMPLES = 512  # 32 ms
_QUIETEST_PERCENT = 20  # of the steps: below clicks and words


@dataclass(frozen=True, slots=True)
class Room:
    """What a microphone recorded while nobody was asked to speak.

    Attributes:
        noise_dbfs: the level below which the quietest fifth of it lies.
        peak_dbfs: its loudest sample.
        clipped_share: the share of samples at full scale, 0 to 1.
        is_silent: every sample is exactly 0, as in no room.
    """

    noise_dbfs: float
    peak_dbfs: float
    clipped_share: float
    is_silent: bool


def room(samples: Samples) -> Room:
    """Return what a recording tells about level and noise.

    Args:
        samples: int16 mono PCM at 16 kHz, shape (n,).

    >>> import numpy as np
    >>> room(np.zeros(16_000, np.int16)).is_silent
    True
    """
    steps = len(samples) // _STEP_SAMPLES
    whole = samples[: steps * _STEP_SAMPLES].reshape(steps, _STEP_SAMPLES)
    levels = [level_dbfs(step) for step in whole]
    peak = int(np.abs(samples.astype(np.int32)).max(initial=0))
    return Room(
        noise_dbfs=float(np.percentile(levels, _QUIETEST_PERCENT)) if levels else SILENCE_DBFS,
        peak_dbfs=20 * float(np.log10(peak / FULL_SCALE)) if peak else SILENCE_DBFS,
        clipped_share=clipped_share(samples),
        is_silent=peak == 0,
    )
