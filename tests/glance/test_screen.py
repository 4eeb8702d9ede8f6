"""The view on a real (pseudo) terminal: drawn, given back on every way out, never waited for."""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
from pathlib import Path
from time import monotonic, sleep
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

PROGRAM = Path(__file__).with_name("screen_program.py")
SOON_S = 20.0
ALTERNATE, BACK = b"\x1b[?1049h", b"\x1b[?1049l"  # xterm's screens (terminfo smcup, rmcup)


def reset_interrupt() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)


class OnTerminal:
    """The program on a terminal of 80 by 24."""

    def __init__(self, how: str, terminal: str = "xterm") -> None:
        self.ours, theirs = pty.openpty()
        self.process = subprocess.Popen(
            [sys.executable, str(PROGRAM), how],
            env={**os.environ, "TERM": terminal, "LINES": "24", "COLUMNS": "80"},
            stdin=theirs, stdout=theirs, stderr=subprocess.PIPE,
            preexec_fn=reset_interrupt,  # noqa: PLW1509
        )  # fmt: skip
        os.close(theirs)

    def read(self, until: bytes = b"") -> bytes:
        """Return what was drawn, up to a text, or to the end."""
        seen, end = b"", monotonic() + SOON_S
        while not (until and until in seen):
            assert monotonic() < end, seen[-300:]
            if not select.select([self.ours], [], [], 0.1)[0]:
                if self.process.poll() is not None:
                    break
                continue
            try:
                seen += os.read(self.ours, 65_536)
            except OSError:  # the other end is closed
                break
        return seen

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self.ours)
        if self.process.stderr:
            self.process.stderr.close()


@pytest.fixture
def started() -> Iterator[list[OnTerminal]]:
    programs: list[OnTerminal] = []
    yield programs
    for program in programs:
        program.close()


def start(started: list[OnTerminal], how: str, terminal: str = "xterm") -> OnTerminal:
    started.append(OnTerminal(how, terminal))
    return started[-1]


def test_the_view_is_drawn_on_the_other_screen_and_given_back(started: list[OnTerminal]) -> None:
    seen = start(started, "end").read()
    assert ALTERNATE in seen
    assert b"Look at it." in seen
    assert seen.index(BACK) > seen.index(b"Look at it.")
    assert b"restored" in seen[seen.index(BACK) :]


def test_a_crash_gives_the_terminal_back(started: list[OnTerminal]) -> None:
    program = start(started, "crash")
    assert BACK in program.read()
    assert program.process.wait(SOON_S) == 1
    assert program.process.stderr
    assert b"on purpose" in program.process.stderr.read()


def test_ctrl_c_gives_the_terminal_back(started: list[OnTerminal]) -> None:
    program = start(started, "on")
    program.read(b"Look at it.")
    program.process.send_signal(signal.SIGINT)
    assert BACK in program.read()


def test_only_what_changed_is_drawn_again(started: list[OnTerminal]) -> None:
    program = start(started, "on")
    program.read(b"Look at it.")
    sleep(0.5)
    program.read(b"\x1b[")
    sleep(1.0)  # ten more views by now, each with another number
    later = os.read(program.ours, 65_536)
    assert b"Look" not in later
    assert 0 < len(later) < 1_000


def test_a_terminal_that_nobody_reads_holds_nothing_up(started: list[OnTerminal]) -> None:
    program = start(started, "flood")
    assert program.process.wait(SOON_S) == 0


def test_a_terminal_that_cannot_place_the_cursor_gets_plain_lines(
    started: list[OnTerminal],
) -> None:
    assert b"plain" in start(started, "end", "dumb").read()
