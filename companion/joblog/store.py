"""The job log in one SQLite file: durable before it returns, appended to and never changed."""

from __future__ import annotations

import json
import os
import secrets
import sqlite3
import threading
from contextlib import closing, contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Self

from companion.chain import SALT_BYTES, canonical, chain, damaged, utc_text, verify
from companion.errors import JobNotFoundError, StoreError
from companion.joblog.lock import WriterLock
from companion.joblog.schema import SETUP, check_file
from companion.joblog.sqlite_errors import in_our_words
from companion.joblog.summary import DECIDING, JobSummary, job_id
from companion.ports import Entry

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from companion.ports import Draft

_WAIT_S = 5.0  # for a reader's checkpoint or a backup program to let go of the file

_ENTRIES = """
SELECT schema, job, number, kind, at, digest, previous, body, salt
FROM header LEFT JOIN payload USING (job, number)
"""
_DECIDING = ", ".join(f"'{kind}'" for kind in DECIDING)
_SUMMARIES = f"""
SELECT job, min(at), max(at), count(*),
  (SELECT kind FROM header AS h WHERE h.job = header.job AND kind IN ({_DECIDING})
   ORDER BY number DESC LIMIT 1),
  (SELECT body FROM payload JOIN header AS h USING (job, number)
   WHERE job = header.job AND kind = 'job-opened' ORDER BY number LIMIT 1)
FROM header GROUP BY job ORDER BY min(at), min(rowid)
"""  # noqa: S608 -- the kinds are our own words


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


class SqliteStore:
    """The job log in a file. Use from any thread; close it, or use it in a `with` statement.

    Args:
        path: the file; it and its folder are made when writing.
        read_only: leave the file alone and take no lock; another process may be writing.

    Raises:
        StoreError: another companion writes to this log, or there is none to read.
        StoreFullError: the disk is full, read-only or failing.
        NewerLogError: a newer version of this program wrote it.
        DamagedLogError: the file is broken or no job log.
    """

    def __init__(self, path: Path | str, *, read_only: bool = False) -> None:
        self.path = Path(path)
        self.read_only = read_only
        self._guard = threading.RLock()
        self._lock: WriterLock | None = None
        if read_only:
            self._connection = _opened_to_read(self.path)
            return
        _make_folder(self.path)
        self._lock = WriterLock(self.path)
        try:
            self._connection = _opened_to_write(self.path)
        except BaseException:
            self._lock.release()
            raise

    def append(self, job: str, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
        """Number, chain and store the drafts in one commit; return once they are durable.

        Args:
            job: the job's id; a new one begins a new job.
            drafts: what to add, in order; none at all is no commit.

        Raises:
            StoreError: nothing was stored; what was stored before is safe.
            ValueError: a time without a zone, or a float that is no number.
            TypeError: a payload that JSON cannot hold.
        """
        if not drafts:
            return ()
        salts = [secrets.token_bytes(SALT_BYTES) for _ in drafts]
        with self._using() as connection, _one_commit(connection):
            entries = chain(_last_entry(connection, job), job, drafts, salts)
            connection.executemany(
                "INSERT INTO header (schema, job, number, kind, at, digest, previous)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                [
                    (e.schema, e.job, e.number, e.kind, utc_text(e.at), e.digest, e.previous)
                    for e in entries
                ],
            )
            connection.executemany(
                "INSERT INTO payload (job, number, salt, body) VALUES (?, ?, ?, ?)",
                [
                    (job, e.number, salt, canonical(e.payload))
                    for e, salt in zip(entries, salts, strict=True)
                ],
            )
        return entries

    def entries(self, job: str, *, checked: bool = True) -> Iterator[Entry]:
        """Yield the job's entries in order, from one moment; a removed payload is empty.

        Args:
            job: the job's id.
            checked: verify the chain first; False shows what is there, whole or not.

        Raises:
            JobNotFoundError: no such job.
            DamagedLogError: the chain does not hold; names the first entry that does not.
        """
        return iter([entry for entry, _ in self._stored(job, checked=checked)])

    def salts(self, job: str) -> tuple[bytes | None, ...]:
        """Return the salt of each payload, None where it was removed: what an export needs.

        Raises:
            JobNotFoundError: no such job.
        """
        return tuple(salt for _, salt in self._stored(job, checked=False))

    def _stored(self, job: str, *, checked: bool) -> list[tuple[Entry, bytes | None]]:
        with self._using() as connection:
            rows = connection.execute(
                f"{_ENTRIES} WHERE job = ? ORDER BY number", (job,)
            ).fetchall()
            redacted = {
                number
                for (number,) in connection.execute(
                    "SELECT number FROM redaction WHERE job = ?", (job,)
                )
            }
        if not rows:
            raise JobNotFoundError(job, self.path)
        stored = [_entry(row) for row in rows]
        if checked:
            verify([entry for entry, _ in stored], [salt for _, salt in stored])
            for entry, salt in stored:
                if salt is None and entry.number not in redacted:
                    raise damaged(job, entry.number, "its content is gone")
        return stored

    def jobs(self) -> list[JobSummary]:
        """Return all jobs, the one last opened last."""
        with self._using() as connection:
            return [_summary(row) for row in connection.execute(_SUMMARIES)]

    def latest_open(self) -> JobSummary | None:
        """Return the job that was worked on last among those still open, or None."""
        still_open = [job for job in self.jobs() if job.state == "open"]
        return max(still_open, key=lambda job: job.last_entry, default=None)

    def new_job_id(self, at: datetime) -> str:
        """Return an unused id that can be read out and typed, such as '2026-03-04-1'.

        Args:
            at: when the job begins, with its zone; the id carries the local date.
        """
        with self._using() as connection:
            taken = {job for (job,) in connection.execute("SELECT DISTINCT job FROM header")}
        return job_id(at, taken)

    def redact(self, job: str, numbers: Sequence[int], *, why: str, at: datetime) -> None:
        """Remove the payloads (and salts) of these entries for good; the headers stay.

        Args:
            job: the job's id.
            numbers: which of its entries.
            why: the reason, kept in the log; no customer's data in it.
            at: when, with its zone.

        Raises:
            JobNotFoundError: no such job.
            StoreError: nothing was removed.
        """
        rows = [(job, number, utc_text(at), why) for number in numbers]
        keys = [(job, number) for number in numbers]
        with self._using() as connection:
            with _one_commit(connection):
                if _last_entry(connection, job) is None:
                    raise JobNotFoundError(job, self.path)
                connection.executemany("INSERT INTO redaction VALUES (?, ?, ?, ?)", rows)
                connection.executemany("DELETE FROM payload WHERE job = ? AND number = ?", keys)
            connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()  # old pages: gone too

    def close(self) -> None:
        """Let go of the file; a second call does nothing."""
        with self._guard:
            with in_our_words(self.path):
                self._connection.close()
            if self._lock:
                self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    @contextmanager
    def _using(self) -> Iterator[sqlite3.Connection]:
        """One thread at a time, and no exception of SQLite's gets out."""
        with self._guard, in_our_words(self.path):
            yield self._connection


