"""`companion work` at a terminal: the real command, its full-screen view, a virtual sound card."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import subprocess
import sys
import termios
from time import monotonic
from typing import TYPE_CHECKING

import pytest

from companion.bench.virtual_card import VirtualCard

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = [
    pytest.mark.card,
    pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible()),
]
SOON_S = 60.0
ALTERNATE, BACK = b"\x1b[?1049h", b"\x1b[?1049l"  # xterm's screens (terminfo smcup, rmcup)


def reset_interrupt() -> None:
    """A program started in the background ignores Ctrl-C."""
    signal.signal(signal.SIGINT, signal.default_int_handler)


def read(end: int, until: bytes) -> bytes:
    seen, latest = b"", monotonic() + SOON_S
    while until not in seen:
        assert monotonic() < latest, seen[-500:]
        if select.select([end], [], [], 0.2)[0]:
            seen += os.read(end, 65_536)
    return seen


def test_the_view_shows_the_job_and_leaves_how_it_stands_on_the_terminal(tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    fcntl.ioctl(ours, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    with VirtualCard() as card:
        command = ["work", "--new", "--procedure", "high-static", "--log", str(tmp_path / "log")]
        process = subprocess.Popen(
            [sys.executable, "-m", "companion", *command],
            env={**card.environment, "TERM": "xterm", "LC_ALL": "C.UTF-8"},
            stdin=theirs, stdout=theirs, stderr=theirs,
            preexec_fn=reset_interrupt,  # noqa: PLW1509
        )  # fmt: skip
        os.close(theirs)
        try:
            read(ours, ALTERNATE)
            shown = read(ours, b"mic")
            for part in (b"High static", b"HOLD: Fit to look", b"Caution. If you smell gas"):
                assert part in shown
            process.send_signal(signal.SIGINT)
            left = read(ours, b"is kept. Resume it with: companion work")
            left = left[left.index(BACK) :]
            assert b"HOLD: Fit to look." in left
            assert process.wait(SOON_S) == 130
        finally:
            process.kill()
            process.wait()
            os.close(ours)
