"""What the dialogue is waiting for: derived from job and session, never stored.

This one answer decides what may be said (the scope), what 'done' means, and what is asked next.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from companion.dialogue.holds import dead_hold, is_open, outstanding, requests
from companion.dialogue.session import (
    Between,
    ConfirmBack,
    ConfirmEnd,
    ConfirmFault,
    ConfirmHeard,
    ConfirmReading,
    MissingInput,
    Noting,
)
from companion.dialogue.state import Taken
from companion.procedures.model import Check, ReadingRequest

if TYPE_CHECKING:
    from companion.dialogue.session import Session
    from companion.dialogue.state import Job
    from companion.procedures.model import Step

LEAVING = ("power", "lock", "openings", "told")


@dataclass(frozen=True, slots=True)
class AllClear:
    """An emergency is on: nothing counts but "I'm clear"."""

    hazard: str


@dataclass(frozen=True, slots=True)
class Waking:
    """Standing by."""


@dataclass(frozen=True, slots=True)
class Leaving:
    """Called off: this must be affirmed before the job is left safe."""

    check: str


@dataclass(frozen=True, slots=True)
class Licence:
    """Line voltage is next: 'licensed' or 'region' is not known yet."""

    choice: str


@dataclass(frozen=True, slots=True)
class HoldCheck:
    """A hold point's check."""

    step: Step
    check: Check


@dataclass(frozen=True, slots=True)
class HoldReading:
    """A hold point's reading."""

    step: Step
    request: ReadingRequest


@dataclass(frozen=True, slots=True)
class HoldRight:
    """A hold point's reading was read back and waits for its 'right'."""

    step: Step
    reading: Taken


@dataclass(frozen=True, slots=True)
class HoldConfirm:
    """All of a hold point is met but the word 'confirmed'."""

    step: Step


@dataclass(frozen=True, slots=True)
class OpenChoice:
    """A step's choice."""

    step: Step


@dataclass(frozen=True, slots=True)
class StepReading:
    """A step's reading."""

    step: Step
    request: ReadingRequest


@dataclass(frozen=True, slots=True)
class Doing:
    """The technician is at it; 'done' completes the step."""

    step: Step


@dataclass(frozen=True, slots=True)
class Nothing:
    """No job, or it has ended."""


Awaiting: TypeAlias = (
    AllClear
    | Noting
    | Waking
    | Between
    | ConfirmReading
    | ConfirmHeard
    | ConfirmEnd
    | ConfirmFault
    | ConfirmBack
    | MissingInput
    | Leaving
    | Licence
    | HoldCheck
    | HoldReading
    | HoldRight
    | HoldConfirm
    | OpenChoice
    | StepReading
    | Doing
    | Nothing
)


def awaiting(job: Job, session: Session) -> Awaiting:
    """Return what is being waited for, the most urgent first."""
    if job.emergency:
        return AllClear(job.emergency)
    if job.ended:
        return Nothing()
    if session.note is not None and not session.note.ended:
        return session.note
    if session.standing_by:
        doubt = session.pending
        return doubt if isinstance(doubt, ConfirmHeard) and doubt.is_urgent else Waking()
    if session.pending is not None:
        return session.pending
    return awaited_by_job(job)


def awaited_by_job(job: Job) -> Awaiting:  # noqa: PLR0911 - one return a stage, in order
    """Return what the job itself waits for, questions and confirmations apart."""
    step = job.current
    if step is None or job.ended:
        return Nothing()
    if job.calling_off:
        return Leaving(next(check for check in leaving_checks(job) if check not in job.left))
    if unknown := licence_unknown(job, step):
        return Licence(unknown)
    if is_open(job, step):
        return _awaited_by_hold(job, step)
    if step.choice and not chosen_here(job, step):
        return OpenChoice(step)
    if missing := missing_readings(job, step):
        return StepReading(step, missing[0])
    return Doing(step)


def leaving_checks(job: Job) -> tuple[str, ...]:
    """Return what must be affirmed before a job is left safe.

    Where nothing was touched yet, only who was told: with gas in the air nobody shall be asked to
    go back to a switch.
    """
    return LEAVING if job.touched else LEAVING[-1:]


def licence_unknown(job: Job, step: Step) -> str:
    """Return 'licensed' or 'region' if a line-voltage step needs it and it was never asked."""
    if not step.line_voltage:
        return ""
    return next((choice for choice in ("licensed", "region") if choice not in job.answers), "")


def chosen_here(job: Job, step: Step) -> bool:
    """Return whether the step's choice was answered."""
    return step.choice is not None and step.choice.slug in job.answers


def missing_readings(job: Job, step: Step) -> tuple[ReadingRequest, ...]:
    """Return the readings that a step (no hold point) still wants, in order.

    What needs the circuit dead is measured anew once it had to be proved dead again.
    """
    proof = dead_hold(job) if step.needs_dead else None
    since = job.holds[proof.slug].since if proof and proof.slug in job.holds else 0
    standing = [r for r in job.standing() if r.step == step.slug and r.id > since]
    have = {(r.point, r.phase) for r in standing}
    return tuple(
        request
        for request in requests(job, step)
        if (request.point, request.phase) not in have
        and (step.slug, request.point) not in job.missed
    )


def _awaited_by_hold(job: Job, step: Step) -> Awaiting:
    match outstanding(job, step):
        case Check() as check:
            return HoldCheck(step, check)
        case ReadingRequest() as request:
            return HoldReading(step, request)
        case Taken() as reading:
            return HoldRight(step, reading)
        case None:
            return HoldConfirm(step)
