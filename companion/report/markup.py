"""HTML as nested elements: text is always escaped, only elements are not.

Small on purpose: the page needs no templates, and what cannot be forgotten cannot break out.
"""

from __future__ import annotations

import html
import re
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Sequence

VOID = frozenset({"br", "col", "hr", "meta"})

# What HTML has no character for: control characters, halves of surrogate pairs, noncharacters.
_UNWRITABLE = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]"
)


class Markup(str):
    """Text that is HTML already; made by `element` and `joined` only."""

    __slots__ = ()


Child: TypeAlias = "str | Sequence[Child] | None"


def escaped(text: str) -> Markup:
    """Return text as HTML; markup stays as it is.

    >>> escaped('<b> & "b"')
    '&lt;b&gt; &amp; &quot;b&quot;'
    """
    if isinstance(text, Markup):
        return text
    # html.parser and browsers turn a carriage return into a line feed; so do we, beforehand.
    plain = _UNWRITABLE.sub("\N{REPLACEMENT CHARACTER}", text).replace("\r\n", "\n")
    return Markup(html.escape(plain.replace("\r", "\n"), quote=True))


def joined(*children: Child) -> Markup:
    """Return children in a row, None left out."""
    parts: list[str] = []
    for child in children:
        if isinstance(child, str):
            parts.append(escaped(child))
        elif child is not None:
            parts.append(joined(*child))
    return Markup("".join(parts))


def element(name: str, /, *children: Child, **attributes: str | None) -> Markup:
    """Return an element; an attribute of None is left out, `class_` is 'class', '_' is '-'.

    >>> element("p", "1 < 2", class_="note", aria_hidden="true")
    '<p class="note" aria-hidden="true">1 &lt; 2</p>'
    """
    pairs = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escaped(value)}"'
        for key, value in attributes.items()
        if value is not None
    )
    if name in VOID:
        return Markup(f"<{name}{pairs}>")
    return Markup(f"<{name}{pairs}>{joined(*children)}</{name}>")
