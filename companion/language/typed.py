"""Typed text into the words that would have been said.

For `work --typed`: the same sentences as by voice, written as people write. "Supply static 0.45
in. w.c." becomes words; figures are exact, so they become number words that mean the same value.
Near misses of other words are repaired against the scope's vocabulary ("straik that"), but only
into a sentence that may be said now, and never to or from a number word: a number that is not
understood is asked for again.
"""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from functools import cache
from itertools import islice, product
from string import digits
from typing import TYPE_CHECKING

from rapidfuzz import fuzz, process

from companion.errors import NotANumberError
from companion.numbers import NUMBER_WORDS, parse, say, say_digits
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from companion.language.compose import Language
    from companion.ports import Exact

_NEAR = 75.0  # rapidfuzz's ratio, 0 to 100: two letters astray in a word of eight
_NEAR_WORDS = 3  # how many near words are tried in a place
_TRIED_SENTENCES = 400
_LARGEST = 9999  # what numbers.jsgf goes up to
_LONGEST_LETTERS = 4  # 'va', 'cfm', 'btuh' may be letters said singly

# Written otherwise than the unit's symbol or slug; common practice, no source.
_ALSO_WRITTEN = {
    '"': "inches",
    "'": "feet",
    "°": "degrees",
    "deg": "degrees",
    "f": "degrees",
    "c": "degrees celsius",
    "iwc": "inches of water",
    "inwc": "inches of water",
    "inwg": "inches of water",
    "wc": "inches of water",
    "ga": "gauge",
    "btu": "b t u",
    "btuh": "b t u",
    "sqft": "square feet",
}

_PIECE = re.compile(
    r"""
      (?P<number>(?:(?<![\w.])-)?                   # a minus, not a hyphen
        (?: [0-9]+[ -][0-9]+/[0-9]+ | [0-9]+/[0-9]+  # 1-3/8, 3/8
          | (?:[0-9]{1,3}(?:,[0-9]{3})+|[0-9]+)(?:\.[0-9]+)? | \.[0-9]+ ))
    | (?P<word>[^\W\d_]+(?:'[^\W\d_]+)*)
    | (?P<mark>["'°%Ω])
    """,
    re.VERBOSE,
)
# Symbols that hold more than letters, longest first: read as one before anything else.
_SPACED_SYMBOLS = (
    "in. w.c.",
    "in w.c.",
    "in. wc",
    "in wc",
    "sq ft",
    "sq. ft.",
    "btu/hr",
    "btu/h",
    "ft²",
    "°f",
    "°c",
)


def repair(typed: str, language: Language) -> tuple[str, ...]:
    """Return the words of a typed line, near misses repaired where that makes a sentence.

    Args:
        typed: a line as typed; any case, punctuation, figures and unit symbols.
        language: what may be said now.

    Returns:
        A sentence of the language; or, where none is near, the words as typed: they may still be
        a question in words of its own (`Language.understand`).
    """
    forms = [_places(piece, language) for piece in _pieces(typed)]
    plain = tuple(word for place in forms for word in place[0])
    sentences = (
        tuple(word for choice in choices for word in choice) for choices in _nearest(forms)
    )
    for words in islice(sentences, _TRIED_SENTENCES):
        if language.interpret(words):
            return words
    return plain


def _nearest(
    forms: Sequence[tuple[tuple[str, ...], ...]],
) -> Iterator[tuple[tuple[str, ...], ...]]:
    """Yield a choice for every place; those with the fewest and nearest changes first."""
    ranked = product(*(range(len(place)) for place in forms))
    for ranks in sorted(islice(ranked, 20 * _TRIED_SENTENCES), key=sum):
        yield tuple(place[rank] for place, rank in zip(forms, ranks, strict=True))


def _pieces(typed: str) -> list[tuple[str, bool]]:
    """Cut the line into numbers and words; True beside a unit, which follows a number."""
    text = typed.lower().replace("\u2019", "'").replace("\u2212", "-").strip()
    for symbol in _SPACED_SYMBOLS:
        text = re.sub(rf"(?<![a-z]){re.escape(symbol)}(?![a-z])", f" {_plain(symbol)} ", text)
    pieces: list[tuple[str, bool]] = []
    after_number = False
    for found in _PIECE.finditer(text):
        is_unit = after_number and found.lastgroup != "number"
        pieces.append((found.group(), is_unit))
        after_number = found.lastgroup == "number"
    return pieces


