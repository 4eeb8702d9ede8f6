"""Text inside a paragraph: an element's texts with their looks, as reportlab's own markup.

reportlab reads paragraphs as a kind of XML. Every text is escaped here, once, and nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from companion.report.drawing import BAD, QUIET
from companion.report.pdf.letters import showable

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from companion.report.markup import Element, Node

UNPRINTED = frozenset({"a", "audio"})  # what only a screen can do
_QUIET = (f'<font color="{QUIET}">', "</font>")
_SMALL = (f'<font color="{QUIET}" size="7.2">', "</font>")
_NAMED: dict[str, tuple[str, str]] = {
    "strong": ("<b>", "</b>"),
    "del": ("<strike>", "</strike>"),
    "sup": ('<super size="6">', "</super>"),
    "code": ('<font size="7.2">', "</font>"),
}
_CLASSED: dict[str, tuple[str, str]] = {
    "note": _SMALL,
    "beneath": _QUIET,
    "phase": _QUIET,
    "aside": _QUIET,
    "worth": _QUIET,
    "unmet": (f'<font color="{BAD}">', "</font>"),
}

_AHEAD = {"note": "<br/>", "beneath": "<br/>", "aside": " &nbsp; "}  # once, before all of it


@dataclass(frozen=True, slots=True)
class Run:
    """A text in one look: what opens and closes it stands around the escaped text."""

    text: str
    before: str = ""
    after: str = ""

    def markup(self) -> str:
        """Return it as reportlab reads it."""
        return f"{self.before}{escape(self.text)}{self.after}"


def paragraphs(nodes: Sequence[Node], most: int) -> list[str]:
    """Return nodes as the markup of one paragraph, or of several where one would be too long.

    Args:
        nodes: what stands in it.
        most: the most characters in one; longer ones are cut at a space where there is one.
    """
    made, now, room = [], "", most
    for run in _runs(nodes):
        for text in _cut(run.text, room, most):
            if len(text) > room and now:
                made.append(now)
                now, room = "", most
            now += Run(text, run.before, run.after).markup()
            room -= len(text)
    return [*made, now]


def _runs(nodes: Sequence[Node], before: str = "", after: str = "") -> Iterator[Run]:
    for node in nodes:
        if isinstance(node, str):
            yield Run(" ".join(f".{showable(node)}.".split())[1:-1], before, after)
        elif node.name not in UNPRINTED:
            for name in node.classes & _AHEAD.keys():
                yield Run("", _AHEAD[name])
            opens, closes = _look(node)
            yield from _runs(node.children, before + opens, closes + after)


def _look(node: Element) -> tuple[str, str]:
    opens, closes = _NAMED.get(node.name, ("", ""))
    for name in node.classes & _CLASSED.keys():
        opens, closes = opens + _CLASSED[name][0], _CLASSED[name][1] + closes
    return opens, closes


def _cut(text: str, room: int, most: int) -> Iterator[str]:
    """Cut a text: its first piece within the room, or within the most where nothing fits."""
    allowed = room if room >= most // 4 else most
    while len(text) > allowed:
        at = text.rfind(" ", allowed // 2, allowed) + 1 or allowed
        yield text[:at]
        text, allowed = text[at:], most
    yield text
