"""Two visits side by side, as CSV and JSON."""

from __future__ import annotations

import json
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, TypeAlias

from companion.chain import utc_text
from companion.joblog.export import as_number, as_text, csv_text, unit_written
from companion.quantities import UNITS, written

if TYPE_CHECKING:
    from companion.dialogue.record import LoggedReading
    from companion.dialogue.visits import Compared, PointCompared
    from companion.joblog.summary import JobSummary
    from companion.ports import Json

    Visits: TypeAlias = tuple[JobSummary, JobSummary]

COLUMNS = (
    "point",
    "name",
    "first_value",
    "first_unit",
    "first_verdict",
    "second_value",
    "second_unit",
    "second_verdict",
    "difference",
    "difference_unit",
    "first_job",
    "second_job",
)

_MOST_DIGITS = 30  # before or behind the point: no meter shows more


def shown(value: str, unit: str) -> str:
    """Return a logged value with its unit, as the trade writes it; a meter's word as it is.

    >>> shown("0.45", "inH2O"), shown("OL", "ohm")
    ('0.45 in. w.c.', 'OL')
    """
    try:
        number = Decimal(value)
    except InvalidOperation:
        return value
    is_one = number.is_finite() and abs(number.adjusted()) <= _MOST_DIGITS
    return written(number, unit) if unit in UNITS and is_one else f"{value} {unit}"


def comparison_csv(visits: Visits, found: Compared) -> str:
    """Return one row a test point; choices are left to JSON."""
    jobs = [as_text(visit.id) for visit in visits]
    return csv_text(COLUMNS, ((*_cells(point), *jobs) for point in found.points))


def _cells(point: PointCompared) -> tuple[str, ...]:
    return (
        as_text(point.point),
        as_text(point.name),
        *_reading_cells(point.first),
        *_reading_cells(point.second),
        as_number(point.difference),
        unit_written(point.unit),
    )


def _reading_cells(reading: LoggedReading | None) -> tuple[str, str, str]:
    if reading is None:
        return "", "", ""
    return as_number(reading.value), as_text(unit_written(reading.unit)), as_text(reading.verdict)


def comparison_json(visits: Visits, found: Compared) -> str:
    """Return both visits, the test points and the choices that differ, as JSON."""
    first, second = visits
    whole = {
        "first": _visit(first),
        "second": _visit(second),
        "points": [
            {
                "point": each.point,
                "name": each.name,
                "first": _reading(each.first),
                "second": _reading(each.second),
                "difference": each.difference or None,
                "difference_unit": unit_written(each.unit) or None,
            }
            for each in found.points
        ],
        "choices": [
            {"choice": each.choice, "first": each.first or None, "second": each.second or None}
            for each in found.choices
        ],
    }
    text = json.dumps(whole, ensure_ascii=False, indent=2) + "\n"
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _visit(visit: JobSummary) -> Json:
    return {
        "job": visit.id,
        "title": visit.title,
        "opened_utc": utc_text(visit.opened),
        "state": visit.state,
    }


def _reading(reading: LoggedReading | None) -> Json:
    if reading is None:
        return None
    return {
        "entry": reading.number,
        "value": reading.value,
        "unit": unit_written(reading.unit),
        "phase": reading.phase,
        "verdict": reading.verdict,
    }
