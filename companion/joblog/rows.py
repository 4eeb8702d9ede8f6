"""Entries as rows of the tables, and back."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING, TypeAlias

from companion.chain import canonical, damaged, header, header_digest
from companion.dialogue.noted import sound_of
from companion.joblog.summary import DECIDING, JobSummary
from companion.ports import Entry

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Sequence

    from companion.ports import KeptSound

Row: TypeAlias = "tuple[int, str, int, str, str, str, str, str, str | None, bytes | None]"
ENTRIES = """
SELECT schema, job, number, kind, at, digest, previous, own, body, salt
FROM header LEFT JOIN payload USING (job, number) WHERE job = ? ORDER BY number
"""
LAST_ENTRY = f"{ENTRIES} DESC LIMIT 1"
# Content that is neither there nor redacted, or whose header is not there.
ORPHANS = """
SELECT number FROM header WHERE job = :job
  AND number NOT IN (SELECT number FROM payload WHERE job = :job)
  AND number NOT IN (SELECT number FROM redaction WHERE job = :job)
UNION
SELECT number FROM payload WHERE job = :job
  AND number NOT IN (SELECT number FROM header WHERE job = :job)
ORDER BY number
"""
REMOVALS = "SELECT number, at, why FROM redaction WHERE job = ? ORDER BY number"
_WITH_SOUND = """
SELECT job, number, body FROM payload WHERE instr(body, '"sound"') > 0
  AND (:job IS NULL OR (job = :job AND number = :number))
"""
_DECIDING = ", ".join(f"'{kind}'" for kind in DECIDING)
# Job by job along the primary key, never through all entries: numbers leave no gap. Of the body, a
# procedure's whole text, only the title is taken out (two paths: an array, its escapes as they
# are: half a surrogate pair is no text for SQLite); what is no JSON is told by who reads the row.
_SUMMARIES = f"""
WITH RECURSIVE each(job) AS (
  SELECT min(job) FROM header
  UNION ALL
  SELECT (SELECT min(job) FROM header WHERE job > each.job) FROM each WHERE each.job IS NOT NULL
)
SELECT first.rowid, each.job, first.at, last.at, last.number,
  (SELECT kind FROM header AS h WHERE h.job = each.job AND kind IN ({_DECIDING})
   ORDER BY number DESC LIMIT 1),
  (SELECT CASE WHEN json_valid(body) THEN json_extract(body, '$.title', '$.title') ELSE body END
   FROM header AS h JOIN payload USING (job, number)
   WHERE h.job = each.job AND kind = 'job-opened' ORDER BY number LIMIT 1)
FROM each
JOIN header AS first ON first.job = each.job
  AND first.number = (SELECT min(number) FROM header WHERE job = each.job)
JOIN header AS last ON last.job = each.job
  AND last.number = (SELECT max(number) FROM header WHERE job = each.job)
"""  # noqa: S608 -- the kinds are our own words


def sounds_in(
    connection: sqlite3.Connection, job: str | None = None, number: int | None = None
) -> Iterator[KeptSound]:
    """Yield the sounds that payloads name: one entry's, or every one's.

    Raises:
        DamagedLogError: a payload cannot be read: then nobody knows what it names.
    """
    rows = connection.execute(_WITH_SOUND, {"job": job, "number": number}).fetchall()
    for of_job, of_number, body in rows:
        try:
            kept = sound_of(json.loads(body))
        except (ValueError, AttributeError) as exc:
            raise damaged(of_job, of_number, "it cannot be read") from exc
        if kept is not None:
            yield kept


def last_entry(connection: sqlite3.Connection, job: str) -> Entry | None:
    """Return a job's last entry, checked against its own digest; None for a job not begun.

    Raises:
        DamagedLogError: its header was altered; nothing is ever joined to a broken chain.
    """
    rows = connection.execute(LAST_ENTRY, (job,)).fetchall()
    if not rows:
        return None
    entry, _ = entry_of(rows[0])
    check_own(rows[0], entry)
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
    """Return a row as an entry and its salt."""
    schema, job, number, kind, at, digest, previous, _, body, salt = row
    try:
        payload = json.loads(body) if body is not None else {}
        when = datetime.fromisoformat(at).astimezone(UTC)
    except (ValueError, OverflowError) as exc:
        raise damaged(job, number, "it cannot be read") from exc
    return Entry(schema, job, number, kind, when, digest, previous, payload), salt


def check_own(row: Row, entry: Entry) -> None:
    """Check a header against its own digest.

    Raises:
        DamagedLogError: they differ.
    """
    own = row[7]
    if header_digest(entry) != own:
        raise damaged(entry.job, entry.number, "its header was altered")


def summaries(connection: sqlite3.Connection) -> list[JobSummary]:
    """Return a line for each job, the one last opened last.

    Raises:
        DamagedLogError: one cannot be read.
    """
    rows = connection.execute(_SUMMARIES).fetchall()
    rows.sort(key=lambda row: (row[2], row[0]))  # not by SQLite, which would carry all along
    return [_summary_of(row[1:]) for row in rows]


def _summary_of(row: tuple[str, str, str, int, str | None, str | None]) -> JobSummary:
    """Return a row as a line for the list of jobs.

    Raises:
        DamagedLogError: it cannot be read.
    """
    job, opened, last, count, deciding, titles = row
    try:
        return JobSummary(
            job,
            str(json.loads(titles)[0] or "") if titles else "",
            datetime.fromisoformat(opened),
            datetime.fromisoformat(last),
            DECIDING.get(deciding or "", "open"),
            count,
        )
    except (ValueError, KeyError) as exc:
        raise damaged(job, 1, "it cannot be read") from exc
