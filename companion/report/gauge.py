"""A reading against its limit, drawn: a line, the acceptable part of it, and a mark.

It repeats what the columns beside it say, so it is hidden from screen readers. SVG, because
printers leave backgrounds out and keep drawings.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.markup import Markup, element
from companion.report.wording import exact

if TYPE_CHECKING:
    from companion.dialogue.record import LoggedReading

_WIDTH = 104.0
_MIDDLE = 9.0
_EDGE = 6.0  # room left for the mark of a value beyond either end


def gauge(reading: LoggedReading) -> Markup | None:
    """Return the drawing, or None for a reading without a number or without a limit."""
    value, low, high = (_number(text) for text in (reading.value, reading.low, reading.high))
    if value is None or (low is None and high is None):
        return None
    start, end = _ends(low, high)
    band = (
        _EDGE if low is None else _place(low, start, end),
        _WIDTH - _EDGE if high is None else _place(high, start, end),
    )
    outside = reading.verdict == "outside"
    return element(
        "svg",
        _line("track", _EDGE, _WIDTH - _EDGE),
        _line("band", *band),
        *(_tick(band[i]) for i, end_ in enumerate((low, high)) if end_ is not None),
        _mark(_place(value, start, end), outside=outside),
        class_="gauge",
        viewBox=f"0 0 {_WIDTH:g} {2 * _MIDDLE:g}",
        aria_hidden="true",
    )


def _number(text: str) -> float | None:
    number = exact(text)
    return None if number is None else float(number)


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


def _line(class_: str, begin: float, end: float) -> Markup:
    return element(
        "line",
        class_=class_,
        x1=f"{begin:.1f}",
        x2=f"{end:.1f}",
        y1=f"{_MIDDLE:g}",
        y2=f"{_MIDDLE:g}",
    )


def _tick(at: float) -> Markup:
    return element(
        "line",
        class_="tick",
        x1=f"{at:.1f}",
        x2=f"{at:.1f}",
        y1=f"{_MIDDLE - 5:g}",
        y2=f"{_MIDDLE + 5:g}",
    )


def _mark(at: float, *, outside: bool) -> Markup:
    """A dot inside, a diamond outside: told apart without colour."""
    if not outside:
        return element("circle", class_="mark", cx=f"{at:.1f}", cy=f"{_MIDDLE:g}", r="3.6")
    y = _MIDDLE
    points = f"{at:.1f},{y - 5.4:g} {at + 5.4:.1f},{y:g} {at:.1f},{y + 5.4:g} {at - 5.4:.1f},{y:g}"
    return element("polygon", class_="mark outside", points=points)
