"""Noise at the ratio asked for, by a reckoning of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from companion.bench.hearing.noise import AFTER_S, BEFORE_S, Room, Rooms
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


@pytest.mark.parametrize("cell_db", [20.0, None])
def test_softer_speech_meets_the_noise_that_the_louder_would(
    white: Path, cell_db: float | None
) -> None:
    room = Room(str(white))
    loud, soft = (room.noisy(speech() // 4, cell_db, "a case", gain) for gain in (0.0, -12.0))
    before = round(BEFORE_S * RATE_HZ)
    assert np.array_equal(loud[:before], soft[:before])
    assert snr_db(loud) - snr_db(soft) == pytest.approx(12.0, abs=0.5)


def test_of_several_noises_each_case_meets_one_and_all_come_evenly(white: Path) -> None:
    rooms = Rooms(("hum", str(white)))
    keys = [f"case-{number}" for number in range(400)]
    there = [rooms.room(key).noise for key in keys]
    assert there == [rooms.room(key).noise for key in keys]
    assert 160 < there.count("hum") < 240  # 5 standard deviations would be 150 to 250
    for key, noise in zip(keys[:4], there, strict=False):
        alone = Room(noise).noisy(speech(), 5.0, key, -12.0)
        assert np.array_equal(rooms.noisy(speech(), 5.0, key, -12.0), alone)


def test_one_noise_of_several_is_the_room_itself(white: Path) -> None:
    one = Rooms((str(white),)).noisy(speech(), 5.0, "a")
    assert np.array_equal(one, Room(str(white)).noisy(speech(), 5.0, "a"))


def test_a_folder_without_noise_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no noise in"):
        Room(str(tmp_path))
    with pytest.raises(InputError, match="no noise in"):
        Rooms(("hum", str(tmp_path)))
    with pytest.raises(InputError, match="'hum'"):
        Room(str(tmp_path / "nowhere"))
