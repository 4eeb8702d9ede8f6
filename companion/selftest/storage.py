"""Can jobs be kept: the log's folder, a real append, the chain of what is there, the settings."""

from __future__ import annotations

import shutil
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import TYPE_CHECKING

from companion.errors import StoreError
from companion.joblog import SqliteStore
from companion.joblog.opening import make_folder
from companion.joblog.sqlite_errors import in_our_words
from companion.ports import Draft
from companion.selftest.findings import Finding
from companion.settings import load_settings, settings_path

if TYPE_CHECKING:
    from companion.ports import Entry

_COMMITS = 5
_SLOW_S = 0.25  # a commit longer than this is heard as a pause: common practice, no source
_LEAST_FREE_BYTES = 100_000_000  # room for thousands of jobs: common practice, no source


def storage_check(log: Path) -> Finding:
    """Append to a log of its own in the log's folder and read it back; verify the log itself.

    Args:
        log: the job log; it is only read.

    Raises:
        StoreError: the folder cannot be written, or the log is damaged.
    """
    make_folder(log)
    commit_s = _commit_s(log)
    with in_our_words(log):
        free_bytes = shutil.disk_usage(log.parent).free
    told = (
        f"{log}: {_existing(log)}; a durable entry takes {commit_s * 1000:.1f} ms; "
        f"{free_bytes / 1e9:.1f} GB free"
    )
    if free_bytes < _LEAST_FREE_BYTES:
        return Finding("storage", "warning", told, "Free some disk before the next job.")
    if commit_s > _SLOW_S:
        return Finding("storage", "warning", told, "Slow: put the log on another disk with --log.")
    return Finding("storage", "ok", told)


def _commit_s(log: Path) -> float:
    """Return how long a commit takes, the median of a few, on a log beside the user's."""
    with (
        in_our_words(log),
        tempfile.TemporaryDirectory(prefix="selftest-", dir=log.parent) as folder,
        SqliteStore(Path(folder, "selftest.sqlite3")) as store,
    ):
        took = [_append_s(store, number) for number in range(_COMMITS)]
        _check_read_back(store, log)
    return median(took)


def _append_s(store: SqliteStore, number: int) -> float:
    draft = Draft("selftest", {"number": number}, datetime.now(UTC))
    began = perf_counter()
    store.append("selftest", [draft])
    return perf_counter() - began


def _check_read_back(store: SqliteStore, log: Path) -> None:
    entries: list[Entry] = list(store.entries("selftest"))  # verifies their chain
    if [entry.payload.get("number") for entry in entries] != list(range(_COMMITS)):
        raise StoreError(
            "What was written is not what was read back",
            "Don't trust this disk: choose another with --log.",
            where=str(log.parent),
        )


def _existing(log: Path) -> str:
    """Return how many jobs and entries there are, once every chain has been verified."""
    if not log.exists():
        return "no job yet"
    with SqliteStore(log, read_only=True) as store:
        jobs = store.jobs()
        entries = sum(len(list(store.entries(job.id))) for job in jobs)
    plural = "" if len(jobs) == 1 else "s"
    return f"{len(jobs)} job{plural}, {entries} entries, the chain holds"


def settings_check() -> Finding:
    """Read the settings.

    Raises:
        InputError: they cannot be read.
    """
    path = settings_path()
    settings = load_settings(path)
    if not path.exists():
        return Finding("settings", "ok", f"none kept; all is as it comes ({path})")
    headset = (
        f"microphone {settings.microphone or 'as the system has it'}, "
        f"headphones {settings.headphones or 'as the system has them'}"
    )
    return Finding("settings", "ok", f"{path}: recogniser {settings.recogniser}, {headset}")
