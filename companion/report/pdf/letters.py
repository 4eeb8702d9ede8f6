"""The letters of the PDF: a face that comes with reportlab, and what becomes of what it lacks."""

from __future__ import annotations

import unicodedata
from functools import cache

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from companion.report.markup import clean

PLAIN, BOLD = "report-plain", "report-bold"
MARK = "\N{CURRENCY SIGN}"  # stands for a character that the face lacks
_FILES = {PLAIN: "Vera.ttf", BOLD: "VeraBd.ttf"}
# What Unicode does not take apart, but has a plain look-alike.
_ALIKE = str.maketrans(
    {"\N{RIGHTWARDS ARROW}": "->", "\N{NON-BREAKING HYPHEN}": "-", "\N{HYPHEN}": "-"}
)


@cache
def faces() -> frozenset[int]:
    """Register the two faces with reportlab and return the code points that both show."""
    shown = []
    for name, file in _FILES.items():
        face = TTFont(name, file)
        pdfmetrics.registerFont(face)
        shown.append(frozenset(face.face.charToGlyph))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)
    return frozenset.intersection(*shown)


def showable(text: str) -> str:
    """Return a text in the letters that there are.

    A character that the face lacks is written by its parts, its marks left out, where the face has
    these; else a mark stands for it. The HTML report and the log have it as it was.

    >>> showable("Łódź, Nguyễn, R\N{SUBSCRIPT TWO}, \N{CJK UNIFIED IDEOGRAPH-4E2D}")
    'Łódz, Nguyen, R2, ¤'
    """
    known = faces()
    plain = clean(text).translate(_ALIKE)
    return "".join(c if ord(c) in known or c.isspace() else _parts(c, known) for c in plain)


def _parts(character: str, known: frozenset[int]) -> str:
    parts = unicodedata.normalize("NFKD", character)
    bases = "".join(part for part in parts if not unicodedata.combining(part))
    if parts != character and all(ord(part) in known for part in bases):
        return bases  # a mark by itself leaves nothing: the letter before it stands
    return "" if unicodedata.combining(character) else MARK
