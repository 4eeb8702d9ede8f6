"""What sounds in the headset, to the sample: one after another, ducked, lifted, cut."""

from __future__ import annotations

from math import log10
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.speaking.mixing import RAMP_S, ClipLine, Track

if TYPE_CHECKING:
    from companion.ports import Samples

RATE_HZ = 8_000
RAMP = round(RAMP_S * RATE_HZ)
DUCK_DB = -12.0  # common practice, no source


def steady(samples: int, level: int = 10_000) -> Samples:
    return np.full(samples, level, np.int16)


def played(line: ClipLine, *counts: int) -> Samples:
    return np.concatenate([line.block(count)[0] for count in counts])


@given(st.lists(st.integers(1, 700), min_size=1, max_size=20))
def test_clips_follow_one_another_without_a_gap_in_blocks_of_any_size(sizes: list[int]) -> None:
    one, two = np.arange(1, 501, dtype=np.int16), np.arange(1000, 1300, dtype=np.int16)
    line = ClipLine()
    for clip in (one, two):
        line.add(Track(clip, RATE_HZ))
    total = sum(sizes)
    wanted = np.concatenate([one, two, np.zeros(max(0, total - 800), np.int16)])[:total]
    assert np.array_equal(played(line, *sizes), wanted)


@given(st.lists(st.integers(1, 300), min_size=1, max_size=20))
def test_what_is_told_of_a_block_is_what_is_in_it(sizes: list[int]) -> None:
    tracks = [Track(steady(230), RATE_HZ), Track(steady(120, -9_000), RATE_HZ)]
    line = ClipLine()
    for track in tracks:
        line.add(track)
    told = dict.fromkeys(tracks, 0)
    for size in sizes:
        sound, placed = line.block(size)
        assert np.count_nonzero(sound) == sum(count for _, _, count in placed)
        for track, start, count in placed:
            level = 10_000 if track is tracks[0] else -9_000
            assert np.all(sound[start : start + count] == level)
            told[track] += count
    assert all(track.position == told[track] for track in tracks)


def test_a_ducked_clip_is_12_db_lower_and_lifted_it_is_as_it_was() -> None:
    track, line = Track(steady(4_000), RATE_HZ), ClipLine()
    line.add(track)
    before = played(line, 500)
    track.duck()
    ducked = played(line, 500)
    track.lift()
    lifted = played(line, 500)
    assert np.all(before == 10_000)
    assert 20 * log10(ducked[-1] / before[-1]) == pytest.approx(DUCK_DB, abs=0.1)
    assert np.all(lifted[RAMP + 1 :] == 10_000)


def test_no_change_of_loudness_clicks() -> None:
    track, line = Track(steady(4_000), RATE_HZ), ClipLine()
    line.add(track)
    played(line, 100)
    track.duck()
    low = played(line, 333)
    track.lift()
    high = played(line, 333)
    track.stop()
    out = played(line, 333)
    steps = np.abs(np.diff(np.concatenate([low, high, out]).astype(np.int32)))
    assert steps.max() <= 10_000 / RAMP + 1


def test_a_cut_clip_fades_within_ten_milliseconds_and_the_next_follows() -> None:
    track, line = Track(steady(4_000), RATE_HZ), ClipLine()
    line.add(track)
    line.add(Track(steady(100, 77), RATE_HZ))
    played(line, 500)
    track.stop()
    after = played(line, 500)
    first_of_next = int(np.flatnonzero(after == 77)[0])
    assert first_of_next <= RATE_HZ / 100
    assert np.all(after[first_of_next : first_of_next + 100] == 77)
    assert not after[first_of_next + 100 :].any()
    assert track.is_over
    assert track.position == 500 + first_of_next


def test_a_clip_cut_before_it_began_is_never_heard() -> None:
    track, line = Track(steady(400), RATE_HZ), ClipLine()
    line.add(track)
    track.stop()
    assert not played(line, 600).any()
    assert track.position == 0
    assert track.is_over


def test_a_clip_ducked_while_it_waits_begins_ducked() -> None:
    track, line = Track(steady(400), RATE_HZ), ClipLine()
    line.add(track)
    track.duck()
    assert np.all(played(line, 300) == 2_500)


def test_a_cut_clip_cannot_be_lifted() -> None:
    track, line = Track(steady(4_000), RATE_HZ), ClipLine()
    line.add(track)
    played(line, 100)
    track.stop()
    track.lift()
    track.duck()
    assert not played(line, 500)[RAMP + 1 :].any()


@given(
    st.lists(
        st.tuples(st.sampled_from(["duck", "lift", "stop", "nothing"]), st.integers(1, 200)),
        max_size=20,
    )
)
def test_nothing_done_to_a_clip_makes_it_louder_or_longer(steps: list[tuple[str, int]]) -> None:
    track, line = Track(steady(1_000), RATE_HZ), ClipLine()
    line.add(track)
    sound = np.zeros(0, np.int16)
    for what, count in steps:
        if what != "nothing":
            getattr(track, what)()
        sound = np.concatenate([sound, played(line, count)])
    assert np.count_nonzero(sound) <= track.position <= 1_000
    assert sound.max(initial=0) <= 10_000
    assert sound.min(initial=0) >= 0


def test_an_empty_clip_keeps_nobody_waiting() -> None:
    line = ClipLine()
    line.add(Track(steady(0), RATE_HZ))
    line.add(Track(steady(10, 5), RATE_HZ))
    assert played(line, 10).tolist() == [5] * 10
