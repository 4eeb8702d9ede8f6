"""What may be said while something is awaited: the scope that language composes a grammar for."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from companion import procedures
from companion.dialogue.awaiting import (
    AllClear,
    Awaiting,
    HoldCheck,
    HoldConfirm,
    HoldReading,
    HoldRight,
    Leaving,
    Licence,
    OpenChoice,
    StepReading,
    Waking,
    missing_readings,
)
from companion.dialogue.between import between_choice
from companion.dialogue.holds import requests
from companion.dialogue.session import Between, ConfirmHeard, MissingInput, Noting
from companion.ports import ChoiceVocabulary, Expectation, PointVocabulary, Scope
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Collection

    from companion.dialogue.session import Session
    from companion.dialogue.state import Job
    from companion.procedures.model import ChoiceRequest, Procedure, Step, TestPoint

CLEAR = ChoiceVocabulary(
    "clear", (("clear", ("i'm clear", "i am clear", "all clear", "we're clear", "i'm safe")),)
)
TOLD = ChoiceVocabulary(
    "told",
    (
        ("customer", ("the customer", "customer", "the owner", "homeowner")),
        ("office", ("the office", "office", "dispatch")),
        ("utility", ("the utility", "utility", "the gas company", "the fire service")),
        ("landlord", ("the landlord", "landlord", "the tenant", "tenant")),
        ("nobody", ("nobody", "nobody here", "no one")),
    ),
)
DOUBT = ChoiceVocabulary(
    "doubt", (("yes", ("yes", "yes it is", "it is")), ("no", ("no", "no it isn't", "false alarm")))
)
NOTE = ChoiceVocabulary(
    "note",
    (
        ("end", ("end of note", "end of the note", "end note")),
        ("cancel", ("cancel the note", "cancel that note", "cancel note")),
    ),
)
LICENSED = ChoiceVocabulary("licensed", (("yes", ("yes", "i am")), ("no", ("no", "i'm not"))))


@cache
def regions() -> ChoiceVocabulary:
    """Return the states and provinces: the option's slug is its usual letter code."""
    text = files("companion.dialogue").joinpath("regions.toml").read_text("utf-8")
    names = {**(found := tomllib.loads(text))["states"], **found["provinces"]}
    return ChoiceVocabulary(
        "region", tuple((code, (name.lower(),)) for code, name in sorted(names.items()))
    )


@cache
def provinces() -> frozenset[str]:
    """Return the letter codes of the Canadian provinces and territories."""
    text = files("companion.dialogue").joinpath("regions.toml").read_text("utf-8")
    return frozenset(tomllib.loads(text)["provinces"])


def scope_for(job: Job, session: Session, waits: Awaiting) -> Scope:
    """Return what may be said now."""
    scope = _scope_for(job, session, waits)
    if not (scope.awake and scope.commands and job.procedure) or job.calling_off:
        return scope
    steps, choices = _named(job.procedure)
    logged = _logged(job, {point.slug for point in scope.points})
    return replace(scope, steps=steps, choices=choices, logged=logged, faults=complaints())


@cache
def complaints() -> ChoiceVocabulary | None:
    """Return what is complained of where a fault can be looked for; None where none can."""
    found = tuple((slug, each.names) for slug, each in procedures.complaints().items())
    return ChoiceVocabulary("fault", found) if found else None


def _named(procedure: Procedure) -> tuple[ChoiceVocabulary | None, ChoiceVocabulary | None]:
    """Return the steps and the choices that can be named: by their slugs' words."""
    steps = dict.fromkeys(step.slug for step in procedure.steps)
    choices = dict.fromkeys(step.choice.slug for step in procedure.steps if step.choice)
    return _by_slug("step", steps), _by_slug("answer", choices)


def _logged(job: Job, live: Collection[str]) -> ChoiceVocabulary | None:
    """Return the test points with a reading on the log that can't be named otherwise now."""
    points = job.procedure.points if job.procedure else {}
    slugs = sorted({taken.point for taken in job.readings} & points.keys() - set(live))
    options = tuple((slug, points[slug].names) for slug in slugs)
    return ChoiceVocabulary("logged", options) if options else None


