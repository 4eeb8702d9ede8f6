"""What a JSGF rule says, as a tree: the words for "this, then that, or the other".

The parser makes these trees, the printer and the compiler and the matcher read them. A tree knows
nothing of files, except that a reference remembers where it stood, so that an error can say so.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping


@dataclass(frozen=True, slots=True)
class Token:
    """A word, as written; a quoted token may hold several, with spaces between."""

    text: str

    @property
    def words(self) -> tuple[str, ...]:
        """The token in word form: lower case, split at spaces."""
        return tuple(self.text.lower().split())


@dataclass(frozen=True, slots=True)
class RuleRef:
    """A rule named inside another: `<number>`. `line` and `column` (from 1) say where."""

    name: str
    line: int = field(default=0, compare=False)
    column: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class InOrder:
    """One after the other; empty is JSGF's `<NULL>`, which says nothing and matches."""

    items: tuple[Expression, ...] = ()


@dataclass(frozen=True, slots=True)
class OneOf:
    """Any one branch; empty is JSGF's `<VOID>`, which nothing matches.

    `weights` is empty, or holds one weight a branch as written (None where it has none). They are
    kept for the printer; every sentence counts the same here.
    """

    branches: tuple[Expression, ...] = ()
    weights: tuple[str | None, ...] = ()


@dataclass(frozen=True, slots=True)
class Maybe:
    """An optional part: `[please]`."""

    inner: Expression


@dataclass(frozen=True, slots=True)
class Repeated:
    """A part said again and again: `*` for at_least 0, `+` for at_least 1."""

    inner: Expression
    at_least: int


@dataclass(frozen=True, slots=True)
class Tagged:
    """A part with a tag: `<amps> {load}`; the tag's text is without its braces."""

    inner: Expression
    tag: str


Expression: TypeAlias = Token | RuleRef | InOrder | OneOf | Maybe | Repeated | Tagged

NULL = InOrder()
VOID = OneOf()


def in_order(*items: Expression) -> Expression:
    """Return the items one after the other; a single item stays itself."""
    return items[0] if len(items) == 1 else InOrder(items)


def one_of(*branches: Expression) -> Expression:
    """Return any one of the branches; a single branch stays itself."""
    return branches[0] if len(branches) == 1 else OneOf(branches)


def phrase(text: str) -> Expression:
    """Return the words of a phrase in order, in word form; a phrase without words is `<VOID>`.

    >>> phrase("Duct-board")
    InOrder(items=(Token(text='duct'), Token(text='board')))
    """
    words = re.findall(r"[^\W_]+(?:'[^\W_]+)*", text.lower().replace("\u2019", "'"))
    return in_order(*(Token(word) for word in words)) if words else VOID


def children(expression: Expression) -> tuple[Expression, ...]:
    """Return the parts directly inside."""
    match expression:
        case InOrder(items):
            return items
        case OneOf(branches):
            return branches
        case Maybe(inner) | Repeated(inner) | Tagged(inner):
            return (inner,)
        case _:
            return ()


def references(expression: Expression) -> Iterator[RuleRef]:
    """Yield every rule reference in the tree, left to right."""
    if isinstance(expression, RuleRef):
        yield expression
    for child in children(expression):
        yield from references(child)


def tokens(expression: Expression) -> Iterator[Token]:
    """Yield every token in the tree, left to right."""
    if isinstance(expression, Token):
        yield expression
    for child in children(expression):
        yield from tokens(child)


def rewrite(  # noqa: PLR0911 - one return for each kind of expression
    expression: Expression, change: Callable[[RuleRef], Expression]
) -> Expression:
    """Return the tree with every rule reference replaced by what `change` makes of it."""
    match expression:
        case RuleRef():
            return change(expression)
        case InOrder(items):
            return InOrder(tuple(rewrite(item, change) for item in items))
        case OneOf(branches, weights):
            return OneOf(tuple(rewrite(branch, change) for branch in branches), weights)
        case Maybe(inner):
            return Maybe(rewrite(inner, change))
        case Repeated(inner, at_least):
            return Repeated(rewrite(inner, change), at_least)
        case Tagged(inner, tag):
            return Tagged(rewrite(inner, change), tag)
        case _:
            return expression


def sample(  # noqa: C901, PLR0911 - one case for each kind of expression
    expression: Expression,
    choose: Callable[[int], int],
    rules: Mapping[str, Expression] | None = None,
) -> tuple[str, ...]:
    """Return one sentence of the expression, every choice in it made by the caller.

    Args:
        expression: the tree to speak.
        choose: given n >= 1, returns a number from 0 to n - 1 (`random.Random(1).randrange`, or a
            property test's own chooser). A repetition goes on while it returns 1 of 2.
        rules: what references stand for, by name.

    Raises:
        ValueError: the expression holds `<VOID>`, which has no sentence.
        KeyError: a reference is not among the rules.

    >>> sample(OneOf((phrase("go back"), phrase("done"))), lambda n: n - 1)
    ('done',)
    """

    def again(part: Expression) -> tuple[str, ...]:
        return sample(part, choose, rules)

    match expression:
        case Token():
            return expression.words
        case RuleRef(name):
            return again((rules or {})[name])
        case InOrder(items):
            return tuple(word for item in items for word in again(item))
        case OneOf(branches):
            if not branches:
                raise ValueError("<VOID> has no sentence to sample")
            return again(branches[choose(len(branches))])
        case Maybe(inner):
            return again(inner) if choose(2) else ()
        case Repeated(inner, at_least):
            said = again(inner) if at_least else ()
            while choose(2):
                said += again(inner)
            return said
        case Tagged(inner):
            return again(inner)
