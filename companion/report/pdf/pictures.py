"""Draws the report's own pictures on a PDF page: the shapes of `companion.report.drawing`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reportlab.lib.colors import HexColor
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.platypus import Flowable

from companion.report.markup import Element, text_of
from companion.report.pdf.letters import BOLD, PLAIN, showable

if TYPE_CHECKING:
    from collections.abc import Callable

    from reportlab.pdfgen.canvas import Canvas


class Picture(Flowable):  # type: ignore[misc]
    """A drawing, scaled to a width in points."""

    def __init__(self, drawing: Element, width: float) -> None:
        super().__init__()
        self._drawing = drawing
        _, _, wide, high = (float(each) for each in drawing.get("viewBox").split())
        self._scale = width / wide
        self._high = high
        self.width, self.height = width, high * self._scale

    def wrap(self, _width: float, _height: float) -> tuple[float, float]:
        """Return the room that it takes, in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it: SVG counts down the page, PDF up."""
        page = self.canv
        page.scale(self._scale, self._scale)
        for shape in self._drawing.children:
            if isinstance(shape, Element):
                page.saveState()
                _pen(page, shape)
                _SHAPES[shape.name](page, shape, self._high)
                page.restoreState()


def _pen(page: Canvas, shape: Element) -> None:
    if colour := shape.get("stroke"):
        page.setStrokeColor(HexColor(colour))
    if colour := shape.get("fill"):
        page.setFillColor(HexColor(colour))
    page.setLineWidth(_of(shape, "stroke-width", 1.0))
    if dashes := shape.get("stroke-dasharray"):
        page.setDash([float(each) for each in dashes.split()])


def _line(page: Canvas, shape: Element, high: float) -> None:
    x1, y1, x2, y2 = (_of(shape, key) for key in ("x1", "y1", "x2", "y2"))
    page.line(x1, high - y1, x2, high - y2)


def _rect(page: Canvas, shape: Element, high: float) -> None:
    x, y, width, height = (_of(shape, key) for key in ("x", "y", "width", "height"))
    page.rect(x, high - y - height, width, height, stroke=1, fill=1)


def _circle(page: Canvas, shape: Element, high: float) -> None:
    page.circle(_of(shape, "cx"), high - _of(shape, "cy"), _of(shape, "r"), stroke=1, fill=1)


def _polygon(page: Canvas, shape: Element, high: float) -> None:
    path = page.beginPath()
    for place, corner in enumerate(shape.get("points").split()):
        x, y = (float(each) for each in corner.split(","))
        (path.lineTo if place else path.moveTo)(x, high - y)
    path.close()
    page.drawPath(path, stroke=1, fill=1)


def _text(page: Canvas, shape: Element, high: float) -> None:
    words = showable(text_of(shape))
    face = BOLD if shape.get("font-weight") == "bold" else PLAIN
    size = 0.92 * _of(shape, "font-size")  # the face is wider than a screen's
    back = {"middle": 0.5, "end": 1.0}.get(shape.get("text-anchor"), 0.0)
    page.setFont(face, size)
    x = _of(shape, "x") - back * stringWidth(words, face, size)
    page.drawString(x, high - _of(shape, "y"), words)


def _of(shape: Element, key: str, otherwise: float = 0.0) -> float:
    return float(shape.get(key) or otherwise)


_SHAPES: dict[str, Callable[[Canvas, Element, float], None]] = {
    "line": _line,
    "rect": _rect,
    "circle": _circle,
    "polygon": _polygon,
    "text": _text,
}
