"""What only the log in a file has: where it is, how it is written, removing a payload."""

from __future__ import annotations

import sqlite3
import stat
import threading
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from companion.dialogue.forgetting import ToForget
from companion.errors import JobNotFoundError, StoreError
from companion.joblog import SqliteStore, default_path
from companion.ports import Draft

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)


def note(text: str) -> Draft:
    return Draft("note", {"text": text}, NOON)


@pytest.mark.parametrize(
    ("environ", "path"),
    [  # XDG Base Directory Specification 0.8
        ({"XDG_DATA_HOME": "/data", "HOME": "/home/t"}, "/data/companion/jobs.sqlite3"),
        ({"HOME": "/home/t"}, "/home/t/.local/share/companion/jobs.sqlite3"),
        (
            {"XDG_DATA_HOME": "", "HOME": "/home/t"},
            "/home/t/.local/share/companion/jobs.sqlite3",
        ),
        (
            {"XDG_DATA_HOME": "relative", "HOME": "/home/t"},
            "/home/t/.local/share/companion/jobs.sqlite3",
        ),
    ],
)
def test_the_log_is_where_the_system_keeps_data(environ: dict[str, str], path: str) -> None:
    assert default_path(environ) == Path(path)


def test_it_is_written_ahead_and_synced_in_full(tmp_path: Path) -> None:
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        pragma = store._connection.execute
        assert pragma("PRAGMA journal_mode").fetchone() == ("wal",)
        assert pragma("PRAGMA synchronous").fetchone() == (2,)  # 2 is FULL, says sqlite.org/pragma


def test_a_new_folder_is_for_its_user_only(tmp_path: Path) -> None:
    with SqliteStore(tmp_path / "new" / "jobs.sqlite3"):
        assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o700


def test_a_turn_is_one_commit(tmp_path: Path) -> None:
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        said: list[str] = []
        store._connection.set_trace_callback(said.append)
        store.append("a", [note("one"), note("two"), note("three")])
        store._connection.set_trace_callback(None)
    assert said.count("COMMIT") == 1


def test_any_thread_may_append(tmp_path: Path) -> None:
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        threads = [
            threading.Thread(target=lambda: [store.append("a", [note("x")]) for _ in range(10)])
            for _ in range(4)
        ]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(list(store.entries("a"))) == 40


def test_a_removed_payload_is_gone_from_the_files_and_the_chain_holds(tmp_path: Path) -> None:
    street = "Zeppelinstrasse"
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        before = store.append("a", [note("one"), note(street), note("three")])
        store.redact("a", ToForget((2,)), why="asked for by the customer", at=NOON)
        after = list(store.entries("a"))
        assert [dict(entry.payload) for entry in after] == [
            {"text": "one"},
            {},
            {"text": "three"},
            {"entries": [2], "sounds": [], "why": "asked for by the customer"},
        ]
        assert [e.previous for e in after[:3]] == [e.previous for e in before]
        assert after[3].kind == "forgotten"
        assert store.salts("a")[1] is None
        assert store.append("a", [note("four")])[0].number == 5
        store.append("a", [note("five")])
    for file in tmp_path.iterdir():
        assert street.encode() not in file.read_bytes()


def test_what_cannot_be_removed_is_refused_and_nothing_is(tmp_path: Path) -> None:
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        store.append("a", [note("one"), note("two")])
        with pytest.raises(JobNotFoundError):
            store.redact("b", ToForget((1,)), why="", at=NOON)
        with pytest.raises(StoreError):
            store.redact(
                "a",
                ToForget(
                    (
                        1,
                        99,
                    )
                ),
                why="",
                at=NOON,
            )
        assert [entry.payload["text"] for entry in store.entries("a")] == ["one", "two"]
        store.redact("a", ToForget((1,)), why="asked", at=NOON)
        with pytest.raises(StoreError):
            store.redact("a", ToForget((1,)), why="again", at=NOON)


def test_a_removed_payload_cannot_be_put_back(tmp_path: Path) -> None:
    path = tmp_path / "jobs.sqlite3"
    with SqliteStore(path) as store:
        store.append("a", [note("one")])
        store.redact("a", ToForget((1,)), why="asked", at=NOON)
    with closing(sqlite3.connect(path)) as raw, pytest.raises(sqlite3.IntegrityError):
        raw.execute("INSERT INTO payload VALUES ('a', 1, x'00', '{}')")
