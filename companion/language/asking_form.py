"""How a question is told from talk by its form, where no grammar tells it.

English, common practice, no source. What is said to somebody else ("how much do you charge") and
what is told ("the filter is sixteen by twenty five") is no question to the companion; whether
something is safe is one that has no answer here.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.language.amounts import Piece

# How far a question must lead over talk, in nats. Set on 2.8 hours of remarks, half full of the
# words of questions: of 27 that were answered with a lead of 0 and nothing else, one was left; then
# of seven without an amount ("what's the current price on copper") none.
_ASKED_LEAD = 0.3  # with a word of asking and an amount
_BARE_LEAD = 0.5  # without one: amounts, at least two, one of them with its unit

_ASKING = frozenset(
    {"what", "what's", "how", "how's", "which", "where", "where's", "figure", "convert"}
)
_VERBS = frozenset(
    {"is", "are", "can", "will", "do", "does", "did", "should", "would", "could", "am"}
)
_BEHIND_VERB = frozenset({"i", "it", "that", "this", "there", "we", "these", "those"})
_BEGINS = frozenset(
    {
        ("give", "me"),
        ("tell", "me"),
        ("size", "me"),
        ("run", "me"),
        ("work", "out"),
        ("check", "my"),
    }
)
_TELLING = frozenset(
    {
        "is",
        "are",
        "was",
        "were",
        "i've",
        "i",
        "it's",
        "reads",
        "tested",
        "measured",
        "shows",
        "says",
    }
    | {"got", "he", "she", "they", "said", "had", "has", "gets"}
)
_SOMEBODY_ELSE = frozenset({"your", "yours", "you're", "you've", "you'll", "he's", "she's"})
_TO_SOMEBODY = frozenset({"do", "did", "are", "have", "were", "if", "so"})  # "do you", "are you"
_ABOUT_SAFETY = frozenset({"safe", "safely", "dangerous", "hazardous", "unsafe"})
_DEFEATING = frozenset(
    {("bypass", "the"), ("bypass", "this"), ("bypass", "my"), ("defeat", "the"), ("defeat", "this")}
    | {("jumper", "out"), ("jump", "out"), ("jumper", "the"), ("skip", "the")}
    | {("catch", "fire"), ("get", "shocked")}
)
_MAY = frozenset({"okay", "ok", "alright", "right"})  # "is it okay to", "would it be alright to"
_BEFORE_MAY = 4  # words, one of which is the verb


def asks_whether_safe(words: Sequence[str]) -> bool:
    """Return whether the words ask if something is safe, or how a safety is defeated.

    There is no verdict on that, and no figure for it.

    >>> asks_whether_safe("is it safe to run twenty amps on fourteen gauge".split())
    True
    """
    names_it = not (_ABOUT_SAFETY.isdisjoint(words) and _DEFEATING.isdisjoint(pairwise(words)))
    return names_it or _asks_whether_it_may_be(words)


def _asks_whether_it_may_be(words: Sequence[str]) -> bool:
    """Return whether the words ask if something is all right to do.

    >>> _asks_whether_it_may_be("is it okay to leave it on".split())
    True
    >>> _asks_whether_it_may_be("alright to me it will do".split())
    False
    """
    return any(
        may in _MAY and to == "to" and not _VERBS.isdisjoint(words[max(0, at - _BEFORE_MAY) : at])
        for at, (may, to) in enumerate(pairwise(words))
    )


def needed_lead(words: Sequence[str], said: Sequence[Piece]) -> float:
    """Return how far a question must lead over talk in nats, infinite where it can be none.

    Args:
        words: in word form.
        said: their pieces.
    """
    if _is_to_somebody_else(words):
        return math.inf
    amounts = [piece for piece in said if piece.is_amount]
    if _asks(words):
        return _ASKED_LEAD if amounts else math.inf
    is_told = not _TELLING.isdisjoint(words)
    has_units = len(amounts) > 1 and any(piece.units for piece in amounts)
    return _BARE_LEAD if has_units and not is_told else math.inf


def _asks(words: Sequence[str]) -> bool:
    """Return whether the words have the form of a question or a request.

    >>> _asks("the filter is sixteen by twenty five".split())
    False
    """
    pairs = [*pairwise(words)]
    return (
        not _ASKING.isdisjoint(words)
        or not _BEGINS.isdisjoint(pairs)
        or (bool(words) and words[0] in _VERBS)
        or any(first in _VERBS and second in _BEHIND_VERB for first, second in pairs)
    )


def _is_to_somebody_else(words: Sequence[str]) -> bool:
    pairs = ((first, second) for first, second in pairwise(words) if first in _TO_SOMEBODY)
    return not _SOMEBODY_ELSE.isdisjoint(words) or any(second == "you" for _, second in pairs)
