"""Sizing questions: missing inputs one at a time, the answer, and what follows from it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion import sizing
from companion.dialogue.manner import say_in_breaths
from companion.dialogue.prompting import ask_now
from companion.dialogue.session import Asked, MissingInput
from companion.dialogue.values import SPECIALS
from companion.errors import InputError, UnitError
from companion.language.meanings import Measure, Value
from companion.language.phrasing import listed, phrase
from companion.sizing.model import Amount

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.dialogue.outcome import Turn
    from companion.dialogue.state import Job
    from companion.sizing.model import Inputs, Range, Said


def log_measures(job: Job) -> Mapping[str, Measure]:
    """Return the last standing reading of every test point, for sizings that use the log."""
    return {
        taken.point: Measure(Decimal(taken.value), taken.unit)
        for taken in job.standing()
        if taken.value not in SPECIALS.values()
    }


def ask(turn: Turn, slug: str, given: Inputs) -> None:
    """Answer a sizing question, or ask for its first missing input; then the wait goes on."""
    log = log_measures(turn.job)
    turn.remember(pending=None)
    wanted = sizing.missing(slug, given, log)
    if wanted is not None:
        turn.remember(pending=MissingInput(slug, given, wanted.name, wanted.ask))
        ask_now(turn)
        return
    try:
        found = sizing.answer(slug, given, log, turn.job.answers.get("region", ""))
    except InputError as refused:  # whatever a sizing stumbles over, the job goes on
        turn.say(refused.spoken)
        ask_now(turn)
        return
    turn.remember(asked=Asked(slug, given, found))
    first_time = slug not in turn.job.told
    defer_now = found.defers and not turn.job.deferred
    _log_question(turn, slug, found)
    _say_answer(turn, found, first_time=first_time, defer_now=defer_now)
    ask_now(turn)


def fits(slug: str, inputs: Inputs) -> bool:
    """Return whether every measure among the inputs lies in a range that the sizing holds for."""
    asked = sizing.sizings()[slug]
    return all(_holds(asked.input(name), said) for name, said in inputs.items())


def _holds(wanted: sizing.Input, said: Said) -> bool:
    if isinstance(said, str) or not wanted.ranges:
        return True
    measures = said if isinstance(said, tuple) else (said,)
    amounts = [Amount(each.value, each.unit or wanted.unit) for each in measures]
    return all(any(_is_in(valid, each) for valid in wanted.ranges) for each in amounts)


def _is_in(valid: Range, amount: Amount) -> bool:
    try:
        return valid.holds(amount)
    except UnitError:
        return False


def _log_question(turn: Turn, slug: str, found: sizing.Answer) -> None:
    turn.log(
        "question",
        sizing=slug,
        step=turn.job.step,
        title=sizing.sizings()[slug].title,
        inputs=dict(found.inputs),
        from_log=list(found.from_log),
        spoken=found.spoken,
        value=found.value,
        unit=found.unit,
        working=list(found.working),
        assumptions=list(found.assumptions),
        caution=found.caution,
        sources=list(found.sources),
        defers=found.defers,
    )


def _say_answer(turn: Turn, found: sizing.Answer, *, first_time: bool, defer_now: bool) -> None:
    """The answer, then what it rests on; the caution once a job, unless past a limit."""
    turn.say(found.spoken)
    if found.assumptions and not turn.session.terse:
        turn.say(found.assumptions[0])
    if found.caution and (first_time or found.over_limit):
        turn.say(found.caution)
    if defer_now:
        turn.say(sizing.DEFERRAL)


def take_input(turn: Turn, pending: MissingInput, value: Value) -> None:
    """A missing input was answered."""
    said = value.measure if value.measure is not None else value.word
    if not fits(pending.sizing, {pending.name: said}):
        turn.tell("question.odd")
        ask_now(turn)
        return
    ask(turn, pending.sizing, {**pending.given, pending.name: said})


def change(turn: Turn, measure: Measure) -> None:
    """'What about ninety feet': the last question with one thing changed."""
    asked = turn.session.asked
    if asked is None:
        turn.tell("question.none")
        return
    try:
        given = sizing.change(asked.sizing, asked.given, measure)
    except InputError as refused:  # whatever a sizing stumbles over, the job goes on
        turn.say(refused.spoken)
        return
    ask(turn, asked.sizing, given)


def follow_up(turn: Turn, what: str) -> None:
    """'Why', 'source', 'in metric' after an answer."""
    asked = turn.session.asked
    if asked is None:
        turn.tell("question.none")
    elif what == "why":
        say_in_breaths(turn, asked.answer.spoken_working or "")
    elif what == "source":
        say_in_breaths(turn, phrase("question.source", source=listed(asked.answer.sources)))
    else:
        turn.say(sizing.metric(asked.answer))
