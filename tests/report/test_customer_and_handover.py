"""What the customer reads, what was left behind, who checks what: only what the log holds."""

from __future__ import annotations

import re
from datetime import UTC, date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st
from jobs import played
from test_page import OPENED, Page, joined, sample

from companion.chain import chain
from companion.ports import Draft, Entry
from companion.procedures import procedure, slugs
from companion.report import report_page
from companion.report.customer import customer_page
from companion.report.folding import story
from companion.report.handover import local_code, months_after, next_service
from companion.report.markup import text_of
from companion.report.steps import wordings
from companion.report.wording import Clock


def page_for_customer(entries: list[Entry]) -> str:
    told = story(entries)
    words = wordings(told.text, told.procedure)
    return text_of(customer_page(told, words, Clock(UTC, told.opened)))


def checks(entries: list[Entry]) -> str:
    told = story(entries)
    section = local_code(told, wordings(told.text, told.procedure), Clock(UTC, told.opened))
    assert section
    return text_of(section)


def reading(number: int, value: str, verdict: str, phase: str = "", point: str = "p") -> Draft:
    said = {"id": number, "point": point, "name": "Point", "value": value, "unit": "V"}
    said |= {"low": "1", "high": "5", "verdict": verdict, "phase": phase}
    return Draft("reading", said, OPENED)


def finished(*drafts: Draft) -> list[Entry]:
    opened = Draft("job-opened", {"title": "T"}, OPENED)
    return joined([opened, *drafts, Draft("finished", {}, OPENED)])


def test_it_comes_first_on_the_page() -> None:
    text = Page(report_page(sample())).text
    assert text.index("For the customer") < text.index("Commissioning report", 60)


def test_a_job_left_safe_is_not_to_be_used_as_finished() -> None:
    text = page_for_customer(sample())
    assert "The work was not finished. It was left safe on 4 March 2026." in text
    assert "Told about it: the homeowner." in text
    assert "Not to be used as finished" in text
    assert "Smell of gas during the work." in text
    assert "Deferred: total static is above the plate" in text


def test_the_last_reading_of_a_test_point_counts() -> None:
    mended = finished(reading(1, "9", "outside", "as found"), reading(2, "3", "within", "as left"))
    assert "Yes: every last reading that has a limit is within it" in page_for_customer(mended)
    worse = finished(reading(1, "3", "within", "as found"), reading(2, "9", "outside", "as left"))
    text = page_for_customer(worse)
    assert "Not fully" in text
    assert "Point, as left: 9 V, outside its limit (1 to 5 V)." in text
    once = finished(reading(1, "9", "outside", "as found"))
    assert "Not fully" in page_for_customer(once)


def test_a_hold_point_unmet_is_not_all_well() -> None:
    hold = Draft("hold-opened", {"step": "s", "hold": "H6"}, OPENED)
    text = page_for_customer(finished(reading(1, "3", "within"), hold))
    assert "Not fully" in text
    assert "Hold point H6 S was not met." in text


def test_without_limits_nothing_is_called_good() -> None:
    assert "no reading has a limit" in page_for_customer(finished())


def test_a_damaged_record_says_nothing_of_whether_it_works() -> None:
    entries = finished(reading(1, "3", "within"))
    del entries[1]
    assert "the record of the work is damaged" in page_for_customer(entries)


def test_a_whole_job_tells_what_to_do_and_when_the_next_service_is() -> None:
    entries = list(played("fresh-air-damper"))
    text = page_for_customer(entries)
    assert "Clean the screen of the outdoor hood" in text
    due = entries[-1].at.date() + relativedelta(years=1)
    assert f"Next service: {due.day} {due:%B %Y} at the latest: 12 months after" in text
    assert "Next service, by" not in text


def without(entries: list[Entry], step: str) -> list[Entry]:
    """The same job with a step skipped that was done."""
    drafts = [
        Draft("step-skipped", {"step": step, "reason": "no time"}, e.at)
        if e.kind == "step-done" and e.payload.get("step") == step
        else Draft(e.kind, e.payload, e.at)
        for e in entries
    ]
    return list(chain(None, entries[0].job, drafts, [bytes(16)] * len(drafts)))


