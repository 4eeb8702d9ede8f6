"""A cut-out's template as one SVG at true scale, for a plotter or a cutter.

Its width and height are in millimeters and so is one unit of its view box; y runs downwards.
"""

from __future__ import annotations

from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from companion.procedures.lettering import wrapped
from companion.report.drawings.strokes import PENS, Stroke, Words
from companion.report.drawings.template import (
    CAUTION,
    LEADING,
    SCALE,
    SMALL,
    TITLE,
    around,
    drawing,
    ruler,
    told_of,
)
from companion.report.drawings.writing import one_line

if TYPE_CHECKING:
    from companion.report.drawings.cutout import Cutout

FACE = "'DejaVu Sans', Verdana, Arial, sans-serif"
_ANCHORS = {"left": "start", "center": "middle", "right": "end"}
_LEAST_WIDTH = 130.0  # the ruler and what is said of it need that much
_MARGIN = 8.0


def template_svg(cutout: Cutout) -> str:
    """Return the template as the text of an SVG file."""
    window = around(cutout)
    width = max(window.width, _LEAST_WIDTH) + 2 * _MARGIN
    room = width - 2 * _MARGIN
    title = one_line(cutout.label) or "Cut-out template"
    about = " · ".join(filter(None, (cutout.job and f"job {cutout.job}", cutout.date)))
    head = wrapped(title, TITLE, room), _all_wrapped((one_line(about), *told_of(cutout)), room)
    foot = _all_wrapped((SCALE, f"CAUTION: {CAUTION}"), room)
    head_high = _MARGIN + LEADING * (TITLE * len(head[0]) + SMALL * len(head[1]))
    foot_high = 26 + LEADING * SMALL * len(foot) + _MARGIN
    height = head_high + window.height + foot_high
    root = _root(width, height, title)
    y = _MARGIN
    for lines, size in ((head[0], TITLE), (head[1], SMALL)):
        for line in lines:
            y += LEADING * size
            _write(root, Words(_MARGIN, -y, line, size))
    middle = width / 2, -(head_high + window.height / 2)
    for each in drawing(cutout):
        _add(root, each.moved(*middle))
    y = head_high + window.height
    for each in ruler(_MARGIN, -(y + 10)):
        _add(root, each)
    y += 24
    for line in foot:
        y += LEADING * SMALL
        _write(root, Words(_MARGIN, -y, line, SMALL))
    return ET.tostring(root, encoding="unicode", xml_declaration=True)


def _all_wrapped(lines: tuple[str, ...], room: float) -> tuple[str, ...]:
    return tuple(part for line in lines for part in wrapped(line, SMALL, room))


def _root(width: float, height: float, title: str) -> ET.Element:
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{width:.4f}mm",
            "height": f"{height:.4f}mm",
            "viewBox": f"0 0 {width:.4f} {height:.4f}",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": "white"})
    return root


def _add(root: ET.Element, each: Stroke | Words) -> None:
    if isinstance(each, Words):
        _write(root, each)
        return
    pen = PENS[each.role]
    made = ET.SubElement(
        root,
        "polygon" if each.closed else "polyline",
        {
            "class": each.role,
            "points": " ".join(f"{x:.4f},{-y:.4f}" for x, y in each.points),
            "fill": "none",
            "stroke": "black",
            "stroke-width": f"{pen.width_mm:g}",
        },
    )
    if pen.dashes_mm:
        made.set("stroke-dasharray", " ".join(f"{dash:g}" for dash in pen.dashes_mm))


def _write(root: ET.Element, words: Words) -> None:
    made = ET.SubElement(
        root,
        "text",
        {
            "x": f"{words.x_mm:.4f}",
            "y": f"{-words.y_mm:.4f}",
            "font-size": f"{words.size_mm:g}",
            "font-family": FACE,
            "text-anchor": _ANCHORS[words.anchor],
        },
    )
    made.text = words.text
