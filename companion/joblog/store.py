"""The job log in one SQLite file: durable before it returns, appended to and never changed."""

from __future__ import annotations

import secrets
import threading
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Self

from companion.chain import SALT_BYTES, chain, utc_text, verify
from companion.dialogue.forgetting import FORGOTTEN, forgotten
from companion.errors import DamagedLogError, JobNotFoundError, JobThereError, StoreError
from companion.joblog.finding import find
from companion.joblog.listing import job_ids, summaries
from companion.joblog.lock import WriterLock
from companion.joblog.opening import make_folder, opened_to_read, opened_to_write
from companion.joblog.rows import (
    ENTRIES,
    OWN,
    REMOVALS,
    entry_of,
    insert,
    last_entry,
    lost_parts,
    sounds_in,
)
from companion.joblog.sounds import SoundFolder
from companion.joblog.sqlite_errors import in_our_words
from companion.joblog.summary import job_id
from companion.joblog.whole import Removal, WholeJob, check_whole, difference

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Sequence

    from companion.dialogue.forgetting import ToForget
    from companion.joblog.finding import Wanted
    from companion.joblog.summary import JobSummary
    from companion.ports import Draft, Entry

_READ = ("reading", "correction")
# By kind of entry: the kinds that it changes, by what these are known, and by what it names them.
_CHANGED_BY = {
    "struck": (_READ, "id", "of"),
    "correction": (_READ, "id", "of"),
    "choice-withdrawn": (("choice",), "choice", "choice"),
}


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
        self.sounds = SoundFolder(self.path)
        self._guard = threading.RLock()
        self._lock: WriterLock | None = None
        if read_only:
            self._connection = opened_to_read(self.path)
            return
        make_folder(self.path)
        self._lock = WriterLock(self.path)
        try:
            self._connection = opened_to_write(self.path)
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
        with self._using() as connection, _one_commit(connection):
            return _joined(connection, job, drafts)

    def take_in(self, whole: WholeJob) -> bool:
        """Store a job from elsewhere as it is, in one commit; return once it is durable.

        Args:
            whole: at least one entry. Its sounds are put on the shelf before this.

        Returns:
            Whether it was stored; False where the very same job is here already.

        Raises:
            ForeignJobError: its chain or a payload does not hold.
            NewerLogError: a newer version of this program wrote it.
            JobThereError: a job of that id is here, with other content.
            StoreError: nothing was stored; what was stored before is safe.
        """
        check_whole(whole)
        with self._using() as connection, _one_commit(connection):
            if self.holds(whole):
                return False
            insert(connection, whole.entries, whole.salts)
            connection.executemany(
                "INSERT INTO redaction VALUES (?, ?, ?, ?)",
                [(whole.id, each.number, utc_text(each.at), each.why) for each in whole.removals],
            )
        return True

    def holds(self, whole: WholeJob) -> bool:
        """Return whether this very job is here; False where none of that id is.

        Raises:
            JobThereError: one of that id is here, with other content.
            DamagedLogError: the one that is here does not hold.
        """
        try:
            here = self.whole(whole.id)
        except JobNotFoundError:
            return False
        if here != whole:
            raise JobThereError(
                f"Job '{whole.id}' is in this log already, and it is not the same: "
                f"{difference(here, whole)}",
                "Nothing was imported. To keep both, import it into another log with --log.",
                where=str(self.path),
            )
        return True

    def whole(self, job: str) -> WholeJob:
        """Return all of a job, from one moment, verified: what an export needs.

        Raises:
            JobNotFoundError: no such job.
            DamagedLogError: the chain does not hold.
        """
        with self._using() as connection, _one_moment(connection):
            stored = self._stored(job, checked=True)
            removals = connection.execute(REMOVALS, (job,)).fetchall()
        return WholeJob(
            tuple(entry for entry, _ in stored),
            tuple(salt for _, salt in stored),
            tuple(Removal(n, datetime.fromisoformat(at), why) for n, at, why in removals),
        )

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
            rows = connection.execute(ENTRIES, (job,)).fetchall()
            lost = lost_parts(connection, job, rows) if checked else set()
        if not rows:
            raise JobNotFoundError(job, self.path)
        stored = [entry_of(row) for row in rows]
        if checked:
            verify(
                [entry for entry, _ in stored],
                [salt for _, salt in stored],
                owns=[str(row[OWN]) for row in rows],
                lost=lost,
            )
        return stored

    def jobs(self) -> list[JobSummary]:
        """Return all jobs, the one last opened last; `damage` names those that do not hold."""
        with self._using() as connection:
            return summaries(connection)

    def find(self, wanted: Wanted) -> list[JobSummary]:
        """Return the jobs that have all that is wanted, the one last opened last."""
        with self._using() as connection, _one_moment(connection):
            return find(connection, wanted)

    def latest_open(self) -> JobSummary | None:
        """Return the job that was worked on last among those still open, or None."""
        still_open = [job for job in self.jobs() if job.state == "open"]
        return max(still_open, key=lambda job: job.last_entry, default=None)

    def new_job_id(self, at: datetime) -> str:
        """Return an unused id that can be read out and typed, such as '2026-03-04-1'.

        Args:
            at: when the job begins, with its zone; the id carries the local date.
        """
        return job_id(at, self.job_ids())

    def redact(self, job: str, what: ToForget, *, why: str, at: datetime) -> Entry:
        """Remove content (and salts) or sounds of entries for good; the headers stay.

        One commit: an entry that says what is removed is joined to the job, then the contents go.
        The sounds are removed after that: should it fail or the program be killed, `tidy_sounds`
        does it at the next start.

        Args:
            job: the job's id.
            what: which of its entries lose what they say, and which only their sound.
            why: the reason, kept in the log; no customer's data in it.
            at: when, with its zone.

        Returns:
            The entry that says so.

        Raises:
            JobNotFoundError: no such job.
            DamagedLogError: the job does not hold: keep it as it is.
            StoreError: nothing was removed.
            SoundShelfError: the payloads were removed, a sound could not be.
        """
        _check_removable([entry for entry, _ in self._stored(job, checked=True)], what, self.path)
        keys = [(job, number) for number in what.entries]
        named = [*keys, *((job, number) for number in what.sounds)]
        with self._using() as connection:
            with _one_commit(connection):
                sounds = [kept for key in named for kept in sounds_in(connection, *key)]
                (entry,) = _joined(connection, job, [forgotten(what, why, at)])
                connection.executemany(
                    "INSERT INTO redaction VALUES (?, ?, ?, ?)",
                    [(*key, utc_text(at), why) for key in keys],
                )
                connection.executemany("DELETE FROM payload WHERE job = ? AND number = ?", keys)
            emptied = _is_emptied(connection)
        self.sounds.remove(sounds)
        if not emptied:
            raise StoreError(
                "It is logged that content was removed, but another program has the log open: what"
                " it said still stands in the file",
                "Close what else reads the log (a backup, a viewer), then run this again.",
                where=str(self.path),
            )
        return entry

    def file_problems(self) -> list[str]:
        """Return what SQLite itself finds wrong with the file as a file; nothing is mended.

        Raises:
            DamagedLogError: it is too damaged to be looked through.
        """
        with self._using() as connection:
            told = [str(line) for (line,) in connection.execute("PRAGMA integrity_check")]
            loose = connection.execute("PRAGMA foreign_key_check").fetchall()
        return [line for line in told if line != "ok"] + [
            f"table {table}: a row belongs to no entry" for table, *_ in loose
        ]

    def tidy_sounds(self) -> int:
        """Remove sounds that no entry names, left by a program that was killed; return how many.

        None where a job does not hold: what an altered entry named is not to be lost as well.

        Raises:
            StoreError: the log cannot be read; then nothing is removed.
        """
        if self.read_only or not self.sounds.folder.is_dir():
            return 0
        with self._using() as connection:
            named = {kept.file for kept in sounds_in(connection)}
            if not self.sounds.unnamed(named) or any(map(self._is_broken, self.job_ids())):
                return 0
            return self.sounds.tidy(named)

    def job_ids(self) -> list[str]:
        """Return the ids of all jobs, sorted; nothing is checked."""
        with self._using() as connection:
            return list(job_ids(connection))

    def _is_broken(self, job: str) -> bool:
        try:
            self._stored(job, checked=True)
        except DamagedLogError:
            return True
        return False

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


