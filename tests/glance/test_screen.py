"""The view on a real (pseudo) terminal: drawn, given back on every way out, never waited for."""

from __future__ import annotations

import fcntl
import os
import pty
import re
import select
import shutil
import signal
import struct
import subprocess
import sys
import termios
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

PROGRAM = Path(__file__).with_name("screen_program.py")
SOON_S = 20.0
ALTERNATE, BACK = b"\x1b[?1049h", b"\x1b[?1049l"  # xterm's screens (terminfo smcup, rmcup)


def reset_interrupt() -> None:
    signal.signal(signal.SIGINT, signal.default_int_handler)


class OnTerminal:
    """A program on a terminal of 80 by 24, ours by its other end."""

    def __init__(self, *command: str, terminal: str = "xterm", is_shell: bool = False) -> None:
        self.ours, theirs = pty.openpty()
        self.resize(80, 24, theirs)
        leaving_out = ("LINES", "COLUMNS")
        kept = {name: value for name, value in os.environ.items() if name not in leaving_out}
        self.process = subprocess.Popen(
            command, env={**kept, "TERM": terminal, "LC_ALL": "C.UTF-8", "PS1": "$ "},
            stdin=theirs, stdout=theirs, stderr=theirs if is_shell else subprocess.PIPE,
            preexec_fn=owning_terminal if is_shell else reset_interrupt,  # noqa: PLW1509
            start_new_session=is_shell,
        )  # fmt: skip
        os.close(theirs)

    def resize(self, columns: int, lines: int, end: int = -1) -> None:
        size = struct.pack("HHHH", lines, columns, 0, 0)
        fcntl.ioctl(self.ours if end < 0 else end, termios.TIOCSWINSZ, size)

    def type(self, keys: bytes) -> None:
        os.write(self.ours, keys)

    def read(self, until: bytes = b"", *, after: Callable[[], object] = lambda: None) -> bytes:
        """Return what was drawn, up to a text, or to the end."""
        seen, end = b"", monotonic() + SOON_S
        after()
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

    def drawn_within(self, seconds: float) -> bytes:
        seen, end = b"", monotonic() + seconds
        while (left := end - monotonic()) > 0:
            if select.select([self.ours], [], [], left)[0]:
                seen += os.read(self.ours, 65_536)
        return seen

    def told(self) -> str:
        """Return what it wrote to standard error, once it ended."""
        self.process.wait(SOON_S)
        assert self.process.stderr
        return self.process.stderr.read().decode()

    def echoes(self) -> bool:
        return bool(termios.tcgetattr(self.ours)[3] & termios.ECHO)

    def close(self) -> None:
        self.process.kill()
        self.process.wait()
        os.close(self.ours)
        if self.process.stderr:
            self.process.stderr.close()


def owning_terminal() -> None:
    """Have the terminal, and the signals that a run in the background may have had left out."""
    for each in (signal.SIGINT, signal.SIGQUIT, signal.SIGHUP, signal.SIGTSTP, signal.SIGTTOU):
        signal.signal(each, signal.SIG_DFL)
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


@pytest.fixture
def started() -> Iterator[list[OnTerminal]]:
    programs: list[OnTerminal] = []
    yield programs
    for program in programs:
        program.close()


def start(started: list[OnTerminal], how: str, terminal: str = "xterm") -> OnTerminal:
    started.append(OnTerminal(sys.executable, str(PROGRAM), how, terminal=terminal))
    return started[-1]


def shell(started: list[OnTerminal], how: str = "on") -> OnTerminal:
    """A shell with the program in front, drawn."""
    bash = shutil.which("bash")
    if bash is None:
        pytest.skip("there is no bash, whose Ctrl-Z and fg are tried")
    command = (bash, "--norc", "--noprofile", "--noediting", "-i")
    started.append(OnTerminal(*command, is_shell=True))
    started[-1].read(b"$ ")
    started[-1].type(f"'{sys.executable}' '{PROGRAM}' {how}\n".encode())
    started[-1].read(b"Look at it.")
    return started[-1]


def test_the_view_is_drawn_on_the_other_screen_and_given_back(started: list[OnTerminal]) -> None:
    program = start(started, "end")
    seen = program.read()
    assert ALTERNATE in seen
    assert b"Look at it." in seen
    assert seen.index(BACK) > seen.index(b"Look at it.")
    assert b"restored" in seen[seen.index(BACK) :]
    assert program.echoes()


def test_a_crash_gives_the_terminal_back(started: list[OnTerminal]) -> None:
    program = start(started, "crash")
    assert BACK in program.read()
    assert "on purpose" in program.told()
    assert program.process.returncode == 1
    assert program.echoes()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_program_told_to_end_gives_the_terminal_back(
    started: list[OnTerminal], number: signal.Signals
) -> None:
    program = start(started, "on")
    program.read(b"Look at it.")
    assert not program.echoes()
    program.process.send_signal(number)
    assert BACK in program.read()
    program.told()
    assert program.process.returncode in (-number, 128 + number)
    assert program.echoes()


