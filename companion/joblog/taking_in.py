"""Taking a job in from a file: JSON, or a zip with its sounds. All is checked before it is stored.

Order: the file's shape, the manifest's digests, the schema, the chain; then the sounds, durable;
then all entries in one commit. Cut off in between, the log is as it was, and sounds without an
entry are removed at the next start.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from companion.chain import head
from companion.errors import ForeignJobError, NewerLogError, SoundFileError
from companion.joblog.archive import FORMAT, JOB_FILE, MANIFEST_FILE, missing, sound_name
from companion.joblog.incoming import MOST_JSON_BYTES, job_from_json
from companion.joblog.zip_reading import hostile_zip

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping
    from pathlib import Path

    from companion.joblog.store import SqliteStore
    from companion.joblog.whole import WholeJob
    from companion.joblog.zip_reading import HostileZip
    from companion.ports import KeptSound

MOST_SOUND_BYTES = 200_000_000  # one sound: more than two hours of speech
_MOST_MANIFEST_BYTES = 20_000_000
_NAME, _VERSION = FORMAT.rsplit(" ", 1)


@dataclass(frozen=True, slots=True)
class TakenIn:
    """What came of an import: whether the job is new here, and the sounds that it did not bring."""

    job: str
    entries: int
    is_new: bool
    sounds: int
    missing_sounds: int


def take_in(path: Path, store: SqliteStore, told: Callable[[int], object]) -> TakenIn:
    """Take the job of a file into the log, or nothing of it.

    Args:
        path: what `companion jobs export` wrote with --format zip or json.
        store: open to write.
        told: called with the number of bytes that were dealt with since the last call.

    Raises:
        ForeignJobError: the file is no whole job.
        NewerLogError: a newer version of this program wrote it.
        JobThereError: a job of that id is here, with other content.
        StoreError: it cannot be stored; nothing was.
        OSError: the file cannot be read.
    """
    if zipfile.is_zipfile(path):
        with hostile_zip(path) as opened:
            return _from_zip(opened, store, told)
    if path.stat().st_size > MOST_JSON_BYTES:
        raise ForeignJobError(f"it has more than {MOST_JSON_BYTES} bytes")
    whole = job_from_json(path.read_bytes())
    told(path.stat().st_size)
    return _stored(whole, store, sounds=0)


def _from_zip(opened: HostileZip, store: SqliteStore, told: Callable[[int], object]) -> TakenIn:
    manifest = _manifest(opened)
    for name, size, digest in _listed(opened, manifest):
        seen = hashlib.sha256()
        for block in opened.blocks(name, size):
            seen.update(block)
            told(len(block))
        if seen.hexdigest() != digest:
            raise ForeignJobError(f"{name!a} is not what the manifest says: it was altered")
    whole = job_from_json(opened.data(JOB_FILE, MOST_JSON_BYTES))
    brought = _sounds(whole, manifest, opened, store)
    store.holds(whole)  # refuse before a sound is written
    store.tidy_sounds()
    try:
        for kept in brought:
            store.sounds.put_back(kept, opened.data(sound_name(kept), MOST_SOUND_BYTES))
        return _stored(whole, store, sounds=len(brought))
    except BaseException:
        store.tidy_sounds()
        raise


def _manifest(opened: HostileZip) -> Mapping[str, Any]:
    try:
        manifest = json.loads(opened.data(MANIFEST_FILE, _MOST_MANIFEST_BYTES))
        name, version = manifest["format"].rsplit(" ", 1)
        number = int(version)
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError) as exc:
        raise ForeignJobError("its manifest cannot be read") from exc
    if name == _NAME and number > int(_VERSION):
        raise NewerLogError(
            f"The zip has format {number}; this program knows formats up to {_VERSION}",
            "Install the newer version of this program. Nothing was imported.",
        )
    if manifest["format"] != FORMAT:
        raise ForeignJobError("it is no exported job", "Take a file that 'jobs export' wrote.")
    return dict(manifest)


def _listed(opened: HostileZip, manifest: Mapping[str, Any]) -> list[tuple[str, int, str]]:
    """Return name, size and digest of every file; those of the zip, no more and no fewer."""
    try:
        listed = [
            (str(each["name"]), int(each["bytes"]), str(each["sha256"]))
            for each in manifest["files"]
        ]
    except (ValueError, TypeError, KeyError, OverflowError) as exc:
        raise ForeignJobError("its manifest cannot be read") from exc
    names = [name for name, _, _ in listed]
    strange = opened.names ^ {*names, MANIFEST_FILE}
    if strange or len(set(names)) != len(names) or MANIFEST_FILE in names:
        which = ", ".join(ascii(name[:80]) for name in sorted(strange)[:3]) or "a name twice"
        raise ForeignJobError(f"the zip and its manifest differ: {which}")
    return listed


def _sounds(
    whole: WholeJob, manifest: Mapping[str, Any], opened: HostileZip, store: SqliteStore
) -> list[KeptSound]:
    """Return the sounds that the zip brings: each one named by an entry, each named one told of."""
    if (manifest.get("job"), manifest.get("head_sha256")) != (whole.id, head(whole.entries)):
        raise ForeignJobError("its manifest is that of another job")
    brought = [kept for kept in whole.sounds() if sound_name(kept) in opened.names]
    gone = [missing(kept) for kept in whole.sounds() if sound_name(kept) not in opened.names]
    told_gone = manifest.get("missing_sounds")
    if not isinstance(told_gone, list) or any(each not in told_gone for each in gone):
        raise ForeignJobError("a sound is missing that the manifest does not tell of")
    lost = [kept for kept in brought if missing(kept) in told_gone]
    brought = [kept for kept in brought if kept not in lost]
    named = {sound_name(kept) for kept in brought}
    extra = {name for name in opened.names if name.startswith("sounds/")} - named
    if extra or not all(store.sounds.is_own(whole.id, kept) for kept in brought):
        raise ForeignJobError("it holds a sound that no entry names, or under a strange name")
    return brought


def _stored(whole: WholeJob, store: SqliteStore, sounds: int) -> TakenIn:
    is_new = store.take_in(whole)
    there = 0
    for kept in whole.sounds():
        try:
            store.sounds.data(kept)
        except SoundFileError:
            continue
        there += 1
    return TakenIn(
        whole.id, len(whole.entries), is_new, sounds, missing_sounds=len(whole.sounds()) - there
    )
