r"""The chain of a job's entries: how headers are hashed, drafts joined on, and a log verified.

Each entry is a header and a payload. The header holds the salted SHA-256 of its payload and the
SHA-256 of the header before it, so that no entry can be altered, left out or slipped in unseen,
while a payload (with its salt) can be removed on a customer's request and the chain still holds.
What the chain cannot show by itself is that entries at the very end are gone: that is what the
head printed on the report and in the export is for (`companion jobs verify --head`).

The hashed text of a header is that of RFC 8785 (JSON Canonicalization Scheme), byte for byte:
headers hold whole numbers far below 2**53 and printable ASCII alone (ids, kinds, times, hexadecimal
digests), for which `canonical` writes the same. The test holds it to another implementation.

The text of a payload differs from RFC 8785 in four ways, and stays as it is, because every log so
far is hashed and stored by it: what is not printable ASCII is written as \uXXXX (RFC 8785 writes
UTF-8, and cannot write half a surrogate pair, which a terminal may hand over); keys are sorted by
code point (there by UTF-16 unit, which differs beyond U+FFFF alone); a float as Python writes it
(there as ECMAScript does; no payload of ours holds one, numbers are decimal strings); and a whole
number beyond 2**53 is allowed. To check a payload by other means you need neither form: hash the
salt and the text as stored (`payload_json` of the export 'entries-csv').

Pure: the salts are handed in. Golden values: tests/golden/chain.toml.
"""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from companion.errors import DamagedLogError
from companion.ports import Entry

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from companion.ports import Draft, Json

SCHEMA = 1
GENESIS = "0" * 64  # what the first entry of a job has for the header before it
SALT_BYTES = 16
_ENCODER = json.JSONEncoder(sort_keys=True, separators=(",", ":"), allow_nan=False)


def canonical(value: Json) -> str:
    r"""Return the one JSON text that stands for a value: keys sorted, no blanks, ASCII only.

    ASCII, so that whatever was typed (half a surrogate pair, too) can be hashed and stored.

    Raises:
        ValueError: a float that is no number.
        TypeError: something that JSON does not have, such as a Decimal.

    >>> canonical({"unit": "degF", "name": "60 \u00b0F supply", "confirmed": True})
    '{"confirmed":true,"name":"60 \\u00b0F supply","unit":"degF"}'
    """
    return _ENCODER.encode(value)


def utc_text(at: datetime) -> str:
    """Return a time as the log writes it: UTC, to the microsecond, with a Z.

    Args:
        at: a time with its zone.

    Raises:
        ValueError: the time has no zone.

    >>> utc_text(datetime(2026, 3, 4, 15, 6, 7, tzinfo=UTC))
    '2026-03-04T15:06:07.000000Z'
    """
    if at.tzinfo is None:
        message = f"{at!r} has no time zone"
        raise ValueError(message)
    return at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def payload_digest(salt: bytes, body: str) -> str:
    """Return the SHA-256, as hexadecimal, of the salt followed by the payload's canonical JSON."""
    return hashlib.sha256(salt + body.encode("ascii")).hexdigest()


def header(entry: Entry) -> dict[str, Json]:
    """Return the header of an entry as plain data, in the order in which people read it."""
    return {
        "schema": entry.schema,
        "job": entry.job,
        "number": entry.number,
        "kind": entry.kind,
        "at": utc_text(entry.at),
        "digest": entry.digest,
        "previous": entry.previous,
    }


def header_digest(entry: Entry) -> str:
    """Return the SHA-256, as hexadecimal, of the header's canonical JSON."""
    return digest_of(header(entry))


def digest_of(plain: dict[str, Json]) -> str:
    """Return the SHA-256, as hexadecimal, of the canonical JSON of a header as plain data."""
    return hashlib.sha256(canonical(plain).encode("ascii")).hexdigest()


def head(entries: Sequence[Entry]) -> str:
    """Return the digest of the last header, which stands for the whole chain up to there."""
    return header_digest(entries[-1]) if entries else GENESIS


def chain(
    previous: Entry | None, job: str, drafts: Sequence[Draft], salts: Sequence[bytes]
) -> tuple[Entry, ...]:
    """Return the drafts as entries that follow on `previous`.

    Args:
        previous: the job's last entry, or None for a new job.
        job: the job's id.
        drafts: what to add, in order.
        salts: one fresh random salt a draft, `SALT_BYTES` long.

    Raises:
        ValueError: a time without a zone, or a float that is no number.
        TypeError: a payload that JSON cannot hold.
    """
    entries: list[Entry] = []
    number, before = (previous.number, header_digest(previous)) if previous else (0, GENESIS)
    for draft, salt in zip(drafts, salts, strict=True):
        number += 1
        entry = _entry(job, number, before, draft, salt)
        entries.append(entry)
        before = header_digest(entry)
    return tuple(entries)


def _entry(job: str, number: int, before: str, draft: Draft, salt: bytes) -> Entry:
    body = canonical(dict(draft.payload))
    payload: Mapping[str, Json] = json.loads(body)  # as it will be read back: tuples become lists
    digest = payload_digest(salt, body)
    at = datetime.fromisoformat(utc_text(draft.at))
    return Entry(SCHEMA, job, number, draft.kind, at, digest, before, payload)


def verify(
    entries: Sequence[Entry],
    salts: Sequence[bytes | None] | None = None,
    *,
    owns: Sequence[str] | None = None,
    lost: Collection[int] = (),
) -> None:
    """Check that a job's entries are whole: numbered, chained, and their payloads unaltered.

    Args:
        entries: all entries of one job, in order.
        salts: each payload's salt, None where it was removed; without them only the headers are
            checked.
        owns: the digest that was stored with each header, so that an altered header is named
            itself and not by the next one, and the last one shows too.
        lost: numbers of which a part is there and a part is gone, without a removal.

    Raises:
        DamagedLogError: names the first entry that does not hold.
    """
    before = GENESIS
    for place, entry in enumerate(entries):
        number = place + 1
        if entry.number != number:
            raise damaged(entry.job, number, f"entry {number} is missing")
        if entry.previous != before:
            raise damaged(entry.job, number, "it does not follow on the entry before it")
        own = header_digest(entry)
        if owns is not None and own != owns[place]:
            raise damaged(entry.job, number, "its header was altered")
        if number in lost:
            raise damaged(entry.job, number, "a part of it is gone")
        salt = salts[place] if salts is not None else None
        if salt is not None and payload_digest(salt, canonical(entry.payload)) != entry.digest:
            raise damaged(entry.job, number, "its content was altered")
        before = own
    beyond = [number for number in lost if number > len(entries)]
    if beyond:
        raise damaged(entries[0].job if entries else "", min(beyond), "a part of it is gone")


_NOT_WHOLE = "The job log does not hold: "


def told_briefly(broken: DamagedLogError) -> str:
    """Return where a log does not hold, and why, as part of a line."""
    return f"{broken.where}: {broken.problem.removeprefix(_NOT_WHOLE)}"


def damaged(job: str, number: int, problem: str) -> DamagedLogError:
    """Return the error for an entry that does not hold."""
    return DamagedLogError(
        f"{_NOT_WHOLE}{problem}",
        "Keep a copy of the file and start a new job; do not rely on this one.",
        where=f"job {job}, entry {number}",
    )
