"""Tables of the PDF: their head stands again on each page, and a row may be as long as it likes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from reportlab.platypus import Paragraph, Table

from companion.report.markup import Element
from companion.report.pdf.looks import COLUMNS, DARK, LINE, styles
from companion.report.pdf.pictures import Picture
from companion.report.pdf.runs import paragraphs

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Flowable

_PAD = 5.0
# Of a cell that is longer than this, the rest goes into a row below: a row is never higher than a
# page. Twelve lines of narrow letters are half a page of the widest.
_LINES = 12
_NARROW_PT = 4.0
_GAUGE_PT = 62.0


def table(node: Element, width: float) -> Table:
    """Return a table element as a table of this width, in points."""
    heads = [row for part in _named(node, "thead") for row in _named(part, "tr")]
    rows = [row for part in _named(node, "tbody") for row in _named(part, "tr")]
    count = max(len(list(_cells(row))) for row in [*heads, *rows])
    name = next(iter(node.classes), "")
    shares = COLUMNS.get((name, count), (1 / count,) * count)
    widths = [share * width for share in shares]
    made: list[list[Any]] = [_head(row) for row in heads]
    looks: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-2, -1), _PAD),
        ("RIGHTPADDING", (-1, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.5),
    ]
    if heads:
        looks.append(("LINEBELOW", (0, len(heads) - 1), (-1, len(heads) - 1), 0.7, DARK))
    for row in rows:
        if len(made) > len(heads):
            looks.append(("LINEABOVE", (0, len(made)), (-1, len(made)), 0.4, LINE))
        made.extend(_row(row, widths))
    return Table(
        made, colWidths=widths, repeatRows=len(heads), style=looks, hAlign="LEFT", spaceAfter=4
    )


def blanks(labels: Sequence[Element], width: float) -> Table:
    """Return lines to write on, two in a row, each with its label below."""
    small = styles()["quiet"]
    cells = [[Paragraph(each, small) for each in paragraphs(one.children, 200)] for one in labels]
    pairs = [[cells[at], "", cells[at + 1] if at + 1 < len(cells) else ""]
             for at in range(0, len(cells), 2)]  # fmt: skip
    gap = 18.0
    side = (width - gap) / 2
    lines = [("LINEABOVE", (column, row), (column, row), 0.7, DARK)
             for row, pair in enumerate(pairs) for column in (0, 2) if pair[column]]  # fmt: skip
    plain = [
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("TOPPADDING", (0, 0), (-1, -1), 0),
        ("BOTTOMPADDING", (0, 0), (-1, -2), 14),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ]
    return Table(
        pairs, colWidths=[side, gap, side], style=[*plain, *lines], spaceBefore=20, spaceAfter=5,
        hAlign="LEFT",
    )  # fmt: skip


def _named(node: Element, name: str) -> Iterator[Element]:
    return (c for c in node.children if isinstance(c, Element) and c.name == name)


def _cells(row: Element) -> Iterator[Element]:
    return (c for c in row.children if isinstance(c, Element))


def _head(row: Element) -> list[list[Flowable]]:
    small = styles()["head"]
    return [[Paragraph(text, small) for text in paragraphs(c.children, 100)] for c in _cells(row)]


def _row(row: Element, widths: Sequence[float]) -> Iterator[list[list[Flowable]]]:
    """Yield a row, and rows below it for what is too long for one."""
    pieces = [
        list(_pieces(cell, width, gone=bool(row.classes)))
        for cell, width in zip(_cells(row), widths, strict=False)
    ]
    for place in range(max(map(len, pieces))):
        yield [cell[place : place + 1] for cell in pieces]


def _pieces(cell: Element, width: float, *, gone: bool) -> Iterator[Flowable]:
    most = max(40, int(width / _NARROW_PT) * _LINES)
    style = _style(cell, gone=gone)
    for child in _lines(cell):
        if len(child) == 1 and isinstance(child[0], Element) and child[0].name == "svg":
            yield Picture(child[0], min(_GAUGE_PT, width))
        else:
            for text in paragraphs(child, most):
                yield Paragraph(text, style)


def _lines(cell: Element) -> Iterator[Sequence[Any]]:
    """A cell's blocks, each by itself; what stands in the line is one."""
    if all(isinstance(c, Element) and c.name == "div" for c in cell.children):
        yield from (c.children for c in cell.children if isinstance(c, Element))
    else:
        yield cell.children


def _style(cell: Element, *, gone: bool) -> ParagraphStyle:
    known = styles()
    for name in ("outside", "gone", "time"):
        if name in cell.classes:
            return known[name]
    if gone:
        return known["gone"]
    return known["figure" if "figure" in cell.classes or "undone" in cell.classes else "cell"]
