"""The wiring's SVG as a PDF of one page.

No library that turns SVG into PDF is needed: what our drawing is made of is straight lines,
circles and text, and anything else is an error here, so that nothing is left out in silence.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

from companion.report.drawings.pdf import begun, face, shown_in
from companion.report.drawings.sheets import MARGIN_MM, PAPERS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from reportlab.pdfgen.canvas import Canvas

    from companion.report.drawings.sheets import PaperName

_PX = "px"
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
_IGNORED = frozenset({"svg", "title", "rect"})  # the rectangle is the white ground


def wiring_pdf(svg: str, paper: PaperName) -> bytes:
    """Return a wiring's drawing on one lying sheet, as large as it goes.

    Args:
        svg: the text that `wiring_drawing.drawn` returned.
        paper: 'letter' or 'a4'.

    Raises:
        ValueError: it holds a shape that this cannot draw.
    """
    root = ET.fromstring(svg)  # noqa: S314 - our own
    high_mm, wide_mm = PAPERS[paper]
    wide, high = wide_mm * 72 / 25.4, high_mm * 72 / 25.4
    left, top, width, height = (float(each) for each in str(root.get("viewBox")).split())
    margin = MARGIN_MM * 72 / 25.4
    scale = min((wide - 2 * margin) / width, (high - 2 * margin) / height)
    title = next((each.text or "" for each in root if _name(each) == "title"), "")
    canvas, buffer = begun(title, (wide, high))
    canvas.translate((wide - scale * width) / 2, high - margin)
    canvas.scale(scale, scale)
    canvas.translate(-left, top)
    for each in root:
        _draw(canvas, each)
    canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def _draw(canvas: Canvas, each: ET.Element) -> None:
    match _name(each):
        case "path":
            _path(canvas, each)
        case "circle":
            x, y, radius = (float(str(each.get(key))) for key in ("cx", "cy", "r"))
            _pen(canvas, each)
            canvas.circle(x, -y, radius, stroke=1, fill=1)
        case "text":
            _text(canvas, each)
        case name if name not in _IGNORED:
            raise ValueError(f"no way to draw <{name}>")


def _path(canvas: Canvas, each: ET.Element) -> None:
    drawn = str(each.get("d"))
    if set(re.findall("[A-Za-z]", drawn)) - set("MLZe"):
        raise ValueError(f"no way to draw a path of {drawn}")
    _pen(canvas, each)
    path = canvas.beginPath()
    for way, x, y in _moves(drawn):
        (path.moveTo if way == "M" else path.lineTo)(x, -y)
    if "Z" in drawn:
        path.close()
    canvas.drawPath(path, stroke=1, fill=0)


def _moves(drawn: str) -> Iterator[tuple[str, float, float]]:
    for way, rest in re.findall(r"([ML])([^MLZ]*)", drawn):
        numbers = [float(each) for each in _NUMBER.findall(rest)]
        for x, y in zip(numbers[::2], numbers[1::2], strict=True):
            yield way, x, y


def _pen(canvas: Canvas, each: ET.Element) -> None:
    style = {
        key.strip(): value.strip()
        for key, _, value in (part.partition(":") for part in str(each.get("style")).split(";"))
    }
    canvas.setLineWidth(float(style.get("stroke-width", "1")))
    canvas.setDash([float(one) for one in _NUMBER.findall(style.get("stroke-dasharray", ""))])
    canvas.setFillGray(1.0 if style.get("fill") in {"white", "none"} else 0.0)


def _text(canvas: Canvas, each: ET.Element) -> None:
    text = shown_in("".join(each.itertext()))
    size = float(str(each.get("font-size", "10")).removesuffix(_PX))
    canvas.setFillGray(0)
    canvas.setFont(face()[0], size)
    x, y = float(str(each.get("x"))), float(str(each.get("y")))
    y += sum(float(str(part.get("dy", "0"))) for part in each)  # to the line that it stands on
    match each.get("text-anchor"):
        case "middle":
            canvas.drawCentredString(x, -y, text)
        case "end":
            canvas.drawRightString(x, -y, text)
        case _:
            canvas.drawString(x, -y, text)


def _name(each: ET.Element) -> str:
    return each.tag.rpartition("}")[2]
