"""Walking a procedure: entering a step, completing it, going back, opening hold points."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.awaiting import (
    AllClear,
    Doing,
    HoldCheck,
    HoldConfirm,
    HoldReading,
    HoldRight,
    Leaving,
    Licence,
    OpenChoice,
    StepReading,
    awaited_by_job,
    awaiting,
    licence_unknown,
    missing_readings,
)
from companion.dialogue.between import difference, spoken
from companion.dialogue.holds import dead_hold, is_open, outside_now
from companion.dialogue.session import Between, ConfirmEnd, ConfirmReading, MissingInput
from companion.dialogue.values import spoken_reading
from companion.language.phrasing import listed, phrase
from companion.procedures import next_step, previous_step

if TYPE_CHECKING:
    from companion.dialogue.awaiting import Awaiting
    from companion.dialogue.outcome import Turn
    from companion.dialogue.state import Job
    from companion.procedures.model import Step


def enter(turn: Turn, slug: str) -> None:
    """Go to a step: ask for the licence, defer it, prove dead first, or say it."""
    turn.log("step-entered", step=slug)
    step = turn.job.current
    if step is None or licence_unknown(turn.job, step):
        ask_now(turn)
    elif step.line_voltage and turn.job.answers["licensed"] == "no":
        defer(turn, step)
    elif step.needs_dead and not turn.job.dead and (hold := dead_hold(turn.job)):
        turn.tell("job.back-to-dead")
        open_hold(turn, hold, why="power was on", then=slug)
    else:
        if step.hold and is_open(turn.job, step):
            turn.log("hold-opened", step=slug, hold=step.hold.number, why="reached", then="")
        announce(turn)


def open_hold(turn: Turn, step: Step, *, why: str, then: str) -> None:
    """Open a hold point (again) and go to it; `then` is where to go on once it is met."""
    if step.hold is None:
        return
    turn.log("hold-opened", step=step.slug, hold=step.hold.number, why=why, then=then)
    turn.log("step-entered", step=step.slug)
    announce(turn)


def announce(turn: Turn) -> None:
    """Say the step: its caution first, then what to do, then what is asked."""
    step = turn.job.current
    if step is None:
        turn.tell("job.no-step")
        return
    if step.caution:
        say_caution(turn, step)
    if step.hold:
        turn.tell("hold.opened", title=step.hold.title)
    turn.say(step.say)
    ask_now(turn)


def say_caution(turn: Turn, step: Step, key: str = "step.caution") -> None:
    """Say a step's caution; it counts as given only when heard to its end."""
    turn.say(phrase(key, caution=step.caution), what=f"caution:{step.slug}")


def defer(turn: Turn, step: Step) -> None:
    """Leave a line-voltage step to the licensed trade; a hold point can't be left."""
    turn.log("step-deferred", step=step.slug, why="not licensed for line voltage")
    if step.hold:
        turn.tell("step.deferred-hold")
        call_off(turn)
    else:
        turn.tell("step.deferred")
        go_on(turn, step)


def complete(turn: Turn, step: Step) -> None:
    """Complete a step and go to the next one, unless its caution was not heard yet."""
    if step.caution and step.slug not in turn.job.cautions:
        say_caution(turn, step, "step.caution-first")
    elif step.ends == "finished":
        turn.remember(pending=ConfirmEnd("finish"))
        ask_now(turn)
    elif step.ends:
        turn.log("step-done", step=step.slug)
        call_off(turn)
    else:
        turn.log("step-done", step=step.slug)
        go_on(turn, step)


def go_on(turn: Turn, step: Step) -> None:
    """Enter the step after this one."""
    following = following_step(turn.job, step)
    if following is None:
        turn.remember(pending=ConfirmEnd("finish"))
        ask_now(turn)
    else:
        enter(turn, following.slug)


