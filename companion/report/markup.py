"""The report as a tree of elements and texts, and the tree as HTML.

Small on purpose: the report needs no templates. A text is only ever a text: whoever writes the
tree out, as HTML here or as PDF elsewhere, escapes it, so that nothing in a log can break out.
"""

from __future__ import annotations

import html
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

VOID = frozenset({"br", "col", "hr", "meta"})

# What HTML has no character for: control characters, halves of surrogate pairs, noncharacters.
_UNWRITABLE = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)


@dataclass(frozen=True, slots=True)
class Element:
    """An element: its name, its attributes in order and what stands in it."""

    name: str
    attributes: tuple[tuple[str, str], ...] = ()
    children: tuple[Node, ...] = ()

    def __str__(self) -> str:
        """Return it as HTML."""
        return html_of(self)

    @property
    def classes(self) -> frozenset[str]:
        """The names of its classes."""
        return frozenset(self.get("class").split())

    def get(self, attribute: str) -> str:
        """Return an attribute, '' where it has none."""
        return next((value for key, value in self.attributes if key == attribute), "")


class Sheet(str):
    """A style sheet: the one text that goes into HTML as it is. Ours only, never a log's."""

    __slots__ = ()


Node: TypeAlias = Element | str
Markup: TypeAlias = "Element | tuple[Node, ...]"
Child: TypeAlias = "Node | Sequence[Child] | None"


def clean(text: str) -> str:
    r"""Return text without what no document can hold, and its line ends as browsers read them.

    >>> clean("a\0b\r\nc")
    'a\ufffdb\nc'
    """
    plain = _UNWRITABLE.sub("\N{REPLACEMENT CHARACTER}", text)
    # html.parser and browsers turn a carriage return into a line feed; so do we, beforehand.
    return plain.replace("\r\n", "\n").replace("\r", "\n")


def joined(*children: Child) -> tuple[Node, ...]:
    """Return children in a row, None left out."""
    return tuple(_flat(children))


def _flat(children: Sequence[Child]) -> Iterator[Node]:
    for child in children:
        if isinstance(child, Element | str):
            yield child
        elif child is not None:
            yield from _flat(child)


def element(name: str, /, *children: Child, **attributes: str | None) -> Element:
    """Return an element; an attribute of None is left out, `class_` is 'class', '_' is '-'.

    >>> print(element("p", "1 < 2", class_="note", aria_hidden="true"))
    <p class="note" aria-hidden="true">1 &lt; 2</p>
    """
    pairs = (
        (key.rstrip("_").replace("_", "-"), value)
        for key, value in attributes.items()
        if value is not None
    )
    return Element(name, tuple(pairs), joined(*children))


def html_of(node: Node) -> str:
    """Return a node as HTML; texts and attributes are always escaped.

    >>> html_of('<b> & "b"')
    '&lt;b&gt; &amp; &quot;b&quot;'
    """
    if isinstance(node, Sheet):
        return node
    if isinstance(node, str):
        return html.escape(clean(node), quote=True)
    pairs = "".join(f' {key}="{html_of(value)}"' for key, value in node.attributes)
    if node.name in VOID:
        return f"<{node.name}{pairs}>"
    return f"<{node.name}{pairs}>{''.join(map(html_of, node.children))}</{node.name}>"


def text_of(node: Node) -> str:
    """Return what a node says, its texts in a row.

    >>> text_of(element("p", "1 ", element("b", "< 2")))
    '1 < 2'
    """
    if isinstance(node, str):
        return "" if isinstance(node, Sheet) else clean(node)
    return "".join(map(text_of, node.children))
