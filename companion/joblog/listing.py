"""The list of jobs: a line each, read along the primary key, never through all entries.

A line is told by few entries: the first, the last, the latest, the one that decides how the job
stands, and the one that opened it, for its title. Each of these is checked; whether the whole job
holds is known when it is read, or by `companion jobs verify`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from companion.chain import damaged, header_digest, payload_digest
from companion.dialogue.forgetting import FORGOTTEN
from companion.joblog.rows import entry_of
from companion.joblog.summary import DECIDING, JobSummary

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator
    from datetime import datetime

    from companion.joblog.rows import Row

_DECIDING = ", ".join(f"'{kind}'" for kind in DECIDING)
_HEADER = "SELECT schema, job, number, kind, at, digest, previous, own, NULL, NULL FROM header"
_FIRST = f"{_HEADER} WHERE job = ? ORDER BY number LIMIT 1"
_LAST = f"{_HEADER} WHERE job = ? ORDER BY number DESC LIMIT 1"
_LATEST = f"{_HEADER} WHERE job = ? AND kind <> '{FORGOTTEN}' ORDER BY at DESC, number DESC LIMIT 1"
_DECIDED = f"{_HEADER} WHERE job = ? AND kind IN ({_DECIDING}) ORDER BY number DESC LIMIT 1"
_OPENED = """
SELECT schema, job, number, kind, at, digest, previous, own, body, salt
FROM header LEFT JOIN payload USING (job, number)
WHERE job = ? AND kind = 'job-opened' ORDER BY number LIMIT 1
"""
_NEXT_JOB = "SELECT min(job) FROM header WHERE job > ?"
_ROWS = "SELECT ifnull(max(rowid), 0) FROM header"  # none is ever deleted
_FIRST_JOB = "SELECT min(job) FROM header"


def summaries(connection: sqlite3.Connection) -> list[JobSummary]:
    """Return a line for each job, the one last opened last; `damage` where a wrong one tells it.

    Raises:
        DamagedLogError: an entry cannot be read, or there are entries and no job is found.
    """
    lines = sorted((_summary(connection, job) for job in job_ids(connection)), key=_opened)
    found = sum(line.entries for line in lines)
    (there,) = connection.execute(_ROWS).fetchone()
    if found == there or any(line.damage for line in lines):
        return lines
    problem = f"of {there} entries in the log {found} are found"
    if not lines:
        raise damaged("(any)", 1, problem)
    return [*lines[:-1], replace(lines[-1], damage=problem)]


def job_ids(connection: sqlite3.Connection) -> Iterator[str]:
    """Yield the jobs' ids in their order, along the primary key."""
    (job,) = connection.execute(_FIRST_JOB).fetchone()
    while job is not None:
        yield str(job)
        (job,) = connection.execute(_NEXT_JOB, (job,)).fetchone()


def _opened(line: JobSummary) -> datetime:
    return line.opened


def _summary(connection: sqlite3.Connection, job: str) -> JobSummary:
    queries = (_FIRST, _LAST, _LATEST, _DECIDED, _OPENED)
    rows = [connection.execute(query, (job,)).fetchone() for query in queries]
    first, last, latest, decided, opened = (row and entry_of(row)[0] for row in rows)
    return JobSummary(
        id=job,
        title=str(opened.payload.get("title", "")) if opened else "",
        opened=first.at,
        last_entry=(latest or last).at,
        state=DECIDING.get(decided.kind, "open") if decided else "open",
        entries=last.number,
        damage=next(filter(None, (_wrong(row) for row in rows if row)), ""),
    )


def _wrong(row: Row) -> str:
    """Return what is wrong with an entry as far as its row tells, '' where it holds."""
    schema, job, number, kind, at, digest, previous, own, body, salt = row
    entry, _ = entry_of((schema, job, number, kind, at, digest, previous, own, None, None))
    problem = ""
    if header_digest(entry) != own:
        problem = "its header was altered"
    elif body is not None and salt is not None and not _is_as_said(body, salt, digest):
        problem = "its content was altered"
    return f"job {job}, entry {number}: {problem}" if problem else ""


def _is_as_said(body: str, salt: bytes, digest: str) -> bool:
    return body.isascii() and payload_digest(salt, body) == digest
