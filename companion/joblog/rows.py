"""Entries as rows of the tables, and back."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, TypeAlias

from companion.chain import canonical, damaged, header, header_digest
from companion.dialogue.forgetting import numbers_in
from companion.dialogue.noted import sound_of
from companion.ports import Entry

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Sequence

    from companion.ports import Json, KeptSound

NUMBER, OWN, SALT = 2, 7, 9  # columns of a row
Row: TypeAlias = "tuple[int, str, int, str, str, str, str, str, str | None, bytes | None]"
ENTRIES = """
SELECT schema, job, number, kind, at, digest, previous, own, body, salt
FROM header LEFT JOIN payload USING (job, number) WHERE job = ? ORDER BY number
"""
LAST_ENTRY = f"{ENTRIES} DESC LIMIT 1"
_NUMBERS = tuple(
    f"SELECT number FROM {table} WHERE job = ?"  # noqa: S608 -- our own names
    for table in ("header", "payload", "redaction")
)
_WITH_SOUND = """
SELECT job, number, body FROM payload WHERE instr(body, '"sound"') > 0
  AND (:job IS NULL OR (job = :job AND number = :number))
"""
_REMOVALS = """
SELECT job, number, body FROM header JOIN payload USING (job, number) WHERE kind = 'forgotten'
"""
REMOVALS = "SELECT number, at, why FROM redaction WHERE job = ? ORDER BY number"
_PARTS = """
SELECT (SELECT count(*) FROM payload WHERE job = :job)
  + (SELECT count(*) FROM redaction WHERE job = :job)
"""


def lost_parts(connection: sqlite3.Connection, job: str, rows: Sequence[Row]) -> set[int]:
    """Return the numbers of a job's entries of which a part is there and a part is not.

    Each table has an index of its own, and what they tell is held against one another: content
    that is neither found nor redacted, or is both. `verify` looks past the indexes, too.

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


def insert(
    connection: sqlite3.Connection, entries: Sequence[Entry], salts: Sequence[bytes | None]
) -> None:
    """Insert entries; one without a salt has no payload (any more)."""
    connection.executemany(
        "INSERT INTO header (schema, job, number, kind, at, digest, previous, own)"
        " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
        [header_row(entry) for entry in entries],
    )
    connection.executemany(
        "INSERT INTO payload (job, number, salt, body) VALUES (?, ?, ?, ?)",
        [
            (e.job, e.number, salt, canonical(dict(e.payload)))
            for e, salt in zip(entries, salts, strict=True)
            if salt is not None
        ],
    )


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
