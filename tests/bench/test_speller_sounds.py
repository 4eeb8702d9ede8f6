"""The training sounds: the ratio that was asked for, by a reckoning of its own."""

from __future__ import annotations

from itertools import pairwise
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from companion.bench.speller.sounds import (
    Noises,
    is_usable,
    joined,
    mixed,
    paced,
    telephoned,
    tilted,
    versions,
)

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Samples

RATE_HZ = 16_000
BEFORE = 3_200


def seeded(seed: int) -> Random:
    return Random(seed)  # noqa: S311 - seeded sounds are no secret


def tone(length_s: float = 2.0) -> Samples:
    """A steady tone: its active level is its level, so the ratio can be reckoned by hand."""
    at = np.arange(round(length_s * RATE_HZ))
    return (4_000 * np.sin(2 * np.pi * 1_000 * at / RATE_HZ)).astype(np.int16)


@pytest.fixture
def noises(tmp_path: Path) -> Noises:
    path = tmp_path / "white.flac"
    soundfile.write(path, np.random.default_rng(4).normal(0, 0.1, 5 * RATE_HZ), RATE_HZ)
    return Noises((path,))


@pytest.mark.parametrize("wanted_db", [30.0, 10.0, 0.0])
def test_noise_has_the_ratio_that_was_asked_for(noises: Noises, wanted_db: float) -> None:
    speech = tone()
    noise = noises.stretch(BEFORE + len(speech) + 1_600, seeded(3))
    sound = mixed(speech, noise, wanted_db, BEFORE)
    rest = sound.copy()
    rest[BEFORE : BEFORE + len(speech)] -= speech / 32_768
    # A sine of amplitude 4,000 has the power 4,000 squared, halved.
    found_db = 10 * np.log10((4_000 / 32_768) ** 2 / 2 / np.mean(rest**2))
    assert found_db == pytest.approx(wanted_db, abs=0.05)


@pytest.mark.parametrize("seed", range(6))
def test_a_stretch_has_its_length_and_loudness(noises: Noises, seed: int) -> None:
    for source in (noises, Noises(())):
        stretch = source.stretch(7 * RATE_HZ, seeded(seed))  # longer than the recording
        assert stretch.shape == (7 * RATE_HZ,)
        assert np.sqrt(np.mean(stretch**2)) == pytest.approx(1.0)


def test_every_sound_comes_mostly_quiet_and_noisy_with_its_ratio(noises: Noises) -> None:
    first, second = zip(
        *(
            [snr_db for _, snr_db in versions(tone(0.3), noises, seeded(seed))]
            for seed in range(200)
        ),
        strict=True,
    )
    assert 100 < sum(snr_db >= 15 for snr_db in first) < 190  # seven in ten
    assert all(-2 <= snr_db <= 15 for snr_db in second)
    assert min(first) < 10
    assert max(first) > 40


def test_sounds_are_cut_tight_and_brought_to_one_peak(noises: Noises) -> None:
    for seed in range(10):
        for sound, _ in versions(tone(), noises, seeded(seed)):
            assert sound.dtype == np.int16
            assert 0.04 <= len(sound) / RATE_HZ - 2.0 <= 0.7
            assert np.abs(sound.astype(int)).max() == pytest.approx(16_384, abs=1)


def test_the_same_chance_gives_the_same_sounds(noises: Noises) -> None:
    one, again, other = (
        [sound for sound, _ in versions(tone(0.5), noises, seeded(seed))] for seed in (1, 1, 2)
    )
    assert all(np.array_equal(*pair) for pair in zip(one, again, strict=True))
    assert not any(np.array_equal(*pair) for pair in zip(one, other, strict=True))


def test_noise_alone_is_a_short_piece(noises: Noises) -> None:
    lengths = [len(noises.alone(seeded(seed))) / RATE_HZ for seed in range(20)]
    assert all(0.3 <= length <= 2.5 for length in lengths)
    assert len(set(lengths)) > 10


@pytest.mark.parametrize(("tilt", "louder_is"), [(0.5, "low"), (-0.5, "high")])
def test_a_tilt_raises_one_end_and_lowers_the_other(tilt: float, louder_is: str) -> None:
    at = np.arange(RATE_HZ) / RATE_HZ
    loud = {
        name: float(np.std(tilted(np.sin(2 * np.pi * hz * at), tilt)))
        for name, hz in (("low", 200), ("high", 7_000))
    }
    assert max(loud, key=lambda name: loud[name]) == louder_is
    # |1 + tilt * exp(-jw)| at w near 0 and near pi: from the definition of the filter.
    for one, other in pairwise(sorted(loud.values())):
        assert other / one == pytest.approx(3.0, rel=0.15)


def test_what_is_silent_or_of_no_use_in_length_is_told_apart() -> None:
    assert is_usable(tone())
    assert not is_usable(np.zeros(RATE_HZ, np.int16))
    assert not is_usable(tone(0.05))
    assert not is_usable(tone(9.5))


def test_joined_words_lose_the_silence_around_them() -> None:
    word = np.pad(tone(0.4), RATE_HZ)
    sound = joined([word, word, word], seeded(2))
    assert 1.2 <= len(sound) / RATE_HZ <= 1.2 + 3 * 0.04 + 2 * 0.12  # 40 ms left around each
    assert joined([word], seeded(2)) is word


def loudest_hz(sound: Samples) -> float:
    spectrum = np.abs(np.fft.rfft(sound.astype(np.float64)))
    return float(np.argmax(spectrum)) * RATE_HZ / len(sound)


@pytest.mark.parametrize("seed", range(4))
def test_another_pace_changes_the_pitch_with_it(seed: int) -> None:
    other = paced(tone(1.0), seeded(seed))
    faster = RATE_HZ / len(other)
    assert 0.89 <= faster <= 1.13
    assert loudest_hz(other) == pytest.approx(1_000 * faster, rel=0.01)


def test_a_telephone_carries_nothing_above_four_kilohertz() -> None:
    at = np.arange(RATE_HZ) / RATE_HZ
    for hz, kept in ((1_000, 1.0), (3_000, 1.0), (6_000, 0.0)):
        heard = telephoned((8_000 * np.sin(2 * np.pi * hz * at)).astype(np.int16))
        assert len(heard) == RATE_HZ
        assert np.std(heard[800:-800]) / (8_000 / np.sqrt(2)) == pytest.approx(kept, abs=0.02)
