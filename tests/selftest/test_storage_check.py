"""Storage is tried, not looked at: a real append, the chain of what is there, the settings."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pytest

from companion.errors import DamagedLogError, InputError, StoreError
from companion.joblog import SqliteStore
from companion.ports import Draft
from companion.selftest import storage
from companion.selftest.storage import settings_check, storage_check

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A log with one job of three entries."""
    path = tmp_path / "data" / "jobs.sqlite3"
    at = datetime(2026, 3, 4, tzinfo=UTC)
    with SqliteStore(path) as store:
        for number in range(3):
            payload = {"title": "Damper", "number": number}
            store.append("2026-03-04-1", [Draft("job-opened", payload, at)])
    return path


def test_a_sound_log_is_verified_and_left_as_it_was(log: Path) -> None:
    before = log.read_bytes()
    finding = storage_check(log)
    assert (finding.name, finding.verdict) == ("storage", "ok")
    assert "1 job, 3 entries, the chain holds" in finding.says
    assert "durable" in finding.says
    assert "GB free" in finding.says
    assert log.read_bytes() == before
    assert not list(log.parent.glob("selftest*"))


def test_it_works_beside_a_companion_at_work(log: Path) -> None:
    with SqliteStore(log):  # holds the log's lock
        assert storage_check(log).verdict == "ok"


def test_before_the_first_job_the_folder_is_tried(tmp_path: Path) -> None:
    path = tmp_path / "new" / "jobs.sqlite3"
    finding = storage_check(path)
    assert finding.verdict == "ok"
    assert "no job yet" in finding.says
    assert list(path.parent.iterdir()) == []


def test_an_altered_log_is_told(log: Path) -> None:
    with closing(sqlite3.connect(log)) as connection, connection:
        connection.execute("DROP TRIGGER payload_no_update")
        connection.execute("UPDATE payload SET body = '{}' WHERE number = 2")
    with pytest.raises(DamagedLogError, match="2026-03-04-1"):
        storage_check(log)


def test_a_file_where_the_folder_should_be_is_told(tmp_path: Path) -> None:
    (tmp_path / "data").write_text("no folder")
    with pytest.raises(StoreError, match="data"):
        storage_check(tmp_path / "data" / "jobs.sqlite3")
    assert (tmp_path / "data").read_text() == "no folder"


@pytest.mark.skipif(os.geteuid() == 0, reason="needs a user whom permissions bind: this is root")
def test_a_folder_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(StoreError):
            storage_check(tmp_path / "jobs.sqlite3")
    finally:
        tmp_path.chmod(0o700)


def test_little_room_is_a_warning(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(storage, "_LEAST_FREE_BYTES", 2**70)
    finding = storage_check(log)
    assert finding.verdict == "warning"
    assert "Free" in finding.remedy


def test_a_slow_disk_is_a_warning(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(storage, "_SLOW_S", 0.0)
    finding = storage_check(log)
    assert finding.verdict == "warning"
    assert "--log" in finding.remedy


def test_settings_are_read_or_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert "as it comes" in settings_check().says
    path = tmp_path / "companion" / "settings.json"
    path.parent.mkdir()
    path.write_text('{"microphone": "Left ear"}')
    assert "Left ear" in settings_check().says
    path.write_text('{"microphone": ')
    with pytest.raises(InputError, match=r"settings\.json"):
        settings_check()
