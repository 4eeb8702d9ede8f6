"""Numbers that are heard for one another: word sequences one known confusion apart.

What is confused (ICAO Doc 9432 speaks digits one by one for the first of them; the rest are what
small recognisers and a blower's noise do to English digits, common practice, no source):

- the -teens against the tens: "fifteen", "fifty";
- a digit against its ten: "six", "sixty"; "four", "forty"; not two, three and five, whose tens
  ("twenty", "thirty", "fifty") begin otherwise;
- five against nine, eight against nine, oh against two (behind "eight");
- thirty against forty, thirteen against fourteen, where 'th' and 'f' come near one another (some
  accents, a telephone's band);
- a lost 'point', a lost 'minus', 'point five' against 'point oh five'.

A difference that leaves the value as it was ("zero point five", "point five") is no confusion.
"""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

from companion.errors import NotANumberError
from companion.number_parsing import NUMBER_WORDS, parse
from companion.number_words import MINUSES, OHS, TEENS, TIES, say, say_digits

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from companion.ports import Exact

    Words = tuple[str, ...]

_TEEN_AND_TEN = tuple(zip(TEENS[3:], TIES[1:], strict=True))  # thirteen, thirty onwards
_DIGIT_AND_TEN = (
    ("four", "forty"),
    ("six", "sixty"),
    ("seven", "seventy"),
    ("eight", "eighty"),
    ("nine", "ninety"),
)
_DIGITS = (("five", "nine"), ("eight", "nine"), ("oh", "two"))
_THREES_AND_FOURS = (("thirty", "forty"), ("thirteen", "fourteen"))
_ALIKE = (*_TEEN_AND_TEN, *_DIGIT_AND_TEN, *_DIGITS, *_THREES_AND_FOURS)
_HELD = OHS | {"zero"}


def _partners() -> Mapping[str, frozenset[str]]:
    pairs = [*_ALIKE, *((right, left) for left, right in _ALIKE)]
    return {word: frozenset(r for left, r in pairs if left == word) for word, _ in pairs}


_HEARD_FOR = _partners()


def confusions(words: Sequence[str]) -> frozenset[tuple[str, ...]]:
    """Return the numbers one known confusion away that are worth something else.

    Args:
        words: a spoken number, nothing but its words.

    Raises:
        NotANumberError: the words are no number.

    >>> sorted(" ".join(other) for other in confusions(("fifteen",)))
    ['fifty', 'minus fifteen', 'negative fifteen', 'point fifteen']
    """
    said = tuple(words)
    value = parse(said)
    others = {other: _value(other) for other in _one_away(said)}
    return frozenset(other for other, worth in others.items() if worth not in (None, value))


def is_confusion(a: Sequence[str], b: Sequence[str]) -> bool:
    """Return whether two sentences are one known confusion apart.

    They may hold other words than the number ("supply point five", "supply point oh five"). Two
    bare numbers are compared as they would be said in full too, so that "one hundred fifteen"
    and "one fifty" are found.

    >>> is_confusion(("one", "nineteen"), ("one", "ninety"))
    True
    >>> is_confusion(("point", "five"), ("zero", "point", "five"))
    False
    """
    said, other = tuple(a), tuple(b)
    values = _value(said), _value(other)
    if None not in values and values[0] == values[1]:
        return False
    if other in _one_away(said) or said in _one_away(other):
        return True
    pairs = zip(_in_full(values[0]), _in_full(values[1]), strict=False)
    return any(right in _one_away(left) for left, right in pairs)


def confused_sentences(words: Sequence[str]) -> frozenset[tuple[str, ...]]:
    """Return the sentences with one of the numbers in it one known confusion away.

    Not each is sense ("point minus five"): a grammar tells which are.

    >>> ("supply", "static", "point", "nine") in confused_sentences(
    ...     ("supply", "static", "point", "five")
    ... )
    True
    """
    said = tuple(words)
    found: set[tuple[str, ...]] = set()
    at = 0
    for is_number, run in groupby(said, lambda word: word in NUMBER_WORDS):
        length = len(tuple(run))
        if is_number:
            before, number, after = said[:at], said[at : at + length], said[at + length :]
            found |= {(*before, *other, *after) for other in _one_away(number)}
        at += length
    return frozenset(found - {said})


def _in_full(value: Exact | None) -> tuple[Words, ...]:
    """Return a value said in full, and digit by digit."""
    return () if value is None else (tuple(say(value).split()), tuple(say_digits(value).split()))


def _value(words: Words) -> Exact | None:
    try:
        return parse(words)
    except NotANumberError:
        return None


def _one_away(words: Words) -> frozenset[Words]:
    """Return every sequence one confusion away, numbers or not."""
    return frozenset({*_swapped(words), *_with_less(words), *_with_more(words)} - {words})


def _swapped(words: Words) -> Iterator[Words]:
    """Yield the sequences with one word taken for one that sounds like it."""
    for at, word in enumerate(words):
        for other in _HEARD_FOR.get(word, ()):
            yield (*words[:at], other, *words[at + 1 :])


def _with_less(words: Words) -> Iterator[Words]:
    """Yield the sequences with a 'point', a 'minus', or the 'oh' after a point lost."""
    for at, word in enumerate(words):
        held = word in _HELD and at > 0 and words[at - 1] == "point"
        if held or word == "point" or word in MINUSES:
            yield (*words[:at], *words[at + 1 :])


def _with_more(words: Words) -> Iterator[Words]:
    """Yield the sequences of which a word was lost, if these words are what is left."""
    if words and words[0] not in MINUSES:
        yield from ((minus, *words) for minus in sorted(MINUSES))
    if "point" not in words:
        yield from ((*words[:at], "point", *words[at:]) for at in range(len(words)))
        return
    after = words.index("point") + 1
    yield (*words[:after], "oh", *words[after:])
