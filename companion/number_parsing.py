"""Spoken numbers of the trade into exact values: `Decimal` or `Fraction`, never a float.

Trades speak telegraphically, so the forms are their own (common practice, no source):

- **in full**: "one hundred and nineteen", "hundred and twenty", "a hundred", "two thousand four
  hundred", "twelve hundred", "twenty four hundred fifty";
- **in pairs**: a digit or a pair, then a pair: "one nineteen" 119, "two forty" 240, "one twenty
  five" 125, "ten fifty" 1050, "twenty one fifteen" 2115; 'oh' holds a place: "two oh eight" 208,
  "ten oh five" 1005;
- **digit by digit**: "one one nine" 119, "two four oh" 240;
- **decimals**: digits, a pair last: "point four five", "point forty five", "point one twenty
  five" 0.125, "point oh seventy five" 0.075; "one oh four point five". Closing zeros are kept,
  as a meter shows them;
- **fractions**: "a quarter", "five sixteenths", "twenty six and a half", "thirteen three
  eighths", and with the unit's article after them: "half an", "three eighths of an";
- "minus" or "negative" before any of them.

What could be two things is taken as the trade would, or refused:

- a pair in full wins over its parts: "twenty six" is 26, "sixty four" 64, never 20 and 6;
- a lone fraction wins over a whole and a fraction: "twenty three thirty seconds" is 23/32; where
  that leaves no proper fraction, the whole comes first: "twenty five sixteenths" is 20 5/16,
  because nobody says improper fractions off a tape;
- "thirty seconds" alone is a time and "two thirty seconds" no tape reading: thirty-seconds and
  sixty-fourths need a numerator, in lowest terms;
- a leading 'oh' is refused ("oh five": its 'point' was lost), so is a digit with a closing 'oh'
  ("two oh") and "point oh" (the rest was lost);
- a pair and a digit is refused ("ten four", "twelve five"): 12.5 to one, 12,500 to another;
- a round ten from thirty up and a pair is refused: "eighty sixty seven" is a dry and a wet bulb
  temperature; so is a pair after a thousand, "six thousand and one ten";
- "twenty hundred", "nineteen one hundred", "half half" and "point" are nobody's number.

Golden phrases: tests/golden/spoken_numbers.toml.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.errors import NotANumberError
from companion.number_words import (
    DIGITS,
    MINUSES,
    OHS,
    PARTS,
    TEENS,
    TIES,
    ZEROS,
    exact_decimal,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

    from companion.ports import Exact

    Words = tuple[str, ...]

_ONES: Mapping[str, int] = {word: digit for digit, word in enumerate(DIGITS) if digit}
_DIGIT: Mapping[str, int] = {**_ONES, **dict.fromkeys(ZEROS, 0)}
_TEENS: Mapping[str, int] = {word: 10 + over for over, word in enumerate(TEENS)}
_TIES: Mapping[str, int] = {word: 10 * tens for tens, word in enumerate(TIES, start=2)}
_SIMPLE: Mapping[str, int] = {**_ONES, **_TEENS, **_TIES}
_HEADS_OF_TWO_NUMBERS = range(30, 100, 10)
_LONGEST_RUN = 6  # digits said one by one: more is a telephone number

# Last words of a fraction -> (parts, whether the plural was said). A quarter may stay single
# ("three quarter inch"), and so may the eighths and sixteenths of a tape.
_PART: Mapping[Words, tuple[int, bool]] = {
    tuple(name.split()): (parts, many)
    for parts, names in PARTS.items()
    for name, many in zip(names, (False, True), strict=True)
} | {("fourth",): (4, False), ("fourths",): (4, True)}
_STAYS_SINGLE = frozenset({4, 8, 16})
_NEEDS_LOWEST_TERMS = frozenset({32, 64})
_SAID_BARE = (("half",), ("quarter",))
_AS_DECIMAL = frozenset({10, 100, 1000})

NUMBER_WORDS: frozenset[str] = frozenset(
    {*_DIGIT, *_SIMPLE, *MINUSES, "a", "an", "and", "hundred", "thousand", "of", "point"}
    | {word for part in _PART for word in part}
)


def parse(words: Sequence[str]) -> Exact:
    """Return the exact value of a spoken number.

    Args:
        words: lower-case words without hyphens, nothing but the number: ("one", "nineteen").

    Returns:
        A `Decimal` with the places that were said, or a `Fraction` where a fraction was said.

    Raises:
        NotANumberError: the words are no number of the trade, or could be two.

    >>> parse("one nineteen".split()), parse("minus point three oh".split())
    (Decimal('119'), Decimal('-0.30'))
    >>> parse("twenty six and a half".split())
    Fraction(53, 2)
    """
    said = tuple(words)
    signed = bool(said) and said[0] in MINUSES
    size = _magnitude(said[1:] if signed else said)
    if size is None:
        raise NotANumberError(" ".join(said))
    return -size if signed and size else size


def _magnitude(words: Words) -> Exact | None:
    """Return a value without its sign."""
    if "point" in words:
        at = words.index("point")
        return _with_places(words[:at], words[at + 1 :])
    whole = _whole(words)
    if whole is not None:
        return Decimal(whole)
    lone = _lone_fraction(words)
    return lone if lone is not None else _mixed(words)


def _with_places(before: Words, after: Words) -> Decimal | None:
    """Return 'twenty six' point 'two five'."""
    whole = _whole(before) if before else 0
    places = _places(after)
    if whole is None or not places:
        return None
    value = Decimal(f"{whole}.{places}")
    lost_the_rest = not value and (not before or after[-1] in OHS)
    return None if lost_the_rest else value


def _places(words: Words) -> str:
    """Return the digits after the point, '' where there are none: digits, then a pair at most."""
    run = 0
    while run < len(words) and words[run] in _DIGIT:
        run += 1
    digits = "".join(str(_DIGIT[word]) for word in words[:run])
    if run < len(words):
        pair = _pair(words[run:])
        digits = f"{digits}{pair}" if pair else ""
    return digits if len(digits) <= _LONGEST_RUN else ""


# ---------------------------------------------------------------- whole numbers


def _whole(words: Words) -> int | None:
    """Return a whole number from 0 to 999999, said in any of the ways."""
    if not words:
        return None
    if all(word in _DIGIT for word in words):
        return _digit_run(words)
    if "thousand" in words:
        return _in_thousands(words)
    return _below_ten_thousand(words)


def _digit_run(words: Words) -> int | None:
    """Return 'one one nine', 'zero'; a place-holding 'oh' may not lead, nor close a pair."""
    if len(words) == 1:
        return _DIGIT[words[0]]
    truncated = len(words) == len(("two", "oh")) and words[-1] in OHS
    if words[0] in ZEROS or truncated or len(words) > _LONGEST_RUN:
        return None
    return int("".join(str(_DIGIT[word]) for word in words))


def _in_thousands(words: Words) -> int | None:
    """Return 'two thousand four hundred', 'a thousand and five'."""
    at = words.index("thousand")
    head = _counted(words[:at], _below_ten_thousand)
    rest = _rest(words[at + 1 :], _in_full)
    if head is None or rest is None or not 0 < head < 1000 or rest >= 1000:
        return None
    return head * 1000 + rest


def _below_ten_thousand(words: Words) -> int | None:
    """Return 'one nineteen', or a number said in full."""
    return _in_full(words) or _in_pairs(words)


def _in_full(words: Words) -> int | None:
    """Return 'sixty four', 'twelve hundred and fifty'."""
    if "hundred" not in words:
        return _below_hundred(words)
    at = words.index("hundred")
    head = _counted(words[:at], _below_hundred)
    rest = _rest(words[at + 1 :], _below_hundred)
    if head is None or rest is None or head % 10 == 0:
        return None
    return head * 100 + rest


def _counted(words: Words, count: Callable[[Words], int | None]) -> int | None:
    """Return how many hundreds or thousands: 'two', 'a', or nothing said for one."""
    return 1 if words in ((), ("a",)) else count(words)


def _rest(words: Words, below: Callable[[Words], int | None]) -> int | None:
    """Return what follows the hundreds or thousands, 0 where nothing does."""
    if not words:
        return 0
    return below(words[1:] if words[0] == "and" else words)


def _in_pairs(words: Words) -> int | None:
    """Return 'one nineteen', 'twenty one fifteen', 'two oh eight', 'ten oh five'."""
    cut = 2 if _below_hundred(words[:2]) else 1
    head, tail = _below_hundred(words[:cut]), words[cut:]
    if head is None or not tail or head in _HEADS_OF_TWO_NUMBERS:
        return None
    held = tail[0] in OHS and len(tail) == len(("oh", "eight"))
    over = _ONES.get(tail[1]) if held else _pair(tail)
    return head * 100 + over if over else None


def _pair(words: Words) -> int | None:
    """Return 10 to 99."""
    value = _below_hundred(words)
    return value if value and value >= 10 else None


def _below_hundred(words: Words) -> int | None:
    """Return 1 to 99 said in full."""
    match words:
        case (word,):
            return _SIMPLE.get(word)
        case (tens, ones) if tens in _TIES and ones in _ONES:
            return _TIES[tens] + _ONES[ones]
    return None


# ---------------------------------------------------------------- fractions


def _lone_fraction(words: Words) -> Exact | None:
    """Return a fraction below one, its unit's article after it or not: 'half an'."""
    if words in (("half", "a"), ("half", "an")):
        return Fraction(1, 2)
    if words[-2:] in (("of", "a"), ("of", "an")):
        words = words[:-2]
    return Fraction(1, _PART[words][0]) if words in _SAID_BARE else _counted_parts(words)


