"""A cut-out's template as PDF, over as many sheets as it takes.

reportlab is loaded with this module only, since few commands need it. Its pages are in points:
72 to the inch, so that 25.4 mm are 72 of them (ISO 32000-1, 8.3.2.3).
"""

from __future__ import annotations

from functools import cache
from importlib.resources import as_file, files
from io import BytesIO
from typing import TYPE_CHECKING

import ziafont
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from companion.report.drawings.sheets import plan
from companion.report.drawings.strokes import PENS, Stroke, Words
from companion.report.drawings.template import around, drawing, on_sheet
from companion.report.drawings.writing import one_line

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.report.drawings.cutout import Cutout
    from companion.report.drawings.sheets import PaperName

POINTS_PER_MM = 72 / 25.4
_MISSING = "\N{REPLACEMENT CHARACTER}"


def template_pdf(
    cutout: Cutout, paper: PaperName, *, each_sheet: Callable[[int, int], None] | None = None
) -> bytes:
    """Return the template at true scale.

    Args:
        cutout: what is cut.
        paper: 'letter' or 'a4'.
        each_sheet: is told after every sheet: how many are done, and of how many.
    """
    laid = plan(around(cutout), paper)
    drawn = drawing(cutout)
    title = one_line(cutout.label) or "Cut-out template"
    canvas, buffer = begun(title, (laid.width * POINTS_PER_MM, laid.height * POINTS_PER_MM))
    for number, sheet in enumerate(laid.sheets, 1):
        for each in on_sheet(cutout, drawn, laid, sheet):
            if isinstance(each, Stroke):
                _draw(canvas, each)
            else:
                _write(canvas, each)
        canvas.showPage()
        if each_sheet:
            each_sheet(number, len(laid.sheets))
    canvas.save()
    return buffer.getvalue()


def begun(title: str, size_pt: tuple[float, float]) -> tuple[Canvas, BytesIO]:
    """Return an empty PDF that asks a printer not to scale it, and where it is written to."""
    buffer = BytesIO()
    # Invariant: the same drawing is the same file, whenever it is made.
    canvas = Canvas(buffer, pagesize=size_pt, invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setAuthor("companion")
    canvas.setViewerPreference("PrintScaling", "None")
    return canvas, buffer


@cache
def face() -> tuple[str, frozenset[int]]:
    """Return the name of the typeface, embedded where it is used, and the characters it has."""
    with as_file(files(ziafont).joinpath("fonts", "DejaVuSans.ttf")) as path:
        font = TTFont("DejaVuSans", str(path))
    pdfmetrics.registerFont(font)
    return font.fontName, frozenset(font.face.charToGlyph)


def shown_in(text: str) -> str:
    """Return text as the typeface can show it; what it lacks shows as a replacement mark."""
    has = face()[1]
    return "".join(each if ord(each) in has else _MISSING for each in text)


def _draw(canvas: Canvas, stroke: Stroke) -> None:
    pen = PENS[stroke.role]
    canvas.setLineWidth(pen.width_mm * POINTS_PER_MM)
    canvas.setStrokeGray(pen.grey)
    canvas.setDash([each * POINTS_PER_MM for each in pen.dashes_mm])
    path = canvas.beginPath()
    (x, y), *rest = stroke.points
    path.moveTo(x * POINTS_PER_MM, y * POINTS_PER_MM)
    for x, y in rest:
        path.lineTo(x * POINTS_PER_MM, y * POINTS_PER_MM)
    if stroke.closed:
        path.close()
    canvas.drawPath(path, stroke=1, fill=0)


def _write(canvas: Canvas, words: Words) -> None:
    canvas.setFont(face()[0], words.size_mm * POINTS_PER_MM)
    x, y = words.x_mm * POINTS_PER_MM, words.y_mm * POINTS_PER_MM
    text = shown_in(words.text)
    match words.anchor:
        case "center":
            canvas.drawCentredString(x, y, text)
        case "right":
            canvas.drawRightString(x, y, text)
        case _:
            canvas.drawString(x, y, text)
