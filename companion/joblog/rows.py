"""Entries as rows of the tables, and back."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, TypeAlias

from companion.chain import (
    GENESIS,
    canonical,
    damaged,
    digest_of,
    header,
    header_digest,
    payload_digest,
)
from companion.dialogue.forgetting import FORGOTTEN, numbers_in
from companion.dialogue.noted import sound_of
from companion.joblog.summary import JobSummary, state_after
from companion.ports import Entry

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Sequence

    from companion.ports import Json, KeptSound

JOB, NUMBER, KIND, AT, PREVIOUS, OWN, SALT = 1, 2, 3, 4, 6, 7, 9  # columns of a row
HEADER = ("schema", "job", "number", "kind", "at", "digest", "previous")  # the first ones
Row: TypeAlias = "tuple[int, str, int, str, str, str, str, str, str | None, bytes | None]"
ENTRIES = """
SELECT schema, job, number, kind, at, digest, previous, own, body, salt
FROM header LEFT JOIN payload USING (job, number) WHERE job = ? ORDER BY number
"""
LAST_ENTRY = f"{ENTRIES} DESC LIMIT 1"
# The tables as they are, by no index: in a file that is torn or altered the two may differ.
_NUMBERS = tuple(
    f"SELECT number FROM {table} NOT INDEXED WHERE job = ?"  # noqa: S608 -- our own names
    for table in ("header", "payload", "redaction")
)
_COUNTED = """
SELECT job, count(*) FROM header INDEXED BY sqlite_autoindex_header_1 GROUP BY job
"""
_WITH_SOUND = """
SELECT job, number, body FROM payload WHERE instr(body, '"sound"') > 0
  AND (:job IS NULL OR (job = :job AND number = :number))
"""
_REMOVALS = """
SELECT job, number, body FROM header JOIN payload USING (job, number) WHERE kind = 'forgotten'
"""
# All headers as the table has them, by no index, and what a list of jobs tells of content.
HEADERS = """
SELECT schema, header.job, header.number, kind, at, digest, previous, own, body, salt
FROM header LEFT JOIN payload ON kind = 'job-opened'
  AND payload.job = header.job AND payload.number = header.number
ORDER BY header.rowid
"""
_PARTS = """
SELECT (SELECT count(*) FROM payload WHERE job = :job)
  + (SELECT count(*) FROM redaction WHERE job = :job)
"""


def lost_parts(connection: sqlite3.Connection, job: str, rows: Sequence[Row]) -> set[int]:
    """Return the numbers of a job's entries of which a part is there and a part is not.

    What was found by the indexes is held against the tables themselves: content that is neither
    found nor redacted, or is both, and rows that the other way does not find.

    Args:
        connection: the log.
        job: the job's id.
        rows: its rows of `ENTRIES`, of the same moment.
    """
    headers, payloads, redacted = (
        {number for (number,) in connection.execute(query, (job,))} for query in _NUMBERS
    )
    found = {row[NUMBER] for row in rows}
    said = {row[NUMBER] for row in rows if row[SALT] is not None}
    lost = (found ^ headers) | (said ^ payloads) | ((found - said) ^ redacted)
    return {number if isinstance(number, int) else 1 for number in lost}


def sounds_in(
    connection: sqlite3.Connection, job: str | None = None, number: int | None = None
) -> Iterator[KeptSound]:
    """Yield the sounds that payloads name: one entry's, or every one's that is to be kept.

    Raises:
        DamagedLogError: a payload cannot be read: then nobody knows what it names.
    """
    rows = connection.execute(_WITH_SOUND, {"job": job, "number": number}).fetchall()
    silent = _silenced(connection) if job is None else frozenset()
    for of_job, of_number, body in rows:
        kept = sound_of(_said(of_job, of_number, body))
        if kept is not None and (of_job, of_number) not in silent:
            yield kept


def _silenced(connection: sqlite3.Connection) -> frozenset[tuple[str, int]]:
    """Return the entries whose sound was removed while what they say stayed."""
    return frozenset(
        (job, silent)
        for job, number, body in connection.execute(_REMOVALS).fetchall()
        for silent in numbers_in(_said(job, number, body), "sounds")
    )


def _said(job: str, number: int, body: str) -> dict[str, Json]:
    try:
        said = json.loads(body)
    except (ValueError, RecursionError) as exc:
        raise damaged(job, number, "it cannot be read") from exc
    if not isinstance(said, dict):
        raise damaged(job, number, "it cannot be read")
    return said


def last_entry(connection: sqlite3.Connection, job: str) -> Entry | None:
    """Return a job's last entry, checked against its own digest; None for a job not begun.

    Raises:
        DamagedLogError: its header was altered, or there are more or fewer contents than entries;
            nothing is ever joined to a broken chain.
    """
    rows = connection.execute(LAST_ENTRY, (job,)).fetchall()
    parts = connection.execute(_PARTS, {"job": job}).fetchone()[0]
    entry = entry_of(rows[0])[0] if rows else None
    if entry is not None and header_digest(entry) != rows[0][OWN]:
        raise damaged(entry.job, entry.number, "its header was altered")
    number = entry.number if entry else 0
    if parts != number:
        raise damaged(job, number, f"there are {parts} contents for {number} entries")
    return entry


def header_row(entry: Entry) -> tuple[int | str, ...]:
    """Return an entry's columns of the table of headers."""
    return (*header(entry).values(), header_digest(entry))


