"""Inches as they are typed or stand on the log: decimals, fractions, two sides."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction

from companion.errors import InputError
from companion.quantities import written

MM_PER_INCH = Fraction(254, 10)  # exact, by the definition of the inch

_NUMBER = r"(?:\d{1,4}[ -]\d{1,3}/\d{1,3}|\d{1,4}/\d{1,4}|\d{1,4}(?:\.\d{1,6})?|\.\d{1,6})"
_INCH = r'\s*(?:"|″|in\.?|inch(?:es)?)?\s*'
_ONE = re.compile(rf"\s*({_NUMBER}){_INCH}")
_TWO = re.compile(rf"\s*({_NUMBER}){_INCH}(?:x|×|by)\s*({_NUMBER}){_INCH}", re.IGNORECASE)
_ROUND = re.compile(rf"\s*({_NUMBER}){_INCH}round\s*", re.IGNORECASE)


def inches(text: str) -> Fraction:
    """Return a length in inches, exactly.

    Args:
        text: '14.5', '14 1/2', '14-1/2', '1/8', with or without 'in' behind it.

    Raises:
        InputError: it is no such length.

    >>> inches("14 1/2"), inches("14-1/2 in"), inches(".125"), inches("1/8")
    (Fraction(29, 2), Fraction(29, 2), Fraction(1, 8), Fraction(1, 8))
    """
    found = _ONE.fullmatch(text)
    number = _number(found[1]) if found else None
    if number is None:
        raise InputError(f"'{text}' is no length in inches", "Write it as 14.5, 14-1/2 or 5/16.")
    return number


def sides(text: str) -> tuple[Fraction, Fraction | None]:
    """Return an opening's width and height, or its diameter and None, in inches.

    Args:
        text: '14.5x6.25', '14-1/2 x 6-1/4', or '8 round'.

    Raises:
        InputError: it is no such size.

    >>> sides("14.5x6.25")
    (Fraction(29, 2), Fraction(25, 4))
    >>> sides("8 round")
    (Fraction(8, 1), None)
    """
    found = _ROUND.fullmatch(text)
    if found and (across := _number(found[1])) is not None:
        return across, None
    found = _TWO.fullmatch(text)
    if found:
        width, height = _number(found[1]), _number(found[2])
        if width is not None and height is not None:
            return width, height
    raise InputError(
        f"'{text}' is no size of an opening",
        "Write width x height in inches, as 14-1/2x6.25, or a diameter, as '8 round'.",
    )


def shown(length_in: Fraction) -> str:
    """Return inches as on a tape where they are whole sixteenths, else to three places.

    >>> shown(Fraction(29, 2)), shown(Fraction(1, 3))
    ('14 1/2', '0.333')
    """
    if (length_in * 64).denominator == 1:
        return written(length_in, "in").removesuffix(" in")
    return f"{float(length_in):.3f}"


def millimeters(length_in: Fraction) -> float:
    """Return inches in millimeters."""
    return float(length_in * MM_PER_INCH)


def _number(text: str) -> Fraction | None:
    whole, _, part = text.replace("-", " ").rpartition(" ")
    try:
        return Fraction(Decimal(whole or 0)) + (
            Fraction(part) if "/" in part else Fraction(Decimal(part))
        )
    except ZeroDivisionError:
        return None
