"""How loud it is while nobody speaks, followed slowly."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from companion.ports import Samples

FULL_SCALE = 32_768
SILENCE_DBFS = -96.0  # one step of 16 bits; what digital silence counts as
RISE_S = 1.0  # a blower that starts is known after about a second
FALL_S = 0.5  # and forgotten faster, since a lower floor is the safer belief after it stops


def level_dbfs(samples: Samples) -> float:
    """Return the level in decibels against a full-scale square wave, never below -96.

    Args:
        samples: int16 mono PCM, shape (n,); none at all counts as silence.

    >>> import numpy as np
    >>> round(level_dbfs(np.full(512, 16_384, np.int16)), 2)
    -6.02
    """
    if not len(samples):
        return SILENCE_DBFS
    power = float(np.mean(np.square(samples.astype(np.float64))))
    return power_dbfs(power)


def power_dbfs(power: float) -> float:
    """Return a mean square of int16 samples in decibels against full scale, never below -96."""
    if power <= 0.0:
        return SILENCE_DBFS
    return max(SILENCE_DBFS, 10.0 * math.log10(power / FULL_SCALE**2))


def is_digital_silence(samples: Samples) -> bool:
    """Whether most samples are exactly 0, as no room is: a muted headset, the end of a file."""
    return 2 * int(np.count_nonzero(samples)) < len(samples)


class NoiseFloor:
    """The smoothed level of what is not speech.

    Digital silence tells nothing about a room (a muted headset, the gap between two files), so it
    leaves the floor where it was.
    """

    def __init__(self) -> None:
        self._dbfs: float | None = None

    @property
    def dbfs(self) -> float | None:
        """The floor in dBFS; None while nothing but digital silence was heard."""
        return self._dbfs

    def hear(self, samples: Samples, duration_s: float) -> None:
        """Take a step that holds no speech.

        Args:
            samples: int16 mono PCM, shape (n,).
            duration_s: how long it lasts.
        """
        if is_digital_silence(samples):
            return
        level = level_dbfs(samples)
        if self._dbfs is None:
            self._dbfs = level
            return
        time_s = RISE_S if level > self._dbfs else FALL_S
        self._dbfs += (level - self._dbfs) * (1.0 - math.exp(-duration_s / time_s))