def _by_slug(kind: str, slugs: Collection[str]) -> ChoiceVocabulary | None:
    if not slugs:
        return None
    return ChoiceVocabulary(kind, tuple((slug, (slug.replace("-", " "),)) for slug in slugs))


def _scope_for(job: Job, session: Session, waits: Awaiting) -> Scope:  # noqa: C901, PLR0911 - a table
    match waits:
        case AllClear():
            return Scope("emergency", commands=False, questions=False, choice=CLEAR)
        case Noting():
            return Scope("note", commands=False, questions=False, noting=True, choice=NOTE)
        case Waking():
            return Scope("standing by", awake=False, attention=session.attention)
        case ConfirmHeard() if session.standing_by:
            return Scope("doubt", commands=False, questions=False, choice=DOUBT)
        case Between(first=first, second=second):
            choice = between_choice(first, second)
            return Scope("between", questions=False, choice=choice, points=_points(job))
        case MissingInput():
            return _input_scope(waits, _points(job))
        case Leaving(check="told"):
            return Scope("leaving", questions=False, choice=TOLD)
        case Leaving():
            return Scope("leaving", questions=False)
        case Licence(choice=choice):
            return Scope(choice, choice=LICENSED if choice == "licensed" else regions())
        case OpenChoice(step=step):
            return Scope("choice", choice=_choice(step.choice), points=_points(job))
        case HoldCheck() | HoldReading() | HoldRight() | HoldConfirm():
            return Scope("hold", points=_points(job, waits))
        case _:
            return Scope("step", points=_points(job, waits))


def expectation(job: Job, waits: Awaiting) -> Expectation | None:
    """Return the reading that is awaited, for the recogniser."""
    if not isinstance(waits, StepReading | HoldReading) or job.procedure is None:
        return None
    point = job.procedure.points[waits.request.point]
    return Expectation(point.slug, point.unit, float(point.low), float(point.high))


def _input_scope(waits: MissingInput, points: tuple[PointVocabulary, ...]) -> Scope:
    """A missing input is answered by a bare measure (or its word)."""
    wanted = next(i for i in sizings()[waits.sizing].inputs if i.name == waits.name)
    kind, units = wanted.kind, wanted.units
    return Scope("input", asking_kind=kind, asking_units=units, points=points)


def _choice(asked: ChoiceRequest | None) -> ChoiceVocabulary | None:
    if asked is None:
        return None
    return ChoiceVocabulary(asked.slug, tuple((o.slug, o.names) for o in asked.options))


def _points(job: Job, waits: Awaiting | None = None) -> tuple[PointVocabulary, ...]:
    """The test points of the current step, the awaited one marked."""
    step = job.current
    if step is None or job.procedure is None:
        return ()
    awaited = _awaited_point(job, step, waits)
    slugs = dict.fromkeys(request.point for request in requests(job, step))
    return tuple(
        vocabulary_of(job.procedure.points[slug], awaited=slug == awaited) for slug in slugs
    )


def _awaited_point(job: Job, step: Step, waits: Awaiting | None) -> str:
    if isinstance(waits, StepReading | HoldReading):
        return waits.request.point
    missing = missing_readings(job, step) if waits is not None else ()
    return missing[0].point if missing and step.hold is None else ""


def vocabulary_of(point: TestPoint, *, awaited: bool = False) -> PointVocabulary:
    """Return how a test point is named and measured, for the language."""
    return PointVocabulary(point.slug, point.names, point.unit, point.others, awaited)


def named_scopes(procedure: Procedure) -> dict[str, Scope]:
    """Return the scopes that recordings can be heard in, by name, for a procedure's test points."""
    points = tuple(vocabulary_of(point) for point in procedure.points.values())
    steps, choices = _named(procedure)
    return {
        "steps": Scope("steps", questions=False),
        "readings": Scope("readings", commands=False, questions=False, points=points),
        "questions": Scope("questions", commands=False),
        "everything": Scope(
            "everything", points=points, steps=steps, choices=choices, faults=complaints()
        ),
        "standing-by": Scope("standing-by", awake=False),
    }
