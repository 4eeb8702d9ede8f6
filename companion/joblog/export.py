"""A job as CSV and JSON: units as written, times in UTC, safe to open in a spreadsheet."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING

from companion.chain import canonical, head, header, header_digest, utc_text
from companion.dialogue.noted import TYPED, UNVERIFIED
from companion.dialogue.record import logged_notes, logged_readings
from companion.joblog.summary import summary
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from companion.dialogue.record import LoggedNote, LoggedReading
    from companion.joblog.whole import Removal
    from companion.ports import Entry, Json

FORMAT = "companion job 1"

# A spreadsheet takes a cell that begins with one of these for a formula (OWASP, 'CSV Injection').
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "%")

READING_COLUMNS = (
    "job",
    "entry",
    "time_utc",
    "step",
    "point",
    "name",
    "value",
    "unit",
    "low",
    "high",
    "limit_source",
    "verdict",
    "phase",
    "status",
    "changed_utc",
    "changed_by_entry",
    "replaces_entry",
    "confirmed",
    "words",
    "match",
    "sound_file",
    "sound_sha256",
)
ENTRY_COLUMNS = (
    "job",
    "entry",
    "time_utc",
    "kind",
    "schema",
    "payload_json",
    "payload_sha256",
    "previous_header_sha256",
    "header_sha256",
)


def readings_csv(entries: Sequence[Entry]) -> str:
    """Return one row a reading, every version of it: 'status' says which of them stands.

    Args:
        entries: a job's entries, in order.
    """
    job = entries[0].job if entries else ""
    return csv_text(READING_COLUMNS, (_reading_row(job, r) for r in logged_readings(entries)))


def _reading_row(job: str, reading: LoggedReading) -> tuple[str, ...]:
    return (
        as_text(job),
        str(reading.number),
        utc_text(reading.at),
        as_text(reading.step),
        as_text(reading.point),
        as_text(reading.name),
        as_number(reading.value),
        as_text(unit_written(reading.unit)),
        as_number(reading.low),
        as_number(reading.high),
        as_text(reading.source),
        as_text(reading.verdict),
        as_text(reading.phase),
        reading.status,
        _time(reading.changed_at),
        str(reading.changed_by or ""),
        str(reading.replaces or ""),
        "yes" if reading.confirmed else "no",
        as_text(reading.words),
        as_number(reading.match),
        as_text(reading.sound_file),
        as_text(reading.sound_sha256),
    )


def entries_csv(entries: Sequence[Entry]) -> str:
    """Return one row an entry, with its header, digests and payload.

    Args:
        entries: a job's entries, in order.
    """
    return csv_text(
        ENTRY_COLUMNS,
        (
            (
                as_text(entry.job),
                str(entry.number),
                utc_text(entry.at),
                as_text(entry.kind),
                str(entry.schema),
                canonical(dict(entry.payload)),
                entry.digest,
                entry.previous,
                header_digest(entry),
            )
            for entry in entries
        ),
    )


def job_json(
    entries: Sequence[Entry],
    salts: Sequence[bytes | None] | None = None,
    removals: Sequence[Removal] = (),
) -> str:
    """Return the whole job as JSON: what it is, entries, readings, notes, the chain's head.

    Its JSON Schema is `job.schema.json`.

    Args:
        entries: a job's entries, in order; at least one.
        salts: each payload's salt (`SqliteStore.salts`), with which anyone can check the payloads
            against their digests; None where a payload was removed.
        removals: what was removed, when and why.
    """
    about = summary(entries)
    whole = {
        "format": FORMAT,
        "job": {
            "id": about.id,
            "title": about.title,
            "opened_utc": utc_text(about.opened),
            "last_entry_utc": utc_text(about.last_entry),
            "state": about.state,
        },
        "chain": {"entries": len(entries), "head_sha256": head(entries)},
        "entries": [
            _entry_json(entry, salts[place] if salts else None)
            for place, entry in enumerate(entries)
        ],
        "removals": [
            {"entry": each.number, "at_utc": utc_text(each.at), "why": each.why}
            for each in removals
        ],
        "readings": [_reading_json(reading) for reading in logged_readings(entries)],
        "notes": [_note_json(each) for each in logged_notes(entries)],
    }
    text = json.dumps(whole, ensure_ascii=False, indent=2) + "\n"
    # Half a surrogate pair, as a terminal may hand over, cannot be written but as its escape.
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def _entry_json(entry: Entry, salt: bytes | None) -> dict[str, Json]:
    return {
        "header": header(entry),
        "header_sha256": header_digest(entry),
        "payload": dict(entry.payload),
        "salt_hex": salt.hex() if salt is not None else None,
    }


def _reading_json(reading: LoggedReading) -> dict[str, Json]:
    times: dict[str, Json] = {
        "at": utc_text(reading.at),
        "changed_at": _time(reading.changed_at) or None,
    }
    return asdict(reading) | times | {"unit_written": unit_written(reading.unit)}


def _note_json(logged: LoggedNote) -> dict[str, Json]:
    note = logged.note
    return {
        "note": note.number,
        "entry": logged.number,
        "at": utc_text(logged.at),
        "step": note.step,
        "words": note.words,
        "words_are": "removed" if note.is_removed else TYPED if note.is_typed else UNVERIFIED,
        "sound": note.sound.payload if note.sound else None,
        "gaps": note.gaps,
    }


def unit_written(slug: str) -> str:
    """Return a unit as the trade writes it ('in. w.c.'); an unknown slug as it is."""
    unit = UNITS.get(slug)
    return unit.symbol if unit else slug


def as_number(text: str) -> str:
    """Return a cell of a numeric column: a number as it is, a word ('OL') as safe text.

    >>> as_number("-0.20"), as_number("OL"), as_number("=1+1")
    ('-0.20', 'OL', "'=1+1")
    """
    try:
        is_number = Decimal(text).is_finite() and "_" not in text
    except InvalidOperation:
        is_number = False
    return text if is_number and text == text.strip() else as_text(text)


def as_text(text: str) -> str:
    """Return a cell that no spreadsheet takes for a formula; an apostrophe marks it as text.

    >>> as_text("@home"), as_text("supply static")
    ("'@home", 'supply static')
    """
    writable = (
        text.encode("utf-8", "replace").decode("utf-8").replace("\0", "\N{REPLACEMENT CHARACTER}")
    )
    return f"'{writable}" if writable.lstrip(" ").startswith(_FORMULA_STARTS) else writable


def _time(at: datetime | None) -> str:
    return utc_text(at) if at else ""


def csv_text(columns: Iterable[str], rows: Iterable[Iterable[str]]) -> str:
    """Return RFC 4180 text: a header, lines ended by CR LF, cells quoted where they must be.

    Args:
        columns: the header.
        rows: cells, made safe by `as_text` or `as_number`.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(rows)
    return out.getvalue()
