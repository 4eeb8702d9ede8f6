from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.ports import Clip
from companion.speaking.loudness import louder, trimmed

RATE_HZ = 22_050


def test_silence_around_speech_is_cut_but_for_a_margin() -> None:
    quiet, loud = np.full(RATE_HZ, 20, np.int16), np.full(1_000, 5_000, np.int16)
    cut = trimmed(np.concatenate([quiet, loud, quiet, loud, quiet]), RATE_HZ)
    assert len(cut) == 2_000 + RATE_HZ + round(0.005 * RATE_HZ) + round(0.040 * RATE_HZ)


def test_silence_alone_leaves_nothing() -> None:
    assert len(trimmed(np.zeros(1_000, np.int16), RATE_HZ)) == 0


@pytest.mark.parametrize(("gain_db", "factor"), [(6.0206, 2.0), (-6.0206, 0.5), (0.0, 1.0)])
def test_gain_is_in_decibels_below_the_knee(gain_db: float, factor: float) -> None:
    clip = Clip(np.array([5_000, -5_000], np.int16), RATE_HZ, "a")
    assert louder(clip, gain_db).samples == pytest.approx(clip.samples * factor, abs=1)
    assert louder(clip, gain_db).text == "a"


@given(
    samples=st.lists(st.integers(-32_768, 32_767), min_size=1, max_size=50),
    gain_db=st.floats(-40, 40),
)
def test_louder_keeps_order_and_sign_and_never_wraps(samples: list[int], gain_db: float) -> None:
    before = np.array(sorted(samples), np.int16)
    after = louder(Clip(before, RATE_HZ), gain_db).samples
    assert (np.diff(after.astype(int)) >= 0).all()
    assert (after.astype(int) * before.astype(int) >= 0).all()
