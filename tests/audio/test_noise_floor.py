from __future__ import annotations

import math

import numpy as np
import pytest

from companion.audio.noise_floor import NoiseFloor, is_digital_silence, level_dbfs

STEP_S = 0.032


def noise(rms: float, seed: int = 0) -> np.ndarray[tuple[int], np.dtype[np.int16]]:
    return np.rint(np.random.default_rng(seed).normal(0, rms, 512)).astype(np.int16)


@pytest.mark.parametrize(
    ("value", "dbfs"),
    [  # 20 log10(value / 32768), the definition
        (32_767, 0.0),
        (16_384, -6.02),
        (3_277, -20.0),
        (33, -59.94),
    ],
)
def test_level_is_decibels_under_full_scale(value: int, dbfs: float) -> None:
    assert level_dbfs(np.full(100, value, np.int16)) == pytest.approx(dbfs, abs=0.01)


def test_silence_and_nothing_have_the_lowest_level() -> None:
    assert level_dbfs(np.zeros(512, np.int16)) == -96.0
    assert level_dbfs(np.zeros(0, np.int16)) == -96.0


def test_the_floor_starts_unknown_and_takes_the_first_level_whole() -> None:
    floor = NoiseFloor()
    assert floor.dbfs is None
    floor.hear(np.full(512, 3_277, np.int16), STEP_S)
    assert floor.dbfs == pytest.approx(-20.0, abs=0.01)


def test_digital_silence_leaves_the_floor_where_it_was() -> None:
    floor = NoiseFloor()
    floor.hear(noise(300.0), STEP_S)
    known = floor.dbfs
    for _ in range(100):
        floor.hear(np.zeros(512, np.int16), STEP_S)
    assert floor.dbfs == known
    assert is_digital_silence(np.zeros(512, np.int16))
    assert not is_digital_silence(noise(5.0))


def test_a_blower_that_starts_is_known_after_three_time_constants() -> None:
    floor = NoiseFloor()
    floor.hear(noise(30.0), STEP_S)
    for number in range(round(3.0 / STEP_S)):
        floor.hear(noise(1_000.0, number), STEP_S)
    left = 30.46 * math.exp(-3.0)  # the step is 20 log10(1000 / 30) = 30.46 dB
    assert floor.dbfs == pytest.approx(20 * math.log10(1_000 / 32_768) - left, abs=0.5)
