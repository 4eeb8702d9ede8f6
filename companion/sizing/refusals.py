"""The ways a sizing refuses, each with words short enough to be said (at most twelve)."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion import quantities
from companion.errors import MissingInputError, OutOfRangeError, SizingError
from companion.numbers import say

if TYPE_CHECKING:
    from companion.sizing.model import Amount, Input, Range

_MOST_WORDS = 12  # of a spoken error
_BESIDE_REMEDY = 9  # of its problem, where three words tell what to do
_FEW = 3


def refusal(problem: str, remedy: str, spoken: str, *, where: str = "") -> SizingError:
    """Return an error that says `spoken` aloud and shows problem and remedy."""
    error = SizingError(problem, remedy, where=where)
    error.spoken = spoken
    return error


def short(exact: str, plain: str) -> str:
    """Return a spoken problem with its figures, or the plain one where these are too many to say.

    >>> short("That's outside two to ten volts.", "That's outside the span.")
    "That's outside two to ten volts."
    """
    return exact if len(exact.split()) <= _BESIDE_REMEDY else plain


def left_out(wanted: Input) -> MissingInputError:
    """Return the error for an input that was not given; aloud it asks for it."""
    error = MissingInputError((wanted.name,), wanted.ask)
    error.spoken = wanted.ask
    return error


def out_of_range(wanted: Input, amount: Amount, valid: Range) -> OutOfRangeError:
    """Return the error for an amount outside its range, in the technician's words."""
    low, high = Decimal(valid.low), quantities.spoken(Decimal(valid.high), valid.unit)
    error = OutOfRangeError(wanted.spoken, amount.spoken(), say(low), high)
    ends = f"{say(low)} to {high}."
    error.spoken = f"{capital(wanted.spoken)} must be {ends}"
    if len(error.spoken.split()) > _MOST_WORDS:  # he knows what he was asked for
        error.spoken = f"Say {ends.replace(' an hour.', '.')}"
    return error


def not_an_option(wanted: Input, given: str) -> SizingError:
    """Return the error for an answer that is none of an input's options."""
    return refusal(
        f"{wanted.spoken} cannot be '{given}'",
        f"Give one of: {', '.join(option.value for option in wanted.options)}.",
        _choose(wanted),
    )


def _choose(wanted: Input) -> str:
    """Say what there is to choose from: all of a few, the ends of many."""
    words = [option.spoken for option in wanted.options]
    if len(words) <= _FEW:
        return f"Say {' or '.join(words)}."
    first, last = words[0], words[-1]
    shared = f" {last.rpartition(' ')[2]}"
    return f"{capital(wanted.spoken)} must be {first.removesuffix(shared)} to {last}."


def wrong_unit(wanted: Input, unit: str) -> SizingError:
    """Return the error for an input given in a unit that measures something else."""
    said = quantities.UNITS[unit].many if unit in quantities.UNITS else unit
    fits = [quantities.UNITS[valid.unit].many for valid in wanted.ranges] or [wanted.kind]
    return refusal(
        f"{wanted.spoken} cannot be in {said}",
        f"Give it in {' or '.join(fits)}.",
        f"{capital(wanted.spoken)} can't be in {said}.",
    )


def capital(words: str) -> str:
    """Return the words with a capital first letter, the rest untouched."""
    return words[:1].upper() + words[1:]
