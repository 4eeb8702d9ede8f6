"""A torn or altered page: told, or without effect on what is read; and nothing is mended.

What is read is all that a user can be told from a log: the list of jobs, their entries, and what
`companion jobs verify` finds.
"""

from __future__ import annotations

import random
import shutil
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from recorded_files import quick_folder

from companion.errors import StoreError
from companion.joblog import SqliteStore
from companion.joblog.checking import Checked, check_job
from companion.ports import Draft

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from companion.joblog import JobSummary
    from companion.ports import Entry

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
NAME = "jobs.sqlite3"
PAGE = 4096  # SQLite's usual one
FLIPS = 200


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two jobs in turn, one finished, one open, big enough for tables of several pages."""
    log = tmp_path_factory.mktemp("whole") / NAME
    with SqliteStore(log) as store:
        for job in ("2026-03-04-1", "2026-03-04-2"):
            store.append(job, [Draft("job-opened", {"title": job, "text": "x" * 9000}, NOON)])
        for place in range(40):
            at = NOON + timedelta(minutes=place)
            for job in ("2026-03-04-1", "2026-03-04-2"):
                drafts = [Draft("reading", {"value": f"{place}.{n}"}, at) for n in range(3)]
                store.append(job, drafts)
        store.append("2026-03-04-1", [Draft("finished", {}, NOON + timedelta(hours=2))])
    return log


@pytest.fixture
def quick(tmp_path: Path) -> Iterator[Path]:
    with quick_folder(tmp_path) as folder:
        yield folder


def read(log: Path) -> tuple[list[JobSummary], list[list[Entry]]]:
    """Return all that a log tells, or raise; a job that is told as damaged is an error as well."""
    with SqliteStore(log, read_only=True) as store:
        jobs = store.jobs()
        told = [job.damage for job in jobs if job.damage]
        if told:
            raise StoreError(told[0], "")
        return jobs, [list(store.entries(job.id)) for job in jobs]


def is_told(log: Path, true: object) -> bool:
    """Return whether reading a log tells that it is damaged; else it must read as it was."""
    before = log.read_bytes()
    try:
        assert read(log) == true
    except StoreError:
        told = True
    else:
        told = False
    assert log.read_bytes() == before  # nothing was mended
    return told


@pytest.mark.parametrize("seed", range(2))
def test_an_altered_byte_is_told_or_changes_nothing_that_is_read(
    whole: Path, quick: Path, seed: int
) -> None:
    content, true = whole.read_bytes(), read(whole)
    chance = random.Random(seed)  # noqa: S311 -- places to damage, no secret
    told = 0
    for _ in range(FLIPS):
        broken = bytearray(content)
        broken[chance.randrange(len(content))] ^= chance.randrange(1, 256)
        (quick / NAME).write_bytes(broken)
        told += is_told(quick / NAME, true)
    assert told > FLIPS // 3


def test_what_is_appended_to_an_altered_log_is_refused_or_changes_nothing(
    whole: Path, quick: Path
) -> None:
    content, (_, (_, true)) = whole.read_bytes(), read(whole)
    chance = random.Random(31)  # noqa: S311 -- places to damage, no secret
    refused = 0
    for _ in range(100):
        broken = bytearray(content)
        broken[chance.randrange(len(content))] ^= chance.randrange(1, 256)
        for left in quick.iterdir():
            left.unlink()
        (quick / NAME).write_bytes(broken)
        try:
            with SqliteStore(quick / NAME) as store:
                (added,) = store.append(true[0].job, [Draft("note", {"words": "new"}, NOON)])
            (_, (_, now)) = read(quick / NAME)
        except StoreError:
            refused += 1
            continue
        assert now == [*true, added]
    assert refused


def test_a_torn_page_is_told_or_changes_nothing_that_is_read(whole: Path, quick: Path) -> None:
    """The second half of a page is of another time, empty, or another page's."""
    content, true = whole.read_bytes(), read(whole)
    pages = len(content) // PAGE
    chance = random.Random(11)  # noqa: S311 -- what is torn, no secret
    told = 0
    for page in range(pages):
        for tear in ("empty", "other", "ones"):
            broken = bytearray(content)
            other = chance.randrange(pages) * PAGE
            half = slice(page * PAGE + PAGE // 2, (page + 1) * PAGE)
            broken[half] = {
                "empty": bytes(PAGE // 2),
                "other": content[other + PAGE // 2 : other + PAGE],
                "ones": b"\xff" * (PAGE // 2),
            }[tear]
            (quick / NAME).write_bytes(broken)
            told += is_told(quick / NAME, true)
    assert told > pages


def test_an_altered_byte_of_the_log_beside_is_told_or_costs_no_half_turn(
    tmp_path: Path, quick: Path
) -> None:
    """SQLite drops the log beside from the first frame whose checksum fails: whole turns go.

    That is the one place where damage takes acknowledged turns in silence, as a cut-off file does;
    the hash on a report tells it.
    """
    log = tmp_path / NAME
    beside = log.with_name(f"{NAME}-wal")
    with SqliteStore(log) as store:
        for place in range(30):
            drafts = [Draft("reading", {"value": f"{place}.{n}"}, NOON) for n in range(3)]
            store.append("a", drafts)
        shutil.copyfile(log, quick / NAME)
        content = beside.read_bytes()
        true = list(store.entries("a"))
    chance = random.Random(5)  # noqa: S311 -- places to damage, no secret
    shorter = 0
    for _ in range(100):
        broken = bytearray(content)
        broken[chance.randrange(len(content))] ^= chance.randrange(1, 256)
        (quick / f"{NAME}-wal").write_bytes(broken)
        (quick / f"{NAME}-shm").unlink(missing_ok=True)
        try:
            with SqliteStore(quick / NAME, read_only=True) as store:
                entries = list(store.entries("a")) if store.jobs() else []
        except StoreError:
            continue
        assert entries == true[: len(entries)]
        assert len(entries) % 3 == 0
        shorter += len(entries) < len(true)
    assert shorter


def test_verify_finds_what_an_altered_byte_did_to_the_file(whole: Path, quick: Path) -> None:
    """SQLite's own check finds less than the chain does: both are looked at."""
    content, true = whole.read_bytes(), read(whole)
    chance = random.Random(21)  # noqa: S311 -- places to damage, no secret
    by_file = by_chain = 0
    for _ in range(120):
        broken = bytearray(content)
        broken[chance.randrange(len(content))] ^= chance.randrange(1, 256)
        (quick / NAME).write_bytes(broken)
        told = is_told(quick / NAME, true)
        try:
            with SqliteStore(quick / NAME, read_only=True) as store:
                problems = store.file_problems()
                found: list[Checked] = [check_job(store, job.id) for job in store.jobs()]
        except StoreError:
            continue
        by_file += bool(problems)
        by_chain += any(each.problem for each in found) and not problems
        assert told or not any(each.problem for each in found)
    assert by_file
    assert by_chain
