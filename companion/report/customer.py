"""The page for the customer: one page, in plain words, and nothing that the log does not hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.report.attention import (
    holds_unmet,
    left_undone,
    outside_line,
    removed_lines,
)
from companion.report.by_hand import blanks
from companion.report.handover import care, line_voltage, next_service, region, service_words
from companion.report.markup import element
from companion.report.sections import section
from companion.report.wording import Clock, hazard, left_as, plural

if TYPE_CHECKING:
    from companion.report.markup import Element, Markup
    from companion.report.steps import Wordings
    from companion.report.told import Story

_MOST_LINES = 6  # of what is left: the page stays one page
_MOST_LETTERS = 150  # of a text that somebody spoke
_MOST_MET = 400
_LONGEST_TITLE = 80
_JUDGED = frozenset({"within", "outside"})
_DANGER = (
    "If you smell gas, or a CO alarm sounds: touch no switch, get everyone out, and call for help"
    " from outside."
)


def customer_page(told: Story, words: Wordings, clock: Clock) -> Element:
    """Return the customer's page: what was done, whether it works, what is left, what to do."""
    return element(
        "article",
        element("p", "For the customer", class_="kind"),
        element("h1", shortened_words(told.title, _LONGEST_TITLE) or "Untitled job"),
        blanks("Address"),
        section("What was done", *_done(told, clock), _list(_happened(told))),
        section("Does it work?", *_works(told, words)),
        section("What was left", _list(_left(told, words)) or element("p", "Nothing.")),
        section("What you must do", *_to_do(told, words, clock)),
        section("Whom to call", element("p", _DANGER), blanks("Firm", "Telephone")),
        section("To be checked", *_to_check(told, words)),
        section("Signed", blanks("Customer, date", "Technician, licence, date")),
        class_="customer",
    )


def shortened_words(text: str, most: int = _MOST_LETTERS) -> str:
    """Return a text no longer than the page has room for; the technical pages have all of it.

    >>> shortened_words("the office will send it", 14)
    'the office wi…'
    """
    whole = " ".join(text.split())
    return whole if len(whole) <= most else f"{whole[: most - 1]}…"


def _done(told: Story, clock: Clock) -> list[Markup]:
    when = clock.date(told.last) if told.last else None
    if told.ended == "finished":
        return [element("p", "The work was finished on ", when, ".")]
    if told.ended == "left safe":
        checks = [left_as(check) for check in told.left_checks if check != "told"]
        stands = f" Left so: {', '.join(checks)}." if checks else ""
        who = f" Told about it: {shortened_words(told.told)}." if told.told else ""
        return [
            element(
                "p",
                element("strong", "The work was not finished."),
                " It was left safe on ",
                when,
                f".{stands}{who}",
            )
        ]
    return [element("p", element("strong", "The work is not finished yet."), " This is how it stood"
                    " on ", when, ".")]  # fmt: skip


def _happened(told: Story) -> list[str]:
    return [f"{hazard(alarm.hazard)} during the work." for alarm in told.alarms]


def _works(told: Story, words: Wordings) -> list[Markup | None]:
    last = {reading.point: reading for reading in told.standing()}
    judged = [reading for reading in last.values() if reading.verdict in _JUDGED]
    outside = [outside_line(r) for r in judged if r.verdict == "outside"]
    within = len(judged) - len(outside)
    met = dict.fromkeys(
        passage.title or words.hold(passage.step) for passage in told.passages if passage.met
    )
    return [
        element("p", element("strong", _verdict(told, words, len(judged), len(outside)))),
        element(
            "p",
            f"Of each test point the last reading counts: {within} within the limit,"
            f" {len(outside)} outside.",
        )
        if judged
        else None,
        _list(outside),
        element("p", "What was not read again after it was mended stands here as it was before.")
        if outside
        else None,
        element("p", f"Safety points met: {shortened_words(', '.join(met), _MOST_MET)}.")
        if met
        else None,
    ]


def _verdict(told: Story, words: Wordings, judged: int, outside: int) -> str:
    if told.damage:
        return "This can't be said: the record of the work is damaged."
    if told.unjudged:
        return "This can't be said: a part of the record of the work was removed."
    if told.ended != "finished":
        return "Not to be used as finished: the work did not come to its end."
    if outside or holds_unmet(told, words):
        return "Not fully: see what is outside its limit, or was left."
    if not judged:
        return "Finished; no reading has a limit to be held against."
    return "Yes: every last reading that has a limit is within it, and all safety points are met."


def _left(told: Story, words: Wordings) -> list[str]:
    missed = [f"{words.point(point)} could not be read." for _, _, point in told.missed]
    return [
        *removed_lines(told), *holds_unmet(told, words), *left_undone(told, words), *missed
    ]  # fmt: skip


def _list(lines: list[str]) -> Element | None:
    shown = [shortened_words(each) for each in lines[:_MOST_LINES]]
    if len(lines) > _MOST_LINES:
        shown.append(f"And {len(lines) - _MOST_LINES} more, on the technical pages.")
    return element("ul", [element("li", each) for each in shown]) if shown else None


def _to_do(told: Story, words: Wordings, clock: Clock) -> list[Markup | None]:
    due = next_service(told, words, clock)
    service = element("p", element("strong", "Next service: "), service_words(due)) if due else None
    return [
        _list(care(told, words)),
        service,
        blanks("Filter: size, and how often it is changed", *([] if due else ["Next service, by"])),
    ]


def _to_check(told: Story, words: Wordings) -> list[Markup]:
    place = f" Here: {shortened_words(region(told))}." if told.answer("region") else ""
    wired = line_voltage(told, words)
    lines = [
        f"Permit and inspection: the local code decides on them, its authority checks.{place}",
        *([f"Line-voltage work: {wired[0][:1].lower()}{wired[0][1:]}."] if wired else []),
    ]
    more = sum(said.get("defers") is True for _, said in told.questions)
    if more:
        lines.append(
            f"{plural(more, 'figure')} worked out for line voltage: a licensed electrician."
        )
    return [element("ul", [element("li", each) for each in lines]), blanks("Permit number")]
