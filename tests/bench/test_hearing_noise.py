"""Noise at the ratio asked for, by a reckoning of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from companion.bench.hearing.noise import AFTER_S, BEFORE_S, Room
from companion.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Samples

RATE_HZ = 16_000


def speech() -> Samples:
    """A steady tone: its active level is its level, so the ratio can be reckoned by hand."""
    at = np.arange(2 * RATE_HZ)
    return (4_000 * np.sin(2 * np.pi * 1_000 * at / RATE_HZ)).astype(np.int16)


def power(samples: Samples) -> float:
    return float(np.mean(np.square(samples.astype(np.float64))))


def snr_db(noisy: Samples) -> float:
    """Speech over noise: the noise from before the speech, both from their powers."""
    before = round(BEFORE_S * RATE_HZ)
    noise = power(noisy[:before])
    both = power(noisy[before : before + 2 * RATE_HZ])
    return float(10 * np.log10((both - noise) / noise))


@pytest.fixture
def white(tmp_path: Path) -> Path:
    noise = np.random.default_rng(4).normal(0, 0.1, 20 * RATE_HZ)
    soundfile.write(tmp_path / "white.flac", noise, RATE_HZ)
    return tmp_path


@pytest.mark.parametrize("wanted_db", [20.0, 10.0, 5.0, 0.0])
def test_noise_has_the_ratio_that_was_asked_for(white: Path, wanted_db: float) -> None:
    noisy = Room(str(white)).noisy(speech(), wanted_db, "a case")
    assert snr_db(noisy) == pytest.approx(wanted_db, abs=0.3)
    assert len(noisy) == round((BEFORE_S + 2.0 + AFTER_S) * RATE_HZ)


@pytest.mark.parametrize("wanted_db", [20.0, 5.0])
def test_the_hum_has_it_too(wanted_db: float) -> None:
    assert snr_db(Room().noisy(speech(), wanted_db, "a case")) == pytest.approx(wanted_db, abs=0.7)


def test_a_quiet_room_is_not_silent() -> None:
    quiet = Room().noisy(speech(), None, "a case")
    assert 0.0 < power(quiet[:RATE_HZ]) < 100.0
    assert snr_db(quiet) > 40.0


def test_loud_sums_are_brought_down_and_keep_their_ratio(white: Path) -> None:
    loud = (speech().astype(np.int32) * 8).clip(-32_768, 32_767).astype(np.int16)
    noisy = Room(str(white)).noisy(loud, 0.0, "a case")
    assert np.abs(noisy.astype(np.int32)).max() <= 30_000
    assert snr_db(noisy) == pytest.approx(0.0, abs=0.3)


def test_the_same_key_meets_the_same_noise_and_another_another(white: Path) -> None:
    room = Room(str(white))
    one, again, other = (room.noisy(speech(), 5.0, key) for key in ("a", "a", "b"))
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)


def test_a_folder_without_noise_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no noise in"):
        Room(str(tmp_path))
    with pytest.raises(InputError, match="'hum'"):
        Room(str(tmp_path / "nowhere"))
