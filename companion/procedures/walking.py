"""Walking a procedure: which step comes next, which came before, how many are to go.

Pure functions of the procedure, a step's slug and the answers given so far. A step that needs a
licence the technician lacks is still on the path, so that the dialogue can note that it was
deferred; counting and going back leave it out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from companion.procedures.model import Procedure, Step

Answers: TypeAlias = "Mapping[str, str]"

LICENSED = "licensed"
REGION = "region"
ASKED_BY_DIALOGUE = (LICENSED, REGION)
ELSEWHERE = "elsewhere"  # a region that no condition names


@dataclass(frozen=True, slots=True)
class Walk:
    """One way through a procedure: the answers that lead along it and its steps in order."""

    answers: Mapping[str, str]
    steps: tuple[Step, ...]


def is_deferred(step: Step, answers: Answers) -> bool:
    """Return whether a step is left to the licensed trade."""
    return step.line_voltage and answers.get(LICENSED) == "no"


def first_step(procedure: Procedure, answers: Answers) -> Step | None:
    """Return the step that a job begins with."""
    return _first_from(procedure, 0, answers)


def next_step(procedure: Procedure, step_slug: str, answers: Answers) -> Step | None:
    """Return the step after one, deferred ones included; None after the last.

    Args:
        procedure: the procedure.
        step_slug: the step that was done; an unknown one has no next.
        answers: choice slug to option slug, 'licensed' and 'region' among them once asked.
    """
    index = index_of(procedure, step_slug)
    if index is None or procedure.steps[index].ends:
        return None
    return _first_from(procedure, onward(procedure, index, answers), answers)


def previous_step(procedure: Procedure, step_slug: str, answers: Answers) -> Step | None:
    """Return the step that came before one on the way taken, deferred ones left out."""
    before = None
    for step in way(procedure, answers):
        if step.slug == step_slug:
            return before
        if not is_deferred(step, answers):
            before = step
    return None


def steps_to_go(procedure: Procedure, step_slug: str, answers: Answers) -> int:
    """Return how many steps come after one, deferred ones left out.

    A choice not answered yet counts as its first option (authors put the ordinary answer first),
    the licence as given.
    """
    index = index_of(procedure, step_slug)
    if index is None:
        return 0
    step: Step | None = procedure.steps[index]
    count = 0
    while step:
        answers = _assumed(step, answers)
        step = next_step(procedure, step.slug, answers)
        count += step is not None and not is_deferred(step, answers)
    return count


def dead_hold(procedure: Procedure, answers: Answers) -> Step | None:
    """Return the step that proves dead for these answers, or None."""
    return next(
        (
            step
            for step in procedure.steps
            if step.hold and step.hold.proves == "dead" and step.when.holds(answers)
        ),
        None,
    )


def is_under_lock(procedure: Procedure | None, step: Step) -> bool:
    """Return whether a step is done with the power locked out, or on the way to that.

    Work that needs it dead is, the proof is, and the steps that lead to the proof with nothing
    live between.
    """
    if procedure is None or step.power:
        return False
    if step.needs_dead:
        return True
    for later in procedure.steps[procedure.places[step.slug] :]:
        if later.power:
            return False
        if later.hold:
            return later.hold.proves == "dead"
    return False


def walks(procedure: Procedure) -> Iterator[Walk]:
    """Yield every way through the procedure, by every combination of answers.

    The number of ways grows with every choice; a checker that must stay fast looks at states
    instead (`checking`).
    """
    start = first_step(procedure, {})
    if start:
        yield from _walks_on(procedure, start, (), {})


def branches(procedure: Procedure, step: Step, answers: Answers) -> Iterator[dict[str, str]]:
    """Yield the answers with which a step can be left.

    Args:
        procedure: tells which regions matter.
        step: the step, just entered.
        answers: what was answered before it.
    """
    for known in _licence_branches(procedure, step, answers):
        if step.choice is None or is_deferred(step, known):
            yield known
        else:
            for option in step.choice.options:
                yield {**known, step.choice.slug: option.slug}


def index_of(procedure: Procedure, step_slug: str) -> int | None:
    """Return where a step stands in the file, or None."""
    return procedure.places.get(step_slug)


def onward(procedure: Procedure, index: int, answers: Answers) -> int:
    """Return where to look for the next step: what the chosen option names, or the line below."""
    step = procedure.steps[index]
    options = step.choice.options if step.choice and not is_deferred(step, answers) else ()
    chosen = answers.get(step.choice.slug) if step.choice else None
    goto = next((option.goto for option in options if option.slug == chosen), "")
    target = index_of(procedure, goto) if goto else None
    return index + 1 if target is None else target


def _first_from(procedure: Procedure, index: int, answers: Answers) -> Step | None:
    return next((step for step in procedure.steps[index:] if step.when.holds(answers)), None)


def way(procedure: Procedure, answers: Answers) -> Iterator[Step]:
    """Yield the steps from the first one on, as these answers lead."""
    step = first_step(procedure, answers)
    while step:
        yield step
        step = next_step(procedure, step.slug, answers)


def _assumed(step: Step, answers: Answers) -> Answers:
    """Return the answers with what the step will ask filled in."""
    assumed = dict(answers)
    if step.line_voltage:
        assumed.setdefault(LICENSED, "yes")
    if step.choice and not is_deferred(step, assumed):
        assumed.setdefault(step.choice.slug, step.choice.options[0].slug)
    return assumed


def _licence_branches(
    procedure: Procedure, step: Step, answers: Answers
) -> Iterator[dict[str, str]]:
    """Yield the answers to 'licensed' and 'region' where the dialogue asks for them here."""
    if not step.line_voltage or LICENSED in answers:
        yield dict(answers)
        return
    for licensed in ("yes", "no"):
        for region in _regions(procedure):
            yield {**answers, LICENSED: licensed, REGION: region}


def _regions(procedure: Procedure) -> tuple[str, ...]:
    """The regions that conditions name, and one that none does."""
    named = (
        option
        for step in procedure.steps
        for when in (step.when, *(reading.when for reading in step.readings))
        for choice, options in when.answers
        if choice == REGION
        for option in options
    )
    return (*dict.fromkeys(named), ELSEWHERE)


def _walks_on(
    procedure: Procedure, step: Step, before: tuple[Step, ...], answers: Answers
) -> Iterator[Walk]:
    steps = (*before, step)
    for known in branches(procedure, step, answers):
        following = next_step(procedure, step.slug, known)
        if following is None:
            yield Walk(known, steps)
        else:
            yield from _walks_on(procedure, following, steps, known)