def _plain(symbol: str) -> str:
    """Return a symbol without what would take it apart."""
    return symbol.replace("°", "deg").replace("²", "2x").translate({ord(c): None for c in " ./"})


def _places(piece: tuple[str, bool], language: Language) -> tuple[tuple[str, ...], ...]:
    """Return the word forms that a piece may have, the likeliest first."""
    text, is_unit = piece
    if text[-1] in digits:
        return _number_forms(text)
    units = _unit_words()
    if is_unit and text in units:
        return (tuple(units[text].split()), (text,))
    if text in NUMBER_WORDS:
        return ((text,),)
    return ((text,), *_spelled(text, language), *_near_words(text, language))


def _number_forms(text: str) -> tuple[tuple[str, ...], ...]:
    """Return the ways to say typed figures, each of exactly their value."""
    value = _typed_value(text)
    if value is None or not -_LARGEST <= value <= _LARGEST:
        return ((text,),)
    places = 0 if isinstance(value, Fraction) else -int(value.as_tuple().exponent)
    forms = dict.fromkeys(
        (*_telegraphic(value), say(value), say_digits(value, places), say_digits(value))
    )
    said = [tuple(form.split()) for form in forms]
    exact = [words for words in said if _means(words, value)]
    # 0.20 is what a meter shows: the form that keeps its closing zero comes first.
    return tuple(sorted(exact, key=lambda words: str(parse(words)) != str(value))) or ((text,),)


def _typed_value(text: str) -> Exact | None:
    bare = text.lstrip("-").replace(",", "")
    try:
        if "/" in bare:
            whole, _, part = bare.replace("-", " ").rpartition(" ")
            value: Exact = Fraction(whole or 0) + Fraction(part)
        else:
            value = Decimal(bare)
    except ZeroDivisionError:
        return None
    return -value if text.startswith("-") else value


def _telegraphic(value: Exact) -> tuple[str, ...]:
    """Return 'one nineteen' for 119, 'two oh eight' for 208; nothing where nobody says so."""
    if value != int(value) or not 100 < value < 10_000:  # noqa: PLR2004 - three and four figures
        return ()
    head, tail = divmod(int(value), 100)
    if not tail:
        return (f"{say(Decimal(head))} hundred",)
    return (f"{say(Decimal(head))} {'oh ' if tail < 10 else ''}{say(Decimal(tail))}",)  # noqa: PLR2004


def _means(words: tuple[str, ...], value: Exact) -> bool:
    try:
        return parse(words) == value
    except NotANumberError:
        return False


@cache
def _unit_words() -> Mapping[str, str]:
    """Return how each typed unit is said; only to be used right after a number."""
    typed = dict(_ALSO_WRITTEN)
    for unit in UNITS.values():
        for written in (unit.symbol.lower(), _plain(unit.symbol.lower()), unit.slug.lower()):
            if written:
                typed.setdefault(written, unit.many.lower())
    return typed


def _spelled(text: str, language: Language) -> tuple[tuple[str, ...], ...]:
    """Return 'co' as the letters c, o, where the language says letters singly."""
    letters = tuple(text)
    is_short = 1 < len(letters) <= _LONGEST_LETTERS
    return (letters,) if is_short and language.vocabulary.issuperset(letters) else ()


def _near_words(text: str, language: Language) -> tuple[tuple[str, ...], ...]:
    """Return vocabulary words near a typed one; none where a number word is as near."""
    number = process.extractOne(text, NUMBER_WORDS, scorer=fuzz.ratio, score_cutoff=_NEAR)
    near = process.extract(
        text,
        sorted(language.vocabulary - NUMBER_WORDS - {text}),
        scorer=fuzz.ratio,
        score_cutoff=_NEAR,
        limit=_NEAR_WORDS,
    )
    nearest_number = number[1] if number else 0.0
    return tuple((word,) for word, score, _ in near if score > nearest_number)
