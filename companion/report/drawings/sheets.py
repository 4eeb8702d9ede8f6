"""How a true-scale drawing is spread over sheets: which part of it stands where on which sheet.

Rows are lettered from the top, columns numbered from the left, as a plan's grid is. Neighbours
share a strip of `OVERLAP_MM`, in whose middle both carry the same crosses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from string import ascii_uppercase
from typing import Literal, TypeAlias

from companion.report.drawings.strokes import Point, Window

PaperName: TypeAlias = Literal["letter", "a4"]

# Width and height in millimeters: ANSI/ASME Y14.1 size A (8 1/2 × 11 in), and ISO 216.
PAPERS: dict[PaperName, tuple[float, float]] = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
MARGIN_MM = 12.0  # no printer of the trade prints nearer to the edge
HEAD_MM = 27.0
FOOT_MM = 43.0
OVERLAP_MM = 14.0
_ASIDE_MM = 18.0


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet.

    `window` is the part of the drawing that it shows; `origin` is where the drawing's own origin
    lies on it, from its lower left corner. All in millimeters.
    """

    row: int
    column: int
    window: Window
    origin: Point

    @property
    def name(self) -> str:
        """As it is printed: 'B1' is the first sheet of the second row."""
        return f"{row_name(self.row)}{self.column + 1}"


@dataclass(frozen=True, slots=True)
class Plan:
    """All sheets, row by row from the top; sizes of a sheet in millimeters."""

    width: float
    height: float
    rows: int
    columns: int
    sheets: tuple[Sheet, ...]

    def crosses(self, sheet: Sheet) -> tuple[Point, ...]:
        """Return where a sheet's crosses stand, in the drawing: those that it shares."""
        shown = sheet.window
        inset = OVERLAP_MM / 2
        ups = [shown.bottom + shown.height * share for share in (0.2, 0.8)]
        alongs = [shown.left + shown.width * share for share in (0.2, 0.8)]
        found: list[Point] = []
        if sheet.column:
            found += [(shown.left + inset, up) for up in ups]
        if sheet.column + 1 < self.columns:
            found += [(shown.right - inset, up) for up in ups]
        if sheet.row:
            found += [(along, shown.top - inset) for along in alongs]
        if sheet.row + 1 < self.rows:
            found += [(along, shown.bottom + inset) for along in alongs]
        return tuple(found)

    def beside(self, sheet: Sheet) -> tuple[tuple[str, str], ...]:
        """Return a sheet's neighbours: which side, and which sheet."""
        places = (
            ("left", sheet.row, sheet.column - 1),
            ("right", sheet.row, sheet.column + 1),
            ("top", sheet.row - 1, sheet.column),
            ("bottom", sheet.row + 1, sheet.column),
        )
        return tuple(
            (side, f"{row_name(row)}{column + 1}")
            for side, row, column in places
            if 0 <= row < self.rows and 0 <= column < self.columns
        )


def row_name(row: int) -> str:
    """Return a row's letters.

    >>> row_name(0), row_name(25), row_name(26)
    ('A', 'Z', 'AA')
    """
    more, last = divmod(row, len(ascii_uppercase))
    return (row_name(more - 1) if more else "") + ascii_uppercase[last]


def plan(content: Window, paper: PaperName) -> Plan:
    """Return the sheets that a drawing takes: upright or lying, whichever is fewer.

    Args:
        content: what the drawing takes up, in its own millimeters.
        paper: 'letter' or 'a4'.
    """
    short, long = PAPERS[paper]
    upright, lying = (_laid(content, *size) for size in ((short, long), (long, short)))
    return lying if len(lying.sheets) < len(upright.sheets) else upright


def _laid(content: Window, width: float, height: float) -> Plan:
    wide, high = width - 2 * MARGIN_MM, height - 2 * MARGIN_MM - HEAD_MM - FOOT_MM
    columns, rows = _count(content.width, wide), _count(content.height, high)
    whole_wide = columns * wide - (columns - 1) * OVERLAP_MM
    whole_high = rows * high - (rows - 1) * OVERLAP_MM
    left = (content.left + content.right - whole_wide) / 2
    left += _aside(whole_wide - content.width, columns)
    top = (content.bottom + content.top + whole_high) / 2
    top -= _aside(whole_high - content.height, rows)
    sheets = []
    for row in range(rows):
        for column in range(columns):
            x = left + column * (wide - OVERLAP_MM)
            y = top - row * (high - OVERLAP_MM)
            origin = (MARGIN_MM - x, MARGIN_MM + FOOT_MM - (y - high))
            sheets.append(Sheet(row, column, Window(x, y - high, x + wide, y), origin))
    return Plan(width, height, rows, columns, tuple(sheets))


def _aside(spare: float, sheets: int) -> float:
    """How far the sheets lie off the middle: a seam in it would hide a centre line."""
    return min(spare / 2, _ASIDE_MM) if sheets % 2 == 0 else 0.0


def _count(length: float, room: float) -> int:
    """How many sheets a length takes, with their overlaps."""
    if length <= room:
        return 1
    return math.ceil(round((length - OVERLAP_MM) / (room - OVERLAP_MM), 9))
