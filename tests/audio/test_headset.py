"""The headset, both ways, over a virtual sound card and the true PortAudio.

How exact the times are: `test_the_recorders_agree` holds the two recordings of the card against
each other; what is asserted leaves room for that.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from time import perf_counter, sleep
from typing import TYPE_CHECKING, Any, Self

import numpy as np
import pytest

from companion.bench.virtual_card import HEADPHONES, MICROPHONE, VirtualCard, last_loud, onset
from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.ports import Samples

pytestmark = [
    pytest.mark.card,
    pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible()),
]
PROGRAM = Path(__file__).with_name("headset_program.py")


@pytest.fixture
def card() -> Iterator[VirtualCard]:
    with VirtualCard() as made:
        yield made


class Program:
    """The program, started with the card's environment."""

    def __init__(self, card: VirtualCard, *arguments: str) -> None:
        self.process = subprocess.Popen(
            [sys.executable, str(PROGRAM), *arguments],
            env=card.environment, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip

    def told(self) -> dict[str, Any]:
        assert self.process.stdout
        line = self.process.stdout.readline()
        assert line, self.process.stderr and self.process.stderr.read()
        return dict(json.loads(line))

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.communicate()

    def end(self, timeout_s: float = 20.0) -> str:
        """Wait until it has ended; return what it wrote on standard error."""
        _, said = self.process.communicate(timeout=timeout_s)
        return str(said)


def sentence() -> Samples:
    return speaker("espeak:en-us+m3").say("supply static point four five")


def where(needle: Samples, hay: Samples) -> tuple[int, float]:
    """Return where a sound lies in another, and how alike the two are there, -1 to 1."""
    one, other = needle.astype(np.float64), hay.astype(np.float64)
    size = len(one) + len(other)
    product = np.fft.irfft(np.fft.rfft(other, size) * np.conj(np.fft.rfft(one, size)), size)
    at = int(np.argmax(product[: len(other) - len(one) + 1]))
    piece = other[at : at + len(one)]
    return at, float(one @ piece / np.sqrt((one @ one) * (piece @ piece)))


def test_what_is_said_into_the_microphone_arrives_as_it_was(card: VirtualCard) -> None:
    with Program(card, "hear", "5", "0") as program:
        program.told()
        said = sentence()
        card.say(said).wait()
        told = program.told()
        _, alike = where(said, np.array(told["sound"], np.int16))
        assert alike > 0.999
        assert told["overruns"] == 0
        assert program.end() == ""  # nothing of the sound system's chatter on the screen


def test_a_program_that_falls_behind_loses_nothing_up_to_ten_seconds(card: VirtualCard) -> None:
    with Program(card, "hear", "7", "3") as program:
        program.told()
        sleep(1.5)  # it is asleep now
        said = sentence()
        card.say(said).wait()
        told = program.told()
        _, alike = where(said, np.array(told["sound"], np.int16))
        assert alike > 0.999
        assert told["overruns"] == 0


@pytest.mark.parametrize(
    ("what", "device"), [("hear-until-gone", MICROPHONE), ("play-until-gone", HEADPHONES)]
)
def test_a_headset_that_is_pulled_out_is_told_and_nothing_hangs(
    card: VirtualCard, what: str, device: str
) -> None:
    with Program(card, what) as program:
        program.told()
        card.unplug(device)
        card.unplug(HEADPHONES if device == MICROPHONE else MICROPHONE)
        card.stop_server()
        assert "Plug" in program.told()["problem"]
        program.end()


def level(samples: Samples, rate_hz: int) -> float:
    """The usual level of 10 ms: a busy machine may leave a gap, which is not what is asked here."""
    piece = rate_hz // 100
    whole = samples[: len(samples) // piece * piece].astype(np.float64).reshape(-1, piece)
    return float(np.median(np.sqrt(np.mean(np.square(whole), axis=1))))


def test_clips_are_played_ducked_lifted_and_cut(card: VirtualCard) -> None:
    with Program(card, "play") as program:
        told = program.told()
        assert program.end() == ""
        recorder = card.headphones
        samples, rate_hz = recorder.samples, recorder.rate_hz
        first = onset(samples)
        assert first is not None

        def around(at: float) -> float:
            """The level a quarter of a second after a moment, 100 ms of it."""
            start, first_at = recorder.since(at + 0.25)
            del first_at
            return level(start[: rate_hz // 10], rate_hz)

        plain = level(samples[first + rate_hz // 10 : first + rate_hz // 5], rate_hz)
        assert plain == pytest.approx(10_000 / np.sqrt(2), rel=0.05)
        assert 20 * np.log10(around(told["duck"]) / plain) == pytest.approx(-12.0, abs=1.0)
        assert around(told["lift"]) == pytest.approx(plain, rel=0.05)
        assert around(told["stop"]) == pytest.approx(5_000 / np.sqrt(2), rel=0.1)  # the next clip
        # The fade is over, and the next clip sounds, within 100 ms of the cut (DESIGN.md 5).
        after, at = recorder.since(told["stop"])
        loud = np.flatnonzero(np.abs(after.astype(np.int32)) > 8_000)
        cut_s = at + (loud[-1] if len(loud) else 0) / rate_hz - told["stop"]
        assert cut_s < 0.1
        # Heard is what has left: no more than was recorded up to then.
        recorded_s = told["stop"] - recorder.time_of(first)
        assert told["heard_s"] <= recorded_s + 0.06
        assert told["heard_s"] == pytest.approx(1.8, abs=0.15)


def test_the_recorders_agree(card: VirtualCard) -> None:
    """The microphone's own sound, in a program that plays nothing, has one time in both clocks."""
    before = perf_counter()
    card.say(sentence()).wait()
    sleep(0.3)
    samples = card.microphone.samples
    first, last = onset(samples), last_loud(samples)
    assert first is not None
    assert last is not None
    began, ended = card.microphone.time_of(first), card.microphone.time_of(last)
    assert before < began < ended < perf_counter()
    assert ended - began == pytest.approx((last - first) / 16_000, abs=0.02)
