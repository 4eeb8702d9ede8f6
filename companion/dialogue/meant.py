"""Whether what a procedure listens for means one thing where it is said.

The words of a shop's own procedure come beside the commands, the questions and the emergency
phrases. An option called 'repeat', a test point called 'gas leak': one of the two meanings would be
lost, and it may be the one that saves somebody.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import TYPE_CHECKING

from companion.dialogue.awaiting import awaiting
from companion.dialogue.placing import arrivals, draft
from companion.dialogue.scopes import regions, scope_for, vocabulary_of
from companion.dialogue.session import Session
from companion.dialogue.state import apply
from companion.language import pieces, sentences
from companion.language.compose import compose
from companion.language.meanings import Choice
from companion.procedures.rules import Stated
from companion.procedures.walking import LICENSED, REGION

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.dialogue.state import Job
    from companion.language.pieces import Piece
    from companion.procedures.model import Procedure, Step
    from companion.procedures.positions import KeyPath

ONE_MEANING = Stated(
    "one-meaning",
    "What the technician says to answer a choice, or to name a test point, means nothing else "
    "where it is said.",
    "Of two meanings one is lost: a command, a question, a cry for help.",
    "common practice, no source",
    "Give it another name",
)


@dataclass(frozen=True, slots=True)
class Unclear:
    """A name with a second meaning.

    Attributes:
        path: the key of the name.
        found: what else it means.
    """

    path: KeyPath
    found: str


def unclear(procedure: Procedure) -> Iterator[Unclear]:
    """Yield every option's and test point's name that means something else as well.

    Args:
        procedure: one that its own checks have passed.
    """
    yield from _points(procedure)
    for job, _ in arrivals(procedure):
        step = job.current
        if step and step.choice:
            yield from _options(procedure, _licensed(job, step), step)


def _licensed(job: Job, step: Step) -> Job:
    """Return the job with the licence known, so that the step's own choice is what is asked."""
    answers = {LICENSED: "yes", REGION: regions().options[0][0]} if step.line_voltage else {}
    for choice, option in answers.items():
        job = apply(job, draft("choice", choice=choice, option=option))
    return job


def _options(procedure: Procedure, job: Job, step: Step) -> Iterator[Unclear]:
    asked, session = step.choice, Session()
    if asked is None:
        return
    language = compose(scope_for(job, session, awaiting(job, session)))
    for number, option in enumerate(asked.options):
        for place, name in enumerate(option.names):
            meanings = language.interpret(_words(name))
            if meanings != (Choice(asked.slug, option.slug),):
                at = procedure.places[step.slug]
                path = ("steps", at, "choice", "options", number, "names", place)
                others = [m for m in meanings if m != Choice(asked.slug, option.slug)]
                told = ", ".join(map(str, others)) or "nothing that can be heard"
                yield Unclear(path, f"'{name}' also means {told}")


def _points(procedure: Procedure) -> Iterator[Unclear]:
    said = {
        slug: pieces.readings((vocabulary_of(point),)) for slug, point in procedure.points.items()
    }
    for one, other in combinations(said, 2):
        both = sentences.shared(said[one].automaton, said[other].automaton)
        if both is not None:  # told at both: one of them may be a part's, which the shop can't mend
            for here, there in ((one, other), (other, one)):
                found = f"'{' '.join(both)}' also names '{there}'"
                yield Unclear(("points", here, "names"), found)
    for slug, piece in said.items():
        for number, name in enumerate(procedure.points[slug].names):
            taken = [p for p in _said_anywhere() if sentences.accepts(p.automaton, _words(name))]
            for every in taken:
                found = f"'{name}' by itself is one of the {every.name}"
                yield Unclear(("points", slug, "names", number), found)
        for every in _said_anywhere():
            both = sentences.shared(piece.automaton, every.automaton)
            if both is not None:
                found = f"'{' '.join(both)}' is also one of the {every.name}"
                yield Unclear(("points", slug, "names"), found)


@cache
def _said_anywhere() -> tuple[Piece, ...]:
    """Return what may be said at every step, whatever the procedure."""
    return (
        pieces.emergency(),
        pieces.commands(),
        pieces.corrections(),
        pieces.questions(),
        pieces.follow_ups(),
    )


def _words(name: str) -> tuple[str, ...]:
    return tuple(name.replace("-", " ").split())
