"""Two visits to one address, side by side: what was measured last at each, and what was chosen."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.dialogue.record import logged_readings
from companion.errors import UnitError
from companion.quantities import UNITS, convert

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from companion.dialogue.record import LoggedReading
    from companion.ports import Entry

AS_LEFT = "as left"
_DIFFERENCE_OF = {"degF": "delta_degF", "degC": "delta_degC"}


@dataclass(frozen=True, slots=True)
class PointCompared:
    """A test point at two visits; None where a visit has no standing reading of it.

    `difference` is second less first, a decimal string in `unit`, or '' where there is none.
    """

    point: str
    name: str
    first: LoggedReading | None
    second: LoggedReading | None
    difference: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class ChoiceCompared:
    """A choice that was answered otherwise; '' where a visit has no answer."""

    choice: str
    first: str
    second: str


@dataclass(frozen=True, slots=True)
class Compared:
    """Two visits: every test point of either, and the choices in which they differ."""

    points: tuple[PointCompared, ...]
    choices: tuple[ChoiceCompared, ...]


def compared(first: Sequence[Entry], second: Sequence[Entry]) -> Compared:
    """Return two visits side by side, in the order in which points were first read.

    Args:
        first: the entries of the earlier visit, in order.
        second: those of the later one.
    """
    before, after = left_readings(first), left_readings(second)
    chosen, chosen_later = answers(first), answers(second)
    return Compared(
        tuple(_point(point, before.get(point), after.get(point)) for point in {**before, **after}),
        tuple(
            ChoiceCompared(choice, chosen.get(choice, ""), chosen_later.get(choice, ""))
            for choice in {**chosen, **chosen_later}
            if chosen.get(choice, "") != chosen_later.get(choice, "")
        ),
    )


def left_readings(entries: Iterable[Entry]) -> dict[str, LoggedReading]:
    """Return the reading that stands for each test point as it was left.

    The last one that stands 'as left'; of a point that was never read so, the last that stands.
    """
    found: dict[str, LoggedReading] = {}
    for reading in logged_readings(entries):
        if reading.status != "stands" or not reading.point:
            continue
        known = found.get(reading.point)
        if known is None or reading.phase == AS_LEFT or known.phase != AS_LEFT:
            found[reading.point] = reading
    return found


def answers(entries: Iterable[Entry]) -> dict[str, str]:
    """Return the choices as they stand; those within a search for a fault are not the job's."""
    found: dict[str, str] = {}
    is_within_fault = False
    for entry in entries:
        if entry.kind in {"fault-begun", "fault-ended"}:
            is_within_fault = entry.kind == "fault-begun"
        choice = str(entry.payload.get("choice", ""))
        if is_within_fault or not choice:
            continue
        if entry.kind == "choice":
            found[choice] = str(entry.payload.get("option", ""))
        elif entry.kind == "choice-withdrawn":
            found.pop(choice, None)
    return found


def _point(point: str, first: LoggedReading | None, second: LoggedReading | None) -> PointCompared:
    named = second or first
    name = (named.name if named else "") or point
    if first is None or second is None or first.unit not in UNITS:
        return PointCompared(point, name, first, second)
    try:
        before, after = Decimal(first.value), Decimal(second.value)
        difference = convert(after, second.unit, first.unit) - before
    except (ArithmeticError, UnitError):  # 'OL', or units that measure different things
        return PointCompared(point, name, first, second)
    if not difference.is_finite():
        return PointCompared(point, name, first, second)
    unit = _DIFFERENCE_OF.get(first.unit, first.unit)
    return PointCompared(point, name, first, second, f"{difference:f}", unit)
