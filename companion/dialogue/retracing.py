"""Going back over the job: to a step by its name, to an answer to change it, and what was answered.

Forward nothing is jumped over: a step counts as done only where it was done or skipped with its
reason, and a hold point can't be skipped at all.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.prompting import ask_now
from companion.dialogue.retraced import answered, behind, spoken_name, undone_choices
from companion.dialogue.session import ConfirmBack
from companion.dialogue.walking import announce, enter, may_not_leave, reopen_from, withdraw

if TYPE_CHECKING:
    from companion.dialogue.outcome import Turn

_MOST_TOLD = 3


def go_to(turn: Turn, slug: str) -> None:
    """Go to a step by its name: back, once it was asked; forward never."""
    job = turn.job
    procedure, current = job.procedure, job.current
    if procedure is None or current is None:
        turn.tell("job.no-step")
    elif slug == job.step:
        announce(turn)
    elif any(step.slug == slug for step in behind(job)):
        _ask_back(turn, slug)
    elif procedure.places.get(slug, -1) > procedure.places[job.step]:
        turn.tell("step.go-to-ahead", say=current.say)
    else:
        turn.tell("step.go-to-elsewhere")


def go_back_to(turn: Turn, slug: str) -> None:
    """Go back to a step: what was answered from there on is asked again, holds are met again."""
    step = turn.job.find(slug)
    if step is None or may_not_leave(turn.job, step):
        return
    turn.remember(changed="")
    choices, holders = undone_choices(turn.job, slug), _choosers(turn)
    reopen_from(turn, step)
    for choice in reversed(choices):
        withdraw(turn, holders[choice], choice)
    enter(turn, slug)


def _choosers(turn: Turn) -> dict[str, str]:
    """Return the step that asks each choice."""
    steps = turn.job.procedure.steps if turn.job.procedure else ()
    return {step.choice.slug: step.slug for step in reversed(steps) if step.choice}


def what_answered(turn: Turn, choice: str) -> None:
    """Tell an answer given earlier, or the last few."""
    if choice:
        told = answered(turn.job, choice)
        turn.say(told) if told else turn.tell("answers.none-on", name=spoken_name(choice))
        return
    last = list(turn.job.answers)[-_MOST_TOLD:]
    for each in last:
        turn.say(answered(turn.job, each))
    if not last:
        turn.tell("answers.none")


def change_answer(turn: Turn, choice: str) -> None:
    """Ask whether to go back to where a choice was answered; the last one where none is named."""
    holders = _choosers(turn)
    gone = {step.slug for step in behind(turn.job)} | {turn.job.step}
    mine = [each for each in turn.job.answers if holders.get(each) in gone]
    wanted = choice or (mine[-1] if mine else "")
    if not wanted:
        turn.tell("answers.none")
    elif wanted not in mine:
        turn.tell("answers.none-on", name=spoken_name(wanted))
    else:
        _ask_back(turn, holders[wanted])


def _ask_back(turn: Turn, slug: str) -> None:
    """Ask whether to go back, where that may be."""
    target = turn.job.find(slug)
    if target is None or may_not_leave(turn.job, target):
        turn.tell("step.go-to-locked")
        return
    turn.remember(pending=ConfirmBack(slug))
    ask_now(turn)
