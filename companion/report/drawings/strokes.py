"""What a true-scale drawing is made of: lines and words in millimeters, and how they are cut off.

A circle is a line too, with so many corners that it is nowhere off by more than `SAG_MM`: then one
rule cuts off everything at a sheet's edge, and every reader finds the same points.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

Point: TypeAlias = tuple[float, float]
Role: TypeAlias = Literal[
    "cut", "flange", "centre", "hole", "hole-cross", "arrow", "cross", "overlap", "ruler", "frame",
    "map", "map-here",
]  # fmt: skip
Anchor: TypeAlias = Literal["left", "center", "right"]

SAG_MM = 0.005
_FEWEST = 36


@dataclass(frozen=True, slots=True)
class Pen:
    """How a role is drawn: line width and dashes in millimeters, grey from 0 (black)."""

    width_mm: float
    dashes_mm: tuple[float, ...] = ()
    grey: float = 0.0


# Every role has a width of its own, so that a reader of the file tells them apart.
PENS: dict[Role, Pen] = {
    "cut": Pen(0.50),
    "flange": Pen(0.30, (4.0, 2.0)),
    "centre": Pen(0.18, (8.0, 1.5, 1.5, 1.5)),
    "hole": Pen(0.35),
    "hole-cross": Pen(0.15),
    "arrow": Pen(0.45),
    "cross": Pen(0.22),
    "overlap": Pen(0.16, (1.0, 1.0)),
    "ruler": Pen(0.25),
    "frame": Pen(0.10, grey=0.6),
    "map": Pen(0.20),
    "map-here": Pen(0.90),
}


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, in millimeters, y upwards; `closed` leads back to the first."""

    role: Role
    points: tuple[Point, ...]
    closed: bool = False

    def moved(self, x_mm: float, y_mm: float) -> Stroke:
        """Return it elsewhere."""
        return replace(self, points=tuple((x + x_mm, y + y_mm) for x, y in self.points))


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; `y_mm` is what it stands on; the size is in millimeters as well."""

    x_mm: float
    y_mm: float
    text: str
    size_mm: float
    anchor: Anchor = "left"

    def moved(self, x_mm: float, y_mm: float) -> Words:
        """Return it elsewhere."""
        return replace(self, x_mm=self.x_mm + x_mm, y_mm=self.y_mm + y_mm)


@dataclass(frozen=True, slots=True)
class Window:
    """A rectangle in millimeters."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """From left to right."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """From bottom to top."""
        return self.top - self.bottom

    def corners(self) -> tuple[Point, Point, Point, Point]:
        """Its corners, anticlockwise from the lower left."""
        return (
            (self.left, self.bottom),
            (self.right, self.bottom),
            (self.right, self.top),
            (self.left, self.top),
        )

    def holds(self, x_mm: float, y_mm: float) -> bool:
        """Whether a point is in it, its edge counted."""
        return self.left <= x_mm <= self.right and self.bottom <= y_mm <= self.top


def circle(role: Role, x_mm: float, y_mm: float, radius_mm: float) -> Stroke:
    """Return a circle, anticlockwise from its rightmost point, off by at most `SAG_MM`."""
    step = 2 * math.acos(1 - min(SAG_MM / radius_mm, 0.5))
    # A multiple of four has corners where the centre lines meet it, so that its width is exact.
    count = 4 * math.ceil(max(_FEWEST, 2 * math.pi / step) / 4)
    turns = [2 * math.pi * each / count for each in range(count)]
    points = tuple(
        (x_mm + radius_mm * math.cos(turn), y_mm + radius_mm * math.sin(turn)) for turn in turns
    )
    return Stroke(role, points, closed=True)


def rectangle(role: Role, window: Window) -> Stroke:
    """Return a rectangle's outline."""
    return Stroke(role, window.corners(), closed=True)


def cross(role: Role, x_mm: float, y_mm: float, arm_mm: float) -> tuple[Stroke, Stroke]:
    """Return a cross with arms of that length."""
    return (
        Stroke(role, ((x_mm - arm_mm, y_mm), (x_mm + arm_mm, y_mm))),
        Stroke(role, ((x_mm, y_mm - arm_mm), (x_mm, y_mm + arm_mm))),
    )


# ---------------------------------------------------------------- cutting off


def cut_off(stroke: Stroke, window: Window) -> Iterator[Stroke]:
    """Yield what of a line lies in a window: it itself, pieces of it, or nothing."""
    if all(window.holds(x, y) for x, y in stroke.points):
        yield stroke
        return
    points = stroke.points + stroke.points[:1] if stroke.closed else stroke.points
    piece: list[Point] = []
    for begin, end in pairwise(points):
        part = _inside(begin, end, window)
        if part is None:
            continue
        if piece and piece[-1] == part[0]:
            piece.append(part[1])
            continue
        yield from _piece(stroke, piece)
        piece = list(part)
    yield from _piece(stroke, piece)


def _piece(stroke: Stroke, points: Sequence[Point]) -> Iterator[Stroke]:
    if len(points) > 1:
        yield Stroke(stroke.role, tuple(points))


def _inside(begin: Point, end: Point, window: Window) -> tuple[Point, Point] | None:
    """The part of a straight line that is in a window, by Liang and Barsky's rule."""
    across, up = end[0] - begin[0], end[1] - begin[1]
    first, last = 0.0, 1.0
    for direction, room in (
        (-across, begin[0] - window.left),
        (across, window.right - begin[0]),
        (-up, begin[1] - window.bottom),
        (up, window.top - begin[1]),
    ):
        if direction == 0:
            if room < 0:
                return None
        elif direction < 0:
            first = max(first, room / direction)
        else:
            last = min(last, room / direction)
    if first >= last:
        return None

    def at(share: float) -> Point:
        if share in (0.0, 1.0):  # the very points, so that pieces join
            return end if share else begin
        return begin[0] + share * across, begin[1] + share * up

    return at(first), at(last)
