"""The report's tree as what flows over the pages of a PDF."""

from __future__ import annotations

from typing import TYPE_CHECKING

from reportlab.platypus import CondPageBreak, HRFlowable, Paragraph, Spacer, Table

from companion.report.markup import Element, text_of
from companion.report.pdf.looks import LINE, style_of, styles
from companion.report.pdf.pictures import Picture
from companion.report.pdf.runs import UNPRINTED, paragraphs
from companion.report.pdf.tables import blanks, table

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from reportlab.platypus import Flowable

_MOST = 3_000  # characters in a paragraph: a longer one is cut, or page after page sets it anew
_ROOM_PT = {"h2": 96.0, "h3": 60.0}  # what a heading needs below it on its page
_FACTS = 3  # facts in a row
_MOST_FACT = 160  # characters of one there; a longer one stands below, by itself
_TERM_PT = 84.0
_PLAIN = [
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 8),
    ("TOPPADDING", (0, 0), (-1, -1), 0),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
]


def flowing(node: Element, width: float) -> Iterator[Flowable]:
    """Yield an element as flowables.

    Args:
        node: a block of the report.
        width: of the page's text, in points.
    """
    if node.name in UNPRINTED:
        return
    maker = _MAKERS.get(node.name)
    if maker:
        yield from maker(node, width)
    elif "blanks" in node.classes:
        yield blanks([c for c in node.children if isinstance(c, Element)], width)
    elif _is_text(node):
        yield from _paragraph(node, width)
    else:
        yield from _children(node, width)


def _is_text(node: Element) -> bool:
    return node.name in {"p", "h1", "h2", "h3"}


def _children(node: Element, width: float) -> Iterator[Flowable]:
    for child in node.children:
        if isinstance(child, Element):
            yield from flowing(child, width)


def _paragraph(node: Element, _width: float) -> Iterator[Flowable]:
    if not text_of(node).strip():
        return
    if node.name in _ROOM_PT:
        yield CondPageBreak(_ROOM_PT[node.name])
    for text in paragraphs(node.children, _MOST):
        yield Paragraph(text, style_of(node))


def _section(node: Element, width: float) -> Iterator[Flowable]:
    drawings = [_high(each, width) for each in _pictures(node)]
    yield CondPageBreak(_ROOM_PT["h2"] + max(drawings, default=0.0))
    yield HRFlowable(width="100%", thickness=0.6, color=LINE, spaceBefore=7, spaceAfter=0)
    yield from _children(node, width)


def _pictures(node: Element) -> Iterator[Element]:
    for child in node.children:
        if isinstance(child, Element) and child.name in {"div", "svg"}:
            yield from [child] if child.name == "svg" else _pictures(child)


def _high(drawing: Element, width: float) -> float:
    return Picture(drawing, width).height


def _list(node: Element, _width: float) -> Iterator[Flowable]:
    known = styles()
    bare = "footnotes" in node.classes
    for item in node.children:
        if isinstance(item, Element):
            for place, text in enumerate(paragraphs(item.children, _MOST)):
                bullet = None if bare or place else "•"
                yield Paragraph(text, known["quiet" if bare else "li"], bulletText=bullet)


def _terms(node: Element, width: float) -> Iterator[Flowable]:
    """Terms and what is said of them: the facts in a grid, else one below the other."""
    if "facts" in node.classes:
        yield from _grid(node, width)
        return
    term: list[Flowable] = []
    for child in node.children:
        if not isinstance(child, Element):
            continue
        if child.name == "dt":
            term = [Paragraph(text, styles()["head"]) for text in paragraphs(child.children, _MOST)]
            continue
        for said in child.children:
            nodes = said.children if isinstance(said, Element) else (said,)
            for text in paragraphs(nodes, _MOST // 2):
                row = [term, Paragraph(text, styles()["cell"])]
                widths = [_TERM_PT, width - _TERM_PT]
                yield Table([row], colWidths=widths, style=_PLAIN, hAlign="LEFT")
                term = []


def _grid(node: Element, width: float) -> Iterator[Flowable]:
    facts = [each for each in node.children if isinstance(each, Element)]
    cells = [list(_fact(each)) for each in facts if len(text_of(each)) <= _MOST_FACT]
    for at in range(0, len(cells), _FACTS):
        row = cells[at : at + _FACTS]
        row += [[]] * (_FACTS - len(row))
        yield Table([row], colWidths=[width / _FACTS] * _FACTS, style=_PLAIN, hAlign="LEFT")
    for fact in facts:
        if len(text_of(fact)) > _MOST_FACT:
            yield from _fact(fact)
    yield Spacer(1, 4)


def _fact(fact: Element) -> Iterator[Flowable]:
    for each in fact.children:
        if isinstance(each, Element):
            for text in paragraphs(each.children, _MOST):
                yield Paragraph(text, styles()["head" if each.name == "dt" else "cell"])


def _table(node: Element, width: float) -> Iterator[Flowable]:
    yield table(node, width)


def _picture(node: Element, width: float) -> Iterator[Flowable]:
    yield Picture(node, width)
    yield Spacer(1, 4)


_MAKERS: dict[str, Callable[[Element, float], Iterator[Flowable]]] = {
    "section": _section,
    "ul": _list,
    "dl": _terms,
    "table": _table,
    "svg": _picture,
}
