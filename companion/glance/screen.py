"""The terminal: drawn from a thread of its own, at most ten times a second, only what changed.

curses compares what is shown with what is wanted and writes the difference, so nothing flickers;
a terminal that stalls holds up this thread and nothing else. Whatever happens, the terminal is as
it was when the view ends, and while it steps aside (Ctrl-Z, until fg).
"""

from __future__ import annotations

import locale
import os
import signal
import sys
from contextlib import suppress
from threading import Event, Lock, Thread, current_thread, get_ident, main_thread
from typing import TYPE_CHECKING, Any, Self

from companion.glance.drawing import draw

try:  # some Pythons come without
    import curses
    import termios
except ImportError:
    curses = termios = None  # type: ignore[assignment]

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import FrameType, TracebackType

    from companion.glance.state import Glance

EVERY_S = 0.1
LOOKED_EVERY_S = 0.5  # without news: clocks go on, the terminal may have another size
END_WITHIN_S = 0.5  # of a terminal that takes nothing any more
_TERMINATED = 128 + signal.SIGTERM


def can_be_shown() -> bool:
    """Return whether there is a terminal that a view can be drawn on."""
    if curses is None or not (sys.stdout.isatty() and sys.stdin.isatty()):
        return False
    if not _is_in_front(sys.stdout.fileno()):
        return False
    with suppress(curses.error):
        curses.setupterm(fd=sys.stdout.fileno())
        return curses.tigetstr("cup") is not None
    return False


class Screen:
    """A full-screen view; a context manager.

    Args:
        seen: returns what there is to see; called in the view's own thread.

    Attributes:
        problem: why the view ended before its time, None where it did not; the terminal has been
            given back then.
    """

    def __init__(self, seen: Callable[[], Glance]) -> None:
        self._seen = seen
        self.problem: Exception | None = None
        self._drawing = Lock()  # held while something is written
        self._fresh, self._over = Event(), Event()
        self._thread = Thread(target=self._draw_on, name="screen", daemon=True)
        self._window: Any = None
        self._out = -1
        self._modes: list[Any] = []
        self._drawn: tuple[Glance, int, int] | None = None
        self._ascii = False
        self._before: dict[signal.Signals, Any] = {}

    def wake(self) -> None:
        """Take note that there is something new to see; returns at once."""
        self._fresh.set()

    def __enter__(self) -> Self:
        """Take the terminal."""
        locale.setlocale(locale.LC_ALL, "")
        self._ascii = "utf" not in locale.getpreferredencoding(do_setlocale=False).lower()
        self._out = sys.stdout.fileno()
        self._modes = termios.tcgetattr(self._out)
        self._mind(signal.SIGTSTP, self._step_aside)  # before curses minds them, from any thread
        self._mind(signal.SIGTERM, _end)
        self._window = curses.initscr()
        curses.noecho()
        curses.typeahead(-1)  # no update is put off for a key pressed by mistake
        with suppress(curses.error):  # not every terminal can
            curses.curs_set(0)
        self._thread.start()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Give the terminal back."""
        self._over.set()
        self._fresh.set()
        self._thread.join(END_WITHIN_S)
        if self._thread.is_alive():  # stalled: what it did not take so far is of no use any more
            with suppress(termios.error):
                termios.tcflow(self._out, termios.TCOOFF)
                termios.tcflush(self._out, termios.TCOFLUSH)
                termios.tcflow(self._out, termios.TCOON)  # on after off: wakes who waits to write
            self._thread.join(END_WITHIN_S)
        self._give_back()
        if _is_in_front(self._out):  # else it is the shell's, which would stop us for it
            with suppress(termios.error):
                termios.tcsetattr(self._out, termios.TCSANOW, self._modes)
        for number, before in self._before.items():
            signal.signal(number, before)

    def _mind(
        self, number: signal.Signals, handler: Callable[[int, FrameType | None], None]
    ) -> None:
        """Handle a signal that nobody else does."""
        if current_thread() is main_thread() and signal.getsignal(number) == signal.SIG_DFL:
            self._before[number] = signal.signal(number, handler)

    def _give_back(self) -> None:
        """Restore the terminal, unless a write hangs; keys typed meanwhile are for nobody."""
        if not self._drawing.acquire(timeout=END_WITHIN_S):
            return
        try:
            if curses.isendwin():
                return
            with suppress(curses.error):
                curses.endwin()
            with suppress(termios.error):
                termios.tcflush(self._out, termios.TCIFLUSH)
        finally:
            self._drawing.release()

    def _step_aside(self, _number: int, _frame: FrameType | None) -> None:
        """Give the terminal back, stop, and go on once continued."""
        self._give_back()
        signal.signal(signal.SIGTSTP, signal.SIG_DFL)
        signal.pthread_kill(get_ident(), signal.SIGTSTP)
        signal.signal(signal.SIGTSTP, self._step_aside)
        self._drawn = None
        self._fresh.set()

    def _draw_on(self) -> None:
        while not self._over.is_set():
            self._fresh.wait(LOOKED_EVERY_S)
            self._fresh.clear()
            try:
                self._look()
            except Exception as problem:  # noqa: BLE001 - a view that fails must not fail the job
                self.problem = problem
                self._give_back()
                return
            self._over.wait(EVERY_S)

    def _look(self) -> None:
        """Draw what is new, if the terminal is ours."""
        shown = self._seen()
        with self._drawing:
            if self._over.is_set() or not _is_in_front(self._out):
                return
            self._resized()
            height, width = self._window.getmaxyx()
            if (shown, width, height) == self._drawn:
                return
            if self._drawn is None:  # first, or somebody else drew meanwhile
                self._window.clear()
            with suppress(curses.error):  # a terminal that is going away
                self._draw(shown, width, height)
            self._drawn = (shown, width, height)

    def _draw(self, shown: Glance, width: int, height: int) -> None:
        styles = {"bold": curses.A_BOLD, "dim": curses.A_DIM, "reverse": curses.A_REVERSE}
        self._window.erase()
        for row, line in enumerate(draw(shown, width, height, ascii_only=self._ascii)):
            self._window.move(row, 0)
            for run in line:
                with suppress(curses.error):  # the last column of the last line
                    self._window.addstr(run.text, styles.get(run.style, curses.A_NORMAL))
        self._window.refresh()

    def _resized(self) -> None:
        """Take the terminal's size of now: no key is read, so curses is not told by itself."""
        with suppress(OSError):
            columns, lines = os.get_terminal_size(self._out)
            if columns and lines and curses.is_term_resized(lines, columns):
                curses.resize_term(lines, columns)
                self._drawn = None


def _is_in_front(out: int) -> bool:
    """Return whether the shell has left us the terminal: not with '&', or after Ctrl-Z and bg."""
    try:
        return os.tcgetpgrp(out) == os.getpgrp()
    except OSError:  # a terminal without a shell
        return True


def _end(_number: int, _frame: FrameType | None) -> None:
    """Leave as on Ctrl-C, when told to end: the terminal is given back and the job is kept."""
    raise SystemExit(_TERMINATED)
