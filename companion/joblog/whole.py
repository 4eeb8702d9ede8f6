"""A whole job, as it is handed out and taken back in: entries, salts, and what was removed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.chain import SCHEMA, canonical, payload_digest, verify
from companion.dialogue.forgetting import removals
from companion.dialogue.noted import sound_of
from companion.errors import DamagedLogError, ForeignJobError, NewerLogError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from datetime import datetime

    from companion.ports import Entry, KeptSound


@dataclass(frozen=True, slots=True)
class Removal:
    """That an entry's payload was removed: the entry's number, when (UTC), and why."""

    number: int
    at: datetime
    why: str


@dataclass(frozen=True, slots=True)
class WholeJob:
    """All of a job that the log holds.

    `salts` has one for each entry, None where the payload was removed; `removals` are in the order
    of their entries.
    """

    entries: tuple[Entry, ...]
    salts: tuple[bytes | None, ...]
    removals: tuple[Removal, ...] = ()

    @property
    def id(self) -> str:
        """The job's id."""
        return self.entries[0].job

    def sounds(self) -> tuple[KeptSound, ...]:
        """Return each sound that an entry names, once, in the order of the log."""
        named = (sound_of(entry.payload) for entry in self.entries)
        once = {(kept.file, kept.sha256): kept for kept in named if kept is not None}
        return tuple(once.values())


def check_whole(whole: WholeJob) -> None:
    """Check a job that comes from elsewhere: its chain, and every payload against its digest.

    Raises:
        NewerLogError: a newer version of this program wrote an entry.
        ForeignJobError: it does not hold; says which entry.
    """
    newest = max(entry.schema for entry in whole.entries)
    if newest > SCHEMA:
        raise NewerLogError(
            f"An entry has schema {newest}; this program knows schemas up to {SCHEMA}",
            "Install the newer version of this program. Nothing was imported.",
        )
    removed = {removal.number for removal in whole.removals}
    for entry, salt in zip(whole.entries, whole.salts, strict=True):
        problem = _entry_problem(whole.id, entry, salt, is_removed=entry.number in removed)
        if problem:
            raise ForeignJobError(f"entry {entry.number} does not hold: {problem}")
    forged = told_otherwise(whole.entries, whole.removals)
    if forged:
        raise ForeignJobError(f"the removal of entry {forged} is not as an entry tells of it")
    if removed - {entry.number for entry in whole.entries}:
        raise ForeignJobError("it tells of the removal of an entry that is not there")
    try:
        verify(whole.entries)
    except DamagedLogError as broken:
        raise ForeignJobError(f"{broken.problem} ({broken.where})") from broken


def told_otherwise(entries: Sequence[Entry], removed: Iterable[Removal]) -> int:
    """Return the first entry whose removal is not as the entry that tells of it says; 0 for none.

    A removal that no entry tells of (up to version 0.4.0) is as it is.
    """
    told = {number: (each.at, each.why) for each in removals(entries) for number in each.entries}
    return next(
        (
            each.number
            for each in removed
            if told.get(each.number, (each.at, each.why)) != (each.at, each.why)
        ),
        0,
    )


def _entry_problem(job: str, entry: Entry, salt: bytes | None, *, is_removed: bool) -> str:
    """Return what is wrong with an entry by itself, or ''."""
    if entry.job != job:
        return "it belongs to another job"
    if is_removed:
        is_empty = salt is None and not entry.payload
        return "" if is_empty else "its content was removed, yet it is here"
    if salt is None:
        return "its salt is missing, and nothing says that its content was removed"
    try:
        body = canonical(dict(entry.payload))
    except ValueError:
        return "it holds a number that is none"
    return "" if payload_digest(salt, body) == entry.digest else "its content was altered"


def difference(here: WholeJob, other: WholeJob) -> str:
    """Return in what another job of the same id differs, for people."""
    for mine, theirs in zip(here.entries, other.entries, strict=False):
        if mine.digest != theirs.digest or mine.previous != theirs.previous:
            return f"it differs from entry {mine.number} on"
    if len(here.entries) != len(other.entries):
        return f"it has {len(here.entries)} entries here, {len(other.entries)} in the file"
    if here.removals != other.removals:
        return "other entries' content was removed"
    return "an entry differs"
