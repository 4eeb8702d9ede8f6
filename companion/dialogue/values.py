"""A reading's value: its sign and unit at the test point, its limit's ends, how it is read back."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.errors import UnitError
from companion.language.phrasing import phrase
from companion.number_words import LARGEST
from companion.numbers import say_digits
from companion.quantities import UNITS, convert, readback

if TYPE_CHECKING:
    from companion.dialogue.state import Job, Taken
    from companion.language.meanings import Measure
    from companion.ports import Exact
    from companion.procedures.model import Limit, TestPoint

MILLION = Decimal(1_000_000)
SPECIALS = {"over limit": "OL", "open": "open"}


@dataclass(frozen=True, slots=True)
class Ends:
    """A limit's ends as they stand now, in the test point's unit."""

    low: Decimal | None
    high: Decimal | None

    def verdict(self, value: str) -> str:
        """Return 'within', 'outside' or 'no limit'; a meter's over limit is endless."""
        if self.low is None and self.high is None:
            return "no limit"
        if value in SPECIALS.values():
            return "within" if self.high is None else "outside"
        number = Decimal(value)
        low_ok = self.low is None or number >= self.low
        high_ok = self.high is None or number <= self.high
        return "within" if low_ok and high_ok else "outside"


def ends(job: Job, limit: Limit | None) -> Ends:
    """Return a limit's ends, taking those that depend on another test point from the log."""
    if limit is None:
        return Ends(None, None)
    low, high = limit.low, limit.high
    if limit.low_of and (base := _number_at(job, limit.low_of)) is not None:
        low = base * (limit.low_times or 1)
    if limit.high_of and (base := _number_at(job, limit.high_of)) is not None:
        high = base + (limit.high_plus or 0)
    return Ends(low, high)


def _number_at(job: Job, point: str) -> Decimal | None:
    taken = job.last_at(point)
    return Decimal(taken.value) if taken and taken.value not in SPECIALS.values() else None


def _decimal(value: Exact, places: Decimal) -> Decimal:
    """Return a value as said; a third, which no decimal equals, to the places of the meter."""
    if isinstance(value, Decimal):
        return value
    decimal = Decimal(value.numerator) / Decimal(value.denominator)
    return decimal if Fraction(decimal) == value else decimal.quantize(places)


def value_at(point: TestPoint, measure: Measure) -> Decimal:
    """Return a measure in the test point's unit, with the test point's sign.

    Raises:
        UnitError: the unit said measures something else.
    """
    unit = measure.unit or point.unit
    places = Decimal(1).scaleb(-point.decimals)  # what a meter in that unit would show
    value = _decimal(measure.value, places)
    if unit != point.unit:
        if unit not in point.others:
            raise UnitError(
                f"{point.names[0]} is not measured in {UNITS[unit].many}",
                f"Give it in {UNITS[point.unit].many}.",
            )
        value = convert(value, unit, point.unit).quantize(places)
    return -abs(value) if point.sign == "minus" else value


def spoken_value(point: TestPoint, value: str) -> str:
    """Return a value read back digit by digit with its unit."""
    if value in SPECIALS.values():
        return phrase("reading.over-limit" if value == "OL" else "reading.open")
    number = Decimal(value)
    if abs(number) > LARGEST:  # two megohms in ohms
        most = Decimal(LARGEST)
        millions = min(most, max(-most, (number / MILLION).quantize(Decimal("0.01"))))
        return f"{say_digits(millions, 2)} million {UNITS[point.unit].many}"
    whole = number == number.to_integral_value()
    return readback(number, point.unit, None if whole else point.decimals)


def spoken_reading(job: Job, taken: Taken) -> str:
    """Return a logged reading's value as it is read back."""
    point = job.procedure.points[taken.point] if job.procedure else None
    return spoken_value(point, taken.value) if point else taken.value
