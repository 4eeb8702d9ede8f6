"""What a job can tell of a customer, and the entry that says that it was removed.

A job holds no name and no address. What can still tell of a customer is what was said freely: the
notes, what was made out where it asked again, and every recording. The rest comes from a fixed
list of words (steps, choices, test points) or is a measurement of the equipment.

A removal is itself an entry: it names the entries whose content is gone, and those whose sound
alone is gone, when, and why. It holds nothing of what they said.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.dialogue.noted import sound_of
from companion.ports import Draft

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from datetime import datetime

    from companion.ports import Entry, Json

FORGOTTEN = "forgotten"
FREELY_SAID = frozenset({"note", "asked-again"})  # the state of a job hangs on neither
# What a whole job keeps all the same: the text of its procedures, and that it was emptied.
_NEVER = frozenset({"job-opened", "fault-begun", FORGOTTEN})


@dataclass(frozen=True, slots=True)
class Forgotten:
    """One removal. `entries` lost what they said, `sounds` only their sound; by their numbers."""

    number: int
    at: datetime
    why: str
    entries: tuple[int, ...]
    sounds: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class ToForget:
    """What is to be removed; as in `Forgotten`."""

    entries: tuple[int, ...] = ()
    sounds: tuple[int, ...] = ()

    def __bool__(self) -> bool:
        return bool(self.entries or self.sounds)


def to_forget(entries: Iterable[Entry], *, everything: bool = False) -> ToForget:
    """Return what of a job can tell of its customer and is still there.

    Args:
        entries: the job's entries, in order.
        everything: also what was done and measured; procedures' texts stay.
    """
    there = list(entries)
    silent = {number for removal in removals(there) for number in removal.sounds}
    gone = [
        entry.number
        for entry in there
        if entry.payload and entry.kind not in _NEVER and (everything or entry.kind in FREELY_SAID)
    ]
    sounds = [
        entry.number
        for entry in there
        if sound_of(entry.payload) and entry.number not in silent.union(gone)
    ]
    return ToForget(tuple(gone), tuple(sounds))


def forgotten(what: ToForget, why: str, at: datetime) -> Draft:
    """Return the entry that says what is removed."""
    said: dict[str, Json] = {
        "entries": list(what.entries),
        "sounds": list(what.sounds),
        "why": why,
    }
    return Draft(FORGOTTEN, said, at)


def removals(entries: Iterable[Entry]) -> tuple[Forgotten, ...]:
    """Return every removal that the entries tell of, oldest first."""
    return tuple(
        Forgotten(
            entry.number,
            entry.at,
            str(entry.payload.get("why", "")),
            numbers_in(entry.payload, "entries"),
            numbers_in(entry.payload, "sounds"),
        )
        for entry in entries
        if entry.kind == FORGOTTEN
    )


def numbers_in(said: Mapping[str, Json], key: str) -> tuple[int, ...]:
    """Return the numbers of entries that a payload lists under a key."""
    numbers = said.get(key)
    if not isinstance(numbers, list):
        return ()
    return tuple(number for number in numbers if isinstance(number, int))


def is_whole(entries: Sequence[Entry]) -> bool:
    """Return whether nothing was removed that the state of a job hangs on: it can be resumed."""
    kinds = {entry.number: entry.kind for entry in entries}
    return all(
        kinds.get(number) in FREELY_SAID
        for removal in removals(entries)
        for number in removal.entries
    )
