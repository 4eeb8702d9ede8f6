"""What a removal must never do: let the wrong stand again, say yes for what is gone, or linger."""

from __future__ import annotations

import sqlite3
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest

from companion.cli import main
from companion.dialogue.forgetting import ToForget
from companion.dialogue.record import logged_readings
from companion.errors import ForeignJobError, StoreError
from companion.joblog import SqliteStore
from companion.joblog.checking import check_job
from companion.joblog.service_calendar import Service
from companion.joblog.whole import Removal, check_whole
from companion.ports import Draft
from companion.procedures import procedure
from companion.report.page import report_page

if TYPE_CHECKING:
    from pathlib import Path

JOB = "2026-03-04-1"
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
LATER = datetime(2026, 9, 1, 12, 0, tzinfo=UTC)


def reading(number: int, value: str, verdict: str) -> Draft:
    said = {"id": number, "step": "s", "point": "supply-static", "name": "Supply static",
            "value": value, "unit": "inH2O", "verdict": verdict, "high": "0.5"}  # fmt: skip
    return Draft("reading", said, NOON + timedelta(minutes=number))


@pytest.fixture
def store(tmp_path: Path) -> SqliteStore:
    made = procedure("fresh-air-damper")
    opened = {"procedure": made.slug, "title": made.title, "version": made.version,
              "digest": made.digest, "text": made.text}  # fmt: skip
    store = SqliteStore(tmp_path / "jobs.sqlite3")
    store.append(
        JOB,
        [
            Draft("job-opened", opened, NOON),
            reading(1, "0.9", "outside"),  # entry 2
            reading(2, "0.3", "within"),
            Draft("struck", {"of": 2}, NOON),
            Draft("choice", {"step": "s", "choice": "heat", "option": "gas"}, NOON),
            Draft("choice-withdrawn", {"step": "s", "choice": "heat"}, NOON),
            Draft("finished", {}, NOON + timedelta(hours=1)),
        ],
    )
    return store


def remove(store: SqliteStore, *numbers: int) -> None:
    store.redact(JOB, ToForget(numbers), why="asked", at=LATER)


def test_after_a_reading_was_removed_the_report_says_that_it_cannot_be_said(
    store: SqliteStore,
) -> None:
    before = report_page(list(store.entries(JOB)))
    assert "Not fully: see what is outside its limit" in before
    remove(store, 2)
    after = report_page(list(store.entries(JOB)))
    assert "This can&#x27;t be said: a part of the record of the work was removed." in after
    assert "What 1 entry told of the work was removed on request" in after
    assert "othing is outside its limit" not in after


@pytest.mark.parametrize(("alone", "together"), [(4, (3, 4)), (6, (5, 6))])
def test_a_strike_or_withdrawal_goes_only_with_what_it_takes_back(
    store: SqliteStore, alone: int, together: tuple[int, ...]
) -> None:
    with pytest.raises(StoreError, match="would stand again without it"):
        remove(store, alone)
    assert [r.status for r in logged_readings(list(store.entries(JOB)))] == ["stands", "struck"]
    remove(store, *together)
    assert all(not e.payload for e in store.entries(JOB) if e.number in together)


def test_a_service_date_counts_from_the_visit_and_not_from_a_removal(store: SqliteStore) -> None:
    remove(store, 2)
    service = Service.told(None, "6 months", list(store.entries(JOB)))
    assert service is not None
    assert service.on.isoformat() == "2026-09-04"


def test_a_removal_while_another_program_reads_is_told_and_done_at_the_next_start(
    store: SqliteStore, tmp_path: Path
) -> None:
    word = b"blue heron lane"
    store.append(JOB, [Draft("note", {"words": word.decode()}, NOON)])
    reader = sqlite3.connect(tmp_path / "jobs.sqlite3")
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM payload").fetchone()
    with pytest.raises(StoreError, match="another program has the log open"):
        remove(store, 8)
    reader.close()
    store.close()
    SqliteStore(tmp_path / "jobs.sqlite3").close()
    for each in tmp_path.iterdir():
        assert word not in each.read_bytes(), each


def test_a_forged_removal_does_not_hold(store: SqliteStore, tmp_path: Path) -> None:
    remove(store, 2)
    whole = store.whole(JOB)
    check_whole(whole)
    forged = Removal(2, LATER, "forged")
    with pytest.raises(ForeignJobError, match="removal of entry 2"):
        check_whole(type(whole)(whole.entries, whole.salts, (forged,)))
    assert not check_job(store, JOB).problem
    store.close()
    with sqlite3.connect(tmp_path / "jobs.sqlite3") as file:
        file.execute("DROP TRIGGER redaction_no_update")
        file.execute("UPDATE redaction SET why = 'forged'")
    with SqliteStore(tmp_path / "jobs.sqlite3", read_only=True) as again:
        assert "its removal is not as an entry tells of it" in check_job(again, JOB).problem


def test_a_value_of_a_billion_digits_hangs_nothing(
    store: SqliteStore, capsys: pytest.CaptureFixture[str]
) -> None:
    store.append(JOB, [reading(9, "1e999999999", "within"), reading(10, "\x1b[2J", "within")])
    assert "1e999999999" in report_page(list(store.entries(JOB)))
    store.close()
    assert main(["jobs", "compare", JOB, JOB, "--log", str(store.path)]) == 0
    assert main(["jobs", "show", JOB, "--log", str(store.path)]) == 0
    assert "\x1b" not in capsys.readouterr().out
