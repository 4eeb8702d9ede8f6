from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.rehearsal.hum import active_dbfs, hum, mix

if TYPE_CHECKING:
    import numpy.typing as npt

    from companion.ports import Samples

RATE_HZ = 16_000


def level_dbfs(sound: npt.NDArray[np.float64]) -> float:
    return float(20 * np.log10(np.sqrt(np.mean(np.square(sound))) / 32_768))


def bursts(amplitude: int = 8_000) -> Samples:
    """Square-wave bursts of a second with two seconds of silence between: half-known by design."""
    burst = np.where(np.arange(RATE_HZ) % 40 < 20, amplitude, -amplitude).astype(np.int16)
    gap = np.zeros(2 * RATE_HZ, np.int16)
    return np.concatenate([gap, burst, gap, burst, gap])


def test_pauses_do_not_count_in_the_level_of_speech() -> None:
    assert active_dbfs(bursts()) == pytest.approx(20 * np.log10(8_000 / 32_768), abs=0.01)


def test_sound_far_below_the_speech_does_not_count_either() -> None:
    quiet = np.random.default_rng(0).normal(0, 80, len(bursts())).astype(np.int16)  # 40 dB under
    assert active_dbfs(bursts() + quiet) == pytest.approx(active_dbfs(bursts()), abs=0.05)


def test_silence_has_no_level() -> None:
    assert active_dbfs(np.zeros(1_000, np.int16)) == -np.inf
    assert not mix(np.zeros(1_000, np.int16), 10.0, 0).any()


@pytest.mark.parametrize("snr_db", [20.0, 10.0, 5.0, 0.0])
def test_the_mix_has_the_ratio_that_was_asked_for(snr_db: float) -> None:
    speech = bursts(3_000)
    noise = mix(speech, snr_db, seed=4).astype(float) - speech.astype(float)
    assert active_dbfs(speech) - level_dbfs(noise) == pytest.approx(snr_db, abs=0.3)


@given(cuts=st.lists(st.integers(1, 400_000), max_size=8), seed=st.integers(0, 3))
def test_pieces_of_hum_fit_together(cuts: list[int], seed: int) -> None:
    places = sorted({0, 400_000, *cuts})
    pieces = [hum(end - start, -30.0, seed, start) for start, end in itertools.pairwise(places)]
    assert np.array_equal(np.concatenate(pieces), hum(400_000, -30.0, seed))


def test_the_loop_closes_without_a_click() -> None:
    sound = hum(20 * RATE_HZ, -20.0, 1).astype(float)
    steps = np.abs(np.diff(sound))
    assert steps[10 * RATE_HZ - 1] < np.percentile(steps, 99.9)


def test_a_hum_is_the_same_for_its_seed_and_another_for_another() -> None:
    assert np.array_equal(hum(9_000, -20.0, 1), hum(9_000, -20.0, 1))
    assert not np.array_equal(hum(9_000, -20.0, 1), hum(9_000, -20.0, 2))
    assert level_dbfs(hum(160_000, -26.0, 1).astype(float)) == pytest.approx(-26.0, abs=0.05)


def test_it_is_a_blower_low_tones_and_falling_air_noise() -> None:
    power = np.abs(np.fft.rfft(hum(160_000, -10.0, 0).astype(float))) ** 2
    hz = np.fft.rfftfreq(160_000, 1 / RATE_HZ)

    def band(low: float, high: float) -> float:
        return float(power[(hz >= low) & (hz < high)].mean())

    assert band(119.9, 120.1) > 100 * band(121, 130)
    fall_db = 10 * np.log10(band(480, 520) / band(3_840, 4_160))
    assert fall_db == pytest.approx(15.0, abs=1.5)  # three octaves at 5 dB, as the module says
