"""What each spoken command does. The names are those of the rules in `grammars/commands.jsgf`."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.dialogue import questions, readings, timers
from companion.dialogue.attention import ATTENTION
from companion.dialogue.awaiting import (
    Doing,
    HoldCheck,
    HoldConfirm,
    HoldRight,
    Leaving,
    Licence,
    Nothing,
    awaiting,
    chosen_here,
    licence_unknown,
)
from companion.dialogue.events import Finish
from companion.dialogue.faults import find_fault, is_opened_up
from companion.dialogue.holds import is_open, stopped_by
from companion.dialogue.manner import say_in_breaths
from companion.dialogue.notes import NOTES
from companion.dialogue.prompting import ask_now, asked, still_missing
from companion.dialogue.retracing import change_answer, go_back_to, go_to, what_answered
from companion.dialogue.safety import licence_answer
from companion.dialogue.session import (
    ConfirmBack,
    ConfirmEnd,
    ConfirmFault,
    ConfirmHeard,
    ConfirmReading,
    MissingInput,
)
from companion.dialogue.walking import (
    back_to_the_job,
    call_off,
    complete,
    enter,
    following_step,
    go_back,
    go_on,
    look_for_fault,
    meet_hold,
    say_caution,
    withdraw,
)
from companion.language.phrasing import listed, phrase
from companion.number_words import say
from companion.procedures.walking import is_deferred, steps_to_go

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from companion.dialogue.outcome import Turn


def obey(turn: Turn, name: str, detail: str) -> None:
    """Do what a command asks; `detail` is a test point or a reason.

    A job that was called off moves no more: what must still be made safe is asked instead.
    """
    if turn.job.calling_off and name in _MOVING:
        ask_now(turn)
    elif name in _WITH_DETAIL:
        _WITH_DETAIL[name](turn, detail)
    else:
        _PLAIN[name](turn)


# ---------------------------------------------------------------- moving on


def _done(turn: Turn) -> None:
    waits = awaiting(turn.job, turn.session)
    if isinstance(waits, Doing):
        turn.remember(changed="")  # "that's wrong" is about what was just taken
        complete(turn, waits.step)
    else:
        still_missing(turn)


def _what_next(turn: Turn) -> None:
    step = turn.job.current
    following = following_step(turn.job, step) if step else None
    while following and is_deferred(following, turn.job.answers):
        following = following_step(turn.job, following)
    if step and licence_unknown(turn.job, step):
        ask_now(turn)
    elif following is None:
        turn.tell("step.next-none")
    elif licence_unknown(turn.job, following):
        turn.tell("step.next-line-voltage")
    else:
        turn.tell("step.next", say=following.say)


def _repeat(turn: Turn) -> None:
    for text in turn.session.said:
        turn.say(text)


def _which_step(turn: Turn) -> None:
    step = turn.job.current
    if step is None:
        turn.tell("job.no-step")
        return
    if not licence_unknown(turn.job, step):
        turn.say(step.say)
    ask_now(turn)


def _steps_to_go(turn: Turn) -> None:
    job = turn.job
    count = steps_to_go(job.procedure, job.step, job.answers) if job.procedure else 0
    key = {0: "to-go-last", 1: "to-go-one"}.get(count, "to-go")
    turn.tell(f"step.{key}", count=_in_words(count))


def _in_words(count: int) -> str:
    return say(Decimal(count)).capitalize()


def _is_it_safe(turn: Turn) -> None:
    """No verdict: nobody can tell from here. The step's caution, if it has one."""
    turn.tell("step.is-it-safe")
    step = turn.job.current
    if step is not None and step.caution and not licence_unknown(turn.job, step):
        say_caution(turn, step)


def _caution(turn: Turn) -> None:
    step = turn.job.current
    if step is None or not step.caution or licence_unknown(turn.job, step):
        turn.tell("step.caution-none")
    else:
        say_caution(turn, step)


def _tell_me_more(turn: Turn) -> None:
    step = turn.job.current
    if step is None or licence_unknown(turn.job, step):
        turn.tell("step.more-none")
        return
    full = step.say if turn.session.terse and step.short else ""
    if not (full or step.more):
        turn.tell("step.more-none")
    turn.say(full)
    turn.say(step.more)


def _tools(turn: Turn) -> None:
    tools = turn.job.procedure.tools if turn.job.procedure else ()
    say_in_breaths(turn, phrase("step.tools" if tools else "step.tools-none", tools=listed(tools)))


def _skip(turn: Turn, reason: str) -> None:
    step = turn.job.current
    if step is None:
        turn.tell("job.no-step")
    elif is_open(turn.job, step):
        turn.tell("hold.skip", ask=asked(turn.job, awaiting(turn.job, turn.session)))
    elif licence_unknown(turn.job, step) or (step.choice and not chosen_here(turn.job, step)):
        turn.remember(pending=None)
        still_missing(turn)  # the way on depends on the answer, and what must be proved dead
    elif step.ends:
        complete(turn, step)
    elif stopped_by(turn.job, step):
        complete(turn, step)  # which says why it can't
    elif not reason:
        turn.tell("step.skip-why")
    else:
        turn.remember(changed="")
        turn.log("step-skipped", step=step.slug, reason=reason)
        turn.tell("step.skipped", reason=reason)
        go_on(turn, step)


