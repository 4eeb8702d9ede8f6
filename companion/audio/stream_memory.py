"""The last seconds of a stream, to be looked back at: what was heard, sample for sample."""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from companion.ports import Samples

REMEMBERED_S = 15.0  # an utterance of 12 s, its pause, and a margin


class StreamMemory:
    """Keeps the sound of the last `REMEMBERED_S`, or of longer while asked to hold it."""

    def __init__(self) -> None:
        self._pieces: deque[Samples] = deque()
        self._first = 0  # place of the first sample still kept, counted from the stream's start
        self._after = 0  # and of the one behind the last
        self._held: int | None = None

    def hear(self, samples: Samples) -> None:
        """Take sound, int16 mono at 16 kHz, shape (n,), any n."""
        self._pieces.append(samples)
        self._after += len(samples)
        oldest = self._after - round(REMEMBERED_S * SAMPLE_RATE_HZ)
        if self._held is not None:
            oldest = min(oldest, self._held)
        while self._pieces and self._first + len(self._pieces[0]) <= oldest:
            self._first += len(self._pieces.popleft())

    def hold(self, from_s: float | None) -> None:
        """Forget nothing from that time of the stream on; None: as ever.

        Args:
            from_s: seconds from the start of the stream.
        """
        self._held = None if from_s is None else round(from_s * SAMPLE_RATE_HZ)

    def between(self, start_s: float, end_s: float) -> Samples:
        """Return what was heard between two times, as far as it is remembered.

        Args:
            start_s: seconds from the start of the stream.
            end_s: the same; what was not heard yet is left out.

        Returns:
            int16 mono PCM at 16 kHz, shape (n,), n >= 0, a copy.
        """
        start = max(round(start_s * SAMPLE_RATE_HZ), self._first)
        end = min(round(end_s * SAMPLE_RATE_HZ), self._after)
        if start >= end:
            return np.zeros(0, np.int16)
        whole = np.concatenate(list(self._pieces))
        return whole[start - self._first : end - self._first].copy()
