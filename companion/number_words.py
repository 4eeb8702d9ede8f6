"""Exact values into spoken words: cardinal, and digit by digit.

`say` gives what a colleague would say ("one hundred nineteen", "point four five", "thirteen and
three eighths"); `say_digits` gives what a radio operator would say ("one one nine"), because
fifteen and fifty sound alike (digit-by-digit figures: ICAO Doc 9432, chapter 2). Both are exact:
whatever they return, `parse` takes back to the same value, and a value that
has no exact words is refused. The golden phrases are in tests/golden/spoken_numbers.toml.

The tables of words live here too, so that hearing and saying share them.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.ports import Exact

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = (
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
)
TIES = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
ZEROS = frozenset({"zero", "oh", "o", "nought", "naught"})
OHS = frozenset({"oh", "o"})
MINUSES = frozenset({"minus", "negative"})

# One and many of the parts a trade divides by: a tape's halves to sixty-fourths, thirds, and the
# tenths, hundredths and thousandths of a gauge.
PARTS = {
    2: ("half", "halves"),
    3: ("third", "thirds"),
    4: ("quarter", "quarters"),
    8: ("eighth", "eighths"),
    16: ("sixteenth", "sixteenths"),
    32: ("thirty second", "thirty seconds"),
    64: ("sixty fourth", "sixty fourths"),
    10: ("tenth", "tenths"),
    100: ("hundredth", "hundredths"),
    1000: ("thousandth", "thousandths"),
}
SAID_AS_PARTS = frozenset({2, 3, 4, 8, 16, 32, 64})  # the rest are said as decimals
LARGEST = 999_999


def say(value: Exact) -> str:
    """Return the value as a colleague would say it.

    Decimals drop their closing zeros and the zero before the point; fractions of the trade are
    said as fractions; eleven to ninety-nine hundred are said in hundreds.

    Args:
        value: from -999999 to 999999; a `Fraction` in halves to sixty-fourths or thirds, or one
            with a finite decimal.

    Raises:
        ValueError: the value has no exact words.

    >>> say(Decimal(119)), say(Decimal("0.45")), say(Fraction(107, 8))
    ('one hundred nineteen', 'point four five', 'thirteen and three eighths')
    >>> say(Decimal("-0.30")), say(Decimal(1200)), say(Decimal("26.05"))
    ('minus point three', 'twelve hundred', 'twenty six point oh five')
    """
    minus, size = _sign(value)
    if isinstance(size, Fraction):
        return minus + _mixed(size, _cardinal)
    whole, _, places = f"{size:f}".partition(".")
    places = places.rstrip("0")
    said = _cardinal(int(whole)) if int(whole) or not places else ""
    digits = " ".join("oh" if place == "0" else DIGITS[int(place)] for place in places)
    return minus + (f"{said} point {digits}".lstrip() if places else said)


def say_digits(value: Exact, decimals: int | None = None) -> str:
    """Return the value as radio operators say it: every digit, and the zero before the point.

    Args:
        value: as for `say`.
        decimals: at least so many places are said; nothing is ever rounded away. None says the
            places that the value carries. A fraction keeps its parts unless this is given.

    Raises:
        ValueError: the value has no exact words.

    >>> say_digits(Decimal(119)), say_digits(Decimal("26.2"))
    ('one one nine', 'two six point two')
    >>> say_digits(Decimal("-0.2"), decimals=2), say_digits(Fraction(107, 8))
    ('minus zero point two zero', 'one three and three eighths')
    """
    if isinstance(value, Fraction) and decimals is not None:
        value = exact_decimal(value)
    minus, size = _sign(value)
    if isinstance(size, Fraction):
        return minus + _mixed(size, _spelled)
    whole, _, places = f"{size:f}".partition(".")
    places = places.ljust(decimals or 0, "0")
    said = _spelled(int(whole))
    return minus + (f"{said} point {_digit_words(places)}" if places else said)


def exact_decimal(value: Exact) -> Decimal:
    """Return the value as a `Decimal` without rounding.

    Raises:
        ValueError: no finite decimal equals the value.

    >>> exact_decimal(Fraction(5, 16))
    Decimal('0.3125')
    """
    if isinstance(value, Decimal):
        return value
    decimal = Decimal(value.numerator) / Decimal(value.denominator)
    if Fraction(decimal) != value:
        raise ValueError(f"{value} has no finite decimal")
    return decimal


def _sign(value: Exact) -> tuple[str, Exact]:
    """Split off 'minus '; a fraction that is no trade fraction turns into a decimal."""
    if not isinstance(value, (Decimal, Fraction)):
        raise TypeError(f"{value!r} is neither Decimal nor Fraction")
    if isinstance(value, Decimal) and not value.is_finite():
        raise ValueError(f"{value} is not finite")
    if not -LARGEST - 1 < value < LARGEST + 1:
        raise ValueError(f"{value} is beyond {LARGEST}")
    if isinstance(value, Fraction) and value.denominator not in SAID_AS_PARTS:
        value = exact_decimal(value)
    return ("minus ", -value) if value < 0 else ("", value)


def _mixed(size: Fraction, whole_words: Callable[[int], str]) -> str:
    """Return a whole and a trade fraction: 'thirteen and three eighths', 'one half'."""
    whole, over = divmod(size.numerator, size.denominator)
    one, many = PARTS[size.denominator]
    if over != 1:
        part = f"{_cardinal(over)} {many}"
    else:
        part = f"a {one}" if whole and size.denominator in (2, 4) else f"one {one}"
    return f"{whole_words(whole)} and {part}" if whole else part


def _cardinal(whole: int) -> str:
    """Return 0 to 999999 in words, without 'and'."""
    if whole < 100:
        return _below_hundred(whole)
    if _in_hundreds(whole):
        hundreds, rest = divmod(whole, 100)
        return _joined(f"{_below_hundred(hundreds)} hundred", rest)
    thousands, rest = divmod(whole, 1000)
    return _joined(f"{_cardinal(thousands)} thousand", rest)


def _in_hundreds(whole: int) -> bool:
    """Return whether the trade counts it in hundreds: to 1999, and round ones to 9900."""
    if whole % 1000 < 100:
        return whole < 1000
    return whole < 2000 or (whole < 10_000 and whole % 100 == 0)


def _joined(head: str, rest: int) -> str:
    return f"{head} {_cardinal(rest)}" if rest else head


def _below_hundred(whole: int) -> str:
    if whole < 10:
        return DIGITS[whole]
    if whole < 20:
        return TEENS[whole - 10]
    tens, ones = divmod(whole, 10)
    return f"{TIES[tens - 2]} {DIGITS[ones]}" if ones else TIES[tens - 2]


def _spelled(whole: int) -> str:
    return _digit_words(str(whole))


def _digit_words(digits: str) -> str:
    return " ".join(DIGITS[int(digit)] for digit in digits)