def _counted_parts(words: Words) -> Exact | None:
    """Return 'three eighths', 'a quarter', 'twenty three thirty seconds'."""
    cut = len(words) - (2 if words[-2:] in _PART else 1)
    count_words, named = words[:cut], words[cut:]
    if named not in _PART:
        return None
    parts, many = _PART[named]
    count = 1 if count_words in (("a",), ("an",)) else _below_hundred(count_words)
    if count is None or count >= parts or many != _is_plural(count, parts, many=many):
        return None
    value = Fraction(count, parts)
    if parts in _NEEDS_LOWEST_TERMS and value.denominator != parts:
        return None
    return exact_decimal(value) if parts in _AS_DECIMAL else value


def _is_plural(count: int, parts: int, *, many: bool) -> bool:
    """Return whether the plural belongs there; 'three quarter' may have either."""
    return many if count > 1 and parts in _STAYS_SINGLE else count > 1


def _mixed(words: Words) -> Exact | None:
    """Return a whole and a fraction, 'and' said or not: 'thirteen and three eighths'."""
    for at in range(len(words) - 1, 0, -1):
        joined = words[at] == "and"
        whole = (_whole if joined else _below_hundred)(words[:at])
        last = words[at + joined :]
        part = (
            Fraction(1, _PART[last][0]) if joined and last in _SAID_BARE else _counted_parts(last)
        )
        if whole and part is not None:
            return whole + part if isinstance(part, Fraction) else Decimal(whole) + part
    return None
