"""Draws a view on its terminal until it is told otherwise; run under a pseudo terminal."""

from __future__ import annotations

import sys
import time

from companion.glance.screen import Screen, can_be_shown
from companion.glance.state import Glance


def main(how: str) -> None:
    if not can_be_shown():
        sys.stdout.write("plain\n")
        return
    began = time.perf_counter()
    with Screen() as screen:
        for number in range(10_000):
            screen.show(Glance(title="Trial", step=f"Step {number:05}. " + "Look at it. " * 8))
            if how == "crash" and number == 20:
                raise RuntimeError("on purpose")
            if how == "end" and number == 20:
                break
            if how == "flood" and number == 400:  # nobody reads the terminal
                break
            time.sleep(0.0 if how == "flood" else 0.02)
        shown_s = time.perf_counter() - began
    sys.stdout.write(f"restored {shown_s:.1f}\n")


if __name__ == "__main__":
    main(sys.argv[1])
