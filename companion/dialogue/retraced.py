"""What going back to an earlier step would undo, and what was answered so far."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.scopes import regions
from companion.language.phrasing import listed, phrase
from companion.procedures.walking import way

if TYPE_CHECKING:
    from companion.dialogue.state import Job
    from companion.procedures.model import Step


def spoken_name(slug: str) -> str:
    """Return how a step or a choice is called: its slug's words.

    >>> spoken_name("found-static")
    'found static'
    """
    return slug.replace("-", " ")


def behind(job: Job) -> tuple[Step, ...]:
    """Return the steps that were gone through on this way, the first one first."""
    found: list[Step] = []
    for step in way(job.procedure, job.answers) if job.procedure else ():
        if step.slug == job.step:
            return tuple(found)
        found.append(step)
    return ()


def undone_choices(job: Job, slug: str) -> tuple[str, ...]:
    """Return the choices asked again after going back to a step, in the order of the steps.

    All from there on in the procedure, also what a way left since had asked: an answer further on
    may hang on an earlier one.
    """
    steps = job.procedure.steps[job.procedure.places[slug] :] if job.procedure else ()
    asked = (step.choice.slug for step in steps if step.choice)
    return tuple(dict.fromkeys(choice for choice in asked if choice in job.answers))


def undone_holds(job: Job, slug: str) -> tuple[Step, ...]:
    """Return the hold points that are met and must be met again after going back to a step."""
    met = {step for step, progress in job.holds.items() if progress.met}
    return tuple(step for step in _from(job, slug) if step.hold and step.slug in met)


def _from(job: Job, slug: str) -> tuple[Step, ...]:
    """Return the steps of the way from one on, up to and with the present one."""
    gone = [*behind(job), *([job.current] if job.current else [])]
    slugs = [step.slug for step in gone]
    return tuple(gone[slugs.index(slug) :]) if slug in slugs else ()


def back_words(job: Job, slug: str) -> str:
    """Return the question whether to go back, with all that it undoes."""
    choices, holds = undone_choices(job, slug), undone_holds(job, slug)
    told = []
    if choices:
        names = listed(tuple(map(spoken_name, choices)))
        told.append(phrase("step.undone-answers", answers=names))
    if holds:
        titles = listed(tuple(step.hold.title.lower() for step in holds if step.hold))
        told.append(phrase("step.undone-holds", holds=titles))
    undone = " ".join(told) or phrase("step.undone-nothing")
    return phrase("step.go-to-ask", name=spoken_name(slug), undone=undone)


def answered(job: Job, choice: str) -> str:
    """Return an answer as it is told, '' where there is none.

    >>> from companion.dialogue.state import Job
    >>> answered(Job(answers={"licensed": "yes"}), "licensed")
    'Licensed: yes.'
    """
    option = job.answers.get(choice)
    if option is None:
        return ""
    names = {slug: names[0] for slug, names in regions().options} if choice == "region" else {}
    for step in job.procedure.steps if job.procedure else ():
        if step.choice and step.choice.slug == choice:
            names |= {each.slug: each.names[0] for each in step.choice.options}
    name = spoken_name(choice).capitalize()
    return phrase("answers.one", name=name, answer=names.get(option, spoken_name(option)))
