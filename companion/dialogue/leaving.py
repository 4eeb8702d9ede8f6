"""Whether 'call it off' leads from every step of a procedure to a job that is left safe.

The rules of `procedures.rules` look at a file; this takes each step as the dialogue finds it, says
the words there, and goes the way out. So it also catches a file whose own words get in the way: an
option or a test point that is called as what the technician says to get out.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.dialogue.awaiting import LEAVING, awaiting
from companion.dialogue.events import Heard
from companion.dialogue.placing import AT, arrivals
from companion.dialogue.scopes import TOLD, scope_for
from companion.dialogue.session import Session
from companion.dialogue.state import apply
from companion.dialogue.turn import take
from companion.language.compose import compose
from companion.language.meanings import Command
from companion.ports import Alternative, Hearing
from companion.procedures.rules import Stated, proves_dead
from companion.procedures.walking import LICENSED

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.dialogue.state import Job
    from companion.procedures.model import Procedure
    from companion.procedures.walking import Walk

WAY_OUT = Stated(
    "way-out",
    "From every step 'call it off' leads to 'left safe': once work has begun the power is off, "
    "locked and the openings closed, and always somebody is told.",
    "Who smells gas, or finds the wrong house, is not held by a program.",
    "common practice, no source",
    "Give what is called so another name",
)
WORDS = ("call", "it", "off")
_ENDED = "left safe"
_OUT = frozenset({"called-off", "leaving-check", "left-safe"})
_YES = ("yes",)
_TOLD = TOLD.options[0][1][0].split()


@dataclass(frozen=True, slots=True)
class Held:
    """A step from which the way out is not open.

    Attributes:
        step: its slug.
        found: what is in the way.
        way: the answers that lead to the step, choice and option.
    """

    step: str
    found: str
    way: tuple[str, ...]


def held(procedure: Procedure) -> Iterator[Held | None]:
    """Yield, for each step that a way reaches, what holds the technician there; None for nothing.

    Each is looked at when it has just been entered, by a shortest way that leads to it.

    Args:
        procedure: one that its own checks have passed.
    """
    for job, walk in arrivals(procedure):
        found = _in_the_way(job, LEAVING if _is_begun(procedure, walk) else LEAVING[-1:])
        way = tuple(f"{choice} {option}" for choice, option in walk.answers.items())
        yield Held(job.step, found, way) if found else None


def _is_begun(procedure: Procedure, walk: Walk) -> bool:
    """Return whether work has begun that must not be left as it is: by the file, not by the job.

    Where a fault is looked for, something has failed: what was opened to measure it live counts.
    """
    licensed = walk.answers.get(LICENSED) == "yes"
    return any(
        step.needs_dead
        or proves_dead(step)
        or (procedure.kind == "fault" and bool(step.power))
        or (step.line_voltage and licensed and step is not walk.steps[-1])
        for step in walk.steps
    )


def _in_the_way(job: Job, expected: tuple[str, ...]) -> str:
    """Say that it is called off and answer what is asked; return what went otherwise."""
    session = Session()
    language = compose(scope_for(job, session, awaiting(job, session)))
    meanings = language.interpret(WORDS)
    if meanings != (Command("call-it-off"),):
        others = [m for m in meanings if m != Command("call-it-off")]
        return f"'{' '.join(WORDS)}' means something else here: {', '.join(map(str, others))}"
    lines = deque((WORDS, _YES, *(_YES for _ in expected[:-1]), tuple(_TOLD)))
    here = job.step
    while lines and not job.ended:
        job, session, wrong = _said(job, session, lines.popleft())
        if wrong:
            return wrong
    if job.step != here or job.ended != _ENDED:
        return f"it led to '{job.ended or job.step}' and not to '{_ENDED}'"
    missing = [check for check in expected if check not in job.left]
    return f"it did not ask: {', '.join(missing)}" if missing else ""


def _said(job: Job, session: Session, words: tuple[str, ...]) -> tuple[Job, Session, str]:
    language = compose(scope_for(job, session, awaiting(job, session)))
    hearing = Hearing((Alternative(words, match=1.0, log_prob=0.0),), free=" ".join(words))
    heard = Heard(hearing, language.candidates(hearing), AT, typed=True)
    outcome = take(job, session, heard)
    for draft in outcome.drafts:
        if draft.kind not in _OUT:
            return job, session, f"'{' '.join(words)}' led to {draft.kind} on the way out"
        job = apply(job, draft)
    return job, outcome.session, ""