def entry_of(row: Row) -> tuple[Entry, bytes | None]:
    """Return a row as an entry and its salt.

    Raises:
        DamagedLogError: it cannot be read.
    """
    schema, job, number, kind, at, digest, previous, _, body, salt = row
    payload = {} if body is None else _said(job, number, body)
    try:
        when = datetime.fromisoformat(at).astimezone(UTC)
    except (ValueError, TypeError, OverflowError) as exc:  # a torn page gives no text at all
        raise damaged(job, number, "it cannot be read") from exc
    return Entry(schema, job, number, kind, when, digest, previous, payload), salt


def summaries(connection: sqlite3.Connection) -> list[JobSummary]:
    """Return a line for each job, the one last opened last; `damage` where it does not hold.

    Every header is checked, and the title's content: no line is told by what was altered.

    Raises:
        DamagedLogError: an entry cannot be read.
    """
    jobs: dict[str, list[Row]] = {}
    for row in connection.execute(HEADERS):
        jobs.setdefault(row[1], []).append(row)
    lines = sorted(map(_summary_of, jobs.values()), key=lambda job: job.opened)
    counted = dict(connection.execute(_COUNTED).fetchall())
    missed = counted.keys() - jobs.keys()
    if missed:
        raise damaged(min(map(str, missed)), 1, "a part of it is gone")
    return [_as_counted(line, counted.get(line.id, 0)) for line in lines]


def _as_counted(line: JobSummary, count: int) -> JobSummary:
    """Tell of a job of which the index knows another number of entries than the table."""
    if line.damage or line.entries == count:
        return line
    number = min(line.entries, count) + 1
    return replace(line, damage=f"job {line.id}, entry {number}: a part of it is gone")


def _summary_of(rows: list[Row]) -> JobSummary:
    """Return a job's line; every header is checked as it stands, there are many of them."""
    wrong = _first_wrong(rows)
    opened = next((row for row in rows if row[KIND] == "job-opened"), None)
    told = entry_of(opened or rows[0])
    worked = [row for row in rows if row[KIND] != FORGOTTEN] or rows
    first, last = (
        entry_of(row)[0] for row in (worked[0], max(worked, key=lambda row: str(row[AT])))
    )
    return JobSummary(
        id=str(rows[0][JOB]),
        title=str(told[0].payload.get("title", "")) if opened else "",
        opened=first.at,
        last_entry=last.at,
        state=state_after(str(row[KIND]) for row in rows),
        entries=len(rows),
        damage=wrong or _title_altered(told),
    )


def _first_wrong(rows: list[Row]) -> str:
    """Return the first header that does not hold and why, '' where all do."""
    before = GENESIS
    for number, row in enumerate(rows, 1):
        where = f"job {rows[0][1]}, entry {number}"
        if row[NUMBER] != number:
            return f"{where}: entry {number} is missing"
        if row[PREVIOUS] != before:
            return f"{where}: it does not follow on the entry before it"
        try:
            before = digest_of(dict(zip(HEADER, row, strict=False)))
        except TypeError:  # a torn page gives bytes where text was
            before = ""
        if before != row[OWN]:
            return f"{where}: its header was altered"
    return ""


def _title_altered(opened: tuple[Entry, bytes | None]) -> str:
    entry, salt = opened
    if salt is None or payload_digest(salt, canonical(entry.payload)) == entry.digest:
        return ""
    return f"job {entry.job}, entry {entry.number}: its content was altered"
