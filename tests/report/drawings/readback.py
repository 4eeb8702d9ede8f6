"""A template's PDF read back by libraries that did not make it, and its sheets laid together.

Sheets are joined as a person joins them: by the crosses that two neighbours share, not by what
the program that drew them says of their places.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from io import BytesIO
from typing import Any, TypeAlias

import pdfplumber
import pdfplumber.page

Point: TypeAlias = tuple[float, float]
Line: TypeAlias = list[Point]

MM = 25.4 / 72  # a point of a PDF: ISO 32000-1, 8.3.2.3

# What each kind of line is drawn with, in millimeters: it tells them apart in the file.
WIDTHS = {"cut": 0.50, "flange": 0.30, "hole": 0.35, "cross": 0.22, "ruler": 0.25}


@dataclass
class Page:
    """A page's lines by kind, in millimeters from its lower left corner, and its text."""

    text: str
    lines: dict[str, list[Line]] = field(default_factory=dict)

    def crosses(self) -> list[Point]:
        """The middles of its registration crosses."""
        level = [line for line in self.lines["cross"] if abs(line[0][1] - line[-1][1]) < 1e-3]
        return [((line[0][0] + line[-1][0]) / 2, line[0][1]) for line in level]


def pages(pdf: bytes) -> list[Page]:
    """Read every page with pdfplumber (pdfminer)."""
    with pdfplumber.open(BytesIO(pdf)) as document:
        return [_page(each) for each in document.pages]


def _page(page: pdfplumber.page.Page) -> Page:
    found = Page(page.extract_text())
    for kind, width in WIDTHS.items():
        found.lines[kind] = [
            [(float(x) * MM, float(page.height - y) * MM) for x, y in _points(each)]
            for each in (*page.lines, *page.curves, *page.rects)
            if abs(float(each["linewidth"]) * MM - width) < 0.004
        ]
    return found


def _points(each: dict[str, Any]) -> list[Any]:
    points = [move[1] for move in each["path"] if len(move) > 1]
    closes = any(move[0] == "h" for move in each["path"])
    return points + points[:1] if closes else points


def laid_together(sheets: list[Page], columns: int) -> list[Point]:
    """Return where each sheet comes to lie, by its crosses alone; the first at (0, 0)."""
    places: list[Point] = []
    for index, sheet in enumerate(sheets):
        if index == 0:
            places.append((0.0, 0.0))
            continue
        beside = index % columns > 0
        before = index - 1 if beside else index - columns
        mine, theirs = sheet.crosses(), sheets[before].crosses()
        if beside:  # my two leftmost on its two rightmost
            mine = sorted(sorted(mine)[:2], key=lambda at: at[1])
            theirs = sorted(sorted(theirs)[-2:], key=lambda at: at[1])
        else:  # my two uppermost on its two lowest
            mine = sorted(sorted(mine, key=lambda at: at[1])[-2:])
            theirs = sorted(sorted(theirs, key=lambda at: at[1])[:2])
        shifts = [(a[0] - b[0], a[1] - b[1]) for a, b in zip(theirs, mine, strict=True)]
        assert abs(shifts[0][0] - shifts[1][0]) < 0.01, "the crosses do not match"
        assert abs(shifts[0][1] - shifts[1][1]) < 0.01, "the crosses do not match"
        x, y = places[before]
        places.append((x + shifts[0][0], y + shifts[0][1]))
    return places


def together(sheets: list[Page], columns: int, kind: str) -> list[Line]:
    """Return all lines of a kind, of all sheets as laid together."""
    return [
        [(x + right, y + up) for x, y in line]
        for sheet, (right, up) in zip(sheets, laid_together(sheets, columns), strict=True)
        for line in sheet.lines[kind]
    ]
