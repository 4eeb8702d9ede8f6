"""Draws a view on its terminal until it is told otherwise; run under a pseudo terminal."""

from __future__ import annotations

import os
import select
import sys
import time

from companion.glance.screen import Screen, can_be_shown
from companion.glance.state import Glance

LONGEST_S = 30.0
ENDS_AT = {"end": 30, "fail": 30, "stall": 100, "later": 150}


class Trial:
    """A view with another number each time that it is asked for."""

    def __init__(self, how: str) -> None:
        self.how = how
        self.number = 0

    def seen(self) -> Glance:
        if self.how == "fail" and self.number > 5:
            raise ValueError("no such view")
        text = f"{self.number:05}"
        if self.how in ("stall", "lines"):  # every line is another one each time
            return Glance(title=text, step=(f"{text} " * 120), said=text, heard=text)
        return Glance(title="Trial", step=f"Step {text}. " + "Look at it. " * 8)


def fill_terminal() -> None:
    """Write until the terminal takes no more."""
    os.set_blocking(1, False)
    try:
        while True:
            os.write(1, b"." * 512)
    except BlockingIOError:
        pass
    finally:
        os.set_blocking(1, True)


def main(how: str) -> None:
    if not can_be_shown():
        sys.stdout.write("plain\n")
        return
    trial = Trial(how)
    screen = Screen(trial.seen)
    slowest_s, began = 0.0, time.perf_counter()
    with screen:
        if how == "stall":
            fill_terminal()
        while time.perf_counter() - began < LONGEST_S:
            trial.number += 1
            before = time.perf_counter()
            screen.wake()
            slowest_s = max(slowest_s, time.perf_counter() - before)
            if how == "crash" and trial.number == 20:
                raise RuntimeError("on purpose")
            if trial.number == ENDS_AT.get(how):
                break
            time.sleep(0.02)
    left = bool(select.select([0], [], [], 0)[0])
    told = f"slowest {slowest_s:.3f}\nproblem {screen.problem}\nleft to read: {left}\n"
    sys.stderr.write(told)
    if how != "stall":
        sys.stdout.write("restored\n")


if __name__ == "__main__":
    main(sys.argv[1])
