"""The readings of the report: as found against as left, and each one as it was taken."""

from __future__ import annotations

from decimal import Decimal
from string import ascii_lowercase
from typing import TYPE_CHECKING

from companion.report.gauge import gauge
from companion.report.markup import Markup, element, joined
from companion.report.wording import Clock, exact, limit, measured, named

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from companion.dialogue.record import LoggedReading
    from companion.report.told import Story

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
                _head(named(before.name or before.point)),
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
    sources = _sources(told)
    return joined(
        table(
            ("Time", "Test point", "Value", "Limit", "", "Verdict"),
            [_row(reading, told, sources, clock) for reading in told.readings],
            "readings",
        ),
        _footnotes(sources),
    )


def _sources(told: Story) -> dict[str, str]:
    """Return where the limits come from, each with the letter that refers to it."""
    found = dict.fromkeys(r.source for r in told.readings if r.source and (r.low or r.high))
    return {source: _letters(place) for place, source in enumerate(found)}


def _letters(place: int) -> str:
    """Return a, b … z, aa, ab …: a figure beside a limit would be read as part of it."""
    more, letter = divmod(place, len(ascii_lowercase))
    return (_letters(more - 1) if more else "") + ascii_lowercase[letter]


def _footnotes(sources: Mapping[str, str]) -> Markup | None:
    if not sources:
        return None
    notes = [
        element("li", element("sup", letter), " ", source) for source, letter in sources.items()
    ]
    return element("ul", notes, class_="footnotes")


def _row(reading: LoggedReading, told: Story, sources: Mapping[str, str], clock: Clock) -> Markup:
    gone = reading.status in {"struck", "corrected"}
    value = measured(reading.value, reading.unit)
    return element(
        "tr",
        element("td", clock.time(reading.at), class_="time"),
        _head(
            named(reading.name or reading.point) or "Reading",
            element("span", f", {reading.phase}", class_="phase") if reading.phase else None,
        ),
        element("td", element("del", value) if gone else value, class_="figure"),
        element("td", _limit_words(reading, sources), class_="limit"),
        element("td", None if gone else gauge(reading), class_="drawn"),
        _outcome(reading, told, clock),
        class_=reading.status if reading.status != "stands" else None,
        id=f"entry-{reading.number}",
    )


def _limit_words(reading: LoggedReading, sources: Mapping[str, str]) -> Markup | None:
    words = limit(reading.low, reading.high, reading.unit)
    if not words:
        return None
    letter = sources.get(reading.source)
    return joined(words, element("sup", letter) if letter else None)


def _outcome(reading: LoggedReading, told: Story, clock: Clock) -> Markup:
    """The verdict, or what became of the reading."""
    if reading.status == "removed":
        return element("td", "Removed on request", class_="verdict gone")
    if reading.status != "stands":
        changed = clock.time(reading.changed_at)
        return element("td", f"{named(reading.status)} at ", changed, class_="verdict gone")
    replaced = next((r for r in told.readings if r.number == reading.replaces), None)
    notes = [
        f"in place of {measured(replaced.value, replaced.unit)}" if replaced else "",
        "" if reading.confirmed else "not confirmed",
    ]
    return _verdict_cell(reading, ", ".join(filter(None, notes)))


def _verdict_cell(reading: LoggedReading, note: str = "") -> Markup:
    kind = reading.verdict if reading.verdict in {"within", "outside"} else "none"
    return element(
        "td",
        element("span", named(reading.verdict) or "No limit", class_="word"),
        element("span", note, class_="note") if note else None,
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
