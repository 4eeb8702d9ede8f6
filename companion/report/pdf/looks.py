"""What paragraphs and tables of the PDF look like: one calm layout, readable without colour."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle

from companion.report.drawing import ACCENT, BAD, HAIR, INK, QUIET
from companion.report.pdf.letters import BOLD, PLAIN, faces

if TYPE_CHECKING:
    from companion.report.markup import Element

LINE = HexColor(HAIR)
DARK = HexColor(INK)

# Shares of the width, by a table's class and the count of its columns.
COLUMNS: dict[tuple[str, int], tuple[float, ...]] = {
    ("readings", 6): (0.08, 0.28, 0.16, 0.2, 0.14, 0.14),
    ("compare", 6): (0.23, 0.155, 0.155, 0.155, 0.185, 0.12),
    ("heard", 6): (0.08, 0.18, 0.16, 0.25, 0.08, 0.25),
    ("steps", 3): (0.08, 0.62, 0.3),
    ("checks", 4): (0.24, 0.24, 0.32, 0.2),
    ("evidence", 3): (0.08, 0.7, 0.22),
    ("timed", 2): (0.08, 0.92),
    ("timed", 3): (0.08, 0.57, 0.35),
}


@cache
def styles() -> dict[str, ParagraphStyle]:
    """Return the styles by name: an element's name, or a class of it."""
    faces()

    def style(name: str, size: float, **more: object) -> ParagraphStyle:
        more = {"fontName": PLAIN, "textColor": DARK, "leading": 1.36 * size, **more}
        return ParagraphStyle(name, fontSize=size, **more)

    quiet = HexColor(QUIET)
    accent = HexColor(ACCENT)
    return {
        each.name: each
        for each in (
            style("p", 8.8, spaceAfter=3),
            style("cell", 8),
            style("figure", 8, fontName=BOLD),
            style("outside", 8, fontName=BOLD, textColor=HexColor(BAD)),
            style("gone", 8, textColor=quiet),
            style("time", 8, textColor=quiet),
            style("head", 7.2, textColor=quiet),
            style("quiet", 7.4, textColor=quiet, spaceBefore=2, spaceAfter=2),
            style("kind", 8.8, fontName=BOLD, textColor=accent),
            style("answer", 9.6, spaceAfter=3),
            style("ending", 9.4, spaceAfter=8, spaceBefore=2),
            style("li", 8.8, leftIndent=11, bulletIndent=1, spaceAfter=2),
            style("h1", 17, fontName=BOLD, spaceAfter=6, spaceBefore=1),
            style("h2", 10.5, fontName=BOLD, textColor=accent, spaceBefore=6, spaceAfter=4),
            style("h3", 8.8, fontName=BOLD, spaceBefore=6, spaceAfter=2),
        )
    }


def style_of(node: Element) -> ParagraphStyle:
    """Return an element's style: its class's, its name's, or the plain one."""
    known = styles()
    for name in (*sorted(node.classes), node.name):
        if name in known:
            return known[name]
    return known["quiet" if node.classes & _SMALL else "p"]


_SMALL = frozenset({"when", "worth", "digest", "footnotes"})
