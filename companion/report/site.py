"""Equipment and site: what was answered about them, and the figures read off plates and labels."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.by_hand import blanks
from companion.report.markup import element
from companion.report.sections import section
from companion.report.wording import measured, named

if TYPE_CHECKING:
    from datetime import datetime

    from companion.report.markup import Element
    from companion.report.steps import Wordings
    from companion.report.told import Story
    from companion.report.wording import Clock

_ELSEWHERE = frozenset({"licensed", "region"})  # among the facts at the head
_BY_HAND = (
    "Equipment: maker, model, serial number",
    "Accessory: maker, model, serial number",
    "Filter: size and kind",
    "Where the accessory sits",
)


def equipment_and_site(told: Story, words: Wordings, clock: Clock) -> Element | None:
    """Return what the log tells of equipment and site, and lines for what it does not."""
    asked = [
        _row(clock, each.at, words.choice(each.choice), words.option(each.choice, each.option))
        for each in told.answered.values()
        if each.choice not in _ELSEWHERE
    ]
    figures = [
        _row(clock, r.at, named(r.name or r.point), measured(r.value, r.unit))
        for r in told.last_read()
        if r.point in words.bases and not r.phase
    ]
    return section(
        "Equipment and site",
        element("h3", "Answered on site") if asked else None,
        _table(asked),
        element("h3", "Read off plates, labels and settings") if figures else None,
        _table(figures),
        blanks(*_BY_HAND),
    )


def _row(clock: Clock, at: datetime, what: str, answer: str) -> Element:
    return element(
        "tr",
        element("td", clock.time(at), class_="time"),
        element("td", what),
        element("td", answer, class_="said"),
    )


def _table(rows: list[Element]) -> Element | None:
    return element("table", element("tbody", rows), class_="timed") if rows else None