def _is_emptied(connection: sqlite3.Connection) -> bool:
    """Write the log ahead into the file and empty it: old pages are gone too. False: not now."""
    (busy, *_) = connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
    return not busy


def _check_removable(entries: Sequence[Entry], what: ToForget, path: Path) -> None:
    """Refuse what says nothing (any more), and what says that something was removed."""
    there = {entry.number for entry in entries if entry.payload and entry.kind != FORGOTTEN}
    _check_changes_stay(entries, what, path)
    wrong = sorted({*what.entries, *what.sounds} - there)
    if wrong:
        raise StoreError(
            f"Entry {wrong[0]} of job {entries[0].job} has nothing that can be removed",
            "Nothing was removed. See the entries with: companion jobs show",
            where=str(path),
        )


def _check_changes_stay(entries: Sequence[Entry], what: ToForget, path: Path) -> None:
    """Refuse to remove what takes back or corrects without what it changed: that would stand."""
    going = frozenset(what.entries)
    for entry in entries:
        if entry.number not in going or entry.kind not in _CHANGED_BY:
            continue
        kinds, key, name = _CHANGED_BY[entry.kind]
        left = [
            other.number
            for other in entries
            if other.kind in kinds
            and other.number not in {*going, entry.number}
            and key in other.payload
            and other.payload[key] == entry.payload.get(name)
        ]
        if left:
            raise StoreError(
                f"Entry {entry.number} of job {entry.job} takes back or corrects entry {left[0]},"
                " which would stand again without it",
                f"Nothing was removed. Remove entry {left[0]} too.",
                where=str(path),
            )


def _joined(connection: sqlite3.Connection, job: str, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
    """Number, chain and insert drafts, within a commit."""
    salts = [secrets.token_bytes(SALT_BYTES) for _ in drafts]
    entries = chain(last_entry(connection, job), job, drafts, salts)
    insert(connection, entries, salts)
    return entries


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


@contextmanager
def _one_moment(connection: sqlite3.Connection) -> Iterator[None]:
    """Several looks at the log see the same of it, whoever writes meanwhile."""
    if connection.in_transaction:
        yield
        return
    connection.execute("BEGIN")
    try:
        yield
    finally:
        connection.execute("ROLLBACK")
