"""The calendar: RFC 5545 as other parsers read it, no date made up, nothing slipped in."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Any

import icalendar
import pytest
import vobject
from hypothesis import given
from hypothesis import strategies as st
from jobs_made import HOSTILE, JOB, NOON, drafts, texts

from companion.cli import main
from companion.errors import InputError
from companion.joblog import MemoryStore, SqliteStore
from companion.joblog.service_calendar import Service, job_calendar
from companion.ports import Draft
from companion.procedures import procedure, procedures

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Entry


def entries_of(*made: Draft) -> list[Entry]:
    store = MemoryStore()
    store.append(JOB, made)
    return list(store.entries(JOB))


def timer(number: int, name: str, minutes: int) -> Draft:
    due = (NOON + timedelta(minutes=minutes)).isoformat()
    return Draft("timer-set", {"id": number, "name": name, "seconds": 60, "due": due}, NOON)


def worked(slug: str, *after: Draft) -> list[Entry]:
    """A job of a packaged procedure whose service date was written on the label."""
    known = procedure(slug)
    opened = {"procedure": slug, "title": known.title, "text": known.text}
    done = Draft("step-done", {"step": "service-date"}, NOON)
    return entries_of(Draft("job-opened", opened, NOON), *after, done)


def parsed(text: str) -> Any:  # noqa: ANN401 -- vobject has no types
    """Judge: vobject, which shares no code with icalendar."""
    return vobject.readOne(text)


def test_the_service_date_is_the_one_that_the_procedure_had_written_on_the_label() -> None:
    entries = worked("fresh-air-damper")
    service = Service.told(None, None, entries)
    assert service is not None
    event = parsed(job_calendar(entries, service)).vevent
    visit = NOON.astimezone().date()
    assert event.dtstart.value == visit.replace(year=visit.year + 1)
    assert event.dtend.value == event.dtstart.value + timedelta(days=1)
    assert event.summary.value == "Service: Motorized fresh air damper"
    assert "one year from today" in event.description.value


def test_six_months_and_what_is_said_with_it_are_kept() -> None:
    entries = worked("air-treatment-module")
    service = Service.told(None, None, entries)
    assert service is not None
    assert service.on == NOON.astimezone().date().replace(month=9)
    assert "or sooner if labeled" in parsed(job_calendar(entries, service)).vevent.description.value


def test_no_date_is_made_up() -> None:
    """'Before next winter, at most one year' is no date; nor is a step that was not done."""
    assert Service.told(None, None, worked("humidifier")) is None
    known = procedure("fresh-air-damper")
    opened = Draft("job-opened", {"title": known.title, "text": known.text}, NOON)
    assert Service.told(None, None, entries_of(opened)) is None
    with pytest.raises(InputError, match="no service date and no open reminder") as caught:
        job_calendar(entries_of(opened), None)
    assert "--service-in" in caught.value.remedy


def test_every_packaged_procedure_gives_the_date_of_its_own_sentence_or_none() -> None:
    for slug in procedures():
        sentences = [s.say for s in procedure(slug).steps if s.slug == "service-date"]
        service = Service.stated(worked(slug))
        assert (service is not None) == any("from today" in said for said in sentences), slug


@pytest.mark.parametrize(
    ("on", "after", "expected"),
    [
        ("2026-09-04", None, date(2026, 9, 4)),
        (None, "6 months", date(2026, 9, 4)),
        (None, "1 year", date(2027, 3, 4)),
        (None, "90 days", date(2026, 6, 2)),
        (None, "2 Weeks", date(2026, 3, 18)),
    ],
)
def test_the_user_may_give_the_date(on: str | None, after: str | None, expected: date) -> None:
    service = Service.told(on, after, worked("fresh-air-damper"))
    assert service is not None
    assert service.on == expected


def test_from_the_end_of_a_month_it_is_the_end_of_a_shorter_one() -> None:
    """Six months from 31 August 2026 is 28 February 2027; a day later would be another month."""
    at = datetime(2026, 8, 31, 12, tzinfo=UTC)
    service = Service.told(None, "6 months", entries_of(Draft("note", {}, at)))
    assert service is not None
    assert service.on == date(2027, 2, 28)


@pytest.mark.parametrize(
    ("on", "after"),
    [
        ("4 March", None),
        ("2026-02-30", None),
        (None, "soon"),
        (None, "-1 year"),
        (None, "9999 years"),
    ],
)
def test_what_is_no_date_is_refused_with_what_to_write(on: str | None, after: str | None) -> None:
    with pytest.raises(InputError):
        Service.told(on, after, worked("fresh-air-damper"))


def test_open_reminders_are_to_dos_and_those_told_or_cancelled_are_not() -> None:
    entries = entries_of(
        timer(1, "purge", 5), timer(2, "", 3), timer(3, "drain", 9), timer(4, "vacuum", 9),
        Draft("timer-told", {"id": 3}, NOON), Draft("timer-cancelled", {"id": 4}, NOON),
    )  # fmt: skip
    todos = parsed(job_calendar(entries, None)).vtodo_list
    assert [todo.summary.value for todo in todos] == ["Timer", "purge"]
    assert todos[1].due.value == NOON + timedelta(minutes=5)
    assert todos[1].valarm.action.value == "DISPLAY"


def test_the_same_job_gives_the_same_calendar_and_each_thing_its_own_id() -> None:
    entries = worked("fresh-air-damper", timer(1, "purge", 5), timer(2, "drain", 6))
    service = Service.told(None, None, entries)
    text = job_calendar(entries, service)
    assert text == job_calendar(entries, service)
    uids = [line for line in text.split("\r\n") if line.startswith("UID:")]
    assert len(set(uids)) == 3


@given(texts, texts, st.lists(drafts(), max_size=4))
def test_no_name_slips_anything_into_the_calendar(name: str, title: str, more: list[Draft]) -> None:
    """RFC 5545 3.1: CR LF, lines of at most 75 octets, no control characters; judged by two."""
    opened = Draft("job-opened", {"title": title, "text": title}, NOON)
    timers = [timer(77, name, 5)]
    others = [each for each in more if each.kind != "timer-set"]
    entries = entries_of(opened, *others, *timers)
    text = job_calendar(entries, Service(date(2026, 9, 4), name))
    assert text.endswith("\r\n")
    for line in text.removesuffix("\r\n").split("\r\n"):
        assert len(line.encode("utf-8")) <= 75
        assert line.isprintable()
    read = parsed(text)
    assert (len(read.vevent_list), len(read.vtodo_list)) == (1, 1)
    known = {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "TRANSP"}
    assert {child.name for child in read.vevent.getChildren()} == known
    again = icalendar.Calendar.from_ical(text)
    assert len(again.walk("VALARM")) == 1


@pytest.mark.parametrize("name", HOSTILE)
def test_a_gigantic_or_hostile_note_stays_out_and_a_long_name_is_cut(name: str) -> None:
    entries = entries_of(Draft("note", {"words": name * 2_000}, NOON), timer(1, name * 50, 5))
    assert len(job_calendar(entries, None)) < 2_000


def test_the_command_writes_it_and_says_what_is_lacking(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log, out = tmp_path / "jobs.sqlite3", tmp_path / "service.ics"
    with SqliteStore(log) as store:
        store.append(JOB, [Draft("note", {"words": "x"}, NOON)])
    command = ["jobs", "export", "--format", "ics", "--log", str(log)]
    assert main(command) == 3
    assert "--service-on" in capsys.readouterr().err
    assert main([*command, "--service-in", "6 months", "--out", str(out)]) == 0
    assert parsed(out.read_bytes().decode()).vevent.dtstart.value == date(2026, 9, 4)
    assert main(["jobs", "export", "--service-in", "6 months", "--log", str(log)]) == 3
    assert "--format ics" in capsys.readouterr().err