def _does_not_apply(turn: Turn) -> None:
    _skip(turn, "does not apply")


# ---------------------------------------------------------------- affirming


def _confirmed(turn: Turn) -> None:
    match awaiting(turn.job, turn.session):
        case HoldConfirm(step=step):
            meet_hold(turn, step)
        case _:
            _yes(turn)


def _yes(turn: Turn) -> None:  # noqa: C901 - a table
    match awaiting(turn.job, turn.session):
        case ConfirmReading() as pending:
            turn.remember(pending=None)
            readings.take_confirmed(turn, pending)
        case ConfirmHeard(candidate=candidate, before=before):
            turn.remember(pending=before)
            turn.confirmed = candidate
        case ConfirmEnd(what=what):
            turn.remember(pending=None)
            _end(turn, what)
        case ConfirmFault(slug=slug):
            turn.remember(pending=None)
            look_for_fault(turn, slug)
        case ConfirmBack(step=slug):
            turn.remember(pending=None)
            go_back_to(turn, slug)
        case Leaving(check=check):
            _left(turn, check)
        case Licence(choice="licensed"):
            licence_answer(turn, "licensed", "yes")
        case HoldCheck(check=check) if turn.session.refused == check.slug:
            turn.remember(refused="")  # it was a no: a stray yes must not pass it
            turn.tell("hold.check-again", ask=check.ask)
        case HoldCheck(step=step, check=check):
            turn.log("hold-check", step=step.slug, check=check.slug, answer="yes")
            turn.remember(changed=f"check:{check.slug}")
            ask_now(turn)
        case HoldRight() as waits:
            readings.confirm_right(turn, waits)
        case HoldConfirm():
            turn.tell("hold.say-confirmed")
        case _:
            turn.tell("unclear.nothing-to-confirm")


def _no(turn: Turn) -> None:  # noqa: C901 - a table
    match awaiting(turn.job, turn.session):
        case ConfirmReading():
            turn.remember(pending=None)
            turn.tell("reading.implausible-no")
        case ConfirmHeard(before=before):
            turn.remember(pending=before)
            turn.tell("unclear.again")
        case ConfirmEnd(what="search") if turn.job.home and not is_opened_up(turn.job):
            turn.remember(pending=None)
            back_to_the_job(turn, "left")
        case ConfirmEnd() | ConfirmFault() | ConfirmBack():
            turn.remember(pending=None)
            turn.tell("job.call-off-kept")
        case Leaving(check=check):
            turn.tell("leaving.first")
            if check == "told":
                ask_now(turn)
        case Licence(choice="licensed"):
            licence_answer(turn, "licensed", "no")
        case HoldCheck(step=step, check=check):
            turn.log("hold-check", step=step.slug, check=check.slug, answer="no")
            turn.remember(refused=check.slug)
            turn.say(check.if_no)
        case HoldRight(reading=reading):
            turn.log("struck", of=reading.id)
            _ask_again(turn)
        case _ if turn.session.changed == "reading":
            turn.tell("unclear.nothing-wrong")
        case _:
            turn.tell("unclear.nothing-to-confirm")


def _ask_again(turn: Turn) -> None:
    turn.tell("reading.again", ask=asked(turn.job, awaiting(turn.job, turn.session)))


def _left(turn: Turn, check: str) -> None:
    """One more thing affirmed on the way to leaving the job safe."""
    if check == "told":
        ask_now(turn)
        return
    turn.log("leaving-check", check=check)
    ask_now(turn)


def left_safe(turn: Turn, told: str) -> None:
    """The last thing: who was told. The job is left safe."""
    turn.log("leaving-check", check="told")
    turn.log("left-safe", told=told, checks=sorted(turn.job.left))
    turn.tell("job.left-safe")
    turn.acts.append(Finish())


def _end(turn: Turn, what: str) -> None:
    if what != "finish":
        call_off(turn)
        return
    if turn.job.current:
        turn.log("step-done", step=turn.job.step)
    turn.log("finished")
    turn.tell("job.finished")
    turn.acts.append(Finish())


def _all_clear(turn: Turn) -> None:
    """'All clear' with no emergency on: it affirms nothing, so what is asked is asked again."""
    question = asked(turn.job, awaiting(turn.job, turn.session))
    turn.say(question or phrase("unclear.nothing-to-confirm"))


_DOUBTS = (HoldRight, ConfirmReading, ConfirmHeard, ConfirmEnd, ConfirmFault, ConfirmBack)