def following_step(job: Job, step: Step) -> Step | None:
    """Return the step after one: where its hold point leads, or the procedure's next."""
    progress = job.holds.get(step.slug)
    if progress and progress.met and progress.then and job.procedure:
        return job.find(progress.then)
    return next_step(job.procedure, step.slug, job.answers) if job.procedure else None


def go_back(turn: Turn) -> None:
    """Go to the step before this one."""
    job = turn.job
    before = previous_step(job.procedure, job.step, job.answers) if job.procedure else None
    if before is None:
        turn.tell("step.back-none")
    else:
        enter(turn, before.slug)


def meet_hold(turn: Turn, step: Step) -> None:
    """'Confirmed' with nothing missing: the hold point is met."""
    if step.hold is None:
        return
    if step.caution and step.slug not in turn.job.cautions:
        say_caution(turn, step, "step.caution-first")
        return
    turn.log("hold-met", step=step.slug, hold=step.hold.number, title=step.hold.title)
    turn.tell("hold.met", title=step.hold.title)
    turn.log("step-done", step=step.slug)
    go_on(turn, step)


def call_off(turn: Turn) -> None:
    """Begin to leave the job safe."""
    turn.log("called-off")
    turn.tell("job.call-off-begun")
    ask_now(turn)


def ask_now(turn: Turn) -> None:
    """Say what is being asked, if anything is."""
    turn.say(asked(turn.job, awaiting(turn.job, turn.session)))


def asked(job: Job, waits: Awaiting) -> str:  # noqa: C901, PLR0911, PLR0912 - one line a case
    """Return the words that ask for what is awaited, '' where nothing is asked."""
    match waits:
        case AllClear(hazard=hazard):
            return phrase(f"emergency.{hazard}")
        case Between(first=first, second=second):
            one, two = difference(first.words, second.words)
            return phrase("between.ask", first=spoken(one).capitalize(), second=spoken(two))
        case ConfirmReading():
            return ""
        case ConfirmEnd(what="finish"):
            return phrase("job.finish-ask")
        case ConfirmEnd():
            return phrase("job.call-off-ask")
        case MissingInput(ask=ask):
            return ask
        case Leaving(check=check):
            return phrase(f"leaving.{check}")
        case Licence(choice="licensed"):
            return phrase("licence.ask")
        case Licence():
            return phrase("licence.region")
        case HoldCheck(check=check):
            return check.ask
        case HoldReading(request=request) | StepReading(request=request):
            return request.ask
        case HoldRight(reading=reading):
            return phrase("reading.confirm", name=reading.name, value=spoken_reading(job, reading))
        case HoldConfirm(step=step):
            return _confirm_words(job, step)
        case OpenChoice(step=step):
            return step.choice.ask if step.choice else ""
        case _:
            return ""


def _confirm_words(job: Job, step: Step) -> str:
    """The last words before 'confirmed'; accepting readings names those outside."""
    if step.hold is None:
        return ""
    outside = outside_now(job) if step.hold.proves == "readings" else ()
    listing = phrase("hold.outside-listed", points=listed(outside)) + " " if outside else ""
    return listing + step.hold.confirm


def still_missing(turn: Turn) -> None:
    """Answer a 'done' that comes too early with what is missing."""
    job = turn.job
    match awaited_by_job(job):
        case HoldCheck(check=check):
            turn.tell("hold.check-done", ask=check.ask)
        case HoldReading(request=request):
            turn.tell("hold.reading-done", ask=request.ask)
        case HoldConfirm(step=step):
            turn.tell("hold.confirm-done", confirm=_confirm_words(job, step))
        case OpenChoice(step=step) if step.choice:
            turn.tell("step.choose", ask=step.choice.ask)
        case StepReading(step=step) if job.procedure:
            points = job.procedure.points
            names = tuple(points[r.point].names[0] for r in missing_readings(job, step))
            turn.tell("step.still", missing=listed(names))
        case Doing():
            turn.tell("step.done-none")
        case _:
            ask_now(turn)
