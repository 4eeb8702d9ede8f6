"""A procedure's diagram as SVG: schemdraw draws the shapes where `procedures.diagram` put them.

schemdraw is loaded with this module only, since one command needs it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import schemdraw
from schemdraw import flow
from schemdraw.elements import Element
from schemdraw.segments import Segment, SegmentCircle, SegmentPoly, SegmentText

from companion.procedures.diagram import SYMBOL, diagram
from companion.report.markup import html_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from companion.procedures.diagram import Line, Shape, Sheet, Stroke
    from companion.procedures.model import Procedure

_FACE = "'DejaVu Sans', Verdana, Arial, sans-serif"
_BOLD = "bold"  # stands for the bold face until the drawing is done: schemdraw has no weight
_THIN, _PLAIN, _THICK = 0.8, 1.1, 2.6


def drawn(procedure: Procedure) -> str:
    """Return a procedure's diagram as the text of an SVG file."""
    sheet = diagram(procedure)
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{sheet.width:.0f}",
            "height": f"{sheet.height:.0f}",
            "viewBox": f"0 0 {sheet.width:.0f} {sheet.height:.0f}",
        },
    )
    ET.SubElement(root, "title").text = sheet.title
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "white"})
    root.extend(_draw(sheet))
    for text in root.iter("text"):
        if text.get("font-family") == _BOLD:
            text.set("font-weight", "bold")
        text.set("font-family", _FACE)
    return ET.tostring(root, encoding="unicode", xml_declaration=True)


def _draw(sheet: Sheet) -> Iterable[ET.Element]:
    drawing = schemdraw.Drawing(canvas="svg", show=False)
    drawing.config(unit=1, inches_per_unit=1 / 72, margin=0, lw=_PLAIN)  # one unit is a point
    for stroke in sheet.strokes:
        drawing.add(_placed(_of([_way(stroke)]), 0, 0))
    for shape in sheet.shapes:
        for element in _elements(shape):
            drawing.add(element)
        if shape.lines:
            drawing.add(_placed(_of([_text(line) for line in shape.lines]), 0, 0))
    made: Iterable[ET.Element] = drawing.draw(show=False).getsvg()
    return made


# ---------------------------------------------------------------- shapes


def _elements(shape: Shape) -> Iterator[Element]:
    """The shape itself, without its text."""
    width, height = shape.width, shape.height
    match shape.kind:
        case "plain":
            return
        case "mark":
            yield _placed(_of([_outline(_corners(width, height), _THIN)]), shape.x, shape.y)
            yield _placed(_of(_sign(shape.sign)), shape.x + 2, shape.y + (height - SYMBOL) / 2)
        case "hold":
            middle = height / 2
            corners = [(0.0, middle), (16, 0), (width - 16, 0)]
            corners += [(width, middle), (width - 16, height), (16, height)]
            yield _placed(_of([_outline(corners, _PLAIN, fill="black")]), shape.x, shape.y)
        case "goto":
            corners = [(0.0, 0.0), (width - 12, 0), (width, height / 2)]
            corners += [(width - 12, height), (0, height)]
            yield _placed(_of([_outline(corners, _PLAIN)]), shape.x, shape.y)
        case _:
            yield _flow(shape)


def _flow(shape: Shape) -> Element:
    """One of schemdraw's own flow shapes, hung by the middle of its upper edge."""
    width, height = shape.width, shape.height
    made: Element
    match shape.kind:
        case "choice":
            made = flow.Decision(w=width, h=height)
        case "line step":
            made = flow.Subroutine(w=width - 2 * _BAR, h=height, s=_BAR)  # it adds the bars
        case "start" | "end" | "carry" | "from":
            made = flow.RoundBox(w=width, h=height, cornerradius=height / 2 - 0.1)
        case _:
            made = flow.Box(w=width, h=height)
    if shape.dashed:
        made = made.linestyle("--")
    made = made.linewidth(_THICK if shape.kind in {"held", "end"} else _PLAIN)
    return made.at((shape.x + width / 2, -shape.y)).theta(0).anchor("N")


_BAR = 5.0


def _corners(width: float, height: float) -> list[tuple[float, float]]:
    return [(0, 0), (width, 0), (width, height), (0, height)]


def _outline(
    corners: Sequence[tuple[float, float]], thick: float, *, fill: str | None = None
) -> SegmentPoly:
    return SegmentPoly([(x, -y) for x, y in corners], lw=thick, fill=fill, joinstyle="miter")


def _stroke(points: Sequence[tuple[float, float]], thick: float) -> Segment:
    return Segment([(x, -y) for x, y in points], lw=thick)


_BOLT = ((9, 3.5), (6, 9), (10, 9), (7, 14.5))


def _sign(name: str) -> list[Segment | SegmentPoly | SegmentCircle]:
    """A mark's sign, in a square of `SYMBOL`: told apart by form, not by colour."""
    middle = (SYMBOL / 2, -SYMBOL / 2)
    match name:
        case "line voltage":
            return [_outline([(8, 1), (15.5, 14.5), (0.5, 14.5)], 1.2), _stroke(_SMALL_BOLT, 1.2)]
        case "proved dead":
            return [SegmentCircle(middle, 5.5, lw=1.2), _stroke([(4.2, 4.2), (11.8, 11.8)], 1.2)]
        case "cuts":
            return [
                _stroke([(2, 8), (5, 8), (5, 11), (11, 11), (11, 8), (14, 8)], 1.2),
                _stroke([(8, 3), (8, 8)], 2.0),
            ]
        case "power on":
            return [SegmentCircle(middle, 5.5, lw=1.2), _stroke([(8, 4.5), (8, 11.5)], 2.0)]
        case _:
            return [_stroke(_BOLT, 1.8)]


_SMALL_BOLT = ((8.6, 5.5), (6.8, 9.4), (9.4, 9.4), (7.6, 13))


# ---------------------------------------------------------------- lines and text


def _way(stroke: Stroke) -> Segment:
    points = [(x, -y) for x, y in stroke.points]
    if stroke.arrow:
        return Segment(points, lw=_PLAIN, arrow="->", arrowwidth=6, arrowlength=8)
    return Segment(points, lw=_PLAIN)


def _text(line: Line) -> SegmentText:
    return SegmentText(
        (line.x, -line.y),
        # It is read as XML, and what stands between dollar signs as a formula.
        html_of(line.text).replace("$", "&#36;"),
        align=(line.anchor, "base"),
        fontsize=line.size,
        font=_BOLD if line.bold else "sans",
        color="white" if line.white else "black",
    )


def _of(segments: Sequence[Segment | SegmentPoly | SegmentCircle | SegmentText]) -> Element:
    element = Element()
    element.segments.extend(segments)
    return element


def _placed(element: Element, x: float, y: float) -> Element:
    return element.at((x, -y)).theta(0)