@contextmanager
def _one_commit(connection: sqlite3.Connection) -> Iterator[None]:
    """All or nothing; on leaving, it is on the disk."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:  # after a full disk SQLite has rolled back by itself
            connection.execute("ROLLBACK")
        raise


def _make_folder(path: Path) -> None:
    """Make the log's folder, for this user only: it holds customers' data."""
    with in_our_words(path):
        path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)


def _connect(uri: str) -> sqlite3.Connection:
    """Connect without Python's own transactions, and with deleted content overwritten."""
    connection = sqlite3.connect(
        uri, uri=True, timeout=_WAIT_S, isolation_level=None, check_same_thread=False
    )
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA secure_delete = ON")
    return connection


def _opened_to_write(path: Path) -> sqlite3.Connection:
    with in_our_words(path):
        connection = _connect(f"{path.absolute().as_uri()}?mode=rwc")
        try:
            is_log = check_file(connection, path)
            connection.execute("PRAGMA journal_mode = WAL").fetchone()
            connection.execute("PRAGMA synchronous = FULL")
            connection.execute("PRAGMA fullfsync = ON")  # macOS: to the platter, not the cache
            if not is_log:
                connection.executescript(f"BEGIN IMMEDIATE;{SETUP}COMMIT;")
                _sync_folder(path.parent)
        except BaseException:
            connection.close()
            raise
        return connection


def _sync_folder(folder: Path) -> None:
    """Make the new file's name durable, and its folder's own."""
    for place in (folder, folder.parent):
        descriptor = os.open(place, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _opened_to_read(path: Path) -> sqlite3.Connection:
    if not path.exists():
        raise _nothing_yet(path)
    with in_our_words(path):
        connection = _readable(path.absolute().as_uri(), path)
        try:
            is_log = check_file(connection, path)
        except BaseException:
            connection.close()
            raise
    if not is_log:
        connection.close()
        raise _nothing_yet(path)
    return connection


def _nothing_yet(path: Path) -> StoreError:
    return StoreError(
        "There is no job log here", "Start a job first: companion work.", where=str(path)
    )


def _readable(uri: str, path: Path) -> sqlite3.Connection:
    """Connect read-only, also where nothing may be written beside the file (a copy on a stick)."""
    connection = _connect(f"{uri}?mode=ro")
    try:
        connection.execute("SELECT 1 FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError:
        connection.close()
        wal = path.with_name(f"{path.name}-wal")
        if wal.exists() and wal.stat().st_size:
            raise  # without what stands in there, the log would look shorter than it is
        return _connect(f"{uri}?mode=ro&immutable=1")
    return connection


def _last_entry(connection: sqlite3.Connection, job: str) -> Entry | None:
    with closing(
        connection.execute(f"{_ENTRIES} WHERE job = ? ORDER BY number DESC LIMIT 1", (job,))
    ) as cursor:
        row = cursor.fetchone()
    return _entry(row)[0] if row else None


def _entry(
    row: tuple[int, str, int, str, str, str, str, str | None, bytes | None],
) -> tuple[Entry, bytes | None]:
    """Return a row as an entry and its salt."""
    schema, job, number, kind, at, digest, previous, body, salt = row
    try:
        payload = json.loads(body) if body is not None else {}
        when = datetime.fromisoformat(at)
    except ValueError as exc:
        raise damaged(job, number, "it cannot be read") from exc
    return Entry(schema, job, number, kind, when, digest, previous, payload), salt


def _summary(row: tuple[str, str, str, int, str | None, str | None]) -> JobSummary:
    job, opened, last, count, deciding, body = row
    title = str(json.loads(body).get("title", "")) if body else ""
    return JobSummary(
        job,
        title,
        datetime.fromisoformat(opened),
        datetime.fromisoformat(last),
        DECIDING.get(deciding or "", "open"),
        count,
    )
