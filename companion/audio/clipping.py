"""Whether a sound was too loud for its microphone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from companion.audio.noise_floor import FULL_SCALE

if TYPE_CHECKING:
    from companion.ports import Samples


def clipped_share(samples: Samples) -> float:
    """Return the share of samples at full scale, 0 to 1.

    Args:
        samples: int16 mono PCM, shape (n,).

    >>> import numpy as np
    >>> clipped_share(np.array([0, 32_767, -32_768, 5], np.int16))
    0.5
    """
    if not len(samples):
        return 0.0
    full = np.abs(samples.astype(np.int32)) >= FULL_SCALE - 1
    return float(np.count_nonzero(full)) / len(samples)
