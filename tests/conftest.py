"""What tests share; no test is timed: with a deadline a busy machine would be a failure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import settings

from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from companion.ports import Samples

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def spoken() -> Samples:
    """Two utterances of a synthetic voice, a second of quiet room before, between and after."""
    technician = speaker()
    gap = np.zeros(16_000, np.int16)
    said = [technician.say(text) for text in ("supply static point four five", "next step")]
    sound = np.concatenate([gap, said[0], gap, said[1], gap])
    room = np.random.default_rng(0).normal(0, 10, len(sound))
    return np.asarray(np.clip(sound + room, -32_768, 32_767), np.int16)
