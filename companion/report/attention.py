"""What somebody must still look at: outside a limit, unmet, skipped, deferred, missed, damaged."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.markup import element, joined
from companion.report.sections import hold_name, section
from companion.report.wording import hazard, limit, measured, named, plural

if TYPE_CHECKING:
    from companion.dialogue.record import LoggedReading
    from companion.report.markup import Element, Markup
    from companion.report.steps import Wordings
    from companion.report.told import Story
    from companion.report.wording import Clock


def attention(told: Story, words: Wordings, clock: Clock) -> Element | None:
    """Return what somebody must still look at, or that there is nothing."""
    points = [
        *_damage(told),
        *removed_lines(told),
        *_set_back(told, clock),
        *(_alarm_line(told, clock)),
        *_outside(told),
        *holds_unmet(told, words),
        *left_undone(told, words),
        *(f"{words.point(point)}: could not be read." for _, _, point in told.missed),
    ]
    if not points:
        so_far = "" if told.ended else "So far: "
        nothing = f"{so_far}nothing is outside its limit, skipped, deferred or left unmet."
        return section("To look at", element("p", nothing[:1].upper() + nothing[1:]))
    return section(
        "To look at",
        element("ul", [element("li", p) for p in points], class_="points"),
        class_="attention",
    )


def _damage(told: Story) -> list[str]:
    return [f"The log is damaged ({told.damage}). Do not rely on this report."] * bool(told.damage)


def removed_lines(told: Story) -> list[str]:
    """Return that what was done or measured was removed, where it was: it can't be judged."""
    if not told.unjudged:
        return []
    said = plural(told.unjudged, "entry", "entries")
    return [
        f"What {said} told of the work was removed on request: whether all was well can't be said."
    ]


def _set_back(told: Story, clock: Clock) -> list[Markup]:
    return [
        joined(
            f"The clock was set back at entry {number}, from ",
            clock.date_time(before),
            " to ",
            clock.date_time(after),
            ": times before and after do not compare. The numbers give the order.",
        )
        for number, before, after in told.set_back
    ]


def _alarm_line(told: Story, clock: Clock) -> list[Markup]:
    return [
        joined(f"{hazard(alarm.hazard)} at ", clock.time(alarm.at), ".") for alarm in told.alarms
    ]


def _outside(told: Story) -> list[str]:
    return [outside_line(each) for each in told.last_read() if each.verdict == "outside"]


def outside_line(reading: LoggedReading) -> str:
    """Return a reading that is outside its limit, in words."""
    name = named(reading.name or reading.point)
    phase = f", {reading.phase}" if reading.phase else ""
    allowed = limit(reading.low, reading.high, reading.unit)
    value = measured(reading.value, reading.unit)
    return f"{name}{phase}: {value}, outside its limit ({allowed})."


def holds_unmet(told: Story, words: Wordings) -> list[str]:
    """Return the hold points that stand open, in words."""
    last = {passage.step: passage for passage in told.passages}
    return [
        f"Hold point {hold_name(passage, words)} was not met."
        for passage in last.values()
        if passage.met is None
    ]


def left_undone(told: Story, words: Wordings) -> list[str]:
    """Return the steps that were skipped or deferred, each with its reason."""
    return [
        f"{_sentence(words.step(passed.step))} {named(passed.how)}: {passed.why or 'no reason'}."
        for passed in told.steps.values()
        if passed.how in {"skipped", "deferred"}
    ]


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."
