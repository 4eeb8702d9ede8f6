"""JSGF, printed: what `jsgf.parse` reads back to an equal grammar."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from companion.language.expressions import (
    NULL,
    VOID,
    Expression,
    InOrder,
    Maybe,
    OneOf,
    Repeated,
    RuleRef,
    Tagged,
    Token,
)

if TYPE_CHECKING:
    from companion.language.jsgf import GrammarFile

# A word that needs no quotes. Slashes and backslashes are quoted though the scan would take them.
_PLAIN_WORD = re.compile(r"[^\s;=|*+<>()\[\]{}\"/\\]+")


def to_text(file: GrammarFile) -> str:
    r"""Return the grammar as JSGF; `parse` reads it back to an equal grammar.

    >>> from companion.language.jsgf import parse
    >>> to_text(parse("#JSGF V1.0;\ngrammar a.b;\n<x>=yes|no;")).splitlines()[-1]
    '<x> = yes | no;'
    """
    header = " ".join(part for part in ("#JSGF V1.0", file.encoding, file.locale) if part)
    lines = [f"{header};", f"grammar {file.name};"]
    lines += [f"import <{name.name}>;" for name in file.imports]
    for rule in file.rules.values():
        public = "public " if rule.public else ""
        lines.append(f"{public}<{rule.name}> = {expression_text(rule.expression)};")
    return "\n".join(lines) + "\n"


def expression_text(  # noqa: PLR0911 - one return for each kind of expression
    expression: Expression,
) -> str:
    """Return an expression as it would stand right of the '='.

    >>> from companion.language.jsgf import parse_expression
    >>> expression_text(parse_expression("(a | b)+ {letters} [c]"))
    '(a | b)+ {letters} [c]'
    """
    match expression:
        case Token(text):
            return text if _PLAIN_WORD.fullmatch(text) else _quoted(text)
        case RuleRef(name):
            return f"<{name}>"
        case InOrder(items):
            return " ".join(_grouped(item, OneOf, InOrder) for item in items) or "<NULL>"
        case OneOf(branches, weights):
            return _branches_text(branches, weights)
        case Maybe(inner):
            return f"[{expression_text(inner)}]"
        case Repeated(inner, at_least):
            return _grouped(inner, OneOf, InOrder, Repeated, Tagged) + "*+"[at_least]
        case Tagged(inner, tag):
            escaped = tag.replace("\\", "\\\\").replace("}", "\\}")
            return f"{_grouped(inner, OneOf, InOrder)} {{{escaped}}}"


def _branches_text(branches: tuple[Expression, ...], weights: tuple[str | None, ...]) -> str:
    texts = [_grouped(branch, OneOf) for branch in branches]
    if weights:
        texts = [
            text if weight is None else f"/{weight}/ {text}"
            for text, weight in zip(texts, weights, strict=True)
        ]
    return " | ".join(texts) or "<VOID>"


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _grouped(expression: Expression, *kinds: type) -> str:
    """Print, in parentheses where the surroundings would take it apart."""
    text = expression_text(expression)
    special = expression in (NULL, VOID)
    return f"({text})" if isinstance(expression, kinds) and not special else text
