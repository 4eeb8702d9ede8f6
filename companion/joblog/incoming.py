"""A job that comes from elsewhere, read from its JSON: nothing is believed, all is checked."""

from __future__ import annotations

import json
import re
from datetime import datetime
from typing import TYPE_CHECKING, Any

from companion.chain import GENESIS, head, header_digest, utc_text
from companion.errors import ForeignJobError, NewerLogError
from companion.joblog.export import FORMAT, job_json
from companion.joblog.job_schema import check_schema
from companion.joblog.whole import Removal, WholeJob, check_whole
from companion.ports import Entry

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.ports import Json

MOST_JSON_BYTES = 256_000_000  # some 400,000 entries; a job has a few hundred
MOST_NAME_CHARACTERS = 200
_NAME, _VERSION = FORMAT.rsplit(" ", 1)
_ANY_VERSION = re.compile(rf"{re.escape(_NAME)} (\d{{1,9}})")


def job_from_json(data: bytes) -> WholeJob:
    """Return the job that an exported JSON file holds, checked.

    Args:
        data: the file, UTF-8, at most `MOST_JSON_BYTES`.

    Raises:
        ForeignJobError: it is no exported job, or does not hold: schema, chain, digests.
        NewerLogError: a newer version of this program wrote it.
    """
    if len(data) > MOST_JSON_BYTES:
        raise ForeignJobError(
            f"it has {len(data)} bytes; a job may have {MOST_JSON_BYTES}",
            "Nothing was imported. A job of a log's own kind is far smaller.",
        )
    read = _parsed(data)
    _check_version(read)
    check_schema(read)
    whole = WholeJob(
        tuple(_entry(each["header"], each["payload"]) for each in read["entries"]),
        tuple(_salt(each["salt_hex"]) for each in read["entries"]),
        tuple(_removal(each) for each in read.get("removals", ())),
    )
    _check_names(whole)
    check_whole(whole)
    _check_digests(whole, read)
    _check_readable(whole)
    return whole


def _parsed(data: bytes) -> Any:  # noqa: ANN401 -- whatever is in the file
    try:
        return json.loads(
            data.decode("utf-8"), object_pairs_hook=_once_each, parse_constant=_no_number
        )
    except (ValueError, RecursionError) as exc:
        raise ForeignJobError(f"it is no JSON of ours ({ascii(str(exc))[1:81]})") from exc


def _once_each(pairs: list[tuple[str, Json]]) -> dict[str, Json]:
    """Two readers may take different ones of two values under one key: neither is believed."""
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def _no_number(name: str) -> Json:
    raise ValueError(f"{name} is no number")


def _check_version(read: object) -> None:
    """Tell a newer version's export from what is none at all."""
    told = read.get("format") if isinstance(read, dict) else None
    version = _ANY_VERSION.fullmatch(told) if isinstance(told, str) else None
    if version is None:
        raise ForeignJobError("it is no exported job", "Take a file that 'jobs export' wrote.")
    if int(version[1]) > int(_VERSION):
        raise NewerLogError(
            f"The file has format {version[1]}; this program knows formats up to {_VERSION}",
            "Install the newer version of this program. Nothing was imported.",
        )


def _entry(said: Mapping[str, Json], payload: Mapping[str, Json]) -> Entry:
    return Entry(
        said["schema"],
        said["job"],
        said["number"],
        said["kind"],
        _time(said["at"]),
        said["digest"],
        said["previous"],
        payload,
    )


def _salt(hexadecimal: str | None) -> bytes | None:
    return None if hexadecimal is None else bytes.fromhex(hexadecimal)


def _removal(said: Mapping[str, Json]) -> Removal:
    return Removal(said["entry"], _time(said["at_utc"]), said["why"])


def _time(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
        is_one = utc_text(at) == text
    except ValueError:
        is_one = False
    if not is_one:
        raise ForeignJobError(f"'{text}' is no time")
    return at


def _check_names(whole: WholeJob) -> None:
    """Refuse names that could not be stored, or would do something to a terminal."""
    for what, name in (
        ("job", whole.id),
        *(("kind of entry", kind) for kind in {entry.kind for entry in whole.entries}),
    ):
        if not name.isprintable() or len(name) > MOST_NAME_CHARACTERS:
            shown = ascii(name[:MOST_NAME_CHARACTERS])
            raise ForeignJobError(f"{shown} is no name for a {what}")
    for removal in whole.removals:
        try:
            removal.why.encode("utf-8")
        except UnicodeEncodeError as exc:
            raise ForeignJobError("the reason of a removal is no text") from exc
    numbers = [removal.number for removal in whole.removals]
    if numbers != sorted(set(numbers)):
        raise ForeignJobError("its removals are out of order")


def _check_digests(whole: WholeJob, read: Mapping[str, Any]) -> None:
    """Hold what the file tells of its chain to the chain itself."""
    told = [each["header_sha256"] for each in read["entries"]]
    for entry, digest in zip(whole.entries, told, strict=True):
        if header_digest(entry) != digest:
            raise ForeignJobError(f"entry {entry.number} does not hold: its header was altered")
    chain = {"entries": len(whole.entries), "head_sha256": head(whole.entries)}
    if read["chain"] != chain or chain["head_sha256"] == GENESIS:
        raise ForeignJobError("its end is missing: the chain's head is another than the file says")


def _check_readable(whole: WholeJob) -> None:
    """Refuse payloads that every later look at the job would stumble over."""
    try:
        again = job_json(whole.entries, whole.salts, whole.removals)
        check_schema(json.loads(again))
    except (ValueError, TypeError, AttributeError, OverflowError, RecursionError) as exc:
        raise ForeignJobError("what an entry says cannot be read") from exc
