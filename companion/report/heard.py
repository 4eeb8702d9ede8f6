"""How each reading came into the log: the words, how well they matched, what was asked back."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.markup import element, joined
from companion.report.reading_tables import table
from companion.report.sections import section
from companion.report.wording import measured, named

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.dialogue.record import LoggedReading
    from companion.report.markup import Element, Markup
    from companion.report.told import Story
    from companion.report.wording import Clock


def readings_heard(told: Story, clock: Clock) -> Element | None:
    """Return a row for every version of every reading, None without readings."""
    if not told.readings:
        return None
    before = 0
    rows = []
    for reading in told.readings:
        rows.append(_row(reading, told, before, clock))
        before = reading.number
    return section(
        "How readings were heard",
        table(("Time", "Test point", "Value", "Words", "Match", "What came of it"), rows, "heard"),
        element(
            "p",
            "Match says how well the sound agreed with the words, 1.00 at best; what was typed has"
            " 1.00. 'Asked back' is what was asked again since the reading before.",
            class_="quiet",
        ),
    )


def _row(reading: LoggedReading, told: Story, before: int, clock: Clock) -> Element:
    return element(
        "tr",
        element("td", clock.time(reading.at), class_="time"),
        element("th", named(reading.name or reading.point) or "Reading", scope="row"),
        element("td", measured(reading.value, reading.unit), class_="figure"),
        element("td", f"“{reading.words}”" if reading.words else None),
        element("td", reading.match, class_="figure"),
        element("td", [element("div", each) for each in _came(reading, told, before, clock)]),
    )


def _came(reading: LoggedReading, told: Story, before: int, clock: Clock) -> Iterator[Markup]:
    if reading.status == "removed":
        yield joined("removed on request")
        return
    for asked in told.asked_again:
        if before < asked.number < reading.number:
            heard = f"“{asked.words}”, " if asked.words else ""
            yield joined(f"asked back: {heard}{asked.why}")
    replaced = next((r for r in told.readings if r.number == reading.replaces), None)
    if replaced:
        yield joined(f"corrects {measured(replaced.value, replaced.unit)}")
    aloud = next((c for c in told.confirmed if _confirms(c.of, c.number, reading)), None)
    if aloud:
        yield joined("confirmed aloud at ", clock.time(aloud.at))
    elif not reading.confirmed:
        yield joined("not confirmed")
    if reading.status in {"struck", "corrected"}:
        yield joined(f"{reading.status} at ", clock.time(reading.changed_at))


def _confirms(of: str, number: int, reading: LoggedReading) -> bool:
    """Whether a confirmation is of this version: after it, and before it was changed."""
    return of == reading.id and reading.number < number < (reading.changed_by or number + 1)
