"""The few shapes of the report's pictures, as SVG elements.

What a shape looks like stands on the shape itself and in no style sheet, so that whoever writes
the tree out, as HTML or as PDF, draws the same. Lengths are in the units of the picture's viewBox.
SVG, because printers leave backgrounds out and keep drawings.
"""

from __future__ import annotations

from companion.report.markup import Child, Element, element

INK, QUIET, ACCENT, BAD = "#1d2733", "#55616e", "#17506b", "#9a1f1f"
HAIR, PAPER = "#b9c2ca", "#ffffff"
LETTERS = 12.0  # the height of a picture's letters


def picture(width: float, height: float, *shapes: Child, class_: str, says: str = "") -> Element:
    """Return a drawing; `says` is what it tells to who can't see it, '' if the text beside does."""
    about = {"role": "img", "aria_label": says} if says else {"aria_hidden": "true"}
    return element("svg", *shapes, class_=class_, viewBox=f"0 0 {width:g} {height:g}", **about)


def line(  # noqa: PLR0913, a line has two ends
    x1: float, y1: float, x2: float, y2: float, *, colour: str = HAIR, width: float = 1.0,
    dashes: str | None = None,
) -> Element:  # fmt: skip
    """Return a line; `dashes` is 'length gap'."""
    ends = {"x1": _number(x1), "y1": _number(y1), "x2": _number(x2), "y2": _number(y2)}
    return element(
        "line", **ends, stroke=colour, stroke_width=f"{width:g}", stroke_dasharray=dashes
    )


def box(  # noqa: PLR0913, a box has a place and a size
    x: float, y: float, width: float, height: float, *, fill: str, colour: str = INK,
    dashes: str | None = None,
) -> Element:  # fmt: skip
    """Return a rectangle."""
    place = {"x": _number(x), "y": _number(y)}
    size = {"width": _number(width), "height": _number(height)}
    return element("rect", **place, **size, fill=fill, stroke=colour, stroke_dasharray=dashes)


def dot(x: float, y: float, radius: float, *, fill: str = INK, colour: str = PAPER) -> Element:
    """Return a round mark."""
    return element(
        "circle", cx=_number(x), cy=_number(y), r=f"{radius:g}", fill=fill, stroke=colour,
        stroke_width="1.5",
    )  # fmt: skip


def diamond(x: float, y: float, reach: float, *, fill: str, colour: str = PAPER) -> Element:
    """Return a mark with four corners, told from a dot without colour."""
    corners = ((x, y - reach), (x + reach, y), (x, y + reach), (x - reach, y))
    points = " ".join(f"{_number(a)},{_number(b)}" for a, b in corners)
    return element("polygon", points=points, fill=fill, stroke=colour, stroke_width="1.5")


def words(
    x: float, y: float, text: str, *, anchor: str = "start", colour: str = INK, bold: bool = False
) -> Element:
    """Return a line of text on a base line; `anchor` is 'start', 'middle' or 'end'."""
    return element(
        "text",
        text,
        x=_number(x),
        y=_number(y),
        fill=colour,
        font_size=f"{LETTERS:g}",
        font_weight="bold" if bold else None,
        text_anchor=None if anchor == "start" else anchor,
    )


def _number(value: float) -> str:
    return f"{value:.1f}"
