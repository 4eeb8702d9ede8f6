"""The readings of the report: as found against as left, and each one as it was taken."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.report.gauge import gauge
from companion.report.markup import Markup, element, joined
from companion.report.wording import Clock, exact, limit, measured, named

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from companion.dialogue.record import LoggedReading
    from companion.report.folding import Story

_BEFORE, _AFTER = "as found", "as left"


def comparison(told: Story) -> Markup | None:
    """Return the test points that were read before and after, with what changed."""
    last = {(r.point, r.phase): r for r in told.standing()}
    pairs = [
        (before, last[point, _AFTER])
        for (point, phase), before in last.items()
        if phase == _BEFORE and (point, _AFTER) in last
    ]
    if not pairs:
        return None
    return table(
        ("Test point", "As found", "As left", "Change", "Limit", "Verdict as left"),
        [
            element(
                "tr",
                _head(before.name or named(before.point)),
                _figure(measured(before.value, before.unit)),
                _figure(measured(after.value, after.unit)),
                _figure(_change(before, after)),
                element("td", limit(after.low, after.high, after.unit) or "none"),
                _verdict_cell(after),
            )
            for before, after in pairs
        ],
        "compare",
    )


def _change(before: LoggedReading, after: LoggedReading) -> str:
    old, new = exact(before.value), exact(after.value)
    if not isinstance(old, Decimal) or not isinstance(new, Decimal) or before.unit != after.unit:
        return "–"
    unit = "delta_degF" if after.unit == "degF" else after.unit
    sign = "+" if new > old else ""
    return f"{sign}{measured(str(new - old), unit)}"


def all_readings(told: Story, clock: Clock) -> Markup | None:
    """Return every version of every reading, in the order in which they were taken."""
    if not told.readings:
        return None
    return table(
        ("Time", "Test point", "Value", "Limit", "", "Verdict"),
        [row for reading in told.readings for row in _rows(reading, clock)],
        "readings",
    )


def _rows(reading: LoggedReading, clock: Clock) -> list[Markup]:
    gone = reading.status in {"struck", "corrected"}
    value = measured(reading.value, reading.unit)
    drawn = None if gone else gauge(reading)
    return [
        element(
            "tr",
            element("td", clock.time(reading.at), class_="time"),
            _head(
                reading.name or named(reading.point) or "Reading",
                element("span", reading.phase, class_="phase") if reading.phase else None,
            ),
            element("td", element("del", value) if gone else value, class_="figure"),
            element("td", _limit_words(reading), class_="limit"),
            element("td", drawn, class_="drawn"),
            _outcome(reading, clock),
            class_=reading.status if reading.status != "stands" else None,
            id=f"entry-{reading.number}",
        )
    ]


def _limit_words(reading: LoggedReading) -> Markup | None:
    words = limit(reading.low, reading.high, reading.unit)
    if not words:
        return None
    source = element("span", reading.source, class_="source") if reading.source else None
    return joined(words, source)


def _outcome(reading: LoggedReading, clock: Clock) -> Markup:
    """The verdict, or what became of the reading."""
    if reading.status == "removed":
        return element("td", "Removed on request", class_="verdict none")
    if reading.status == "struck":
        return element("td", "Struck at ", clock.time(reading.changed_at), class_="verdict gone")
    if reading.status == "corrected":
        return element("td", "Corrected at ", clock.time(reading.changed_at), class_="verdict gone")
    return _verdict_cell(reading)


def _verdict_cell(reading: LoggedReading) -> Markup:
    kind = {"within": "within", "outside": "outside"}.get(reading.verdict, "none")
    notes = [
        note
        for note, holds in (
            (f"corrects entry {reading.replaces}", reading.replaces is not None),
            ("confirmed", reading.confirmed),
        )
        if holds
    ]
    return element(
        "td",
        element("span", named(reading.verdict) or "No limit", class_="word"),
        element("span", ", ".join(notes), class_="note") if notes else None,
        class_=f"verdict {kind}",
    )


def table(heads: Sequence[str], rows: Iterable[Markup], class_: str) -> Markup:
    """Return a table with a head that is repeated on every printed page."""
    return element(
        "table",
        element(
            "thead",
            element(
                "tr",
                [element("th", head, scope="col") if head else element("td") for head in heads],
            ),
        ),
        element("tbody", list(rows)),
        class_=class_,
    )


def _head(*children: str | Markup | None) -> Markup:
    return element("th", *children, scope="row")


def _figure(text: str) -> Markup:
    return element("td", text, class_="figure")
