"""The static pressure on its way through the system, drawn from the readings of a job.

From the room through the return to the blower, and out through the supply to the room again. What
was read is a mark; what follows from a drop that was read (ahead of the filter, after the coil) is
a small bar. Found and left are two lines.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.errors import UnitError
from companion.quantities import convert
from companion.report.drawing import (
    ACCENT,
    INK,
    LETTERS,
    PAPER,
    QUIET,
    box,
    diamond,
    dot,
    line,
    picture,
)
from companion.report.drawing import words as text
from companion.report.markup import element
from companion.report.sections import section
from companion.report.wording import exact, measured

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.dialogue.record import LoggedReading
    from companion.report.markup import Element
    from companion.report.told import Story

_UNIT = "inH2O"
_RETURN, _SUPPLY, _FILTER, _COIL = "return-static", "supply-static", "filter-drop", "coil-drop"
_PHASES = (("as found", "As found"), ("as left", "As left"), ("", "As read"))

_WIDTH, _HEIGHT = 660.0, 276.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 646.0, 40.0, 244.0
_MOST_INH2O = 10.0  # no duct of a house holds more; beyond it nothing is drawn
_TICKS = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)
_MOST_TICKS = 8
# Where things stand along the way, as shares of it.
_ROOM, _AHEAD, _AFTER_FILTER, _BEFORE_COIL, _AFTER_COIL, _ROOM_AGAIN = (
    0.0,
    0.2,
    0.38,
    0.62,
    0.8,
    1.0,
)
_STATIONS = ((0.29, "Filter"), (0.5, "Blower"), (0.71, "Coil"))
_ENDS = ((_ROOM, "Room", "start"), (_ROOM_AGAIN, "Room", "end"))


@dataclass(frozen=True, slots=True)
class Line:
    """One way through the system, in inches of water; a drop is None where none was read."""

    phase: str
    named: str
    return_inh2o: float
    supply_inh2o: float
    filter_inh2o: float | None = None
    coil_inh2o: float | None = None

    def points(self) -> list[tuple[float, float, bool]]:
        """Return place along the way (0 to 1), pressure, and whether it was read there."""
        found = [(_ROOM, 0.0, False)]
        if self.filter_inh2o is not None:
            found.append((_AHEAD, self.return_inh2o + self.filter_inh2o, False))
        found += [(_AFTER_FILTER, self.return_inh2o, True), (_BEFORE_COIL, self.supply_inh2o, True)]
        if self.coil_inh2o is not None:
            found.append((_AFTER_COIL, self.supply_inh2o - self.coil_inh2o, False))
        return [*found, (_ROOM_AGAIN, 0.0, False)]


def air_profile(told: Story) -> Element | None:
    """Return the section with the picture, or with the reason why there is none."""
    statics = [r for r in told.standing() if r.point in {_RETURN, _SUPPLY, _FILTER, _COIL}]
    ways = lines(statics)
    if not ways:
        return section(
            "Static pressure",
            element("p", f"No picture: {_missing(statics)}.", class_="quiet"),
        )
    return section("Static pressure", _drawn(ways), element("p", _told(ways), class_="quiet"))


def lines(readings: list[LoggedReading]) -> list[Line]:
    """Return the ways that can be drawn: those whose return and supply static were both read.

    Args:
        readings: standing ones, oldest first; of two at one point in one phase the last counts.
    """
    last = {(r.point, r.phase): value for r in readings if (value := _inh2o(r)) is not None}
    return [
        Line(
            phase,
            named,
            last[_RETURN, phase],
            last[_SUPPLY, phase],
            last.get((_FILTER, phase)),
            last.get((_COIL, phase)),
        )
        for phase, named in _PHASES
        if (_RETURN, phase) in last and (_SUPPLY, phase) in last
    ]


def _inh2o(reading: LoggedReading) -> float | None:
    number = exact(reading.value)
    if number is None:
        return None
    try:
        value = float(number if reading.unit == _UNIT else convert(number, reading.unit, _UNIT))
    except (UnitError, ArithmeticError):
        return None
    return value if abs(value) <= _MOST_INH2O else None


def _missing(statics: list[LoggedReading]) -> str:
    read = {r.point for r in statics}
    wanted = [
        name for point, name in ((_RETURN, "return"), (_SUPPLY, "supply")) if point not in read
    ]
    if not wanted:
        return "return and supply static were not read together, as numbers"
    return f"this job has no reading of the {' and the '.join(wanted)} static"


def _told(ways: list[Line]) -> str:
    said = [f"{way.named}: {_number(way.supply_inh2o - way.return_inh2o)} in. w.c. from return to"
            f" supply." for way in ways]  # fmt: skip
    derived = any(way.filter_inh2o is not None or way.coil_inh2o is not None for way in ways)
    bars = " A bar is worked out from the drop that was read." if derived else ""
    return f"{' '.join(said)} In inches of water against the room; a mark was read.{bars}"


# ---------------------------------------------------------------- drawn


def _drawn(ways: list[Line]) -> Element:
    values = [value for way in ways for _, value, _ in way.points()]
    step = next((s for s in _TICKS if (max(values) - min(values)) / s <= _MOST_TICKS), _TICKS[-1])
    low = min(-step, step * math.floor(min(values) / step - 0.2))
    high = max(step, step * math.ceil(max(values) / step + 0.2))
    scale = _Scale(low, high)
    has = {"Filter": True, "Blower": True, "Coil": any(w.coil_inh2o is not None for w in ways)}
    return picture(
        _WIDTH,
        _HEIGHT,
        *_grid(scale, step),
        *(_station(share, name) for share, name in _STATIONS if has[name]),
        *(text(_x(s), _BOTTOM + 20, name, anchor=a, colour=QUIET) for s, name, a in _ENDS),
        *(list(_way(way, scale)) for way in ways),
        *_figures(ways, scale),
        *_legend(ways),
        class_="picture",
        says=_told(ways),
    )


@dataclass(frozen=True, slots=True)
class _Scale:
    low: float
    high: float

    def y(self, value: float) -> float:
        return _BOTTOM - (value - self.low) / (self.high - self.low) * (_BOTTOM - _TOP)


def _x(share: float) -> float:
    return _LEFT + share * (_RIGHT - _LEFT)


def _grid(scale: _Scale, step: float) -> Iterator[Element]:
    for place in range(round(scale.low / step), round(scale.high / step) + 1):
        value = place * step
        y = scale.y(value)
        if place:
            yield line(_LEFT, y, _RIGHT, y, width=0.6)
        else:
            yield line(_LEFT, y, _RIGHT, y, colour=INK)
        yield text(_LEFT - 8, y + 4, _number(value), anchor="end", colour=QUIET)


def _station(share: float, name: str) -> list[Element]:
    x = _x(share)
    return [
        line(x, _TOP, x, _BOTTOM, colour=QUIET, width=0.8, dashes="2 3"),
        text(x, _BOTTOM + 20, name, anchor="middle", colour=QUIET),
    ]


def _way(way: Line, scale: _Scale) -> Iterator[Element]:
    points = [(_x(share), scale.y(value), value, read) for share, value, read in way.points()]
    for (x1, y1, _, _), (x2, y2, _, _) in itertools.pairwise(points):
        yield line(x1, y1, x2, y2, colour=_colour(way), width=1.8, dashes=_dashes(way))
    for x, y, _, read in points[1:-1]:
        yield _mark(way, x, y) if read else line(x - 5, y, x + 5, y, colour=_colour(way), width=3)


def _figures(ways: list[Line], scale: _Scale) -> Iterator[Element]:
    """What was read, beside its mark: the highest above, the lowest below, one between beside."""
    for share, values in (
        (_AFTER_FILTER, [(way.return_inh2o, way) for way in ways]),
        (_BEFORE_COIL, [(way.supply_inh2o, way) for way in ways]),
    ):
        highest = max(values, key=lambda each: each[0])
        lowest = min(reversed(values), key=lambda each: each[0])
        for each in values:
            value, way = each
            anchor, right, down = ("middle", 0, -11) if each is highest else ("start", 12, 4)
            if each is lowest and each is not highest:
                anchor, right, down = "middle", 0, 20
            x, y, said = _x(share) + right, scale.y(value) + down, _number(value)
            wide = 0.6 * LETTERS * len(said)  # the ground is paper, or lines run through it
            begin = x - wide / 2 if anchor == "middle" else x
            yield box(begin, y - 10, wide, 12, fill=PAPER, colour=PAPER)
            yield text(
                x,
                y,
                said,
                anchor=anchor,
                colour=_colour(way),
                bold=way.phase != "as found",
            )


def _colour(way: Line) -> str:
    return QUIET if way.phase == "as found" else ACCENT


def _dashes(way: Line) -> str | None:
    return "6 4" if way.phase == "as found" else None


def _mark(way: Line, x: float, y: float) -> Element:
    if way.phase == "as found":
        return diamond(x, y, 6, fill=PAPER, colour=QUIET)
    return dot(x, y, 4.6, fill=ACCENT)


def _legend(ways: list[Line]) -> Iterator[Element]:
    x = _LEFT
    for way in ways:
        yield line(x, 16, x + 34, 16, colour=_colour(way), width=1.8, dashes=_dashes(way))
        yield _mark(way, x + 17, 16)
        yield text(x + 42, 20, way.named, colour=INK)
        x += 130


def _number(value: float) -> str:
    """Return a pressure as a gauge shows it, with a minus that is no hyphen."""
    return measured(f"{value:.2f}", "").replace("-", "\N{MINUS SIGN}")
