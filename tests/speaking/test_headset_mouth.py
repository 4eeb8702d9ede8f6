"""The headset's headphones, measured on what the virtual card recorded.

The recording is up to some 20 ms late against the clock (`tests/bench/test_virtual_card.py`), so
what is asserted of times leaves room for that. Speeds themselves come from the `loop` benchmark.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from threading import Lock
from time import perf_counter
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from companion.bench.virtual_card import HEADPHONES, VirtualCard, last_loud, onset
from companion.errors import DeviceError
from companion.ports import Clip
from companion.sound_card import Device
from companion.speaking.headset_mouth import HeadsetMouth, HeadsetPlaying
from companion.speaking.mixing import Track

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from companion.ports import Samples

PROGRAM = Path(__file__).with_name("mouth_program.py")
LATE_S = 0.03
CUT_WITHIN_S = 0.1  # DESIGN.md, section 5


# ---------------------------------------------------------------- what counts as heard


class Clock:
    now = 100.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> Clock:
    made = Clock()
    monkeypatch.setattr("companion.speaking.headset_mouth.perf_counter", made)
    return made


def playing(track: Track) -> HeadsetPlaying:
    return HeadsetPlaying(Clip(np.ones(800, np.int16), 8_000), track, 8_000, Lock(), lambda: None)


@pytest.fixture
def track() -> Track:
    return Track(np.full(800, 1_000, np.int16), 8_000)


def hand_over(piece: HeadsetPlaying, track: Track, sounds_at: float) -> None:
    """Hand over 10 ms."""
    track.take(80)
    piece.handed_over(sounds_at, 80)


def test_what_the_device_still_holds_does_not_count_as_heard(clock: Clock, track: Track) -> None:
    """Three blocks of 10 ms, handed over at once, to be heard from 100.05 on."""
    clip = playing(track)
    assert clip.heard_s == 0.0
    assert clip.first_sample_at is None
    for number in range(3):
        hand_over(clip, track, 100.05 + number / 100)
    heard = {100.0: 0.0, 100.05: 0.0, 100.055: 0.005, 100.065: 0.015, 100.08: 0.03, 109.0: 0.03}
    for clock.now, heard_s in heard.items():
        assert clip.heard_s == pytest.approx(heard_s, abs=1e-9)
    assert clip.first_sample_at == 100.05


def test_a_clip_is_heard_when_its_last_sample_was(clock: Clock, track: Track) -> None:
    clip = playing(track)
    for number in range(10):
        hand_over(clip, track, 100.05 + number / 100)
    assert track.is_over
    clock.now = 100.149
    assert clip.heard_s == pytest.approx(0.099, abs=1e-9)
    clock.now = 100.151
    assert clip.heard_s == 0.1


def test_a_cut_holds_what_was_heard_up_to_it(clock: Clock, track: Track) -> None:
    clip = playing(track)
    hand_over(clip, track, 100.05)
    clock.now = 100.054
    clip.stop()
    hand_over(clip, track, 100.06)
    for clock.now in (100.054, 100.08, 200.0):
        assert clip.heard_s == pytest.approx(0.004, abs=1e-9)


# ---------------------------------------------------------------- PortAudio's clock


@pytest.mark.parametrize(
    ("current", "leaves", "delay_s"),
    [
        (50.0, 50.045, 0.045),
        (50.0, 0.0, 0.06),  # not every sound system tells it: then what the stream says of itself
        (50.0, 50.0, 0.06),
        (0.0, 7_000.0, 0.06),
    ],
)
def test_the_delay_is_what_portaudio_says_where_that_can_be(
    current: float, leaves: float, delay_s: float
) -> None:
    device = Device(0, "Test", "ALSA", 0, 2, 48_000.0, is_default_input=False,
                    is_default_output=True)  # fmt: skip
    mouth = HeadsetMouth(device)
    mouth._stream = SimpleNamespace(latency=0.06)
    times = SimpleNamespace(currentTime=current, outputBufferDacTime=leaves)
    assert mouth._delay_s(times) == pytest.approx(delay_s)


# ---------------------------------------------------------------- on the virtual card

needs_card = pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible())


@pytest.fixture(scope="module")
def card() -> Iterator[VirtualCard]:
    with VirtualCard() as made:
        yield made


def told_by(card: VirtualCard, arguments: list[str], act: Callable[[], None]) -> dict[str, Any]:
    """Run a program that speaks; if it says that it is ready, do something; return its telling."""
    with subprocess.Popen(
        [sys.executable, str(PROGRAM), *arguments],
        env=card.environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        try:
            assert process.stdout
            told = dict(json.loads(process.stdout.readline()))
            if told == {"ready": True}:
                act()
                told = dict(json.loads(process.stdout.readline()))
            process.communicate(timeout=30)
        finally:
            process.kill()
    assert process.returncode == 0
    return told


def nothing() -> None:
    """Nothing is done to it."""


def recorded(card: VirtualCard, at: float, seconds: float) -> tuple[Samples, float]:
    """Return what the card recorded from a moment on, and when its first sample was."""
    samples, first_at = card.headphones.since(at)
    return samples[: round(seconds * card.headphones.rate_hz)], first_at


@pytest.mark.card
@needs_card
@pytest.mark.parametrize("rate_hz", [16_000, 44_100, 48_000])
def test_clips_of_any_rate_sound_in_line_on_a_device_of_any_rate(
    card: VirtualCard, rate_hz: int
) -> None:
    told = told_by(card, ["line", str(rate_hz)], nothing)
    sound, at = recorded(card, told["asked_at"], 1.5)
    levels = np.abs(sound.astype(np.int32))
    hz = card.headphones.rate_hz
    first, last = onset(sound), last_loud(sound)
    assert first is not None
    assert last is not None
    assert (last - first) / hz == pytest.approx(0.75, abs=0.01)
    for middle_s, level in ((0.15, 4_000), (0.40, 12_000), (0.625, 8_000)):
        middle = first + round(middle_s * hz)
        around = np.median(levels[middle - hz // 50 : middle + hz // 50])
        assert around == pytest.approx(level, rel=0.1)  # a resampled square tone rings
    assert told["heard_s"] == pytest.approx([0.30, 0.20, 0.25], abs=1e-6)
    began_at = at + first / hz
    for when, heard_s in told["heard"]:
        assert heard_s <= max(0.0, when - began_at) + LATE_S
    for first_at, before_s in zip(told["first_samples_at"], (0.0, 0.30, 0.50), strict=True):
        assert first_at == pytest.approx(began_at + before_s, abs=LATE_S)
    assert told["underruns"] == 0


@pytest.mark.card
@needs_card
def test_a_cut_is_silence_within_a_tenth_of_a_second(card: VirtualCard) -> None:
    for cut_at, heard_s in told_by(card, ["cut"], nothing)["cuts"]:
        before, first_at = recorded(card, cut_at - 0.25, 0.25)
        began_at = first_at + (onset(before) or 0) / card.headphones.rate_hz
        assert 0.0 < heard_s <= cut_at - began_at + LATE_S
        after, first_at = recorded(card, cut_at, 0.28)
        silent_s = first_at + (last_loud(after) or 0) / card.headphones.rate_hz - cut_at
        assert 0.0 <= silent_s < CUT_WITHIN_S


@pytest.mark.card
@needs_card
def test_headphones_that_are_pulled_out_are_told_at_the_next_clip(card: VirtualCard) -> None:
    gone_at: list[float] = []

    def pull() -> None:
        card.unplug(HEADPHONES)
        gone_at.append(perf_counter())

    try:
        told = told_by(card, ["until-gone"], pull)
    finally:
        card.plug_in(HEADPHONES)
    assert "play no more. Plug them in again" in told["problem"]
    assert told["at"] - gone_at[0] < 2.9
    assert told["heard"] <= gone_at[0] - told["first_at"] + LATE_S
    assert told_by(card, ["line", "48000"], nothing)["underruns"] == 0


@pytest.mark.card
@needs_card
def test_headphones_that_take_no_more_are_told_after_three_seconds(card: VirtualCard) -> None:
    try:
        told = told_by(card, ["until-gone"], lambda: card.hold(HEADPHONES))
    finally:
        card.let_go(HEADPHONES)
    assert "play no more" in told["problem"]
    assert told["heard"] < 3.0


def test_headphones_that_are_gone_leave_no_one_waiting_for_the_end(track: Track) -> None:
    def gone() -> None:
        raise DeviceError("The headphones play no more", "Plug them in again.")

    clip = HeadsetPlaying(Clip(np.ones(800, np.int16), 8_000), track, 8_000, Lock(), gone)
    with pytest.raises(DeviceError):
        _ = clip.heard_s
    clip.stop()
    assert clip.heard_s == 0.0
