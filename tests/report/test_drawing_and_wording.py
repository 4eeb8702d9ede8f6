"""The gauge's mark is where the verdict says; values, limits and times as people write them."""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.dialogue.record import LoggedReading
from companion.report.gauge import gauge
from companion.report.wording import Clock, lasting, limit, measured, plain, shortened

if TYPE_CHECKING:
    from decimal import Decimal

AT = datetime(2026, 3, 4, 15, 6, tzinfo=UTC)


def reading(value: str, low: str, high: str, verdict: str = "within") -> LoggedReading:
    return LoggedReading(
        number=1, at=AT, id="1", step="", point="p", name="P", value=value, unit="V",
        low=low, high=high, source="", verdict=verdict, phase="", words="", match="",
        confirmed=True,
    )  # fmt: skip


def drawn(value: str, low: str, high: str) -> tuple[float, float, float]:
    """Return where the mark and the two ends of the band are."""
    svg = str(gauge(reading(value, low, high)))
    mark = re.search(r'<circle cx="([\d.]+)"', svg)
    band = re.search(r'<line x1="([\d.]+)" y1="9.0" x2="([\d.]+)" [^>]*stroke-width="3.5"', svg)
    assert mark
    assert band
    return float(mark[1]), float(band[1]), float(band[2])


_numbers = st.decimals(-500, 500, places=2)


@given(value=_numbers, low=_numbers | st.none(), high=_numbers | st.none())
def test_the_mark_is_inside_the_band_when_the_value_is_within(
    value: Decimal, low: Decimal | None, high: Decimal | None
) -> None:
    if (low is None and high is None) or (low is not None and high is not None and low >= high):
        return
    mark, begin, end = drawn(str(value), *("" if e is None else str(e) for e in (low, high)))
    assert 0 <= mark <= 104
    assert begin <= end
    within = (low is None or value >= low) and (high is None or value <= high)
    if within:
        assert begin - 0.06 <= mark <= end + 0.06
    elif low is not None and value < low:
        assert mark <= begin + 0.06
    else:
        assert mark >= end - 0.06


def test_outside_is_drawn_as_another_shape() -> None:
    assert "<polygon" in str(gauge(reading("9", "1", "5", "outside")))
    assert "<polygon" not in str(gauge(reading("3", "1", "5")))


@pytest.mark.parametrize(("value", "low", "high"), [("OL", "1", "5"), ("3", "", ""), ("", "1", "")])
def test_nothing_is_drawn_without_a_number_and_a_limit(value: str, low: str, high: str) -> None:
    assert gauge(reading(value, low, high)) is None


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        ("0.45", "inH2O", "0.45 in. w.c."),
        ("-0.20", "inH2O", "-0.20 in. w.c."),
        ("119", "V", "119 V"),
        ("5.3125", "in", "5 5/16 in"),
        ("OL", "ohm", "OL (over range)"),
        ("open", "ohm", "open"),
        ("3", "furlong", "3 furlong"),
        ("NaN", "V", "NaN"),
        ("1/0", "gauge", "1/0"),
    ],
)
def test_values_are_written_with_their_unit(value: str, unit: str, text: str) -> None:
    assert measured(value, unit) == text


@pytest.mark.parametrize(
    ("low", "high", "text"),
    [
        ("114", "126", "114 to 126 V"),
        ("", "126", "at most 126 V"),
        ("114", "", "at least 114 V"),
        ("", "", ""),
    ],
)
def test_limits_are_written_in_words(low: str, high: str, text: str) -> None:
    assert limit(low, high, "V") == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        ("33.33333333333333333333333333", "33.333"),
        ("123456.789", "123460"),
        ("0.4662", "0.4662"),
        ("1/0", "1/0"),
        ("Infinity", "Infinity"),
    ],
)
def test_results_are_cut_to_what_anyone_reads(value: str, text: str) -> None:
    assert shortened(value) == text


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, ""),
        (True, "yes"),
        ({"value": "60", "unit": "ft"}, "60 ft"),
        ([{"value": "18", "unit": "VA"}, "9 VA"], "18 VA, 9 VA"),
        ({"a-b": "1", "c": 2}, "a b 1, c 2"),
        ({"a": {"b": None}}, '{"a":{"b":null}}'),
    ],
)
def test_any_payload_value_can_be_read(value: object, text: str) -> None:
    assert plain(value) == text


def test_durations_are_in_hours_and_minutes() -> None:
    assert lasting(AT, AT + timedelta(minutes=59, seconds=59)) == "59 min"
    assert lasting(AT, AT + timedelta(hours=2, minutes=5)) == "2 h 05 min"
    assert lasting(AT, AT - timedelta(hours=1)) == "0 min"


def test_the_zone_is_named_by_its_distance_from_utc() -> None:
    assert Clock().zone_name(AT) == "UTC"
    assert Clock(timezone(timedelta(hours=-3, minutes=-30))).zone_name(AT) == "UTC−03:30"
    assert Clock(timezone(timedelta(hours=5, minutes=45))).zone_name(AT) == "UTC+05:45"


def test_no_zone_is_the_machines_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "MST7MDT,M3.2.0,M11.1.0")  # US rules: summer time from 8 March 2026
    time.tzset()
    try:
        assert Clock(None).zone_name(AT) == "UTC−07:00"
        assert Clock(None).zone_name(AT + timedelta(days=30)) == "UTC−06:00"
    finally:
        monkeypatch.undo()
        time.tzset()
