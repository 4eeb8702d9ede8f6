"""What is left with the customer: labels, care, the next service, and what others must check."""

from __future__ import annotations

import calendar
from datetime import date
from typing import TYPE_CHECKING

from companion.dialogue.scopes import provinces, regions
from companion.report.by_hand import blanks
from companion.report.markup import element
from companion.report.reading_tables import table
from companion.report.sections import section, timed
from companion.report.wording import limit, measured, named, plain, plural
from companion.sizing import DEFERRAL

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.report.markup import Element
    from companion.report.steps import Wordings
    from companion.report.told import Passed, Story
    from companion.report.wording import Clock

_LOCAL_CODE = "local code"
_AUTHORITY = "The authority that enforces the code there"
_DECEMBER = 12


def care(told: Story, words: Wordings) -> list[str]:
    """Return what the customer must know: of the steps that were done, in the procedure's words."""
    return [words.customer[step] for step in _done(told) if step in words.customer]


def next_service(told: Story, words: Wordings, clock: Clock) -> tuple[date, int] | None:
    """Return the day by which the next service is due, and the months until then.

    From the day on which the job ended; None while it is open, and where no step that was done
    states an interval.
    """
    months = [words.service_months[step] for step in _done(told) if step in words.service_months]
    if not months or not told.ended or told.last is None:
        return None
    return months_after(told.last.astimezone(clock.zone).date(), months[-1]), months[-1]


def months_after(day: date, months: int) -> date:
    """Return the same day of the month some months on, or that month's last day.

    >>> months_after(date(2026, 8, 31), 6)
    datetime.date(2027, 2, 28)
    """
    years, month = divmod(day.month - 1 + months, _DECEMBER)
    last = calendar.monthrange(day.year + years, month + 1)[1]
    return date(day.year + years, month + 1, min(day.day, last))


def service_words(due: tuple[date, int]) -> str:
    """Return the next service in words: '28 February 2027 at the latest: 6 months …'."""
    day, months = due
    return (
        f"{day.day} {day:%B %Y} at the latest: {plural(months, 'month')} after this visit, or"
        " sooner if a label says so."
    )


def left_behind(told: Story, words: Wordings, clock: Clock) -> Element | None:
    """Return the labels placed, what the customer was told, and the next service."""
    labels = [
        (passed.at or passed.entered, words.step(step))
        for step, passed in _done(told).items()
        if step in words.labels
    ]
    known = care(told, words)
    due = next_service(told, words, clock)
    return section(
        "Left behind",
        element("h3", "Labels placed"),
        timed(labels, clock) or blanks("Labels: which, and where"),
        element("h3", "What the customer was told"),
        element("ul", [element("li", each) for each in known]) if known else blanks("Told"),
        element("h3", "Next service"),
        element("p", service_words(due)) if due else blanks("Next service, by"),
    )


def local_code(told: Story, words: Wordings, clock: Clock) -> Element | None:
    """Return what is to be checked under the local code, by whom and why, as the log tells it."""
    return section(
        "Local code",
        table(
            ("What", "By whom", "Why", "Checked by, date"),
            [
                element("tr", element("th", what, scope="row"), element("td", who),
                        element("td", *why), element("td", class_="write"))
                for what, who, *why in _checks(told, words, clock)
            ],
            "checks",
        ),
    )  # fmt: skip


def region(told: Story) -> str:
    """Return the name of the state or province, or that it was not asked."""
    code = told.answer("region")
    name = next((names[0].title() for known, names in regions().options if known == code), "")
    return name or named(code) or "not asked"


def line_voltage(told: Story, words: Wordings) -> tuple[str, str] | None:
    """Return who checks the line-voltage work, and why; None where the job reached none."""
    if not any(step in words.line_voltage for step in told.steps):
        return None
    if told.answer("licensed") == "yes":
        return (
            "The electrical inspector, where the local code asks for one",
            "Done by the technician, who said to be licensed or allowed for line voltage there.",
        )
    return (
        "The licensed person who did it, and the electrical inspector where the local code asks",
        "The technician is not licensed for line voltage there; that part was left to who is.",
    )


def _checks(told: Story, words: Wordings, clock: Clock) -> Iterator[tuple[str | Element, ...]]:
    at = region(told)
    place = f"State or province: {at}. " if told.answer("region") else ""
    yield (
        "Permit and inspection",
        _AUTHORITY,
        f"{place}The local code decides whether this work needs them.{_abroad(told)}",
    )
    wired = line_voltage(told, words)
    if wired:
        yield ("Line-voltage work", *wired)
    for when, said in told.questions:
        if said.get("defers") is True:
            title = plain(said.get("title")) or named(plain(said.get("sizing")))
            yield (
                title,
                "A licensed electrician",
                DEFERRAL,
                " Asked at ",
                clock.time(when) or "",
            )
    for reading in told.last_read():
        if _LOCAL_CODE in reading.source.lower():
            allowed = limit(reading.low, reading.high, reading.unit)
            value = measured(reading.value, reading.unit)
            yield (
                f"{named(reading.name or reading.point)}: {value}, limit {allowed}",
                _AUTHORITY,
                reading.source,
            )


def _abroad(told: Story) -> str:
    if told.answer("region") not in provinces():
        return ""
    return " Figures of Canadian code are not held: limits here are of the model codes they name."


def _done(told: Story) -> dict[str, Passed]:
    return {slug: passed for slug, passed in told.steps.items() if passed.how == "done"}
