"""What the report tells of a job, not yet laid out: `folding.story` gathers it from the log."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from companion.dialogue.forgetting import Forgotten
    from companion.dialogue.record import LoggedNote, LoggedReading
    from companion.ports import Json


@dataclass(slots=True)
class Passage:
    """A hold point, from being opened to being met (`met` None: it was not)."""

    step: str
    hold: str
    opened: datetime
    why: str
    title: str = ""
    checks: list[tuple[datetime, str, str]] = field(default_factory=list)  # when, check, answer
    met: datetime | None = None
    first: int = 0  # its readings are those of its step between these entries
    last: int = 0


@dataclass(slots=True)
class Passed:
    """A step that was entered: how it ended ('done', 'skipped', 'deferred', '') and why."""

    step: str
    entered: datetime
    how: str = ""
    why: str = ""
    at: datetime | None = None


@dataclass(slots=True)
class Alarm:
    """An emergency and when the technician was clear of it."""

    at: datetime
    hazard: str
    words: str
    clear: datetime | None = None


@dataclass(slots=True)
class Search:
    """A fault that was looked for within the job; `how` is '' where the search was not ended."""

    at: datetime
    title: str
    procedure: str
    text: str
    how: str = ""


@dataclass(frozen=True, slots=True)
class AskedAgain:
    """Something that was not understood, or not for sure; `number` is its entry's."""

    number: int
    at: datetime
    words: str
    why: str


@dataclass(frozen=True, slots=True)
class Confirmed:
    """A reading, by its id, that was confirmed aloud; `number` is the entry's."""

    number: int
    at: datetime
    of: str


@dataclass(frozen=True, slots=True)
class Answered:
    """A choice that was answered: its slug, the option's and the step that asked."""

    at: datetime
    step: str
    choice: str
    option: str


@dataclass(slots=True)
class Story:
    """All that the report tells of a job."""

    job: str = ""
    title: str = ""
    procedure: str = ""
    version: str = ""
    procedure_digest: str = ""
    text: str = ""
    opened: datetime | None = None
    last: datetime | None = None
    ended: str = ""  # 'finished', 'left safe', or '' while open
    told: str = ""
    left_checks: list[str] = field(default_factory=list)
    called_off: datetime | None = None
    answered: dict[str, Answered] = field(default_factory=dict)
    readings: tuple[LoggedReading, ...] = ()
    notes: tuple[LoggedNote, ...] = ()
    missed: list[tuple[datetime, str, str]] = field(default_factory=list)  # when, step, point
    cautions: list[tuple[datetime, str]] = field(default_factory=list)
    passages: list[Passage] = field(default_factory=list)
    step: str = ""  # the one entered last
    steps: dict[str, Passed] = field(default_factory=dict)
    questions: list[tuple[datetime, Mapping[str, Json]]] = field(default_factory=list)
    alarms: list[Alarm] = field(default_factory=list)
    searches: list[Search] = field(default_factory=list)
    asked_again: list[AskedAgain] = field(default_factory=list)
    confirmed: list[Confirmed] = field(default_factory=list)
    resumed: list[datetime] = field(default_factory=list)
    removed: int = 0
    unjudged: int = 0  # of these, what told how the work went: no note, and nothing asked again
    removals: tuple[Forgotten, ...] = ()
    set_back: list[tuple[int, datetime, datetime]] = field(default_factory=list)  # entry, from, to
    kinds: Counter[str] = field(default_factory=Counter)
    entries: int = 0
    head: str = ""
    damage: str = ""

    def answer(self, choice: str) -> str:
        """Return the option that stands for a choice, '' where there is none."""
        found = self.answered.get(choice)
        return found.option if found else ""

    def last_read(self) -> list[LoggedReading]:
        """Return of each test point in each phase the standing reading that was taken last."""
        return list({(r.point, r.phase): r for r in self.standing()}.values())

    def standing(self) -> list[LoggedReading]:
        """Return the readings that were neither struck nor corrected, oldest first."""
        return [reading for reading in self.readings if reading.status == "stands"]

    def of_passage(self, passage: Passage) -> list[LoggedReading]:
        """Return the readings that a hold point took, standing ones only."""
        return [
            reading
            for reading in self.standing()
            if reading.step == passage.step and passage.first < reading.number <= passage.last
        ]
