"""The readings, and the notes, as the log tells them: every version kept, with what became of it.

`state.fold` gives the job as it stands, for going on with it. This gives the history, for export
and report: a corrected or struck reading stays in its place, marked, and what replaced it follows.
A payload that was removed on request leaves a reading that says so.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Literal

from companion.dialogue.forgetting import FORGOTTEN, numbers_in
from companion.dialogue.noted import Noted, noted, sound_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from companion.ports import Entry, Json

Status = Literal["stands", "corrected", "struck", "removed"]


@dataclass(frozen=True, slots=True)
class LoggedReading:
    """One version of a reading.

    `number` and `at` are its entry's; `replaces` is the entry whose value it corrects, and
    `changed_by` and `changed_at` are those of the entry that corrected or struck it. `value` is a
    decimal string in `unit`, or 'OL' or 'open'; `low` and `high` are decimal strings, or ''.
    `sound_file` and `sound_sha256` name its sound, '' where none was kept; the file alone is ''
    where the sound was removed on request.
    """

    number: int
    at: datetime
    id: str
    step: str
    point: str
    name: str
    value: str
    unit: str
    low: str
    high: str
    source: str
    verdict: str
    phase: str
    words: str
    match: str
    confirmed: bool
    status: Status = "stands"
    replaces: int | None = None
    changed_by: int | None = None
    changed_at: datetime | None = None
    sound_file: str = ""
    sound_sha256: str = ""


@dataclass(frozen=True, slots=True)
class LoggedNote:
    """A note, and the entry that it is; `note.number` counts the job's notes from 1."""

    number: int
    at: datetime
    note: Noted


def logged_notes(entries: Iterable[Entry]) -> tuple[LoggedNote, ...]:
    """Return every note, in the order of the log; one whose content was removed says so.

    Args:
        entries: a job's entries, in order.
    """
    found = (entry for entry in entries if entry.kind == "note")
    return tuple(
        LoggedNote(entry.number, entry.at, noted(place, entry.payload))
        for place, entry in enumerate(found, 1)
    )


def logged_readings(entries: Iterable[Entry]) -> tuple[LoggedReading, ...]:
    """Return every version of every reading, in the order of the log.

    Args:
        entries: a job's entries, in order.
    """
    history = _History()
    for entry in entries:
        history.take(entry)
    return tuple(history.versions)


@dataclass(frozen=True, slots=True)
class OpenTimer:
    """A timer or reminder that was neither told nor cancelled; `due` is UTC, `name` may be ''."""

    id: str
    name: str
    due: datetime


def open_timers(entries: Iterable[Entry]) -> tuple[OpenTimer, ...]:
    """Return the timers that are still open, soonest first; one that cannot be read is left out.

    Args:
        entries: a job's entries, in order.
    """
    running: dict[str, OpenTimer] = {}
    for entry in entries:
        number = _text(entry.payload, "id")
        if entry.kind == "timer-set":
            try:
                due = datetime.fromisoformat(_text(entry.payload, "due")).astimezone(UTC)
            except (ValueError, OverflowError):
                continue
            running[number] = OpenTimer(number, _text(entry.payload, "name"), due)
        elif entry.kind in {"timer-told", "timer-cancelled"}:
            running.pop(number, None)
    return tuple(sorted(running.values(), key=lambda timer: timer.due))


class _History:
    """Versions as they come; `_latest` finds the last version by any id the reading ever had."""

    def __init__(self) -> None:
        self.versions: list[LoggedReading] = []
        self._latest: dict[str, int] = {}

    def take(self, entry: Entry) -> None:
        """Let one entry change the history."""
        if entry.kind in {"reading", "correction"} and not entry.payload:
            self.versions.append(_version(entry, {}, "removed"))
        elif entry.kind == "reading":
            self._add(_version(entry, entry.payload), _text(entry.payload, "id"))
        elif entry.kind == "correction":
            self._correct(entry)
        elif entry.kind == "struck":
            self._mark(entry, "struck")
        elif entry.kind == "reading-confirmed":
            self._confirm(_text(entry.payload, "of"))
        elif entry.kind == FORGOTTEN:
            self._silence(numbers_in(entry.payload, "sounds"))

    def _add(self, version: LoggedReading, *ids: str) -> None:
        self.versions.append(version)
        for name in ids:
            self._latest[name] = len(self.versions) - 1

    def _correct(self, entry: Entry) -> None:
        """A correction says what changed; the rest is as it was."""
        of = _text(entry.payload, "of")
        old = self._mark(entry, "corrected")
        said: dict[str, Json] = dict(entry.payload)
        if old:
            kept = ("step", "point", "name", "unit", "low", "high", "source", "phase")
            said = {key: getattr(old, key) for key in kept} | said
        version = _version(entry, said)
        if old and old.status == "struck":  # as in the folded job, what is struck stays struck
            version = replace(
                version, status="struck", changed_by=old.changed_by, changed_at=old.changed_at
            )
        ids = {of, _text(entry.payload, "id")} | ({old.id} if old else set())
        self._add(replace(version, replaces=old.number if old else None), *(ids - {""}))

    def _mark(self, entry: Entry, status: Status) -> LoggedReading | None:
        """Mark the last version of the reading an entry is about, and return it as it was."""
        place = self._latest.get(_text(entry.payload, "of"))
        if place is None:
            return None
        old = self.versions[place]
        if old.status != "struck":
            self.versions[place] = replace(
                old, status=status, changed_by=entry.number, changed_at=entry.at
            )
        return old

    def _silence(self, numbers: tuple[int, ...]) -> None:
        """Name no file that was removed; its digest stays, as the entry has it."""
        self.versions = [
            replace(version, sound_file="") if version.number in numbers else version
            for version in self.versions
        ]

    def _confirm(self, of: str) -> None:
        place = self._latest.get(of)
        if place is not None:
            self.versions[place] = replace(self.versions[place], confirmed=True)


def _version(entry: Entry, said: Mapping[str, Json], status: Status = "stands") -> LoggedReading:
    words, sound = said.get("words", ""), sound_of(said)
    return LoggedReading(
        number=entry.number,
        at=entry.at,
        id=_text(said, "id") or _text(said, "of"),
        step=_text(said, "step"),
        point=_text(said, "point"),
        name=_text(said, "name"),
        value=_text(said, "value"),
        unit=_text(said, "unit"),
        low=_text(said, "low"),
        high=_text(said, "high"),
        source=_text(said, "source"),
        verdict=_text(said, "verdict"),
        phase=_text(said, "phase"),
        words=" ".join(map(str, words)) if isinstance(words, list) else str(words or ""),
        match=_text(said, "match"),
        confirmed=said.get("confirmed") is True,
        status=status,
        sound_file=sound.file if sound else "",
        sound_sha256=sound.sha256 if sound else "",
    )


def _text(said: Mapping[str, Json], key: str) -> str:
    value = said.get(key)
    return "" if value is None else str(value)
