"""Jobs that have just come to a step, made without walking there: for who checks a procedure.

Everything before the step counts as done as it should be, along a shortest way that leads to it.
"""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from companion.dialogue.events import Opened
from companion.dialogue.session import Session
from companion.dialogue.state import Job, apply
from companion.dialogue.turn import take
from companion.ports import Draft
from companion.procedures.paths import ways_to
from companion.procedures.walking import LICENSED, REGION, is_deferred

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.procedures.model import Procedure, Step
    from companion.procedures.walking import Walk

AT = datetime(2000, 1, 1, tzinfo=UTC)  # nothing here hangs on the time


def arrivals(procedure: Procedure) -> Iterator[tuple[Job, Walk]]:
    """Yield the job at each step that a way reaches, and that way.

    Args:
        procedure: one that its own checks have passed.
    """
    outcome = take(Job(), Session(), Opened(procedure, AT))
    opened = next(draft for draft in outcome.drafts if draft.kind == "job-opened")
    begun = apply(Job(), opened)
    for walk in ways_to(procedure):
        yield _arrived(begun, walk), walk


def _arrived(job: Job, walk: Walk) -> Job:
    *before, last = walk.steps
    known: set[str] = set()
    for step in before:
        job = apply(job, draft("step-entered", step=step.slug))
        for choice in _asked(step, walk):
            if choice in walk.answers and choice not in known:
                known.add(choice)
                option = walk.answers[choice]
                job = apply(job, draft("choice", choice=choice, option=option))
                if choice == REGION:  # the licence is known: the dialogue enters it once more
                    job = apply(job, draft("step-entered", step=step.slug))
        held = step.hold is not None and not is_deferred(step, walk.answers)
        for kind in ("hold-opened", "hold-met") if held else ():
            job = apply(job, draft(kind, step=step.slug))
        job = apply(job, draft("step-done", step=step.slug))
    job = apply(job, draft("step-entered", step=last.slug))
    return apply(job, draft("hold-opened", step=last.slug)) if last.hold else job


def _asked(step: Step, walk: Walk) -> Iterator[str]:
    """Yield what is asked at a step: the licence before line voltage, and its own choice."""
    if step.line_voltage:
        yield from (LICENSED, REGION)
    if step.choice and not is_deferred(step, walk.answers):
        yield step.choice.slug


def draft(kind: str, **payload: str) -> Draft:
    """Return an entry of a job that is made up."""
    return Draft(kind, payload, AT)
