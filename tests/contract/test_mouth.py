"""What every mouth does: those without a headset here, the headset's own on the virtual card.

PortAudio takes its environment once a process, so the headset's turn comes in a run of pytest of
its own, started by the last test: in that run `ON_CARD` is set and the headset is one more mouth.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from contextlib import nullcontext
from threading import Event
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench.virtual_card import VirtualCard
from companion.ports import Clip
from companion.sound_card import headphones
from companion.speaking.headset_mouth import HeadsetMouth
from companion.speaking.mouths import FileMouth, SilentMouth, TextMouth

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager

    from companion.ports import Mouth

ON_CARD = "MOUTH_CONTRACT_ON_CARD"
CLIP = Clip(np.full(22_050, 1_000, np.int16), 22_050, "one second")
DELAY_S = 0.3  # more than what a sound system holds back


class Clock:
    """A stream position that the test moves; with a headset it comes by itself."""

    def __init__(self) -> None:
        self.now_s = 0.0
        self._is_real = ON_CARD in os.environ
        self._began = perf_counter()

    def __call__(self) -> float:
        return self.now_s

    def go_to(self, at_s: float) -> None:
        """Go to a moment; with a headset no further than to where all of a clip was heard."""
        self.now_s = at_s
        if self._is_real:
            until = self._began + min(at_s, CLIP.duration_s) + DELAY_S
            Event().wait(max(0.0, until - perf_counter()))


def mouths() -> list[str]:
    return ["headset"] if ON_CARD in os.environ else ["file", "text", "silent"]


@pytest.fixture(params=mouths())
def mouth(request: pytest.FixtureRequest, clock: Clock) -> Iterator[Mouth]:
    made: AbstractContextManager[Mouth]
    match request.param:
        case "headset":
            made = HeadsetMouth(headphones())
        case "file":
            made = nullcontext(FileMouth(clock))
        case "text":
            made = nullcontext(TextMouth(lambda _text: None))
        case _:
            made = nullcontext(SilentMouth())
    with made as opened:
        yield opened


@pytest.fixture
def clock() -> Clock:
    return Clock()


def test_a_clip_left_alone_is_heard_to_its_end(mouth: Mouth, clock: Clock) -> None:
    playing = mouth.play(CLIP)
    clock.go_to(5.0)
    assert playing.heard_s == pytest.approx(1.0)


def test_no_more_is_heard_than_there_is_and_never_less_than_before(
    mouth: Mouth, clock: Clock
) -> None:
    playing, before_s = mouth.play(CLIP), 0.0
    for at_s in (0.0, 0.3, 0.9, 1.0, 9.0):
        clock.go_to(at_s)
        heard_s = playing.heard_s
        assert before_s <= heard_s <= CLIP.duration_s
        before_s = heard_s


def test_what_was_heard_never_grows_after_a_stop(mouth: Mouth, clock: Clock) -> None:
    playing = mouth.play(CLIP)
    clock.go_to(0.25)
    playing.stop()
    heard_s = playing.heard_s
    clock.go_to(3.0)
    playing.stop()
    assert playing.heard_s == heard_s


def test_ducking_lifting_and_stopping_in_any_order_and_twice_is_no_trouble(
    mouth: Mouth, clock: Clock
) -> None:
    playing = mouth.play(CLIP)
    playing.lift()
    playing.duck()
    clock.go_to(0.1)
    playing.duck()
    playing.lift()
    playing.lift()
    playing.stop()
    playing.lift()
    playing.duck()
    playing.stop()
    assert playing.heard_s <= CLIP.duration_s


def test_a_clip_that_was_ducked_and_lifted_is_heard_to_its_end(mouth: Mouth, clock: Clock) -> None:
    playing = mouth.play(CLIP)
    clock.go_to(0.1)
    playing.duck()
    clock.go_to(0.3)
    playing.lift()
    clock.go_to(5.0)
    assert playing.heard_s == pytest.approx(1.0)


def test_a_clip_in_line_is_heard_after_the_one_before_was_cut(mouth: Mouth, clock: Clock) -> None:
    first, second = mouth.play(CLIP), mouth.play(Clip(CLIP.samples[:2_205], 22_050, "a tenth"))
    first.stop()
    clock.go_to(5.0)
    assert second.heard_s == pytest.approx(0.1)


def test_an_empty_clip_is_heard_at_once(mouth: Mouth) -> None:
    playing = mouth.play(Clip(np.zeros(0, np.int16), 22_050, "nothing"))
    assert playing.heard_s == 0.0


@pytest.mark.card
@pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible())
@pytest.mark.skipif(ON_CARD in os.environ, reason="it is the headset's turn already")
def test_the_headset_keeps_the_contract_on_the_virtual_card() -> None:
    with VirtualCard() as card:
        done = subprocess.run(
            [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", "-k", "headset", __file__],
            env={**card.environment, ON_CARD: "1", "PYTEST_ADDOPTS": ""}, stdin=subprocess.DEVNULL,
            capture_output=True, text=True, timeout=120, check=False,
        )  # fmt: skip
    assert done.returncode == 0, done.stdout
    assert re.search(r"\b7 passed", done.stdout), done.stdout
