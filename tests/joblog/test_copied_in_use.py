"""A log copied while it is written: it opens whole up to some turn, or is refused; never half.

Copies are made two ways: with the record of a log's writes (`recorded_files.py`), so that each page
is taken at a moment of its own, as a copying program reads them one by one while the log goes on;
and by copying a real log under a real writer.
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest
from recorded_files import Record, as_copied, quick_folder, recorded

from companion.bench.log_kills import JOB, half_turns, turn, turns_in
from companion.errors import StoreError
from companion.joblog import SqliteStore

if TYPE_CHECKING:
    from pathlib import Path

TURNS = 150
NAME = "jobs.sqlite3"
COPIES = 100


@pytest.fixture(scope="module")
def life(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """A log that is written and checkpointed often."""
    log = tmp_path_factory.mktemp("life") / NAME
    with (
        pytest.MonkeyPatch.context() as monkeypatch,
        recorded(monkeypatch) as record,
        SqliteStore(log) as store,
    ):
        store._connection.execute("PRAGMA wal_autocheckpoint = 16").fetchall()
        for number in range(TURNS):
            store.append(JOB, turn(number))
            record.said(number + 1)
    return record


def opened(folder: Path, *, read_only: bool) -> int | None:
    """Return how many turns a copy shows, None where it is refused; half a one is a failure."""
    try:
        with SqliteStore(folder / NAME, read_only=read_only) as store:
            jobs = store.jobs()
            entries = list(store.entries(JOB)) if jobs else []
    except StoreError:
        return None
    assert half_turns(entries) == 0
    assert not jobs or jobs[0].damage or jobs[0].entries == len(entries)
    return len(turns_in(entries))


@pytest.mark.parametrize("files", [(NAME,), (NAME, f"{NAME}-wal"), (f"{NAME}-wal", NAME)])
@pytest.mark.parametrize("read_only", [True, False])
def test_a_copy_taken_page_by_page_is_whole_up_to_a_turn_or_refused(
    life: Record,
    files: tuple[str, ...],
    read_only: bool,  # noqa: FBT001 -- parametrized
    tmp_path: Path,
) -> None:
    chance = random.Random(f"{files} {read_only}")  # noqa: S311 -- moments, no secret
    shown: list[int | None] = []
    for _ in range(COPIES):
        with quick_folder(tmp_path) as folder:
            copy = as_copied(life, files, chance)
            for name, content in copy.items():
                (folder / name).write_bytes(content)
            shown.append(opened(folder, read_only=read_only))
    whole = [turns for turns in shown if turns is not None]
    assert len(whole) > COPIES // 10
    assert len(set(whole)) > 5  # copies of many moments


def test_a_copy_of_a_real_log_under_a_real_writer_is_whole_up_to_a_turn_or_refused(
    tmp_path: Path,
) -> None:
    log = tmp_path / NAME
    program = (
        "import sys; from companion.bench.log_kills import JOB, turn\n"
        "from companion.joblog import SqliteStore\n"
        "store = SqliteStore(sys.argv[1])\n"
        "store._connection.execute('PRAGMA wal_autocheckpoint = 16').fetchall()\n"
        "number = 0\n"
        "while True:\n"
        "    store.append(JOB, turn(number)); number += 1; print(number, flush=True)\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program, str(log)], stdout=subprocess.PIPE, text=True
    ) as writer:
        assert writer.stdout is not None
        try:
            assert writer.stdout.readline() == "1\n"
            whole = [_copied(log, tmp_path / f"{place}", place) for place in range(40)]
        finally:
            writer.kill()
    assert any(turns for turns in whole)


def _copied(log: Path, folder: Path, place: int) -> int | None:
    folder.mkdir()
    suffixes = ([""], ["", "-wal"], ["-wal", ""])[place % 3]
    for suffix in suffixes:
        beside = log.with_name(f"{NAME}{suffix}")
        if beside.exists():
            shutil.copyfile(beside, folder / beside.name)
    return opened(folder, read_only=bool(place % 2))
