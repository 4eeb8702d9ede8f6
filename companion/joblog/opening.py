"""Opening the job log's file, to write or only to read, and where it is kept."""

from __future__ import annotations

import errno
import os
import sqlite3
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from companion.errors import StoreError
from companion.joblog.schema import SETUP, check_file
from companion.joblog.sqlite_errors import in_our_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

_WAIT_S = 5.0  # for a reader's checkpoint or a backup program to let go of the file


def default_path(environ: Mapping[str, str]) -> Path:
    """Return where the job log is kept unless told otherwise.

    `$XDG_DATA_HOME/companion/jobs.sqlite3`, or below `~/.local/share` where that is not set or
    not absolute (XDG Base Directory Specification 0.8: relative paths are to be ignored).

    Args:
        environ: the environment, as `os.environ`.
    """
    base = Path(environ.get("XDG_DATA_HOME", ""))
    if not base.is_absolute():
        base = Path(environ.get("HOME") or Path.home()) / ".local" / "share"
    return base / "companion" / "jobs.sqlite3"


def make_folder(path: Path) -> None:
    """Make the log's folder, for this user only: it holds customers' data."""
    with in_our_words(path):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)


@contextmanager
def _connected(path: Path, how: str) -> Iterator[sqlite3.Connection]:
    """A connection without Python's own transactions; closed if anything goes wrong with it."""
    with in_our_words(path):
        if path.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        connection = sqlite3.connect(
            f"{path.absolute().as_uri()}?{how}",
            uri=True,
            timeout=_WAIT_S,
            isolation_level=None,
            check_same_thread=False,
        )
        try:
            connection.execute("PRAGMA foreign_keys = ON")
            connection.execute("PRAGMA secure_delete = ON")  # what is removed is overwritten
            yield connection
        except BaseException:
            connection.close()
            raise


def opened_to_write(path: Path) -> sqlite3.Connection:
    """Return a connection that is durable at every commit; the tables are made where missing.

    Raises:
        StoreError: as `SqliteStore`.
    """
    with _connected(path, "mode=rwc") as connection:
        is_log = check_file(connection, path)
        connection.execute("PRAGMA journal_mode = WAL").fetchone()
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA fullfsync = ON")  # macOS: to the platter, not the cache
        if not is_log:
            connection.executescript(f"BEGIN IMMEDIATE;{SETUP}COMMIT;")
            _sync_folder(path.parent)
        # What was removed may still stand in what was written ahead, where a run was cut off.
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        return connection


def _sync_folder(folder: Path) -> None:
    """Make the new file's name durable, and its folder's own."""
    for place in (folder, folder.parent):
        descriptor = os.open(place, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def opened_to_read(path: Path) -> sqlite3.Connection:
    """Return a connection that cannot change the file.

    Raises:
        StoreError: as `SqliteStore`.
    """
    if not path.exists():
        raise _nothing_yet(path)
    with _connected(path, _reading_mode(path)) as connection:
        if not check_file(connection, path):
            raise _nothing_yet(path)
        return connection


def _nothing_yet(path: Path) -> StoreError:
    return StoreError(
        "There is no job log here", "Start a job first: companion work --typed.", where=str(path)
    )


def _reading_mode(path: Path) -> str:
    """Return how to open to read, also where nothing may be written beside the file.

    SQLite wants to make two files beside a log that is written ahead, even to read it. On a
    read-only copy it may be told that nobody changes the file; but not when entries still stand
    in the file beside it: without them the log would look shorter than it is.
    """
    beside = path.with_name(f"{path.name}-wal")
    unfinished = beside.exists() and beside.stat().st_size
    return "mode=ro" if unfinished or _may_write(path.parent) else "mode=ro&immutable=1"


def _may_write(folder: Path) -> bool:
    return os.access(folder, os.W_OK)
