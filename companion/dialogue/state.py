"""The job: nothing but its entries, folded.

Rules:
1. `fold(entries) == job` at every turn: every fact about a job comes from an entry.
2. An entry is never undone. A struck or corrected reading stays, marked; a hold point that opens
   again forgets what it had met, and so do those at and after a step that is gone back to.
3. 'Dead' is a state that is lost easily: opening the dead hold, entering any step that is done
   with power on, an emergency, or taking back an answer that its readings hang on ends it. Only
   meeting that hold brings it back.
4. A fault that is looked for is walked as a job within the job: `home` keeps the job as it was,
   and ending the search brings it back with the readings taken meanwhile.

Theory of operation: `apply` takes one entry (or a draft: they share kind, payload and time) to the
next job. Each kind has one transition in `_TRANSITIONS`; a kind unknown here (from a note or a
later version's side remark) changes nothing, nor does an entry whose content was removed, apart
from a note, which still counts. Notes and what was asked again are all that an open job can lose.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any, Protocol

from companion.dialogue.noted import Noted, noted
from companion.procedures.loader import load
from companion.procedures.walking import is_under_lock

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from companion.procedures.model import Procedure, Step


class Recorded(Protocol):
    """What `apply` needs of an entry or a draft."""

    @property
    def kind(self) -> str:
        """The kind of entry."""

    @property
    def payload(self) -> Mapping[str, Any]:
        """What it says."""

    @property
    def at(self) -> datetime:
        """When, UTC."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A reading on the log. `value` is a decimal string in `unit`, or 'OL' or 'open'."""

    id: int
    step: str
    point: str
    name: str
    value: str
    unit: str
    verdict: str
    phase: str
    confirmed: bool
    struck: bool = False
    detour: int = 0  # during which search for a fault, counted from 1; 0 for the job's own work


@dataclass(frozen=True, slots=True)
class Timer:
    """A timer that runs, or is due and was not told yet. `due` is UTC."""

    id: int
    name: str
    seconds: int
    due: datetime


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a hold point has come since it was last opened.

    `since` is the number of the last reading before it opened; `then` is the step to go to when
    it is met, if not the next one.
    """

    since: int
    checks: frozenset[str] = frozenset()
    met: bool = False
    then: str = ""


@dataclass(frozen=True, slots=True)
class Job:
    """One visit at one address, following one procedure: the fold of its entries."""

    procedure: Procedure | None = None
    step: str = ""
    answers: Mapping[str, str] = field(default_factory=dict)
    readings: tuple[Taken, ...] = ()
    notes: tuple[Noted, ...] = ()
    missed: frozenset[tuple[str, str]] = frozenset()  # (step, point) that can't be had
    cautions: frozenset[str] = frozenset()  # steps whose caution was heard to its end
    told: frozenset[str] = frozenset()  # sizings whose caution was said on this job
    worked: frozenset[tuple[str, str]] = frozenset()  # (step, sizing) answered there
    deferred: bool = False  # the deferral to code and licence was said once
    holds: Mapping[str, Progress] = field(default_factory=dict)  # by step
    dead: bool = False
    emergency: str = ""
    calling_off: bool = False
    locked_out: bool = False  # the lock-out was begun, and first power (H5) not met since
    half_done: bool = False  # and work that needs the circuit dead was begun under it
    touched: bool = False  # work on power or ductwork has begun: leaving needs more than words
    left: frozenset[str] = frozenset()  # what was affirmed while leaving it safe
    ended: str = ""
    home: Job | None = None  # while a fault is looked for: the job as it was, to go back to
    detours: int = 0  # how many faults were looked for so far
    timers: tuple[Timer, ...] = ()  # oldest first
    timers_so_far: int = 0
    clocks: tuple[tuple[str, datetime], ...] = ()  # stopwatches that run: name, since when

    @property
    def detour(self) -> int:
        """Which search for a fault goes on, counted from 1; 0 for none."""
        return self.detours if self.home else 0

    @property
    def current(self) -> Step | None:
        """The step that is being done."""
        return self.find(self.step)

    def find(self, slug: str) -> Step | None:
        """Return the step of that slug, or None."""
        steps = self.procedure.steps if self.procedure else ()
        return next((step for step in steps if step.slug == slug), None)

    def standing(self) -> tuple[Taken, ...]:
        """Return the readings that were not struck, oldest first.

        Those of the procedure at hand: what was read while a fault was looked for fulfils nothing
        that the job itself asks for, nor the other way round.
        """
        here = self.detour
        return tuple(r for r in self.readings if not r.struck and r.detour == here)

    def last_at(self, point: str) -> Taken | None:
        """Return the last reading at a test point that was not struck.

        One of the procedure at hand if there is any, whatever came later: a limit that hangs on
        'as found' does not move because a fault was looked for meanwhile.
        """
        at_point = [r for r in self.readings if r.point == point and not r.struck]
        mine = [r for r in at_point if r.detour == self.detour] or at_point
        return mine[-1] if mine else None


def fold(entries: Iterable[Recorded]) -> Job:
    """Return the job that these entries make."""
    job = Job()
    for entry in entries:
        job = apply(job, entry)
    return job


def apply(job: Job, entry: Recorded) -> Job:
    """Return the job after one more entry."""
    if not entry.payload and entry.kind not in _NEED_NO_WORDS:
        return job
    if entry.kind == "clock-started":
        clocks = _other_clocks(job, entry.payload["name"])
        said = entry.payload.get("said")  # older entries have none
        began = datetime.fromisoformat(said) if said else entry.at
        return replace(job, clocks=(*clocks, (entry.payload["name"], began)))
    transition = _TRANSITIONS.get(entry.kind)
    return transition(job, entry.payload) if transition else job


@lru_cache(maxsize=8)
def _loaded(text: str, where: str) -> Procedure:
    """The job keeps its procedure's text; parsing it again at every fold would be slow."""
    return load(text, where, safety=False)


