"""The virtual sound card itself: sounds as they were, times that agree, and nothing left behind."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from contextlib import ExitStack
from pathlib import Path
from threading import Event
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench.virtual_card import (
    HEADPHONES,
    HEADPHONES_RATE_HZ,
    MICROPHONE,
    VirtualCard,
    last_loud,
    onset,
)
from companion.errors import EngineError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.bench.virtual_card import Recorder
    from companion.ports import Samples


def wait(seconds: float) -> None:
    Event().wait(seconds)


def test_a_machine_without_pulseaudio_is_told_what_to_install(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("PATH", "")
    lacking = VirtualCard.is_possible()
    assert "no pulseaudio, pactl, pacat" in lacking
    assert "apt-get install pulseaudio pulseaudio-utils" in lacking
    with pytest.raises(EngineError, match="not possible here"):
        VirtualCard().__enter__()


def test_where_a_sound_begins_and_ends_is_found() -> None:
    sound = np.array([0, 150, -300, 5, 250, 0, -32_768, 10], np.int16)
    assert (onset(sound), last_loud(sound)) == (2, 6)
    assert (onset(sound, above=400), last_loud(sound[:4])) == (6, 2)
    assert onset(np.zeros(0, np.int16)) is None


needs_card = pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible())


@pytest.fixture(scope="module")
def card() -> Iterator[VirtualCard]:
    with VirtualCard() as made:
        yield made


def click(rate_hz: int = 16_000) -> Samples:
    """Ten milliseconds, loud from its first sample on."""
    return np.tile(np.array([12_000, -12_000], np.int16), rate_hz // 200)


def first_after(recorder: Recorder, at: float) -> float:
    """Return when the first sound after a moment was recorded."""
    until = perf_counter() + 5
    while perf_counter() < until:
        samples, first_at = recorder.since(at)
        if (found := onset(samples)) is not None:
            return first_at + found / recorder.rate_hz
        wait(0.02)
    raise AssertionError("nothing was recorded")


@pytest.mark.card
@needs_card
def test_what_is_said_is_in_the_microphone_to_the_sample_and_nowhere_else(
    card: VirtualCard,
) -> None:
    noise = np.random.default_rng(5)
    said = noise.integers(-9_000, 9_000, 16_000).astype(np.int16)
    before = perf_counter()
    card.say(said).wait()
    wait(0.3)
    heard, _ = card.microphone.since(before)
    start = onset(heard, above=0)
    assert start is not None
    lead = int(np.flatnonzero(said)[0])
    assert np.array_equal(heard[start : start + len(said) - lead], said[lead:])
    played, _ = card.headphones.since(before)
    assert onset(played, above=0) is None


@pytest.mark.card
@needs_card
def test_two_recordings_of_one_sound_have_one_time(card: VirtualCard) -> None:
    """One as the microphone is recorded, one at the headphones' rate: so their ends compare.

    Seen: 0.4 ms early to 5 ms late, 30 clicks; what is asserted leaves room for a busy machine.
    """
    with ExitStack() as stack:
        other = card._recorder(stack, "vmic.monitor", HEADPHONES_RATE_HZ)
        while not len(other.samples):
            wait(0.02)
        for _ in range(5):
            before = perf_counter()
            card.say(click()).wait()
            times = [first_after(each, before) for each in (card.microphone, other)]
            assert times[1] - times[0] == pytest.approx(0.0, abs=0.02)
            assert before < times[0] + 0.02
            assert times[0] < perf_counter()


@pytest.mark.card
@needs_card
def test_a_recording_keeps_step_with_the_clock(card: VirtualCard) -> None:
    """Whatever came late, its length is the time that it took."""
    for recorder in (card.microphone, card.headphones):
        began_at, count = recorder.time_of(len(recorder.samples)), len(recorder.samples)
        assert began_at == pytest.approx(perf_counter(), abs=0.1)
        wait(1.0)
        took_s = recorder.time_of(len(recorder.samples)) - began_at
        assert took_s == pytest.approx((len(recorder.samples) - count) / recorder.rate_hz, abs=0.01)
        assert took_s == pytest.approx(1.0, abs=0.1)


@pytest.mark.card
@needs_card
def test_pulled_out_and_plugged_in_twice_the_recordings_go_on(card: VirtualCard) -> None:
    for name in (MICROPHONE, HEADPHONES):
        card.unplug(name)
        card.unplug(name)
    before = perf_counter()
    card.say(click()).wait()
    first_after(card.microphone, before)
    for name in (MICROPHONE, HEADPHONES):
        card.plug_in(name)
        card.plug_in(name)
    play = ["pacat", "--playback", "--raw", "--format=s16le", "--rate=48000", "--channels=1"]
    before = perf_counter()
    subprocess.run(
        play, env=card.environment, input=click(48_000).tobytes(), check=True, timeout=20
    )
    first_after(card.headphones, before)


@pytest.mark.card
@needs_card
def test_two_cards_do_not_hear_each_other(card: VirtualCard) -> None:
    with VirtualCard() as other:
        before = perf_counter()
        other.say(click()).wait()
        first_after(other.microphone, before)
        heard, _ = card.microphone.since(before)
        assert onset(heard, above=0) is None


ON_A_CARD = """
import time
from companion.bench.virtual_card import VirtualCard
with VirtualCard() as card:
    print(card.environment["HOME"], flush=True)
    {then}
"""


def started(then: str) -> tuple[subprocess.Popen[str], Path, list[int]]:
    """Start a program with a card; return it, the card's folder and the processes of the card."""
    process = subprocess.Popen(
        [sys.executable, "-c", ON_A_CARD.format(then=then)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    assert process.stdout
    home = Path(process.stdout.readline().strip())
    children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    return process, home, [int(pid) for pid in children.read_text("ascii").split()]


def are_gone(pids: list[int]) -> bool:
    """Whether they end by themselves; those that don't are ended."""
    until = perf_counter() + 20
    while perf_counter() < until:
        if not any(is_running(pid) for pid in pids):
            return True
        wait(0.05)
    for pid in filter(is_running, pids):
        os.kill(pid, signal.SIGKILL)
    return False


def is_running(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text("ascii").rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.card
@needs_card
def test_a_run_that_fails_leaves_no_process_and_no_folder() -> None:
    process, home, pids = started("input(); raise ValueError")
    assert len(pids) == 4  # the server, the silence of the room, two recorders
    assert all(is_running(pid) for pid in pids)
    process.communicate("\n", timeout=20)
    assert process.returncode == 1
    assert are_gone(pids)
    assert not home.exists()


@pytest.mark.card
@needs_card
@pytest.mark.skipif(
    shutil.which("setpriv") is None, reason="no setpriv; apt-get install util-linux"
)
def test_a_run_that_is_killed_leaves_no_process() -> None:
    process, home, pids = started("time.sleep(60)")
    process.send_signal(signal.SIGKILL)
    process.communicate()
    all_gone = are_gone(pids)
    shutil.rmtree(home)  # nobody was left to do it
    assert all_gone