def test_a_view_that_fails_gives_the_terminal_back_and_the_job_goes_on(
    started: list[OnTerminal],
) -> None:
    program = start(started, "fail")
    seen = program.read()
    assert b"restored" in seen[seen.index(BACK) :]
    assert "problem no such view" in program.told()
    assert program.process.returncode == 0


def test_only_what_changed_is_drawn_again(started: list[OnTerminal]) -> None:
    program = start(started, "on")
    program.read(b"Look at it.")
    program.drawn_within(0.5)
    later = program.drawn_within(1.0)
    assert b"Look" not in later
    assert 0 < len(later) < 1_000


def test_it_is_drawn_at_most_ten_times_a_second(started: list[OnTerminal]) -> None:
    program = start(started, "lines")  # woken fifty times a second
    program.read(b"0000")
    program.drawn_within(0.5)
    numbers = set(re.findall(rb"\d{5}", program.drawn_within(2.0)))
    assert 5 <= len(numbers) <= 22


def test_keys_pressed_by_mistake_do_not_reach_the_shell(started: list[OnTerminal]) -> None:
    program = start(started, "end")
    program.read(b"Look at it.", after=lambda: program.type(b"wrong\r"))
    seen = program.read()
    assert b"wrong" not in seen
    assert "left to read: False" in program.told()


def test_it_steps_aside_on_ctrl_z_and_is_there_again_on_fg(started: list[OnTerminal]) -> None:
    program = shell(started)
    seen = program.read(b"Stopped", after=lambda: program.type(b"\x1a"))
    assert BACK in seen
    assert program.drawn_within(0.8).count(b"Step") == 0
    seen = program.read(b"Look at it.", after=lambda: program.type(b"fg\n"))
    assert ALTERNATE in seen
    assert program.drawn_within(1.0)
    assert not program.echoes()
    seen = program.read(b"Stopped", after=lambda: program.type(b"\x1a"))  # and once more
    assert BACK in seen
    program.read(b"Look at it.", after=lambda: program.type(b"fg\n"))
    assert BACK in program.read(b"$ ", after=lambda: program.type(b"\x03"))


def test_in_the_background_it_draws_nothing_and_goes_on(started: list[OnTerminal]) -> None:
    program = shell(started)
    program.read(b"Stopped", after=lambda: program.type(b"\x1a"))
    program.read(b"&", after=lambda: program.type(b"bg\n"))
    program.drawn_within(0.5)
    assert program.drawn_within(1.0) == b""
    program.type(b"jobs\n")
    assert b"Running" in program.drawn_within(1.0)
    program.read(b"Look at it.", after=lambda: program.type(b"fg\n"))


def test_in_the_background_it_ends_without_touching_the_terminal(
    started: list[OnTerminal],
) -> None:
    program = shell(started, "later")
    program.read(b"Stopped", after=lambda: program.type(b"\x1a"))
    seen = program.read(b"restored", after=lambda: program.type(b"bg\n"))
    assert b"Stopped" not in seen
    program.type(b"wait %1; echo en''ded $?\n")
    assert b"ended 0" in program.read(b"ended ") + program.drawn_within(0.5)


def test_started_in_the_background_there_are_plain_lines(started: list[OnTerminal]) -> None:
    program = shell(started)
    program.read(b"$ ", after=lambda: program.type(b"\x03"))
    program.type(f"'{sys.executable}' '{PROGRAM}' on &\n".encode())
    assert b"plain" in program.read(b"plain")


def test_another_size_is_drawn_anew(started: list[OnTerminal]) -> None:
    program = start(started, "lines")
    program.read(b"0000")
    program.resize(40, 12)
    program.drawn_within(1.0)
    later = program.drawn_within(1.0).decode()
    rows = [int(row) for row in re.findall(r"\x1b\[(\d+);\d+H", later)]
    assert rows
    assert max(rows) <= 12


def test_a_terminal_that_nobody_reads_holds_nothing_up(started: list[OnTerminal]) -> None:
    program = start(started, "stall")
    program.process.wait(SOON_S)
    told = program.told()
    assert program.process.returncode == 0
    slowest_s = float(re.findall(r"slowest ([\d.]+)", told)[0])
    assert slowest_s < 0.2  # a stalled write would never end; the rest is a busy machine
    assert program.echoes()
    assert BACK in program.read()


def test_a_terminal_that_cannot_place_the_cursor_gets_plain_lines(
    started: list[OnTerminal],
) -> None:
    assert b"plain" in start(started, "end", "dumb").read()