def _opened(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, procedure=_loaded(said["text"], said["procedure"]))


def _step_entered(job: Job, said: Mapping[str, Any]) -> Job:
    entered = replace(job, step=said["step"])
    step = entered.current
    if step is None:
        return entered
    proves_dead = step.hold is not None and step.hold.proves == "dead"
    licensed = step.line_voltage and job.answers.get("licensed") == "yes"
    measured_live = job.procedure is not None and job.procedure.kind == "fault" and bool(step.power)
    touched = job.touched or licensed or step.needs_dead or proves_dead or measured_live
    return replace(
        entered,
        dead=job.dead and not step.power,
        locked_out=job.locked_out or is_under_lock(job.procedure, step),
        half_done=job.half_done or step.needs_dead,
        touched=touched,
    )


def _choice(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, answers={**job.answers, said["choice"]: said["option"]})


def _choice_withdrawn(job: Job, said: Mapping[str, Any]) -> Job:
    """What was measured for another answer (the conductors of 120 V) meets no hold for the next."""
    answers = {k: v for k, v in job.answers.items() if k != said["choice"]}
    lost = [step for step in map(job.find, job.holds) if step and _hangs_on(step, said["choice"])]
    again = {step.slug: Progress(since=len(job.readings)) for step in lost}
    dead = job.dead and not any(step.hold and step.hold.proves == "dead" for step in lost)
    dead = dead and said["choice"] != "licensed"
    return replace(job, answers=answers, holds={**job.holds, **again}, dead=dead)


def _hangs_on(step: Step, choice: str) -> bool:
    """Return whether what a hold point asks for depends on a choice."""
    conditions = [request.when for request in step.readings]
    conditions += [check.when for check in step.hold.checks] if step.hold else []
    return any(choice == named for when in conditions for named, _ in when.answers)


def _reading(job: Job, said: Mapping[str, Any]) -> Job:
    taken = Taken(
        id=said["id"],
        step=said["step"],
        point=said["point"],
        name=said["name"],
        value=said["value"],
        unit=said["unit"],
        verdict=said["verdict"],
        phase=said["phase"],
        confirmed=said["confirmed"],
        detour=job.detour,
    )
    return replace(
        job,
        readings=(*job.readings, taken),
        missed=job.missed - {(taken.step, taken.point)},
    )


def _marked(job: Job, number: int, mark: Callable[[Taken], Taken]) -> Job:
    readings = tuple(mark(r) if r.id == number else r for r in job.readings)
    return replace(job, readings=readings)


def _correction(job: Job, said: Mapping[str, Any]) -> Job:
    def corrected(old: Taken) -> Taken:
        return replace(
            old,
            value=said["value"],
            unit=said["unit"],
            verdict=said["verdict"],
            confirmed=said["confirmed"],
        )

    return _marked(job, said["of"], corrected)


def _struck(job: Job, said: Mapping[str, Any]) -> Job:
    return _marked(job, said["of"], lambda old: replace(old, struck=True))


def _confirmed(job: Job, said: Mapping[str, Any]) -> Job:
    return _marked(job, said["of"], lambda old: replace(old, confirmed=True))


def _missed(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, missed=job.missed | {(said["step"], said["point"])})


def _note(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, notes=(*job.notes, noted(len(job.notes) + 1, said)))


def _caution(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, cautions=job.cautions | {said["step"]})


def _hold_opened(job: Job, said: Mapping[str, Any]) -> Job:
    progress = Progress(since=len(job.readings), then=said.get("then", ""))
    step = job.find(said["step"])
    proves_dead = bool(step and step.hold and step.hold.proves == "dead")
    return replace(
        job,
        holds={**job.holds, said["step"]: progress},
        dead=job.dead and not proves_dead,
    )


