"""Walking a procedure: entering a step, completing it, going back, opening hold points."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue import faults, questions
from companion.dialogue.awaiting import Doing, awaiting, chosen_here, licence_unknown
from companion.dialogue.holds import dead_hold, is_open, requests, stopped_by
from companion.dialogue.prompting import ask_now
from companion.dialogue.session import ConfirmEnd, MissingInput
from companion.language.phrasing import phrase
from companion.procedures.walking import is_under_lock, next_step, previous_step

if TYPE_CHECKING:
    from companion.dialogue.outcome import Turn
    from companion.dialogue.state import Job
    from companion.procedures.model import Option, Step


def enter(turn: Turn, slug: str) -> None:
    """Go to a step: ask for the licence, defer it, prove dead first, or say it."""
    turn.log("step-entered", step=slug)
    if isinstance(turn.session.pending, MissingInput):
        turn.remember(pending=None)  # the question belonged to the step before
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
    turn.remember(changed="")
    proof = dead_hold(turn.job)
    if step.needs_dead and not turn.job.dead and proof and proof is not step:
        turn.tell("job.back-to-dead")
        open_hold(turn, proof, why="power was on", then=step.slug)
        return
    turn.log("step-entered", step=step.slug)
    announce(turn)


def announce(turn: Turn) -> None:
    """Say the step: its caution first, then what to do, then what is asked."""
    step = turn.job.current
    if step is None:
        turn.tell("job.no-step")
        return
    if turn.job.calling_off or licence_unknown(turn.job, step):
        ask_now(turn)  # nothing of a line-voltage step is told before the licence is known
        return
    if step.caution:
        say_caution(turn, step)
    if step.hold:
        turn.tell("hold.opened", title=step.hold.title)
    turn.say(worded(turn, step))
    if step.works_out and (step.slug, step.works_out) not in turn.job.worked:
        questions.ask(turn, step.works_out, {})
    else:
        ask_now(turn)


def worded(turn: Turn, step: Step) -> str:
    """Return what a step says: in short, where it was asked for and the step has it."""
    return (turn.session.terse and step.short) or step.say


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
        run = [each for each in turn.drafts if each.kind == "step-deferred"]
        if len(run) == 1:
            turn.tell("step.deferred")
        go_on(turn, step)


def complete(turn: Turn, step: Step) -> None:
    """Complete a step and go to the next one, if its caution was heard and nothing stops it."""
    stopped = stopped_by(turn.job, step)
    if stopped and stopped[0].limit:
        otherwise = stopped[0].limit.otherwise
        turn.tell("reading.stops", name=stopped[1].name, otherwise=otherwise)
    elif step.caution and step.slug not in turn.job.cautions:
        say_caution(turn, step, "step.caution-first")
    elif step.ends == "finished" and turn.job.locked_out:
        turn.tell("job.finish-locked")
    elif step.ends == "finished" and turn.job.home:
        turn.log("step-done", step=step.slug)
        back_to_the_job(turn, "finished")
    elif step.ends == "finished":
        turn.remember(pending=ConfirmEnd("finish"))
        ask_now(turn)
    elif step.ends and turn.job.home and not faults.is_opened_up(turn.job):
        turn.remember(pending=ConfirmEnd("search"))
        ask_now(turn)
    elif step.ends:
        turn.log("step-done", step=step.slug)
        call_off(turn)
    else:
        turn.log("step-done", step=step.slug)
        go_on(turn, step)


def leave_choice(turn: Turn, step: Step, option: Option) -> None:
    """A step's choice is made and nothing is left to read: complete the step.

    A choice that leads out of the job does so at once; what the caution warns of is there.
    """
    target = turn.job.find(option.goto)
    if target is None or not target.ends:
        complete(turn, step)
        return
    if step.slug in turn.job.cautions or not step.caution:
        turn.log("step-done", step=step.slug)
    go_on(turn, step)


def caution_heard(turn: Turn, slug: str) -> None:
    """A caution was heard to its end: it counts, and a step that waited for only that is done."""
    turn.log("caution-given", step=slug)
    waits = awaiting(turn.job, turn.session)
    if not isinstance(waits, Doing) or waits.step.slug != slug:
        return
    if chosen_here(turn.job, waits.step) and not requests(turn.job, waits.step):
        complete(turn, waits.step)


def go_on(turn: Turn, step: Step) -> None:
    """Enter the step after this one."""
    following = following_step(turn.job, step)
    if following is None and turn.job.home:
        back_to_the_job(turn, "finished")
    elif following is None:
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
    """Go to the step before this one; a choice that was made there is asked again."""
    job = turn.job
    before = previous_step(job.procedure, job.step, job.answers) if job.procedure else None
    if before is None:
        turn.tell("step.back-none")
    elif may_not_leave(job, before):
        turn.tell("step.go-to-locked")
    else:
        if before.choice and before.choice.slug in job.answers:
            withdraw(turn, before.slug, before.choice.slug)
        reopen_from(turn, before)
        enter(turn, before.slug)


def may_not_leave(job: Job, target: Step) -> bool:
    """Return whether going to a step would leave work behind that was begun under the lock.

    What is half wired is gone on with to first power, or the job is called off.
    """
    return job.half_done and not is_under_lock(job.procedure, target)


def withdraw(turn: Turn, step: str, choice: str) -> None:
    """Take an answer back; readings that were asked for because of it are struck with it."""
    hanging = [
        taken.id
        for taken in turn.job.standing()
        if (at := turn.job.find(taken.step))
        and any(
            request.point == taken.point and any(choice == name for name, _ in request.when.answers)
            for request in at.readings
        )
    ]
    turn.log("choice-withdrawn", step=step, choice=choice)
    for number in hanging:
        turn.log("struck", of=number)


def reopen_from(turn: Turn, step: Step) -> None:
    """Whoever goes back may change something: the hold points from there on are met no more."""
    slugs = [each.slug for each in turn.job.procedure.steps] if turn.job.procedure else []
    for slug in slugs[slugs.index(step.slug) :] if step.slug in slugs else ():
        progress, later = turn.job.holds.get(slug), turn.job.find(slug)
        if progress and progress.met and later and later.hold:
            number = later.hold.number
            turn.log("hold-opened", step=slug, hold=number, why="gone back", then="")


def meet_hold(turn: Turn, step: Step) -> None:
    """'Confirmed' with nothing missing: the hold point is met."""
    if step.hold is None:
        return
    if step.caution and step.slug not in turn.job.cautions:
        say_caution(turn, step, "step.caution-first")
        return
    if turn.session.prompted != step.slug:  # a second 'confirmed' for the reading before
        ask_now(turn)
        return
    turn.remember(prompted="")
    turn.log("hold-met", step=step.slug, hold=step.hold.number, title=step.hold.title)
    turn.remember(changed="")
    turn.tell("hold.met", title=step.hold.title)
    turn.log("step-done", step=step.slug)
    go_on(turn, step)


def look_for_fault(turn: Turn, slug: str) -> None:
    """Begin to look for a fault: its procedure from its first step."""
    first = faults.begin_fault(turn, slug)
    enter(turn, first)


def back_to_the_job(turn: Turn, how: str) -> None:
    """End the search for a fault and take the job up where it was."""
    faults.end_fault(turn, how)
    enter(turn, turn.job.step)


def call_off(turn: Turn) -> None:
    """Begin to leave the job safe."""
    turn.log("called-off")
    turn.remember(changed="")  # no choice is taken back any more: that would lead on to a step
    turn.tell("job.call-off-begun")
    ask_now(turn)
