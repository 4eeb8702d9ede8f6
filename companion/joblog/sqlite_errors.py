"""What SQLite and the file system say, in our errors: which of them, and what to do about it."""

from __future__ import annotations

import errno
import sqlite3
from contextlib import contextmanager
from typing import TYPE_CHECKING

from companion.errors import DamagedLogError, StoreError, StoreFullError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_SAFE = "Everything logged before is safe."
_FULL = {
    sqlite3.SQLITE_FULL: ("The disk is full", "Free some space, then say resume."),
    sqlite3.SQLITE_READONLY: (
        "The job log cannot be written to, it is read-only",
        "Make the file and its folder writable, or choose another with --log.",
    ),
    sqlite3.SQLITE_IOERR: (
        "The disk failed while the job log was written or read",
        "Check the disk and the free space, then say resume.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "The job log cannot be opened",
        "Check that the folder exists and that you may write there, or choose another with --log.",
    ),
}
_FULL[sqlite3.SQLITE_PERM] = _FULL[sqlite3.SQLITE_CANTOPEN]
_DAMAGED = (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB)
_BUSY = (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
_ERRNO = {
    errno.ENOSPC: sqlite3.SQLITE_FULL,
    errno.EDQUOT: sqlite3.SQLITE_FULL,
    errno.EFBIG: sqlite3.SQLITE_FULL,
    errno.EROFS: sqlite3.SQLITE_READONLY,
    errno.EACCES: sqlite3.SQLITE_READONLY,
    errno.EPERM: sqlite3.SQLITE_READONLY,
    errno.EISDIR: sqlite3.SQLITE_CANTOPEN,
    errno.ENOTDIR: sqlite3.SQLITE_CANTOPEN,
    errno.EEXIST: sqlite3.SQLITE_CANTOPEN,
    errno.ENOENT: sqlite3.SQLITE_CANTOPEN,
    errno.EIO: sqlite3.SQLITE_IOERR,
}


@contextmanager
def in_our_words(path: Path) -> Iterator[None]:
    """Turn any error of SQLite or of the file system into a `StoreError` about `path`.

    Raises:
        StoreFullError: full, read-only or failing; what was logged before is safe.
        DamagedLogError: the file is no job log, or is broken.
        StoreError: anything else that keeps the log from being used.
    """
    try:
        yield
    except sqlite3.Error as exc:
        raise _from_sqlite(exc, path) from exc
    except UnicodeDecodeError as exc:  # even SQLite's message about it is garbled
        raise damaged_file(path) from exc
    except OSError as exc:
        raise _store_error(_ERRNO.get(exc.errno or 0, 0), str(exc), path) from exc


def _from_sqlite(exc: sqlite3.Error, path: Path) -> StoreError:
    code = getattr(exc, "sqlite_errorcode", 0) & 0xFF  # the low byte is the primary code
    return _store_error(code, str(exc), path)


def _store_error(code: int, detail: str, path: Path) -> StoreError:
    """Return the error for a primary code of SQLite; `detail` is what was said about it."""
    where = str(path)
    if code in _FULL:
        problem, remedy = _FULL[code]
        return StoreFullError(problem, f"{_SAFE} {remedy}", where=where)
    if code in _DAMAGED or "decode to UTF-8" in detail:
        return damaged_file(path)
    if code in _BUSY:
        return StoreError(
            "Another program holds the job log", "Close it, then try again.", where=where
        )
    return StoreError(
        f"The job log cannot be used ({detail})",
        f"{_SAFE} Try again, or choose another with --log.",
        where=where,
    )


def damaged_file(path: Path) -> DamagedLogError:
    """Return the error for a file that is no job log, or is broken as a file."""
    return DamagedLogError(
        "This is no job log, or the file is damaged",
        "Keep a copy of it, restore a backup, or choose another with --log.",
        where=str(path),
    )
