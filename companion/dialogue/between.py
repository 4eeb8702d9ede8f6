"""Asking between two candidates: where they differ, and how the answer may be given."""

from __future__ import annotations

from contextlib import suppress
from typing import TYPE_CHECKING

from companion.errors import NotANumberError
from companion.language.phrasing import said_twice
from companion.numbers import NUMBER_WORDS, parse, say_digits
from companion.ports import ChoiceVocabulary

if TYPE_CHECKING:
    from companion.language.meanings import Candidate

Words = tuple[str, ...]


def difference(first: Words, second: Words) -> tuple[Words, Words]:
    """Return where two sentences differ, widened to whole numbers.

    >>> difference(("supply", "point", "five"), ("supply", "five"))
    (('point', 'five'), ('five',))
    >>> difference(("one", "fifteen", "volts"), ("one", "fifty", "volts"))
    (('one', 'fifteen'), ('one', 'fifty'))
    """
    shortest = min(len(first), len(second))
    start = next((i for i in range(shortest) if first[i] != second[i]), shortest)
    tail = next(
        (i for i in range(shortest - start) if first[-1 - i] != second[-1 - i]),
        shortest - start,
    )
    while start > 0 and first[start - 1] in NUMBER_WORDS:
        start -= 1
    while tail > 0 and first[len(first) - tail] in NUMBER_WORDS:
        tail -= 1
    return first[start : len(first) - tail], second[start : len(second) - tail]


def spoken(words: Words) -> str:
    """Return one side as it is asked about: a number said both ways, other words as they are.

    >>> spoken(("fifteen",))
    'fifteen, one five'
    """
    try:
        return said_twice(parse(words))
    except NotANumberError:
        return " ".join(words) or "nothing there"


def between_choice(first: Candidate, second: Candidate) -> ChoiceVocabulary:
    """Return the ways to answer: the number either way, 'the first', 'the second', 'neither'."""
    one, two = difference(first.words, second.words)
    ways = (_ways(one), _ways(two))
    return ChoiceVocabulary(
        "between",
        (
            ("first", (*(w for w in ways[0] if w not in ways[1]), "the first", "first one")),
            ("second", (*(w for w in ways[1] if w not in ways[0]), "the second", "second one")),
            ("neither", ("neither", "neither one")),
        ),
    )


def _ways(words: Words) -> tuple[str, ...]:
    """Return the phrases that pick a side."""
    if not words:
        return ()
    phrases = [" ".join(words)]
    with suppress(NotANumberError):
        phrases.append(say_digits(parse(words)))
    return tuple(dict.fromkeys(phrases))
