"""A technician's way through a job, each moment of it kept: for the moments of the benchmark.

Words go through the real language and the real dialogue, one turn after the other. What is said
back counts as heard to its end.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING

from companion import sizing
from companion.bench.hearing.case import Moment
from companion.dialogue import awaiting as waits
from companion.dialogue.awaiting import awaiting
from companion.dialogue.events import Heard, ListenFor, Opened, Say, SpeechEnded
from companion.dialogue.session import (
    Between,
    ConfirmEnd,
    ConfirmReading,
    MissingInput,
    Session,
)
from companion.dialogue.state import Job, apply
from companion.dialogue.turn import take
from companion.dialogue.values import ends
from companion.language.compose import compose
from companion.language.meanings import Candidate
from companion.numbers import say
from companion.ports import Alternative, Hearing, Scope

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.dialogue.awaiting import Awaiting
    from companion.dialogue.events import Event
    from companion.language.meanings import Question, Value
    from companion.ports import Expectation
    from companion.procedures.model import Procedure, ReadingRequest

_BEGINS = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
_MOST_SAID = Decimal(9999)  # the largest number that the grammar has
_MOST_TURNS = 400
_SURE, _NEAR = -1.0, -1.5  # log-probabilities of two that sound alike


@dataclass
class Walk:
    """One technician's way through a job; what is new on it is kept in `found`."""

    procedure: Procedure
    answers: Mapping[str, str]
    found: dict[str, Moment]
    job: Job = field(default_factory=Job)
    session: Session = field(default_factory=Session)
    scope: Scope = field(default_factory=lambda: Scope("starting"))
    expect: Expectation | None = None
    turns: int = 0

    def to_the_end(self) -> None:
        """Walk the job from its opening until it has ended."""
        self.happen(Opened(self.procedure, self.now))
        while not isinstance(waiting := awaiting(self.job, self.session), waits.Nothing):
            self.keep(name_of(waiting, self.job))
            self.say(_answer(self.job, waiting, self.answers))
            if self.turns > _MOST_TURNS:
                raise AssertionError(f"the walk does not leave {name_of(waiting, self.job)}")

    def keep(self, name: str) -> None:
        """Keep this moment, unless one of that name is there.

        What was said before lies some time back: it is not what the next words follow upon.
        """
        if name not in self.found:
            session = replace(self.session, slight_ended_s=None, talk_ended_s=None)
            self.found[name] = Moment(name, self.job, session, self.scope, self.expect)

    @property
    def now(self) -> datetime:
        """Return the time: five seconds a turn."""
        return _BEGINS + timedelta(seconds=5 * self.turns)

    def say(self, *lines: str) -> None:
        """Say a sentence; several are heard as alternatives of one another."""
        hearing = Hearing(
            tuple(
                Alternative(tuple(line.split()), 0.95, _SURE if not place else _NEAR)
                for place, line in enumerate(lines)
            )
        )
        self.happen(Heard(hearing, compose(self.scope).candidates(hearing), self.now))

    def mean(self, meaning: Question | Value) -> None:
        """Say something that has this meaning."""
        words = ("question",)
        hearing = Hearing((Alternative(words, 1.0, 0.0),))
        self.happen(Heard(hearing, (Candidate(meaning, words, 1.0, 0.0),), self.now, typed=True))

    def happen(self, event: Event) -> None:
        """Take an event through the dialogue; all that it says is heard to its end."""
        self.turns += 1
        outcome = take(self.job, self.session, event)
        self.session = outcome.session
        for draft in outcome.drafts:
            self.job = apply(self.job, draft)
        for act in outcome.acts:
            if isinstance(act, ListenFor):
                self.scope, self.expect = act.scope, act.expect
        for act in outcome.acts:
            if isinstance(act, Say) and act.what:
                self.happen(SpeechEnded(act.what, 1.0, self.now))


def name_of(waiting: Awaiting, job: Job) -> str:  # noqa: PLR0911 - one line a case
    """Return what a moment is called: the step's slug and what is awaited."""
    match waiting:
        case waits.AllClear():
            return "emergency"
        case waits.Waking():
            return "standing-by"
        case Between():
            return "between"
        case MissingInput(sizing=slug, name=name):
            return f"asking.{slug}.{name}"
        case ConfirmEnd():
            return "confirm-end"
        case ConfirmReading():
            return "confirm-unlikely"
        case waits.Leaving(check=check):
            return f"leaving.{check}"
        case _:
            return _at_step(job.step, _what(waiting))


def _at_step(step: str, what: str) -> str:
    return step if what == step else f"{step}.{what}"


def _what(waiting: Awaiting) -> str:  # noqa: PLR0911 - one line a case
    """Return what a step waits for, in a word."""
    match waiting:
        case waits.Licence(choice=choice):
            return choice
        case waits.OpenChoice(step=step) if step.choice:
            return step.choice.slug
        case waits.StepReading(request=request) | waits.HoldReading(request=request):
            return request.point
        case waits.HoldCheck(check=check):
            return f"check-{check.slug}"
        case waits.HoldRight(reading=reading):
            return f"right-{reading.point}"
        case waits.HoldConfirm():
            return "confirm"
        case _:
            return "doing"


# ---------------------------------------------------------------- what the technician answers


def _answer(job: Job, waiting: Awaiting, answers: Mapping[str, str]) -> str:  # noqa: PLR0911 - a table
    match waiting:
        case waits.Licence(choice="licensed"):
            return answers.get("licensed", "yes")
        case waits.Licence():
            return "minnesota"
        case waits.OpenChoice(step=step) if step.choice:
            wanted = answers.get(step.choice.slug)
            options = [o for o in step.choice.options if o.slug == wanted or not (wanted or o.goto)]
            return options[0].names[0]
        case waits.StepReading(request=request) | waits.HoldReading(request=request):
            return _reading(job, request)
        case waits.HoldCheck() | waits.HoldRight() | ConfirmReading() | ConfirmEnd():
            return "yes"
        case waits.HoldConfirm():
            return "confirmed"
        case MissingInput(sizing=slug, name=name):
            wanted_input = sizing.sizings()[slug].input(name)
            return say(middle(wanted_input)) if wanted_input.ranges else "yes"
        case _:
            return "done"


def _reading(job: Job, request: ReadingRequest) -> str:
    """Return a reading from the middle of what is expected there."""
    assert job.procedure  # noqa: S101 - a reading is awaited of a procedure
    point = job.procedure.points[request.point]
    limit = ends(job, request.limit)
    low = point.low if limit.low is None else max(point.low, limit.low)
    high = point.high if limit.high is None else min(point.high, limit.high)
    if low > _MOST_SAID:
        return f"{point.names[0]} o l"
    places = Decimal(1).scaleb(-point.decimals)
    value = min((low + high) / 2, _MOST_SAID).quantize(places)
    return f"{point.names[0]} {say(abs(value) if point.sign == 'minus' else value)}"


def middle(wanted: sizing.Input) -> Decimal:
    """Return a value that is easily said from the lower part of an input's range."""
    low, high = Decimal(wanted.ranges[0].low), Decimal(wanted.ranges[0].high)
    sayable = (Decimal(each) for each in ("0.5", "2", "4", "12", "18", "40", "60", "120", "400"))
    return next((each for each in sayable if low <= each <= high), low)
