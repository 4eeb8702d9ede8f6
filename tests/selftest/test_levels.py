"""Level, noise, clipping and digital silence of a recording. Decibels are arithmetic."""

from __future__ import annotations

import math

import numpy as np
import pytest

from companion.audio.clipping import clipped_share
from companion.selftest.levels import room

RATE_HZ = 16_000


def test_the_noise_is_what_lies_between_clicks() -> None:
    noise = np.random.default_rng(2).normal(0, 100, 3 * RATE_HZ)
    noise[8_000:9_000] += 20_000  # something fell
    heard = room(np.clip(noise, -32_768, 32_767).astype(np.int16))
    assert heard.noise_dbfs == pytest.approx(20 * math.log10(100 / 32_768), abs=1.0)
    assert heard.peak_dbfs == pytest.approx(20 * math.log10(20_000 / 32_768), abs=0.3)
    assert not heard.is_silent


def test_one_sample_that_is_not_zero_is_no_digital_silence() -> None:
    samples = np.zeros(RATE_HZ, np.int16)
    assert room(samples).is_silent
    samples[5] = 1
    assert not room(samples).is_silent


def test_clipping_is_counted_at_both_ends() -> None:
    samples = np.array([32_767, -32_768, -32_767, 32_766, 0, 1, 2, 3], np.int16)
    assert clipped_share(samples) == 3 / 8


def test_nothing_recorded_is_silent() -> None:
    nothing = room(np.zeros(0, np.int16))
    assert nothing.is_silent
    assert nothing.clipped_share == 0.0
