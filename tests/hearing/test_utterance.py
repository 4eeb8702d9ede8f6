from __future__ import annotations

from math import log10
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from saying import hiss

from companion.hearing.utterance import AFTER_BLOCKS, BEFORE_BLOCKS, BLOCK, Utterance
from companion.ports import Frame

if TYPE_CHECKING:
    from companion.ports import Samples

# Runs of sound, voiced or not, in samples: the same stream whatever way it is cut.
RUNS = st.lists(st.tuples(st.integers(1, 6000), st.booleans()), min_size=1, max_size=6)


def fed(runs: list[tuple[int, bool]], size: int) -> Utterance:
    utterance = Utterance()
    for number, (length, voiced) in enumerate(runs):
        sound = np.random.default_rng(number).integers(-900, 900, length).astype(np.int16)
        for at in range(0, length, size):
            utterance.add(Frame(sound[at : at + size], voiced))
    utterance.close()
    return utterance


@settings(deadline=None)  # a machine with other work
@given(RUNS, st.integers(1, 700))
def test_any_split_into_frames_gives_the_same_utterance(
    runs: list[tuple[int, bool]], size: int
) -> None:
    whole, split = fed(runs, 100_000), fed(runs, size)
    assert whole.cut == split.cut
    assert whole.loudness == split.loudness
    assert whole.pace == split.pace
    assert whole.samples == split.samples
    if whole.cut:
        assert np.array_equal(whole.sound(whole.cut), split.sound(whole.cut))


def blocks(count: int, *, voiced: bool, loud: int = 1000) -> Frame:
    sound: Samples = np.full(count * BLOCK, loud, np.int16)
    return Frame(sound, voiced)


def test_a_pause_is_complete_after_120_ms_without_voice() -> None:
    utterance = Utterance()
    assert not utterance.add(blocks(20, voiced=True))
    assert not utterance.add(blocks(5, voiced=False))
    assert utterance.add(blocks(1, voiced=False))
    assert not utterance.add(blocks(50, voiced=False))


def test_the_cut_keeps_a_margin_on_both_sides() -> None:
    utterance = Utterance()
    for count, voiced in ((30, False), (20, True), (10, False), (10, True), (30, False)):
        utterance.add(blocks(count, voiced=voiced))
    assert utterance.cut == (30 - BEFORE_BLOCKS, 70 + AFTER_BLOCKS)


def test_the_cut_stays_the_same_while_only_silence_follows() -> None:
    utterance = Utterance()
    utterance.add(blocks(20, voiced=True))
    utterance.add(blocks(6, voiced=False))
    at_the_pause = utterance.cut
    utterance.add(blocks(60, voiced=False))
    assert utterance.cut == at_the_pause


@pytest.mark.parametrize(("voiced", "blocks_long"), [(False, 100), (True, 3), (True, 700)])
def test_silence_a_click_and_a_speech_are_no_utterance(voiced: bool, blocks_long: int) -> None:  # noqa: FBT001 -- a parameter of the test
    utterance = Utterance()
    utterance.add(blocks(blocks_long, voiced=voiced))
    assert utterance.cut is None


def test_noise_and_speech_are_told_in_decibels() -> None:
    utterance = Utterance()
    utterance.add(Frame(np.full(16_000, 328, np.int16), voiced=False))
    utterance.add(Frame(np.full(16_000, 3277, np.int16), voiced=True))
    loudness = utterance.loudness
    # source: the definition of dBFS, 20 log10 of the level against full scale 32768
    assert loudness.noise_dbfs == pytest.approx(20 * log10(328 / 32_768))
    assert loudness.snr_db == pytest.approx(10 * log10((3277**2 - 328**2) / 328**2))


def test_nothing_to_measure_noise_on_gives_none() -> None:
    utterance = Utterance()
    utterance.add(blocks(10, voiced=True))
    assert utterance.loudness.noise_dbfs is None
    assert utterance.loudness.snr_db is None


def test_a_frame_of_which_nothing_is_known_counts_as_voiced() -> None:
    utterance = Utterance()
    utterance.add(Frame(hiss(16_000)))
    assert utterance.cut is not None


def test_an_empty_frame_changes_nothing() -> None:
    utterance = Utterance()
    assert not utterance.add(Frame(np.zeros(0, np.int16), voiced=True))
    utterance.close()
    assert utterance.cut is None
    assert utterance.samples == 0
