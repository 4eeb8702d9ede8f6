"""Verifying a log: every entry, every content, every removal and every sound, job by job."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.chain import damaged, head, header_digest, told_briefly
from companion.dialogue.forgetting import removals
from companion.dialogue.noted import sound_of
from companion.errors import DamagedLogError, SoundAlteredError, SoundFileError
from companion.joblog.whole import told_otherwise

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.joblog.store import SqliteStore
    from companion.ports import Entry


@dataclass(frozen=True, slots=True)
class Checked:
    """What was found of one job.

    `head` is the digest of its last header, '' where the job does not hold. `removed` counts
    entries whose content was removed on request, `unsaid` those of them that no entry tells of
    (versions up to 0.4.0 wrote none). `sounds` counts those that are as kept, `sounds_gone` those
    that are not there. `problem` says where and why it does not hold, '' where it holds.
    """

    job: str
    entries: int
    head: str = ""
    removed: int = 0
    unsaid: int = 0
    sounds: int = 0
    sounds_gone: int = 0
    problem: str = ""


def check_job(store: SqliteStore, job: str) -> Checked:
    """Return what is found of one job; what does not hold is in it, not raised.

    Args:
        store: the log.
        job: the job's id.

    Raises:
        JobNotFoundError: no such job.
        StoreError: the file cannot be read as a whole.
    """
    try:
        entries = list(store.entries(job))
        salts = store.salts(job)
        _check_removals(entries)
        forged = told_otherwise(entries, store.whole(job).removals)
        if forged:
            raise damaged(job, forged, "its removal is not as an entry tells of it")
        sounds, sounds_gone = _check_sounds(store, entries)
    except DamagedLogError as broken:
        if not broken.where.startswith(f"job {job},"):
            raise
        count = len(list(store.entries(job, checked=False)))
        return Checked(job, count, problem=told_briefly(broken))
    empty = {entry.number for entry, salt in zip(entries, salts, strict=True) if salt is None}
    told = {number for removal in removals(entries) for number in removal.entries}
    return Checked(
        job,
        len(entries),
        head(entries),
        removed=len(empty),
        unsaid=len(empty - told),
        sounds=sounds,
        sounds_gone=sounds_gone,
    )


def place_of(entries: Sequence[Entry], digest: str) -> int | None:
    """Return the number of the entry whose header has this digest, None where none has.

    Args:
        entries: a job's entries, in order, verified.
        digest: the last hash as a report or an export printed it, 64 hexadecimal digits.
    """
    return next((entry.number for entry in entries if header_digest(entry) == digest), None)


def _check_removals(entries: Sequence[Entry]) -> None:
    """What a removal names is gone."""
    there = {entry.number for entry in entries if entry.payload}
    for removal in removals(entries):
        back = sorted(there.intersection(removal.entries))
        if back:
            raise damaged(
                entries[0].job,
                back[0],
                f"entry {removal.number} says that its content was removed, and it is there",
            )


def _check_sounds(store: SqliteStore, entries: Sequence[Entry]) -> tuple[int, int]:
    """Return how many sounds are as they were kept, and how many are not there."""
    silent = {number for removal in removals(entries) for number in removal.sounds}
    whole = gone = 0
    for entry in entries:
        kept = None if entry.number in silent else sound_of(entry.payload)
        if kept is None:
            continue
        try:
            store.sounds.data(kept)
        except SoundAlteredError as exc:
            raise damaged(entry.job, entry.number, f"its sound {kept.file} was altered") from exc
        except SoundFileError:
            gone += 1
        else:
            whole += 1
    return whole, gone