def _thats_wrong(turn: Turn) -> None:
    """Undo what was just taken: the reading, or the choice."""
    waits = awaiting(turn.job, turn.session)
    if isinstance(waits, _DOUBTS):
        _no(turn)
    elif turn.session.changed == "reading":
        taken = readings.strike(turn)
        if taken and not readings.reopen_if_met(turn, taken):
            _ask_again(turn)
    elif turn.session.changed.startswith("check:"):
        _take_check_back(turn, turn.session.changed.removeprefix("check:"))
    elif turn.session.changed.startswith("licence:"):
        choice = turn.session.changed.removeprefix("licence:")
        turn.remember(changed="")
        withdraw(turn, turn.job.step, choice)
        enter(turn, turn.job.step)
    elif turn.session.changed == "choice":
        step = turn.job.find(turn.session.choice_step)
        turn.remember(changed="")
        if step and step.choice:
            withdraw(turn, step.slug, step.choice.slug)
            enter(turn, step.slug)
    else:
        turn.tell("unclear.nothing-wrong")


def take_back_amid_talk(turn: Turn) -> None:
    """What was taken last was most likely talk: a reading, or a hold point's check, is asked anew.

    Anything else it led to is plain to hear, and "that's wrong" or "go back" undoes it.
    """
    waits = awaiting(turn.job, turn.session)
    if isinstance(waits, ConfirmReading):
        _no(turn)
    elif isinstance(waits, HoldRight) or turn.session.changed:
        turn.tell("reading.amid-talk")
        _thats_wrong(turn)


def _take_check_back(turn: Turn, check: str) -> None:
    """A hold point's check was taken for a yes."""
    turn.remember(changed="")
    step = turn.job.current
    if step and is_open(turn.job, step):
        turn.log("hold-check", step=step.slug, check=check, answer="withdrawn")
        ask_now(turn)
    else:
        turn.tell("unclear.nothing-wrong")


def _never_mind(turn: Turn) -> None:
    pending = turn.session.pending
    turn.remember(pending=None)
    if isinstance(pending, MissingInput):
        turn.tell("question.dropped")
    ask_now(turn)


# ---------------------------------------------------------------- ending


def _finish(turn: Turn) -> None:
    job, step = turn.job, turn.job.current
    waits = awaiting(job, turn.session)
    at_end = isinstance(waits, Doing) and waits.step.ends == "finished"
    if at_end and step:
        complete(turn, step)
    else:
        count = steps_to_go(job.procedure, job.step, job.answers) if job.procedure else 0
        turn.tell("job.finish-early", count=count)


def _leave_fault(turn: Turn) -> None:
    """'Back to the job': only where the search has opened nothing up."""
    if turn.job.home is None:
        turn.tell("fault.none")
    elif is_opened_up(turn.job):
        turn.tell("fault.locked")
    else:
        back_to_the_job(turn, "left")


def _call_it_off(turn: Turn) -> None:
    if turn.job.calling_off or isinstance(awaiting(turn.job, turn.session), Nothing):
        ask_now(turn)
        return
    turn.remember(pending=ConfirmEnd("call-it-off"))
    ask_now(turn)


_PLAIN: Mapping[str, Callable[[Turn], None]] = {
    **ATTENTION,
    "done": _done,
    "what-next": _what_next,
    "back": go_back,
    "repeat": _repeat,
    "which-step": _which_step,
    "steps-to-go": _steps_to_go,
    "caution": _caution,
    "is-it-safe": _is_it_safe,
    "tell-me-more": _tell_me_more,
    "does-not-apply": _does_not_apply,
    "cannot-get-it": readings.cannot_get,
    "thats-wrong": _thats_wrong,
    "never-mind": _never_mind,
    "tools": _tools,
    "finish": _finish,
    "call-it-off": _call_it_off,
    "leave-fault": _leave_fault,
    "confirmed": _confirmed,
    "all-clear": _all_clear,
    "yes": _yes,
    "no": _no,
    "stop-clock": timers.stop_clock,
    "how-long": timers.how_long,
    "strike-that": readings.strike_and_tell,
    "why": lambda turn: questions.follow_up(turn, "why"),
    "source": lambda turn: questions.follow_up(turn, "source"),
    "in-metric": lambda turn: questions.follow_up(turn, "in metric"),
}

_WITH_DETAIL: Mapping[str, Callable[[Turn, str], None]] = {
    **NOTES,
    "skip": _skip,
    "recall": readings.recall,
    "find-fault": find_fault,
    "go-to": go_to,
    "what-answered": what_answered,
    "change-answer": change_answer,
    "start-clock": timers.start_clock,
    "cancel-timer": timers.cancel,
    "read-it-back": lambda turn, _: readings.recall(turn, ""),
}
_MOVING = frozenset(
    {
        "done",
        "back",
        "skip",
        "does-not-apply",
        "which-step",
        "resume",
        "finish",
        "what-next",
        "find-fault",
        "leave-fault",
        "go-to",
        "change-answer",
    }
)
COMMANDS = frozenset(_PLAIN) | frozenset(_WITH_DETAIL)
