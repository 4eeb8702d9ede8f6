"""A job's entries, gathered under the headings of the report.

Tolerant where the log is: a payload that was removed on request, a kind that is unknown here, a
hold point met that was never opened. The report shows what there is and leaves the rest out.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from companion.chain import head, verify
from companion.dialogue.record import LoggedNote, LoggedReading, logged_notes, logged_readings
from companion.errors import DamagedLogError

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime

    from companion.ports import Entry, Json

# Kinds whose payload says something: an empty one was removed.
_SAY_NOTHING = frozenset(
    {"resumed", "all-clear", "standing-by", "woken", "called-off", "finished", "left-safe"}
)


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


def story(entries: Sequence[Entry]) -> Story:
    """Return what the entries of one job tell.

    Args:
        entries: a job's entries, in order.
    """
    told = Story(
        entries=len(entries),
        head=head(entries),
        readings=logged_readings(entries),
        notes=logged_notes(entries),
    )
    for entry in entries:
        _take(told, entry)
    for passage in told.passages:
        passage.last = passage.last or len(entries)
    try:
        verify(entries)
    except DamagedLogError as broken:
        told.damage = f"{broken.where}: {broken.problem}"
    return told


def _take(told: Story, entry: Entry) -> None:
    """Let one entry add to the story."""
    told.job = entry.job
    told.opened = told.opened or entry.at
    told.last = entry.at
    told.kinds[entry.kind] += 1
    if not entry.payload and entry.kind not in _SAY_NOTHING:
        told.removed += 1
        return
    teller = _TELLERS.get(entry.kind)
    if teller:
        teller(told, entry)


def _job_opened(told: Story, entry: Entry) -> None:
    told.title = said(entry, "title")
    told.procedure = said(entry, "procedure")
    told.version = said(entry, "version")
    told.procedure_digest = said(entry, "digest")
    told.text = said(entry, "text")


def _resumed(told: Story, entry: Entry) -> None:
    told.resumed.append(entry.at)
    told.ended = ""


def _choice(told: Story, entry: Entry) -> None:
    choice = said(entry, "choice")
    told.answered[choice] = Answered(entry.at, said(entry, "step"), choice, said(entry, "option"))


def _choice_withdrawn(told: Story, entry: Entry) -> None:
    told.answered.pop(said(entry, "choice"), None)


def _missed(told: Story, entry: Entry) -> None:
    told.missed.append((entry.at, said(entry, "step"), said(entry, "point")))


def _caution(told: Story, entry: Entry) -> None:
    told.cautions.append((entry.at, said(entry, "step")))


def _step_entered(told: Story, entry: Entry) -> None:
    step = said(entry, "step")
    told.steps.setdefault(step, Passed(step, entry.at))
    told.step = step


def _step_left(how: str, why: str) -> Callable[[Story, Entry], None]:
    def tell(told: Story, entry: Entry) -> None:
        step = said(entry, "step")
        passed = told.steps.setdefault(step, Passed(step, entry.at))
        passed.how, passed.why, passed.at = how, said(entry, why), entry.at

    return tell


def _hold_opened(told: Story, entry: Entry) -> None:
    open_now = _open_passage(told, said(entry, "step"))
    if open_now:
        open_now.last = entry.number
    told.passages.append(_passage(entry))


def _hold_check(told: Story, entry: Entry) -> None:
    passage = _open_passage(told, said(entry, "step"))
    if passage is None:
        passage = _passage(entry)
        told.passages.append(passage)
    passage.checks.append((entry.at, said(entry, "check"), said(entry, "answer")))


def _hold_met(told: Story, entry: Entry) -> None:
    passage = _open_passage(told, said(entry, "step"))
    if passage is None:
        passage = _passage(entry)
        told.passages.append(passage)
    passage.met, passage.last = entry.at, entry.number
    passage.title = said(entry, "title")


def _passage(entry: Entry) -> Passage:
    return Passage(
        said(entry, "step"), said(entry, "hold"), entry.at, said(entry, "why"), first=entry.number
    )


def _open_passage(told: Story, step: str) -> Passage | None:
    """The hold point of this step that was opened last, unless it was met."""
    for passage in reversed(told.passages):
        if passage.step == step:
            return None if passage.met else passage
    return None


def _question(told: Story, entry: Entry) -> None:
    told.questions.append((entry.at, entry.payload))


def _emergency(told: Story, entry: Entry) -> None:
    told.alarms.append(Alarm(entry.at, said(entry, "hazard"), said(entry, "words")))


def _all_clear(told: Story, entry: Entry) -> None:
    for alarm in told.alarms:
        alarm.clear = alarm.clear or entry.at


def _fault_begun(told: Story, entry: Entry) -> None:
    told.searches.append(
        Search(entry.at, said(entry, "title"), said(entry, "procedure"), said(entry, "text"))
    )


def _fault_ended(told: Story, entry: Entry) -> None:
    if told.searches:
        told.searches[-1].how = said(entry, "how")


def _asked_again(told: Story, entry: Entry) -> None:
    told.asked_again.append(
        AskedAgain(entry.number, entry.at, said(entry, "words"), said(entry, "why"))
    )


def _confirmed(told: Story, entry: Entry) -> None:
    told.confirmed.append(Confirmed(entry.number, entry.at, said(entry, "of")))


def _called_off(told: Story, entry: Entry) -> None:
    told.called_off = entry.at


def _left_safe(told: Story, entry: Entry) -> None:
    told.ended = "left safe"
    told.told = said(entry, "told")
    checks = entry.payload.get("checks") or []
    told.left_checks = [str(c) for c in checks] if isinstance(checks, list) else [str(checks)]


def _finished(told: Story, _: Entry) -> None:
    told.ended = "finished"


_TELLERS: Mapping[str, Callable[[Story, Entry], None]] = {
    "job-opened": _job_opened,
    "resumed": _resumed,
    "choice": _choice,
    "choice-withdrawn": _choice_withdrawn,
    "reading-confirmed": _confirmed,
    "reading-missed": _missed,
    "caution-given": _caution,
    "step-entered": _step_entered,
    "step-done": _step_left("done", ""),
    "step-skipped": _step_left("skipped", "reason"),
    "step-deferred": _step_left("deferred", "why"),
    "hold-opened": _hold_opened,
    "hold-check": _hold_check,
    "hold-met": _hold_met,
    "question": _question,
    "emergency": _emergency,
    "all-clear": _all_clear,
    "fault-begun": _fault_begun,
    "fault-ended": _fault_ended,
    "asked-again": _asked_again,
    "called-off": _called_off,
    "left-safe": _left_safe,
    "finished": _finished,
}


def said(entry: Entry, key: str) -> str:
    """Return what a payload has under a key, as text; a list of words as a sentence."""
    value = entry.payload.get(key)
    if value is None:
        return ""
    return " ".join(map(str, value)) if isinstance(value, list) else str(value)
