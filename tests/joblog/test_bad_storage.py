"""Full, read-only, foreign, newer, damaged, missing, held by another: one clear error each."""

from __future__ import annotations

import os
import random
import resource
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from companion.errors import (
    DamagedLogError,
    JobNotFoundError,
    NewerLogError,
    StoreError,
    StoreFullError,
)
from companion.joblog import SqliteStore
from companion.ports import Draft

if TYPE_CHECKING:
    from collections.abc import Iterator

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
BIG = "x" * 3000


def note(text: str = "") -> Draft:
    return Draft("note", {"text": text}, NOON)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A closed log of one job with 20 entries."""
    path = tmp_path / "jobs.sqlite3"
    with SqliteStore(path) as store:
        store.append("a", [Draft("job-opened", {"title": "Damper"}, NOON)])
        for number in range(2, 21):
            store.append("a", [note(f"{number}")])
    return path


def filled_until_refused(store: SqliteStore) -> int:
    """Append until the store refuses; return how many entries were acknowledged."""
    acknowledged = len(list(store.entries("a")))
    with pytest.raises(StoreFullError) as caught:  # noqa: PT012 -- until it raises
        for _ in range(5000):
            acknowledged = store.append("a", [note(BIG), note(BIG)])[-1].number
    assert "Everything logged before is safe" in str(caught.value)
    assert str(store.path) in str(caught.value)
    assert caught.value.exit_code == 5
    return acknowledged


# ---------------------------------------------------------------- full


def test_a_full_database_refuses_and_keeps_all_then_goes_on(log: Path) -> None:
    with SqliteStore(log) as store:
        store._connection.execute("PRAGMA max_page_count = 60")
        acknowledged = filled_until_refused(store)
        assert len(list(store.entries("a"))) == acknowledged
        store._connection.execute("PRAGMA max_page_count = 100000")
        assert store.append("a", [note()])[0].number == acknowledged + 1
        assert len(list(store.entries("a"))) == acknowledged + 1


def _file_size_limited() -> None:
    resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))


_FILLER = """
import signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
sys.path.insert(0, sys.argv[2])
from test_bad_storage import filled_until_refused
from pathlib import Path
from companion.joblog import SqliteStore
store = SqliteStore(Path(sys.argv[1]))
print(filled_until_refused(store))
"""


def test_a_file_that_may_not_grow_refuses_and_keeps_all(log: Path) -> None:
    run = subprocess.run(
        [sys.executable, "-c", _FILLER, str(log), str(Path(__file__).parent)],
        preexec_fn=_file_size_limited,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr
    with SqliteStore(log) as store:
        assert len(list(store.entries("a"))) >= int(run.stdout)


@contextmanager
def small_disk(folder: Path, size: str = "400k") -> Iterator[Path]:
    """Mount a disk that is soon full; only root may."""
    folder.mkdir()
    mount = shutil.which("mount")
    if os.geteuid() != 0 or mount is None:
        pytest.skip("mounting a small disk needs root")
    done = subprocess.run(
        [mount, "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(folder)], check=False
    )
    if done.returncode:
        pytest.skip("this system does not let us mount a small disk")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)  # noqa: S607


def test_a_full_disk_refuses_keeps_all_and_goes_on_when_freed(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk") as disk:
        ballast = disk / "ballast"
        ballast.write_bytes(bytes(100_000))
        with SqliteStore(disk / "jobs.sqlite3") as store:
            store.append("a", [Draft("job-opened", {"title": "Damper"}, NOON)])
            acknowledged = filled_until_refused(store)
            assert len(list(store.entries("a"))) == acknowledged
            ballast.unlink()
            assert store.append("a", [note()])[0].number == acknowledged + 1
        with SqliteStore(disk / "jobs.sqlite3", read_only=True) as store:
            assert len(list(store.entries("a"))) == acknowledged + 1


def test_a_full_disk_has_no_room_for_a_new_log(tmp_path: Path) -> None:
    with small_disk(tmp_path / "disk", "300k") as disk:
        (disk / "ballast").write_bytes(bytes(285_000))
        with pytest.raises(StoreFullError, match="disk"):
            SqliteStore(disk / "jobs.sqlite3")
        (disk / "ballast").unlink()
        SqliteStore(disk / "jobs.sqlite3").close()  # nothing half made is in the way


# ---------------------------------------------------------------- read-only


@contextmanager
def read_only(folder: Path) -> Iterator[None]:
    """Make a folder and its files read-only, for root as well."""
    if os.geteuid() != 0:
        folder.chmod(0o500)
        try:
            yield
        finally:
            folder.chmod(0o700)
        return
    for how in ("bind", "remount,bind,ro"):
        command = ["mount", "-o", how, str(folder), str(folder)]
        if subprocess.run(command, check=False).returncode:
            pytest.skip("root may write everywhere here, and a read-only mount is refused")
    try:
        yield
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)  # noqa: S607


def test_a_read_only_folder_refuses_to_write_but_can_be_read(log: Path) -> None:
    with read_only(log.parent):
        with pytest.raises(StoreFullError, match=r"read-only.*Make the file and its folder"):
            SqliteStore(log)
        with SqliteStore(log, read_only=True) as store:
            assert len(list(store.entries("a"))) == 20


def test_a_folder_that_cannot_be_made_is_a_clear_error(tmp_path: Path) -> None:
    with read_only(tmp_path), pytest.raises(StoreFullError, match="read-only"):
        SqliteStore(tmp_path / "deep" / "er" / "jobs.sqlite3")


def test_a_file_where_the_folder_should_be_is_a_clear_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError, match="cannot be opened"):
        SqliteStore(tmp_path / "file" / "jobs.sqlite3")


def test_a_folder_where_the_file_should_be_is_a_clear_error(tmp_path: Path) -> None:
    for read in (False, True):
        with pytest.raises(StoreFullError, match="cannot be opened"):
            SqliteStore(tmp_path, read_only=read)


def test_what_is_opened_to_read_cannot_be_written(log: Path) -> None:
    with SqliteStore(log, read_only=True) as store:
        with pytest.raises(StoreFullError, match="read-only"):
            store.append("a", [note()])
        assert len(list(store.entries("a"))) == 20


# ---------------------------------------------------------------- not ours, newer, missing


def test_a_newer_log_is_left_alone(log: Path) -> None:
    with closing(sqlite3.connect(log)) as raw:
        raw.execute("PRAGMA user_version = 99")
    before = log.read_bytes()
    for read in (False, True):
        with pytest.raises(NewerLogError, match=r"version 99.*Install the newer version"):
            SqliteStore(log, read_only=read)
    assert log.read_bytes() == before


def test_another_programs_database_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite3"
    with closing(sqlite3.connect(path)) as raw:
        raw.execute("CREATE TABLE birds (name TEXT)")
    before = path.read_bytes()
    for read in (False, True):
        with pytest.raises(DamagedLogError, match="no job log"):
            SqliteStore(path, read_only=read)
    assert path.read_bytes() == before


@pytest.mark.parametrize("content", [b"no database at all", b"\0" * 5000, os.urandom(9000)])
def test_garbage_is_no_job_log_and_left_alone(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "jobs.sqlite3"
    path.write_bytes(content)
    for read in (False, True):
        with pytest.raises(DamagedLogError, match="Keep a copy"):
            SqliteStore(path, read_only=read)
    assert path.read_bytes() == content


def test_no_log_to_read_says_how_to_start_one(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"no job log here.*companion work"):
        SqliteStore(tmp_path / "none.sqlite3", read_only=True)
    (tmp_path / "empty.sqlite3").touch()
    with pytest.raises(StoreError, match="no job log here"):
        SqliteStore(tmp_path / "empty.sqlite3", read_only=True)
    assert not (tmp_path / "none.sqlite3").exists()


def test_an_unknown_job_names_the_log(log: Path) -> None:
    with SqliteStore(log, read_only=True) as store, pytest.raises(JobNotFoundError) as caught:
        store.entries("b")
    assert str(caught.value) == (f"No job 'b' in {log}. List the jobs with: companion jobs list")


def test_a_closed_store_says_so_in_our_words(log: Path) -> None:
    store = SqliteStore(log)
    store.close()
    store.close()
    with pytest.raises(StoreError):
        store.append("a", [note()])


# ---------------------------------------------------------------- damaged


def read_all(path: Path) -> list[object]:
    with SqliteStore(path, read_only=True) as store:
        store.jobs()
        return list(store.entries("a"))


def test_a_truncated_log_is_damaged(log: Path) -> None:
    whole = log.read_bytes()
    for length in range(100, len(whole) - 1, 4096):
        log.write_bytes(whole[:length])
        with pytest.raises(DamagedLogError):
            read_all(log)


def test_no_flipped_byte_goes_unseen(log: Path) -> None:
    whole = log.read_bytes()
    true = read_all(log)
    moments = random.Random(7)  # noqa: S311 -- places to damage, no secret
    found = 0
    for _ in range(400):
        broken = bytearray(whole)
        broken[moments.randrange(len(whole))] ^= moments.randrange(1, 256)
        log.write_bytes(broken)
        try:
            assert read_all(log) == true
        except StoreError:
            found += 1
    assert found > 50  # most of a small file is unused, and there a flip is harmless


@pytest.mark.parametrize(
    ("tampering", "entry"),
    [
        ('UPDATE payload SET body = \'{"text":"other"}\' WHERE number = 5', 5),
        ("UPDATE payload SET body = 'no json' WHERE number = 5", 5),
        ("UPDATE header SET kind = 'finished' WHERE number = 20", 20),
        ("UPDATE header SET at = '2026-03-04T12:00:01.000000Z' WHERE number = 7", 7),
        ("UPDATE header SET at = 'noon' WHERE number = 7", 7),
        ("DELETE FROM payload WHERE number = 9", 9),
        ("DELETE FROM header WHERE number = 9", 9),
        ("DELETE FROM header WHERE number = 20", 20),
    ],
)
def test_tampering_past_the_triggers_is_found_and_named(
    log: Path, tampering: str, entry: int
) -> None:
    with closing(sqlite3.connect(log)) as raw, raw:
        for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'"):
            raw.execute(f"DROP TRIGGER {name}")
        raw.execute(tampering)
    with SqliteStore(log, read_only=True) as store:
        with pytest.raises(DamagedLogError) as caught:
            store.entries("a")
        where = caught.value.where
        assert where.startswith("job a, entry")
        assert abs(int(where.split()[-1]) - entry) <= 1  # an altered header may show in the next


def test_nothing_is_joined_to_a_broken_chain(log: Path) -> None:
    with closing(sqlite3.connect(log)) as raw, raw:
        raw.execute("DROP TRIGGER header_no_update")
        raw.execute("UPDATE header SET kind = 'finished' WHERE number = 20")
    with SqliteStore(log) as store:
        with pytest.raises(DamagedLogError):
            store.append("a", [note()])
        assert store.append("b", [note()])[0].number == 1  # other jobs go on
        shown = list(store.entries("a", checked=False))
        assert [entry.kind for entry in shown][-1] == "finished"


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE header SET kind = 'x'",
        "DELETE FROM header",
        "UPDATE payload SET body = '{}'",
        "DELETE FROM payload",
        "INSERT OR REPLACE INTO header SELECT * FROM header WHERE number = 3",
        "INSERT OR REPLACE INTO payload SELECT job, number, salt, '{}' FROM payload",
        "INSERT INTO header SELECT job, 40, schema, kind, at, digest, previous, own FROM header",
    ],
)
def test_the_file_itself_refuses_to_be_rewritten(log: Path, statement: str) -> None:
    with closing(sqlite3.connect(log)) as raw, pytest.raises(sqlite3.IntegrityError):
        raw.execute(statement)
    assert len(read_all(log)) == 20


# ---------------------------------------------------------------- two at once


def test_a_second_writer_is_refused_and_told_who(log: Path) -> None:
    with SqliteStore(log), pytest.raises(StoreError) as caught:
        SqliteStore(log)
    assert f"(process {os.getpid()})" in str(caught.value)
    assert not isinstance(caught.value, StoreFullError)
    SqliteStore(log).close()


def test_another_process_is_refused_too_and_may_read_meanwhile(log: Path) -> None:
    program = (
        "import sys; from companion.joblog import SqliteStore\n"
        "print(len(list(SqliteStore(sys.argv[1], read_only=True).entries('a'))))\n"
        "SqliteStore(sys.argv[1])\n"
    )
    with SqliteStore(log) as store:
        store.append("a", [note("while open")])
        run = subprocess.run(
            [sys.executable, "-c", program, str(log)], capture_output=True, text=True, check=False
        )
    assert run.stdout == "21\n"
    assert f"Another companion is working on this log (process {os.getpid()})" in run.stderr


def test_a_reader_sees_what_is_appended_after_it_opened(log: Path) -> None:
    with SqliteStore(log) as writer, SqliteStore(log, read_only=True) as reader:
        before = reader.entries("a")
        writer.append("a", [note("new")])
        assert len(list(before)) == 20  # from one moment
        assert len(list(reader.entries("a"))) == 21
