"""What every mouth does, run over each one that works without a headset."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.ports import Clip
from companion.speaking.mouths import FileMouth, SilentMouth, TextMouth

if TYPE_CHECKING:
    from companion.ports import Mouth

CLIP = Clip(np.full(22_050, 1_000, np.int16), 22_050, "one second")


class Clock:
    """A stream position that the test moves."""

    now_s = 0.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(params=["file", "text", "silent"])
def mouth(request: pytest.FixtureRequest, clock: Clock) -> Mouth:
    match request.param:
        case "file":
            return FileMouth(clock)
        case "text":
            return TextMouth(lambda _text: None)
        case _:
            return SilentMouth()


def test_a_clip_left_alone_is_heard_to_its_end(mouth: Mouth, clock: Clock) -> None:
    playing = mouth.play(CLIP)
    clock.now_s = 5.0
    assert playing.heard_s == pytest.approx(1.0)


def test_no_more_is_heard_than_there_is(mouth: Mouth, clock: Clock) -> None:
    playing = mouth.play(CLIP)
    for clock.now_s in (0.0, 0.3, 0.9, 1.0, 9.0):
        assert 0.0 <= playing.heard_s <= CLIP.duration_s


def test_what_was_heard_never_grows_after_a_stop(mouth: Mouth, clock: Clock) -> None:
    playing = mouth.play(CLIP)
    clock.now_s = 0.25
    playing.stop()
    heard_s = playing.heard_s
    clock.now_s = 3.0
    playing.stop()
    assert playing.heard_s == heard_s


def test_ducking_and_stopping_in_any_order_and_twice_is_no_trouble(
    mouth: Mouth, clock: Clock
) -> None:
    playing = mouth.play(CLIP)
    playing.duck()
    clock.now_s = 0.1
    playing.duck()
    playing.stop()
    playing.duck()
    playing.stop()
    assert playing.heard_s <= CLIP.duration_s


def test_an_empty_clip_is_heard_at_once(mouth: Mouth) -> None:
    playing = mouth.play(Clip(np.zeros(0, np.int16), 22_050, "nothing"))
    assert playing.heard_s == 0.0
