"""`companion work` as it is worn: the real command over a virtual sound card."""

from __future__ import annotations

import signal
import subprocess
import sys
from queue import Empty, Queue
from threading import Thread
from time import monotonic, sleep
from typing import TYPE_CHECKING, Self

import pytest

from companion.bench.virtual_card import HEADPHONES, MICROPHONE, VirtualCard
from companion.joblog import SqliteStore
from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = [
    pytest.mark.card,
    pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible()),
]
SOON_S = 30.0
COMES_BACK_WITHIN_S = 3.0


@pytest.fixture(scope="module")
def card() -> Iterator[VirtualCard]:
    with VirtualCard() as made:
        yield made


def reset_interrupt() -> None:
    """A program started in the background ignores Ctrl-C."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


class Worn:
    """The command at work, its lines as they come."""

    def __init__(self, card: VirtualCard, *arguments: str) -> None:
        self.card = card
        self.process = subprocess.Popen(
            [sys.executable, "-m", "companion", "work", *arguments],
            env=card.environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE,
            stderr=subprocess.PIPE, text=True, preexec_fn=reset_interrupt,  # noqa: PLW1509
        )  # fmt: skip
        self.lines: Queue[str] = Queue()
        self.reader = Thread(target=self._read, daemon=True)
        self.reader.start()

    def _read(self) -> None:
        assert self.process.stdout
        for line in self.process.stdout:
            self.lines.put(line.rstrip())

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        self.reader.join()
        for stream in (self.process.stdout, self.process.stderr):
            if stream:
                stream.close()

    def until(self, text: str) -> list[str]:
        """Return the lines up to one that holds the text."""
        seen: list[str] = []
        until = monotonic() + SOON_S
        while not seen or text not in seen[-1]:
            try:
                seen.append(self.lines.get(timeout=max(0.01, until - monotonic())))
            except Empty:
                raise AssertionError(f"'{text}' was never said: {seen}") from None
        return seen

    def quiet(self) -> None:
        until = monotonic() + SOON_S
        while not self.card.headphones.is_quiet(0.6):
            assert monotonic() < until
            sleep(0.05)

    def heard_out(self) -> None:
        """Wait until what was just shown has been heard: it begins to sound a little later."""
        until = monotonic() + SOON_S
        while self.card.headphones.is_quiet(0.1):
            assert monotonic() < until
            sleep(0.02)
        self.quiet()

    def say(self, text: str) -> None:
        self.card.say(speaker("espeak:en-us+m3").say(text)).wait()

    def answer(self, text: str, answered: str) -> None:
        """Say it as one does: again where it was not sure, and yes where it asks for that."""
        for _ in range(5):
            self.say(text)
            heard = self.until("  [match")[-1]
            said = self.lines.get(timeout=SOON_S).strip()
            if said == answered:
                return
            assert said == "Say again." or said.endswith("Yes or no."), (heard, said)
            self.quiet()
            text = "yes" if said.endswith("Yes or no.") else text
        raise AssertionError(f"'{text}' was never understood")

    def interrupt(self) -> str:
        self.process.send_signal(signal.SIGINT)
        self.process.wait(timeout=SOON_S)
        assert self.process.stderr
        return self.process.stderr.read()


def kinds(log: Path) -> list[str]:
    with SqliteStore(log, read_only=True) as store:
        return [entry.kind for entry in store.entries(store.jobs()[0].id)]


def test_a_job_is_worked_interrupted_and_resumed_on_the_headset(
    card: VirtualCard, tmp_path: Path
) -> None:
    log = tmp_path / "jobs.sqlite3"
    with Worn(card, "--new", "--log", str(log)) as worn:
        opening = worn.until("Nothing there, or danger?")
        assert any("Microphone:" in line for line in opening)
        # Over its voice, in the middle of the first sentences.
        until = monotonic() + SOON_S
        while card.headphones.is_quiet(0.1):
            assert monotonic() < until
            sleep(0.02)
        worn.say("which step")
        worn.until("  [match")
        worn.quiet()
        worn.answer("nothing there", "Nothing there.")
        worn.quiet()
        err = worn.interrupt()
        assert worn.process.returncode == 130
    assert "is kept. Resume it with: companion work --log" in err
    assert "ALSA" not in err
    assert "choice" in kinds(log)
    with Worn(card, "--log", str(log)) as worn:
        worn.until("Resuming.")
        worn.interrupt()
    assert kinds(log).count("resumed") == 1


def run(card: VirtualCard, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "companion", "work", *arguments],
        env=card.environment, stdin=subprocess.DEVNULL, capture_output=True, text=True,
        timeout=60, check=False,
    )  # fmt: skip


@pytest.mark.parametrize("which", ["microphone", "headphones"])
def test_a_device_that_is_not_there_is_4_and_those_there_are_named(
    card: VirtualCard, which: str, tmp_path: Path
) -> None:
    log = tmp_path / "jobs.sqlite3"
    done = run(card, f"--{which}", "no such thing", "--log", str(log))
    assert done.returncode == 4
    [line] = done.stderr.splitlines()
    assert "no such thing" in line
    assert "pulse" in line
    assert not log.exists()


@pytest.mark.parametrize("pulled", [MICROPHONE, HEADPHONES])
def test_a_headset_that_is_pulled_out_comes_back_within_three_seconds(
    pulled: str, tmp_path: Path
) -> None:
    log = tmp_path / "jobs.sqlite3"
    with VirtualCard() as card, Worn(card, "--new", "--log", str(log)) as worn:
        worn.until("Nothing there, or danger?")
        worn.heard_out()
        before = kinds(log)
        card.unplug(pulled)
        worn.until("The job is kept; plug the headset in again")
        assert worn.process.poll() is None
        sleep(1.0)
        card.plug_in(pulled)
        began = monotonic()
        worn.until("(The headset is back.)")
        assert monotonic() - began < COMES_BACK_WITHIN_S
        assert kinds(log) == before
        worn.until("Nothing there, or danger?")  # what it waited for is asked again
        worn.heard_out()
        worn.answer("nothing there", "Nothing there.")
        worn.interrupt()
    assert kinds(log).count("choice") == 1


def test_a_headset_that_never_comes_back_leaves_the_job_kept(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    with VirtualCard() as card, Worn(card, "--new", "--log", str(log)) as worn:
        worn.until("Nothing there, or danger?")
        for name in (MICROPHONE, HEADPHONES):
            card.unplug(name)
        card.stop_server()
        worn.until("The job is kept; plug the headset in again")
        sleep(1.0)
        err = worn.interrupt()
        assert worn.process.returncode == 130
    assert "is kept. Resume it with" in err
    assert "Traceback" not in err
    assert kinds(log)[0] == "job-opened"