def _hold_check(job: Job, said: Mapping[str, Any]) -> Job:
    progress = job.holds.get(said["step"], Progress(since=len(job.readings)))
    affirmed = {said["check"]}
    yes = said["answer"] == "yes"
    checks = progress.checks | affirmed if yes else progress.checks - affirmed
    progress = replace(progress, checks=checks)
    return replace(job, holds={**job.holds, said["step"]: progress})


def _hold_met(job: Job, said: Mapping[str, Any]) -> Job:
    progress = job.holds.get(said["step"], Progress(since=len(job.readings)))
    progress = replace(progress, met=True)
    step = job.find(said["step"])
    proves_dead = bool(step and step.hold and step.hold.proves == "dead")
    is_first_power = bool(step and step.hold and step.hold.number == "H5")
    return replace(
        job,
        holds={**job.holds, said["step"]: progress},
        dead=job.dead or proves_dead,
        locked_out=job.locked_out and not is_first_power,
        half_done=job.half_done and not is_first_power,
    )


def _question(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(
        job,
        told=job.told | {said["sizing"]},
        worked=job.worked | {(said.get("step", ""), said["sizing"])},
        deferred=job.deferred or bool(said.get("defers")),
    )


def _emergency(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, emergency=said["hazard"])


def _all_clear(job: Job, _: Mapping[str, Any]) -> Job:
    return replace(job, emergency="")


def _called_off(job: Job, _: Mapping[str, Any]) -> Job:
    return replace(job, calling_off=True)


def _leaving(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, left=job.left | {said["check"]})


def _left_safe(job: Job, _: Mapping[str, Any]) -> Job:
    return replace(job, calling_off=False, ended="left safe")


def _finished(job: Job, _: Mapping[str, Any]) -> Job:
    return replace(job, ended="finished")


def _timer_set(job: Job, said: Mapping[str, Any]) -> Job:
    due = datetime.fromisoformat(said["due"])
    timer = Timer(said["id"], said["name"], said["seconds"], due)
    return replace(job, timers=(*job.timers, timer), timers_so_far=timer.id)


def _timer_over(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, timers=tuple(each for each in job.timers if each.id != said["id"]))


def _clock_over(job: Job, said: Mapping[str, Any]) -> Job:
    return replace(job, clocks=_other_clocks(job, said["name"]))


def _other_clocks(job: Job, name: str) -> tuple[tuple[str, datetime], ...]:
    return tuple(each for each in job.clocks if each[0] != name)


_KNOWN_EVERYWHERE = ("licensed", "region")


def _fault_begun(job: Job, said: Mapping[str, Any]) -> Job:
    """The fault's procedure is walked like a job of its own; dead is proved anew in it."""
    return Job(
        procedure=_loaded(said["text"], said["procedure"]),
        answers={k: v for k, v in job.answers.items() if k in _KNOWN_EVERYWHERE},
        readings=job.readings,
        notes=job.notes,
        told=job.told,
        deferred=job.deferred,
        touched=job.touched,
        home=job,
        detours=job.detours + 1,
        timers=job.timers,
        timers_so_far=job.timers_so_far,
        clocks=job.clocks,
    )


def _fault_ended(job: Job, _: Mapping[str, Any]) -> Job:
    """Back to where the job was, with what was read and told meanwhile; nothing is dead now."""
    home = job.home
    if home is None:
        return job
    known = {k: v for k, v in job.answers.items() if k in _KNOWN_EVERYWHERE}
    return replace(
        home,
        answers={**home.answers, **known},
        readings=job.readings,
        notes=job.notes,
        told=job.told,
        deferred=job.deferred,
        touched=job.touched,
        dead=False,
        detours=job.detours,
        timers=job.timers,
        timers_so_far=job.timers_so_far,
        clocks=job.clocks,
    )


# Kinds that change the job also where they say nothing, or nothing any more.
_NEED_NO_WORDS = frozenset(
    {"note", "all-clear", "called-off", "fault-ended", "left-safe", "finished"}
)
_TRANSITIONS: Mapping[str, Callable[[Job, Mapping[str, Any]], Job]] = {
    "job-opened": _opened,
    "step-entered": _step_entered,
    "choice": _choice,
    "choice-withdrawn": _choice_withdrawn,
    "reading": _reading,
    "correction": _correction,
    "struck": _struck,
    "reading-confirmed": _confirmed,
    "reading-missed": _missed,
    "note": _note,
    "caution-given": _caution,
    "hold-opened": _hold_opened,
    "hold-check": _hold_check,
    "hold-met": _hold_met,
    "question": _question,
    "emergency": _emergency,
    "all-clear": _all_clear,
    "called-off": _called_off,
    "leaving-check": _leaving,
    "fault-begun": _fault_begun,
    "fault-ended": _fault_ended,
    "timer-set": _timer_set,
    "timer-told": _timer_over,
    "timer-cancelled": _timer_over,
    "clock-stopped": _clock_over,
    "clock-cancelled": _clock_over,
    "left-safe": _left_safe,
    "finished": _finished,
}
