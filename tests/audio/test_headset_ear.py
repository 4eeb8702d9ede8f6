"""The headset's microphone: what is kept, lost, counted and told.

First without a sound card, block by block, as PortAudio would hand them over; then on the virtual
card, in programs of their own. `test_headset.py` shows ear and mouth at their everyday work.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from companion.audio import headset_ear
from companion.audio.headset_ear import HeadsetEar
from companion.bench.virtual_card import MICROPHONE, VirtualCard
from companion.errors import DeviceError
from companion.rehearsal.speakers import speaker
from companion.sound_card import Device

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from companion.ports import Samples

GOOD, OVERFLOWN = SimpleNamespace(input_overflow=False), SimpleNamespace(input_overflow=True)
KEPT = 500  # blocks of 20 ms: ten seconds, as the brief of the ear asks for


@pytest.fixture
def ear() -> HeadsetEar:
    device = Device(0, "Test", "ALSA", 2, 0, 16_000.0, is_default_input=True,
                    is_default_output=False)  # fmt: skip
    return HeadsetEar(device)


def block(value: int) -> bytes:
    return np.full(320, value, np.int16).tobytes()


def test_what_is_not_taken_is_kept_for_ten_seconds_then_lost_and_counted(ear: HeadsetEar) -> None:
    for number in range(KEPT):
        ear._capture(block(number), 320, None, GOOD)
    assert ear.overruns == 0
    for number in range(7):
        ear._capture(block(-number), 320, None, GOOD)
    assert ear.overruns == 7
    frames = ear.frames()
    assert [int(next(frames).samples[0]) for _ in range(KEPT)] == list(range(KEPT))
    ear._capture(block(9), 320, None, GOOD)
    assert int(next(frames).samples[0]) == 9
    assert ear.overruns == 7


def test_a_full_queue_does_not_hide_that_the_microphone_is_gone(ear: HeadsetEar) -> None:
    for number in range(KEPT):
        ear._capture(block(number), 320, None, GOOD)
    ear._finished()
    frames = ear.frames()
    for _ in range(KEPT):
        next(frames)
    with pytest.raises(DeviceError, match="'Test' gives no more sound"):
        next(frames)
    assert ear.overruns == 0


def test_what_the_sound_system_lost_is_counted(ear: HeadsetEar) -> None:
    ear._capture(block(1), 320, None, OVERFLOWN)
    ear._capture(block(2), 320, None, GOOD)
    assert ear.overruns == 1


def test_two_channels_become_their_mean(ear: HeadsetEar) -> None:
    ear._channels = 2
    ear._capture(np.array([[100, 300], [-8, -8], [32_767, 32_767]], np.int16).tobytes(), 3, None,
                 GOOD)  # fmt: skip
    assert next(ear.frames()).samples.tolist() == [200, -8, 32_767]


def test_a_moment_of_the_stream_has_the_time_at_which_its_block_came(
    ear: HeadsetEar, monkeypatch: pytest.MonkeyPatch
) -> None:
    came_at = iter([10.00, 10.02, 10.05])
    monkeypatch.setattr(headset_ear, "perf_counter", lambda: next(came_at))
    for number in range(3):
        ear._capture(block(number), 320, None, GOOD)
    frames = ear.frames()
    for _ in range(3):
        next(frames)
    moments_s = (0.0, 0.02, 0.021, 0.045, 0.06, 7.0)
    assert [ear.arrived_at(at_s) for at_s in moments_s] == [10.0, 10.0, 10.02, 10.05, 10.05, 10.05]


needs_card = pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible())
PROGRAM = Path(__file__).with_name("ear_program.py")


@pytest.fixture(scope="module")
def card() -> Iterator[VirtualCard]:
    with VirtualCard() as made:
        yield made


def told_by(card: VirtualCard, arguments: list[str], act: Callable[[], None]) -> dict[str, Any]:
    """Start a program that listens; do something once it does; return what it tells at its end."""
    with subprocess.Popen(
        [sys.executable, str(PROGRAM), *arguments],
        env=card.environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True,
    ) as process:  # fmt: skip
        try:
            assert process.stdout
            assert json.loads(process.stdout.readline()) == {"ready": True}
            act()
            out, _ = process.communicate(timeout=30)
        finally:
            process.kill()
    assert process.returncode == 0
    return dict(json.loads(out))


def alike(said: Samples, heard: Samples) -> float:
    """Return how alike a sound is to the piece of another that fits it best, -1 to 1."""
    one, other = said.astype(np.float64), heard.astype(np.float64)
    size = len(one) + len(other)
    found = np.fft.irfft(np.fft.rfft(other, size) * np.conj(np.fft.rfft(one, size)), size)
    at = int(np.argmax(found[: len(other) - len(one) + 1]))
    piece = other[at : at + len(one)]
    return float(one @ piece / np.sqrt((one @ one) * (piece @ piece)))


@pytest.mark.card
@needs_card
@pytest.mark.parametrize("rate_hz", [44_100, 48_000])
def test_a_stereo_microphone_without_16_khz_hears_as_well(card: VirtualCard, rate_hz: int) -> None:
    """Alike up to what two resamplers take off the top of the band; common practice, no source."""
    said = speaker("espeak:en-us+m3").say("supply static point four five")
    told = told_by(card, ["hear-only", str(rate_hz), "4"], lambda: card.say(said).wait())
    assert told["form"] == [rate_hz, 2]
    assert alike(said, np.array(told["sound"], np.int16)) > 0.99
    assert told["overruns"] == 0


@pytest.mark.card
@needs_card
def test_what_is_said_has_come_soon_after_it_was_said(card: VirtualCard) -> None:
    """The click's own time is the card's recording of it, which is some milliseconds late."""
    click = np.zeros(4_000, np.int16)
    click[1_000] = 20_000
    told = told_by(card, ["hear", "3"], lambda: card.say(click).wait())
    heard = card.microphone.samples[-16_000 * 6 :].astype(np.int32)
    at = len(card.microphone.samples) - len(heard) + int(np.argmax(np.abs(heard)))
    assert -0.02 < told["loudest_at"] - card.microphone.time_of(at) < 0.2


@pytest.mark.card
@needs_card
def test_a_microphone_that_is_pulled_out_is_told_at_once(card: VirtualCard) -> None:
    try:
        told = told_by(card, ["hear-until-gone"], lambda: card.unplug(MICROPHONE))
    finally:
        card.plug_in(MICROPHONE)
    assert "gives no more sound. Plug it in" in told["problem"]
    assert told["after_s"] < 2.9
    assert not told_by(card, ["hear", "0.5"], lambda: None)["overruns"]


@pytest.mark.card
@needs_card
def test_a_microphone_that_falls_silent_as_a_device_is_told_after_three_seconds(
    card: VirtualCard,
) -> None:
    try:
        told = told_by(card, ["hear-until-gone"], lambda: card.hold(MICROPHONE))
    finally:
        card.let_go(MICROPHONE)
    assert "gives no more sound" in told["problem"]
    assert 2.9 < told["after_s"] < 6.0
