"""The clock jumps back: the numbers keep the order, nothing is lost, and the report tells."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.chain import verify
from companion.joblog import SqliteStore
from companion.joblog.export import job_json, readings_csv
from companion.ports import Draft
from companion.report.folding import story
from companion.report.page import report_page

if TYPE_CHECKING:
    from pathlib import Path

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
FLAT = datetime(1970, 1, 1, 0, 5, tzinfo=UTC)  # as a clock stands whose battery was flat
JOB = "2026-03-04-1"


@pytest.fixture
def store(tmp_path: Path) -> SqliteStore:
    made = SqliteStore(tmp_path / "jobs.sqlite3")
    made.append(JOB, [Draft("job-opened", {"title": "Damper"}, NOON)])
    made.append(JOB, [Draft("note", {"words": "before"}, NOON + timedelta(minutes=5))])
    made.append(JOB, [Draft("note", {"words": "after"}, FLAT)])
    return made


def test_entries_keep_the_order_in_which_they_were_made(store: SqliteStore) -> None:
    entries = list(store.entries(JOB))  # the chain holds
    assert [entry.number for entry in entries] == [1, 2, 3]
    assert [entry.payload.get("words") for entry in entries] == [None, "before", "after"]
    assert entries[-1].at == FLAT


def test_the_list_tells_when_the_job_was_opened_and_goes_on_with_it(store: SqliteStore) -> None:
    [job] = store.jobs()
    assert job.opened == NOON
    assert job.last_entry == NOON + timedelta(minutes=5)
    latest = store.latest_open()
    assert latest is not None
    assert latest.id == JOB
    assert store.append(JOB, [Draft("finished", {}, FLAT)])[0].number == 4


def test_a_new_job_gets_an_id_of_its_own_whatever_day_the_clock_shows(store: SqliteStore) -> None:
    wrong_day = datetime(2026, 3, 4, 9).astimezone()
    new = store.new_job_id(wrong_day)
    assert new == "2026-03-04-2"
    store.append(new, [Draft("job-opened", {"title": "Second"}, FLAT)])
    assert store.new_job_id(wrong_day) == "2026-03-04-3"


def test_report_and_exports_are_sane_and_the_report_tells(store: SqliteStore) -> None:
    entries = list(store.entries(JOB))
    page = report_page(entries)
    assert "The clock was set back at entry 3, from " in page
    assert "4 March 2026, 12:05" in page
    assert "1 January 1970, 00:05" in page
    assert "The numbers give the order." in page
    assert "-1" not in page.partition("Took")[2][:40]  # no time below none
    assert readings_csv(entries).startswith("job,")
    assert '"opened_utc": "2026-03-04T12:00:00.000000Z"' in job_json(entries)


def test_a_clock_that_is_kept_right_by_seconds_is_no_matter(store: SqliteStore) -> None:
    store.append("b", [Draft("job-opened", {"title": "B"}, NOON)])
    store.append("b", [Draft("woken", {}, NOON - timedelta(seconds=3))])
    assert story(list(store.entries("b"))).set_back == []


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(times=st.lists(st.datetimes(timezones=st.just(UTC)), min_size=1, max_size=6))
def test_any_clock_at_all_gives_a_log_that_holds(
    tmp_path_factory: pytest.TempPathFactory, times: list[datetime]
) -> None:
    with SqliteStore(tmp_path_factory.mktemp("any") / "jobs.sqlite3") as store:
        for at in times:
            store.append(JOB, [Draft("note", {"words": "x"}, at)])
        entries = list(store.entries(JOB))
        assert [entry.at for entry in entries] == times
        verify(entries, store.salts(JOB))
        [job] = store.jobs()
        assert job.opened == times[0]
        assert job.last_entry == max(times)
        assert "<!doctype html>" in report_page(entries).lower()
