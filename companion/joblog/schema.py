"""The tables of the job log, and the checks before a file is taken for one.

Headers and payloads are kept apart: a header stays for ever, a payload may be removed, but only
together with a redaction that says when and why. Triggers hold both, so that no other program that
opens the file can quietly rewrite it either.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.errors import NewerLogError
from companion.joblog.sqlite_errors import damaged_file

if TYPE_CHECKING:
    import sqlite3
    from pathlib import Path

VERSION = 1  # PRAGMA user_version of the file; an entry's own schema number is separate
APPLICATION_ID = 0x4A6F624C  # 'JobL', what `file` and others can tell the file by

_REFUSALS = "\n".join(
    f"""
CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table}
BEGIN SELECT RAISE(ABORT, 'the job log is append only'); END;"""
    for table, verb in (
        ("header", "UPDATE"),
        ("header", "DELETE"),
        ("payload", "UPDATE"),
        ("redaction", "UPDATE"),
        ("redaction", "DELETE"),
    )
)

_TABLES = """
CREATE TABLE header (
  job TEXT NOT NULL,
  number INTEGER NOT NULL CHECK (number > 0),
  schema INTEGER NOT NULL,
  kind TEXT NOT NULL,
  at TEXT NOT NULL,        -- UTC, 2026-03-04T15:06:07.000000Z
  digest TEXT NOT NULL,    -- SHA-256 of the payload's salt and body
  previous TEXT NOT NULL,  -- SHA-256 of the header before, as canonical JSON
  own TEXT NOT NULL,       -- SHA-256 of this one: a flipped bit in the last entry shows, too
  PRIMARY KEY (job, number)
) STRICT;
CREATE TABLE payload (
  job TEXT NOT NULL,
  number INTEGER NOT NULL,
  salt BLOB NOT NULL,
  body TEXT NOT NULL,      -- canonical JSON
  PRIMARY KEY (job, number),
  FOREIGN KEY (job, number) REFERENCES header (job, number)
) STRICT;
CREATE TABLE redaction (
  job TEXT NOT NULL,
  number INTEGER NOT NULL,
  at TEXT NOT NULL,
  why TEXT NOT NULL,
  PRIMARY KEY (job, number),
  FOREIGN KEY (job, number) REFERENCES header (job, number)
) STRICT;
"""

_TRIGGERS = """
-- INSERT OR REPLACE would delete without asking the triggers above; numbers leave no gap.
CREATE TRIGGER header_follows BEFORE INSERT ON header
WHEN NEW.number <> (SELECT COALESCE(MAX(number), 0) + 1 FROM header WHERE job = NEW.job)
BEGIN SELECT RAISE(ABORT, 'the job log is append only'); END;
CREATE TRIGGER payload_once BEFORE INSERT ON payload
WHEN EXISTS (SELECT 1 FROM payload WHERE job = NEW.job AND number = NEW.number)
  OR EXISTS (SELECT 1 FROM redaction WHERE job = NEW.job AND number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'the job log is append only'); END;
CREATE TRIGGER payload_removed BEFORE DELETE ON payload
WHEN NOT EXISTS (SELECT 1 FROM redaction WHERE job = OLD.job AND number = OLD.number)
BEGIN SELECT RAISE(ABORT, 'a payload is removed by a redaction only'); END;
CREATE TRIGGER redaction_once BEFORE INSERT ON redaction
WHEN EXISTS (SELECT 1 FROM redaction WHERE job = NEW.job AND number = NEW.number)
BEGIN SELECT RAISE(ABORT, 'the job log is append only'); END;
"""

SETUP = (
    f"{_TABLES}{_REFUSALS}{_TRIGGERS}"
    f"PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {VERSION};"
)


def check_file(connection: sqlite3.Connection, path: Path) -> bool:
    """Return whether the file holds a job log; False where it is still empty.

    Raises:
        NewerLogError: a newer version of this program wrote it.
        DamagedLogError: it is another program's database.
        sqlite3.Error: it is no database at all.
    """
    version = _pragma(connection, "user_version")
    ours = _pragma(connection, "application_id") == APPLICATION_ID
    if ours and version > VERSION:
        raise NewerLogError(
            f"The job log has version {version}; this program knows versions up to {VERSION}",
            "Install the newer version of this program. The log was not touched.",
            where=str(path),
        )
    tables = int(connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])
    if not ours and (version or tables):
        raise damaged_file(path)
    return ours


def _pragma(connection: sqlite3.Connection, name: str) -> int:
    return int(connection.execute(f"PRAGMA {name}").fetchone()[0])
