"""A job's next service date and its open reminders as an iCalendar file (RFC 5545).

A service date is never made up: the user gives it, or the technician completed the step in which
the procedure has it written on the label ('one year from today'). A reminder is open that was
neither told nor cancelled.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING, Self
from uuid import UUID, uuid5

from companion.chain import header_digest
from companion.dialogue.record import open_timers
from companion.errors import InputError, NotANumberError
from companion.joblog.summary import summary
from companion.number_parsing import parse

if TYPE_CHECKING:
    from collections.abc import Sequence

    from icalendar import Calendar, Event, Todo

    from companion.dialogue.record import OpenTimer
    from companion.ports import Entry

SERVICE_STEP = "service-date"
_STATED = re.compile(r"([a-z]+(?: [a-z]+)?) (year|month)s? from today\b")
_GIVEN = re.compile(r"([0-9]{1,4}) ?(day|week|month|year)s?")
_OURS = UUID("6f1d1c52-0a0e-5d52-9a3c-0d2f6a0c5b71")  # random, once: our namespace of UIDs
_LONGEST_NAME, _LONGEST_TEXT = 120, 1_000


@dataclass(frozen=True, slots=True)
class Service:
    """When the next service is due, and where that is from, in words."""

    on: date
    why: str

    @classmethod
    def told(cls, on: str | None, after: str | None, entries: Sequence[Entry]) -> Self | None:
        """Return the service date that the user gave, else the one that the log holds, if any.

        Args:
            on: a date, '2026-09-04', or None.
            after: a length of time from the visit on, '6 months', or None.
            entries: the job's entries, in order; at least one.

        Raises:
            InputError: the date or the length cannot be read, or lies outside the calendar.
        """
        if on is not None:
            try:
                return cls(date.fromisoformat(on), "")
            except ValueError as exc:
                raise InputError(f"'{on}' is no date", "Write it as 2026-09-04.") from exc
        if after is not None:
            visit = summary(entries).last_entry.astimezone().date()  # no removal is a visit
            return cls(_later(visit, *_length(after)), f"{after} after {visit.isoformat()}")
        return cls.stated(entries)

    @classmethod
    def stated(cls, entries: Sequence[Entry]) -> Self | None:
        """Return the date that the procedure had written on the label, None if it had not."""
        done = [e for e in entries if e.kind == "step-done" and _step(e) == SERVICE_STEP]
        said = _service_sentence(entries) if done else ""
        stated = _STATED.search(said.lower())
        if stated is None:
            return None
        try:
            count = int(parse(stated[1].split()))
        except (NotANumberError, ValueError):
            return None
        return cls(_later(done[-1].at.astimezone().date(), count, stated[2]), said)


def _step(entry: Entry) -> str:
    return str(entry.payload.get("step", ""))


def _service_sentence(entries: Sequence[Entry]) -> str:
    """Return what the step said, from the procedure's text that the job keeps."""
    opened = next((e for e in entries if e.kind == "job-opened"), None)
    try:
        kept = tomllib.loads(str(opened.payload.get("text", ""))) if opened else {}
        steps = [each for each in kept.get("steps", []) if each.get("slug") == SERVICE_STEP]
        return str(steps[0].get("say", "")) if steps else ""
    except (tomllib.TOMLDecodeError, AttributeError, TypeError, RecursionError):
        return ""


def _length(text: str) -> tuple[int, str]:
    given = _GIVEN.fullmatch(text.strip().lower())
    if given is None:
        raise InputError(
            f"'{text}' is no length of time", "Write it as '6 months', '1 year' or '90 days'."
        )
    return int(given[1]), given[2]


def _later(day: date, count: int, unit: str) -> date:
    """Return a day so much later; from the end of a month to the end of a shorter one."""
    from dateutil.relativedelta import relativedelta  # noqa: PLC0415 -- loaded when used

    try:
        later: date = day + relativedelta(**{f"{unit}s": count})
    except (ValueError, OverflowError) as exc:
        raise InputError(
            f"{count} {unit}s from {day} lies outside the calendar", "Give a shorter time."
        ) from exc
    return later


def job_calendar(entries: Sequence[Entry], service: Service | None) -> str:
    """Return the calendar: an all-day event for the service, a to-do for each open reminder.

    Args:
        entries: a job's entries, in order; at least one.
        service: when the next service is due; None leaves it out.

    Returns:
        iCalendar text, lines ended by CR LF. The same job gives the same text: a calendar that
        takes it in twice has each thing once.

    Raises:
        InputError: there is nothing to put into it.
    """
    from icalendar import Calendar  # noqa: PLC0415 -- loaded when used

    timers = open_timers(entries)
    if service is None and not timers:
        raise InputError(
            "The job holds no service date and no open reminder",
            'Give the date: --service-on 2026-09-04, or --service-in "6 months".',
        )
    calendar: Calendar = Calendar()
    calendar.add("prodid", "-//companion//jobs//EN")
    calendar.add("version", "2.0")
    if service is not None:
        calendar.add_component(_service_event(entries, service))
    for timer in timers:
        calendar.add_component(_reminder(entries, timer))
    return str(calendar.to_ical(), "utf-8")


def _service_event(entries: Sequence[Entry], service: Service) -> Event:
    from icalendar import Event  # noqa: PLC0415 -- loaded when used

    about = summary(entries)
    event: Event = Event()
    event.add("uid", _uid(entries, "service"))
    event.add("dtstamp", _stamp(entries))
    event.add("dtstart", service.on)
    event.add("dtend", service.on + timedelta(days=1))  # RFC 5545 3.6.1: the end is not part of it
    event.add("summary", _plain(f"Service: {about.title or about.id}", _LONGEST_NAME))
    event.add("description", _plain(" ".join((f"Job {about.id}.", service.why)), _LONGEST_TEXT))
    event.add("transp", "TRANSPARENT")  # the day stays free
    return event


def _reminder(entries: Sequence[Entry], timer: OpenTimer) -> Todo:
    from icalendar import Alarm, Todo  # noqa: PLC0415 -- loaded when used

    about = summary(entries)
    name = _plain(timer.name or "Timer", _LONGEST_NAME)
    todo: Todo = Todo()
    todo.add("uid", _uid(entries, f"timer {timer.id}"))
    todo.add("dtstamp", _stamp(entries))
    todo.add("due", timer.due)
    todo.add("summary", name)
    todo.add("description", _plain(f"Job {about.id}, {about.title}.", _LONGEST_TEXT))
    alarm: Alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", name)
    alarm.add("trigger", timedelta(0), parameters={"RELATED": "END"})
    todo.add_component(alarm)
    return todo


def _uid(entries: Sequence[Entry], what: str) -> str:
    """Return an id that is the job's own, whatever is appended to it later (RFC 7986, 5.3)."""
    return str(uuid5(_OURS, f"{header_digest(entries[0])} {what}"))


def _stamp(entries: Sequence[Entry]) -> datetime:
    return entries[-1].at.astimezone(UTC).replace(microsecond=0)


def _plain(text: str, longest: int) -> str:
    """Return text that a calendar can hold: no control characters (RFC 5545 3.1), not endless."""
    shown = "".join(letter if letter.isprintable() else " " for letter in text[: longest + 1])
    return shown if len(shown) <= longest else f"{shown[: longest - 1]}…"
