from __future__ import annotations

import numpy as np
import pytest

from companion.ports import Clip
from companion.speaking.mouths import FileMouth, TextMouth

RATE_HZ = 16_000


def clip(value: int, duration_s: float = 1.0, rate_hz: int = RATE_HZ, text: str = "") -> Clip:
    return Clip(np.full(round(duration_s * rate_hz), value, np.int16), rate_hz, text)


class Clock:
    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


def test_clips_lie_on_the_track_where_they_were_played() -> None:
    clock = Clock()
    mouth = FileMouth(clock)
    clock.now_s = 0.5
    mouth.play(clip(1_000))
    clock.now_s = 3.0
    mouth.play(clip(2_000))
    track = mouth.track(RATE_HZ)
    assert not track[:8_000].any()
    assert set(track[8_000:24_000]) == {1_000}
    assert not track[24_000:48_000].any()
    assert set(track[48_000:64_000]) == {2_000}


def test_a_clip_waits_for_the_one_before() -> None:
    mouth = FileMouth(Clock())
    first, second = mouth.play(clip(1_000)), mouth.play(clip(2_000, 0.5))
    assert (first.start_s, second.start_s, mouth.quiet_from_s) == (0.0, 1.0, 1.5)


def test_after_a_stop_the_next_clip_starts_at_once() -> None:
    clock = Clock()
    mouth = FileMouth(clock)
    playing = mouth.play(clip(1_000))
    clock.now_s = 0.25
    playing.stop()
    assert playing.heard_s == 0.25
    assert mouth.play(clip(2_000)).start_s == 0.25
    track = mouth.track(RATE_HZ)
    assert set(track[:4_000]) == {1_000}
    assert set(track[4_000:20_000]) == {2_000}


def test_a_waiting_clip_that_is_stopped_is_never_heard() -> None:
    clock = Clock()
    mouth = FileMouth(clock)
    mouth.play(clip(1_000))
    waiting = mouth.play(clip(2_000))
    clock.now_s = 0.5
    waiting.stop()
    clock.now_s = 5.0
    assert waiting.heard_s == 0.0
    assert set(mouth.track(RATE_HZ)[:16_000]) == {1_000}
    assert not mouth.track(RATE_HZ)[16_000:].any()


def test_a_clip_that_ended_stays_heard_when_it_is_stopped_late() -> None:
    clock = Clock()
    playing = FileMouth(clock).play(clip(1_000))
    clock.now_s = 2.0
    playing.stop()
    assert playing.heard_s == 1.0


def test_a_ducked_clip_is_twelve_decibels_softer_from_then_on() -> None:
    clock = Clock()
    mouth = FileMouth(clock)
    playing = mouth.play(clip(1_000))
    clock.now_s = 0.5
    playing.duck()
    track = mouth.track(RATE_HZ)
    assert set(track[:8_000]) == {1_000}
    assert set(track[8_000:16_000]) == {250}  # -12 dB is a quarter


@pytest.mark.parametrize("rate_hz", [8_000, 16_000, 22_050, 48_000])
def test_a_track_can_be_had_at_any_rate(rate_hz: int) -> None:
    mouth = FileMouth(Clock())
    mouth.play(clip(1_000, 1.0, 22_050))
    track = mouth.track(rate_hz)
    assert abs(len(track) - rate_hz) <= 2
    assert np.allclose(track[rate_hz // 4 : rate_hz // 2], 1_000, atol=5)


def test_an_empty_track_is_no_trouble() -> None:
    assert not FileMouth(Clock()).track(RATE_HZ).any()


def test_text_is_shown_and_cues_are_not() -> None:
    shown: list[str] = []
    mouth = TextMouth(shown.append)
    mouth.play(clip(1, text="Hold."))
    mouth.play(clip(1))
    assert shown == ["Hold."]
