"""A reading against its limit, drawn: a line, the acceptable part of it, and a mark.

It repeats what the columns beside it say, so it is hidden from screen readers.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.drawing import ACCENT, BAD, diamond, dot, line, picture
from companion.report.wording import exact

if TYPE_CHECKING:
    from companion.dialogue.record import LoggedReading
    from companion.report.markup import Element

_WIDTH = 104.0
_MIDDLE = 9.0
_EDGE = 6.0  # room left for the mark of a value beyond either end
_MOST = 1e15  # beyond it nothing is drawn: no meter shows that


def gauge(reading: LoggedReading) -> Element | None:
    """Return the drawing, or None for a reading without a number or without a limit."""
    value, low, high = (_number(text) for text in (reading.value, reading.low, reading.high))
    if value is None or (low is None and high is None):
        return None
    start, end = _ends(low, high)
    band = (
        _EDGE if low is None else _place(low, start, end),
        _WIDTH - _EDGE if high is None else _place(high, start, end),
    )
    return picture(
        _WIDTH,
        2 * _MIDDLE,
        line(_EDGE, _MIDDLE, _WIDTH - _EDGE, _MIDDLE, width=1.5),
        line(band[0], _MIDDLE, band[1], _MIDDLE, colour=ACCENT, width=3.5),
        *(_tick(band[i]) for i, end_ in enumerate((low, high)) if end_ is not None),
        _mark(_place(value, start, end), outside=reading.verdict == "outside"),
        class_="gauge",
    )


def _number(text: str) -> float | None:
    number = exact(text)
    value = None if number is None else float(number)
    return None if value is None or abs(value) > _MOST else value


def _ends(low: float | None, high: float | None) -> tuple[float, float]:
    """Return what the two ends of the line stand for: the limit fills its middle half."""
    if low is not None and high is not None:
        room = (high - low) / 2 or abs(high) / 2 or 1.0
        return low - room, high + room
    if high is not None:
        return (0.0, 1.5 * high) if high > 0 else (1.5 * high - 1.0, 0.5 * high + 1.0)
    known = low or 0.0
    return (0.0, 2.0 * known) if known > 0 else (1.5 * known - 1.0, 0.5 * known + 1.0)


def _place(value: float, start: float, end: float) -> float:
    """Return where a value lies on the line, held inside its ends."""
    share = min(max((value - start) / (end - start), 0.0), 1.0)
    return _EDGE + share * (_WIDTH - 2 * _EDGE)


def _tick(at: float) -> Element:
    return line(at, _MIDDLE - 5, at, _MIDDLE + 5, colour=ACCENT, width=1.5)


def _mark(at: float, *, outside: bool) -> Element:
    """A dot inside, a diamond outside: told apart without colour."""
    return diamond(at, _MIDDLE, 5.4, fill=BAD) if outside else dot(at, _MIDDLE, 3.6)
