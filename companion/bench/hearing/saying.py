"""Numbers as technicians say them: a value within a range, and the ways to say it.

The values lean towards what is misheard: -teen and -ty, a zero or 'oh' inside, points, halves.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, TypeAlias

from companion.errors import NotANumberError
from companion.numbers import parse, say, say_digits
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from random import Random

    from companion.ports import Exact

Words: TypeAlias = tuple[str, ...]

MOST_SAID = Decimal(9999)  # what numbers.jsgf goes up to
_TRIES = 12
_WIDE = 1000  # a range wider than that is drawn from evenly by order of magnitude
_TEEN_OR_TY = (13, 14, 15, 16, 17, 18, 19, 30, 40, 50, 60, 70, 80, 90)
_PARTS = (Fraction(1, 2), Fraction(1, 4), Fraction(3, 4), Fraction(3, 8), Fraction(5, 8))


def value_in(low: Decimal, high: Decimal, places: int, chance: Random) -> Decimal:
    """Return a value from low to high with at most so many places.

    Args:
        low: the least value; what lies beyond -9999 or 9999 counts as that.
        high: the greatest value; likewise.
        places: how many places after the point it may have.
        chance: what decides.
    """
    low, high = (max(-MOST_SAID, min(end, MOST_SAID)) for end in (low, high))
    for _ in range(_TRIES):
        value = chance.choice(_KINDS)(low, high, places, chance)
        if low <= value <= high:
            return value
    return _even(low, high, places, chance)


def _even(low: Decimal, high: Decimal, places: int, chance: Random) -> Decimal:
    """Any value of the range."""
    step = Decimal(1).scaleb(-places)
    if high - low > _WIDE:
        size = Decimal(10) ** Decimal(str(round(chance.uniform(0, 3.9), 3)))
        signed = -size if low < 0 and chance.random() < 0.25 else size  # noqa: PLR2004 - a share
        return max(low, min(high, signed)).quantize(step if size < 100 else Decimal(1))  # noqa: PLR2004 - whole from here on
    return (low + (high - low) * Decimal(chance.randrange(1001)) / 1000).quantize(step)


def _whole(low: Decimal, high: Decimal, places: int, chance: Random) -> Decimal:
    return _even(low, high, places, chance).quantize(Decimal(1))


def _teen_or_ty(low: Decimal, high: Decimal, places: int, chance: Random) -> Decimal:
    """A value whose last two figures are fifteen or fifty, or the like."""
    about = _even(low, high, places, chance)
    pair = Decimal(chance.choice(_TEEN_OR_TY))
    if high - low < 10 and places >= 2:  # noqa: PLR2004 - then the places are what is read
        return about.quantize(Decimal(1)) + pair / 100
    hundreds = abs(about) // 100 * 100
    return (hundreds + pair).copy_sign(about)


def _with_zero(low: Decimal, high: Decimal, places: int, chance: Random) -> Decimal:
    """A value with a zero inside: 208, 0.05, 20.4."""
    about = _even(low, high, places, chance)
    figure = Decimal(chance.randrange(1, 10))
    if places and high - low < 100:  # noqa: PLR2004 - beyond that a zero before the point is said
        return about.quantize(Decimal(1)) + figure.scaleb(-places)
    return (abs(about) // 100 * 100 + figure).copy_sign(about)


def _half(low: Decimal, high: Decimal, places: int, chance: Random) -> Decimal:
    return _whole(low, high, places, chance) + (Decimal("0.5") if places else 0)


_KINDS: tuple[Callable[[Decimal, Decimal, int, Random], Decimal], ...] = (
    _even,
    _whole,
    _teen_or_ty,
    _with_zero,
    _half,
)


def ways_to_say(value: Decimal) -> tuple[Words, ...]:
    """Return the ways to say a value, each read back as exactly that value.

    >>> [" ".join(way) for way in ways_to_say(Decimal(119))][:3]
    ['one hundred nineteen', 'one one nine', 'a hundred and nineteen']
    """
    size = abs(value).normalize()
    forms = dict.fromkeys(
        tuple(form.split()) for form in _forms(size) if _means(tuple(form.split()), size)
    )
    if value >= 0:
        return tuple(forms)
    return tuple((minus, *form) for form in forms for minus in ("minus", "negative"))


def _forms(size: Decimal) -> Iterator[str]:
    yield say(size)
    yield say_digits(size)
    if size == int(size):
        yield from _whole_forms(int(size))
    else:
        yield from _forms_with_places(size)


def _whole_forms(whole: int) -> Iterator[str]:
    yield (
        say(Decimal(whole)).replace("hundred ", "hundred and ").replace("one hundred", "a hundred")
    )
    head, tail = divmod(whole, 100)
    if 0 < head < 100 and tail:  # noqa: PLR2004 - three and four figures
        yield f"{say(Decimal(head))} {'oh ' if tail < 10 else ''}{say(Decimal(tail))}"  # noqa: PLR2004 - 'two oh eight'
    yield say_digits(Decimal(whole)).replace("zero", "oh")


def _forms_with_places(size: Decimal) -> Iterator[str]:
    before, _, after = f"{size:f}".partition(".")
    spoken = _spoken_whole(int(before))
    for whole in dict.fromkeys((*spoken, *(("",) if before == "0" else ()))):
        for places in _places(after):
            yield f"{whole} point {places}".strip()
    if Fraction(size) % 1 in _PARTS:
        yield say(Fraction(size))
        if before != "0":
            yield f"{spoken[0]} and {say(Fraction(size) % 1)}"
        if Fraction(size) % 1 == Fraction(1, 2):
            yield f"{spoken[0]} and a half" if before != "0" else "half"


def _spoken_whole(whole: int) -> tuple[str, ...]:
    if not whole:
        return ("zero",)
    telegraphic = [form for form in _whole_forms(whole) if _means(tuple(form.split()), whole)]
    return (say(Decimal(whole)), *telegraphic)


def _places(after: str) -> Iterator[str]:
    figures = say_digits(Decimal(int(after))) if int(after) else ""
    leading = len(after) - len(after.lstrip("0"))
    for held in ("zero", "oh"):
        spelled = " ".join([held] * leading + [figures])
        yield spelled
        if len(after) == 1:  # the closing zero that a meter shows
            yield f"{spelled} {held}"
    if leading == 0 and len(after) == 2:  # noqa: PLR2004 - 'point forty five'
        yield say(Decimal(int(after)))


def _means(words: Words, value: Exact | int) -> bool:
    try:
        return Fraction(parse(words)) == Fraction(value)
    except NotANumberError:
        return False


def unit_words(unit: str, said: Words, chance: Random) -> Words:
    """Return a way to say a unit behind a number: one inch, two inches, half an inch or inches.

    Args:
        unit: a unit's slug.
        said: the number in words.
        chance: what decides.
    """
    forms = UNITS[unit].heard
    if "point" in said or parse(said) > 1:
        forms = tuple(form for form in forms if not _is_singular(form, forms))
    return chance.choice(forms)


def _is_singular(form: Words, forms: tuple[Words, ...]) -> bool:
    """Return whether the same form is there with an 's' somewhere ('foot' and 'feet' too)."""
    return any(
        (*form[:place], many, *form[place + 1 :]) in forms
        for place, word in enumerate(form)
        for many in ("feet" if word == "foot" else f"{word}s", f"{word}es")
    )


def finished(said: Words, unit: str) -> Words:
    """Return a number that ends in 'of an' or 'half a' with the unit that it waits for."""
    one = tuple(UNITS[unit].one.lower().split())
    if said[-1] not in {"a", "an"} or not one:
        return said
    return (*said[:-1], "an" if one[0][0] in "aeiou" else "a", *one)