def test_what_was_not_done_is_a_line_to_fill_in() -> None:
    whole = list(played("fresh-air-damper"))
    for step, lost, line in (
        ("service-date", "12 months after", "Next service, by"),
        ("labels", "Label breaker and tap", "Labels: which, and where"),
        ("hand-over-care", "Clean the screen", "Told"),
    ):
        left = Page(report_page(without(whole, step))).text.partition("Left behind")[2]
        assert lost not in left
        assert line in left
        assert lost in Page(report_page(whole)).text.partition("Left behind")[2]


def test_an_open_job_has_no_next_service() -> None:
    whole = list(played("fresh-air-damper"))[:-1]
    told = story(whole)
    assert next_service(told, wordings(told.text, ""), Clock()) is None


# dateutil's relativedelta also keeps to the month's last day.
@given(st.dates(date(1990, 1, 1), date(2190, 12, 31)), st.integers(1, 120))
def test_months_later_is_the_same_day_or_the_months_last(day: date, months: int) -> None:
    assert months_after(day, months) == day + relativedelta(months=months)


_SPOKEN = {"one year from today": 12, "at most one year": 12, "six months from today": 6}


@pytest.mark.parametrize("slug", slugs())
def test_the_interval_computed_with_is_the_one_that_is_said(slug: str) -> None:
    for step in procedure(slug).steps:
        said = [months for words, months in _SPOKEN.items() if words in step.say]
        assert [step.service_months] == (said or [0])


def test_permit_and_inspection_are_always_for_the_authority_there() -> None:
    assert "The authority that enforces the code there" in checks(finished())
    assert "State or province: Ohio." in checks(list(played("fresh-air-damper")))


def test_a_limit_that_defers_to_the_local_code_is_to_be_checked() -> None:
    text = checks(list(played("fresh-air-damper")))
    assert "Hood clearance: 14 ft, limit at least 10 ft" in text
    assert "local code first" in text


@pytest.mark.parametrize(
    ("option", "who"), [("yes", "Done by the technician"), ("no", "left to who is")]
)
def test_line_voltage_work_is_checked_by_who_is_licensed(option: str, who: str) -> None:
    entries = [
        Draft(e.kind, {**e.payload, "option": option}, e.at)
        if e.kind == "choice" and e.payload.get("choice") == "licensed"
        else Draft(e.kind, e.payload, e.at)
        for e in played("fresh-air-damper")
    ]
    text = checks(list(chain(None, "j", entries, [bytes(16)] * len(entries))))
    assert who in text


def test_a_figure_for_line_voltage_is_for_a_licensed_electrician() -> None:
    asked = Draft("question", {"sizing": "x", "title": "Breaker", "defers": True}, OPENED)
    assert re.search(
        "BreakerA licensed electrician.*last word. Asked at 15:06", checks(finished(asked))
    )
    assert "1 figure worked out for line voltage" in page_for_customer(finished(asked))


def test_in_a_province_it_says_that_canadian_figures_are_not_held() -> None:
    said = Draft("choice", {"choice": "region", "option": "BC"}, OPENED)
    text = checks(finished(said))
    assert "British Columbia" in text
    assert "Figures of Canadian code are not held" in text


def test_how_each_reading_was_heard_is_told() -> None:
    page = Page(report_page(sample()))
    _, cells = page.row("Primary voltage", "119 V", table="heard")
    assert cells[3:5] == ["“make it one nineteen”", "0.98"]
    assert "asked back: “primary one nineteen”, or: primary one ninety" in cells[5]
    assert "corrects 190 V" in cells[5]
    _, cells = page.row("Primary voltage", "190 V", table="heard")
    assert "corrected at 15:09" in cells[5]
    _, cells = page.row("Line to neutral", table="heard")
    assert cells[5] == "confirmed aloud at 15:12"
    _, cells = page.row("Blower current", "6.1 A", table="heard")
    assert cells[5] == "struck at 15:10"


def test_equipment_and_site_are_told_by_what_was_answered_and_read() -> None:
    page = Page(report_page(list(played("fresh-air-damper"))))
    _, cells = page.row("Gas furnace, or electric", table="timed")
    assert cells[2] == "Electric"
    _, cells = page.row("Plate static", table="timed")
    assert cells[2] == "0.5 in. w.c."


def test_the_hour_of_the_end_counts_in_the_zone_that_is_written() -> None:
    told = story(
        joined(
            [Draft("job-opened", {}, OPENED), Draft("finished", {}, OPENED + timedelta(hours=9))]
        )
    )
    assert "5 March 2026" in text_of(customer_page(told, wordings("", ""), Clock(UTC, told.opened)))
