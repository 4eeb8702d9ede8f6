"""How loud the microphone is, a tenth of a second at a time, with the peak held for a while."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from companion.ports import Samples

LOWEST_DBFS = -90.0
_FULL = 32_768.0
_WINDOW = SAMPLE_RATE_HZ // 10
_HELD = 15  # windows that a peak stays


class Level:
    """Feed it sound; `is_new` once a tenth of a second came together.

    Attributes:
        level_dbfs: root mean square of the last tenth of a second, -90 to 0.
        peak_dbfs: the highest of these within the last second and a half.
    """

    def __init__(self) -> None:
        self.level_dbfs = self.peak_dbfs = LOWEST_DBFS
        self._power, self._count = 0.0, 0
        self._recent: list[float] = []

    def take(self, samples: Samples) -> bool:
        """Take sound, int16 mono at 16 kHz; return whether there is a new level."""
        self._power += float(np.sum(np.square(samples.astype(np.float64))))
        self._count += len(samples)
        if self._count < _WINDOW:
            return False
        mean = self._power / self._count / _FULL**2
        self._power, self._count = 0.0, 0
        self.level_dbfs = max(LOWEST_DBFS, 10.0 * float(np.log10(max(mean, 1e-9))))
        self._recent = [*self._recent[1 - _HELD :], self.level_dbfs]
        self.peak_dbfs = max(self._recent)
        return True
