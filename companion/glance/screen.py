"""The terminal: drawn from a thread of its own, at most ten times a second, only what changed.

curses compares what is shown with what is wanted and writes the difference, so nothing flickers;
a terminal that stalls holds up this thread and nothing else. Whatever happens, the terminal is as
it was when the view ends.
"""

from __future__ import annotations

import curses
import locale
import sys
from contextlib import suppress
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING, Any, Self

from companion.glance.drawing import draw

if TYPE_CHECKING:
    from types import TracebackType

    from companion.glance.state import Glance

EVERY_S = 0.1
END_WITHIN_S = 1.0  # of a terminal that takes nothing any more
_STYLES = {"bold": curses.A_BOLD, "dim": curses.A_DIM, "reverse": curses.A_REVERSE}


def can_be_shown() -> bool:
    """Return whether there is a terminal that a view can be drawn on."""
    if not (sys.stdout.isatty() and sys.stdin.isatty()):
        return False
    with suppress(curses.error):
        curses.setupterm(fd=sys.stdout.fileno())
        return curses.tigetstr("cup") is not None
    return False


class Screen:
    """A full-screen view; a context manager."""

    def __init__(self) -> None:
        self._shown: Glance | None = None
        self._lock = Lock()
        self._fresh, self._over = Event(), Event()
        self._thread = Thread(target=self._draw_on, name="screen", daemon=True)
        self._window: Any = None
        self._ascii = False

    def show(self, shown: Glance) -> None:
        """Take what is to be shown from now on; returns at once."""
        with self._lock:
            if shown == self._shown:
                return
            self._shown = shown
        self._fresh.set()

    def __enter__(self) -> Self:
        """Take the terminal."""
        locale.setlocale(locale.LC_ALL, "")
        self._ascii = "utf" not in locale.getpreferredencoding(do_setlocale=False).lower()
        self._window = curses.initscr()
        curses.noecho()
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
        if not self._thread.is_alive():
            with suppress(curses.error):
                curses.endwin()

    def _draw_on(self) -> None:
        while not self._over.is_set():
            self._fresh.wait(1.0)  # also without news: the terminal may have another size
            self._fresh.clear()
            with self._lock:
                shown = self._shown
            if shown is not None and not self._over.is_set():
                with suppress(curses.error):
                    self._draw(shown)
            self._over.wait(EVERY_S)

    def _draw(self, shown: Glance) -> None:
        self._resized()
        height, width = self._window.getmaxyx()
        self._window.erase()
        for row, line in enumerate(draw(shown, width, height, ascii_only=self._ascii)):
            self._window.move(row, 0)
            for run in line:
                with suppress(curses.error):  # the last column of the last line
                    self._window.addstr(run.text, _STYLES.get(run.style, curses.A_NORMAL))
        self._window.refresh()

    def _resized(self) -> None:
        """Take the terminal's size of now: no key is read, so curses is not told by itself."""
        import os  # noqa: PLC0415

        with suppress(OSError):
            columns, lines = os.get_terminal_size(sys.stdout.fileno())
            if curses.is_term_resized(lines, columns):
                curses.resize_term(lines, columns)
                self._window.clear()
