"""`companion work --devices`: listed for a program, asked about at a terminal, remembered."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import subprocess
import sys
import termios
from contextlib import suppress
from time import monotonic
from typing import TYPE_CHECKING, Self

import pytest

from companion.bench.virtual_card import VirtualCard
from companion.settings import Settings, load_settings, save_settings

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

pytestmark = [
    pytest.mark.card,
    pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible()),
]
SOON_S = 30.0
COMMAND = (sys.executable, "-m", "companion", "work", "--devices")
LAST_QUESTION = "Headphones, a number or part of a name; Enter keeps it: "
CTRL_C, CTRL_D = "\x03", "\x04"


@pytest.fixture(scope="module")
def card() -> Iterator[VirtualCard]:
    with VirtualCard() as made:
        yield made


@pytest.fixture
def settings_file(tmp_path: Path) -> Path:
    """Where the command keeps what is chosen, when `tmp_path` is its XDG_CONFIG_HOME."""
    return tmp_path / "companion" / "settings.json"


def at_a_terminal() -> None:
    """Make the terminal on stdin the program's own, so that Ctrl-C reaches it."""
    os.setsid()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)
    signal.signal(signal.SIGINT, signal.default_int_handler)


class Terminal:
    """The command at a terminal, with somebody who waits to be asked before answering."""

    def __init__(self, card: VirtualCard, tmp_path: Path) -> None:
        self._ours, theirs = pty.openpty()
        self._said = ""
        self.process = subprocess.Popen(
            COMMAND, env=card.environment | {"XDG_CONFIG_HOME": str(tmp_path)},
            stdin=theirs, stdout=theirs, stderr=theirs, preexec_fn=at_a_terminal,  # noqa: PLW1509
        )  # fmt: skip
        os.close(theirs)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self._ours)

    def until(self, text: str) -> str:
        """Return what was said up to a text, which is then taken as read."""
        until = monotonic() + SOON_S
        while text not in self._said:
            ready, _, _ = select.select([self._ours], [], [], max(0.0, until - monotonic()))
            assert ready, f"'{text}' was never said: {self._said}"
            self._said += os.read(self._ours, 65_536).decode()
        before, _, self._said = self._said.partition(text)
        return before

    def type(self, keys: str) -> None:
        os.write(self._ours, keys.encode())

    def answers(self, question: str, keys: str) -> None:
        self.until(question)
        self.type(keys)

    def ended(self) -> int:
        return self.process.wait(timeout=SOON_S)

    def interrupted(self) -> int:
        """Press Ctrl-C until it ends: Python takes none between its question and its reading."""
        until = monotonic() + SOON_S
        while monotonic() < until:
            self.type(CTRL_C)
            with suppress(subprocess.TimeoutExpired):
                return self.process.wait(timeout=0.5)
        raise AssertionError("it does not end on Ctrl-C")


def numbers(listed: str) -> dict[str, str]:
    """Return the number of each device that was listed."""
    rows = (line.split() for line in listed.splitlines())
    return {row[1]: row[0] for row in rows if len(row) > 1 and row[0].isdigit()}


def test_devices_are_chosen_by_name_and_remembered(
    card: VirtualCard, tmp_path: Path, settings_file: Path
) -> None:
    with Terminal(card, tmp_path) as terminal:
        terminal.answers("Enter keeps it: ", "nothing like it\n")
        told = terminal.until("Enter keeps it: ")
        assert "There is no microphone 'nothing like it'" in told
        assert "pulse" in told  # those that there are
        terminal.type("PULSE\n")
        terminal.answers(LAST_QUESTION, "\n")
        terminal.until("Kept.")
        assert terminal.ended() == 0
    kept = load_settings(settings_file)
    assert (kept.microphone, kept.headphones) == ("pulse", "")


def test_a_number_is_kept_as_the_name_of_its_device(
    card: VirtualCard, tmp_path: Path, settings_file: Path
) -> None:
    """Numbers change with what is plugged in."""
    save_settings(Settings(recogniser="bundled-original", microphone="pulse"), settings_file)
    with Terminal(card, tmp_path) as terminal:
        number = numbers(terminal.until("Microphone, a number"))["default"]
        terminal.answers("Enter keeps it: ", "\n")
        terminal.answers("Enter keeps it: ", f" {number} \n")
        terminal.until("Kept.")
        assert terminal.ended() == 0
    assert load_settings(settings_file) == Settings("bundled-original", "", "pulse", "default")


def test_ctrl_d_changes_nothing(card: VirtualCard, tmp_path: Path, settings_file: Path) -> None:
    save_settings(Settings(headphones="default"), settings_file)
    with Terminal(card, tmp_path) as terminal:
        terminal.answers("Enter keeps it: ", "pulse\n")
        terminal.answers(LAST_QUESTION, CTRL_D)
        assert "Traceback" not in terminal.until("Nothing was changed.")
        assert terminal.ended() == 0
    assert load_settings(settings_file) == Settings(headphones="default")


def test_ctrl_c_changes_nothing(card: VirtualCard, tmp_path: Path, settings_file: Path) -> None:
    with Terminal(card, tmp_path) as terminal:
        terminal.answers("Enter keeps it: ", "pulse\n")
        terminal.until(LAST_QUESTION)
        assert terminal.interrupted() == 130
    assert not settings_file.exists()


def listed(card: VirtualCard, tmp_path: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        COMMAND, env=card.environment | {"XDG_CONFIG_HOME": str(tmp_path)},
        stdin=subprocess.DEVNULL, capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip


def test_devices_are_listed_with_the_ones_in_use(card: VirtualCard, tmp_path: Path) -> None:
    done = listed(card, tmp_path)
    assert done.returncode == 0
    assert done.stdout.count("(in use)") == 2
    assert {"pulse", "default"} <= set(numbers(done.stdout))
    assert "--microphone NUMBER" in done.stdout
    assert done.stderr == ""


def test_a_chosen_device_that_is_not_there_is_told_beside_those_that_are(
    card: VirtualCard, tmp_path: Path, settings_file: Path
) -> None:
    save_settings(Settings(microphone="left at home"), settings_file)
    done = listed(card, tmp_path)
    assert done.returncode == 0
    [line] = done.stderr.splitlines()
    assert "no microphone 'left at home'" in line
    assert done.stdout.count("(in use)") == 1
