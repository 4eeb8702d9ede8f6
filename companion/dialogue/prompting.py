"""Asking: the words for what is awaited now, and the answer to a 'done' that comes too early."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.awaiting import (
    AllClear,
    HoldCheck,
    HoldConfirm,
    HoldReading,
    HoldRight,
    Leaving,
    Licence,
    OpenChoice,
    StepReading,
    awaited_by_job,
    awaiting,
    missing_readings,
)
from companion.dialogue.between import difference, spoken
from companion.dialogue.holds import outside_now
from companion.dialogue.retraced import back_words
from companion.dialogue.session import (
    Between,
    ConfirmBack,
    ConfirmEnd,
    ConfirmFault,
    ConfirmHeard,
    ConfirmReading,
    MissingInput,
)
from companion.dialogue.values import spoken_reading
from companion.language.phrasing import listed, phrase
from companion.procedures import complaints

if TYPE_CHECKING:
    from companion.dialogue.awaiting import Awaiting
    from companion.dialogue.outcome import Turn
    from companion.dialogue.state import Job
    from companion.procedures.model import Step


def ask_now(turn: Turn) -> None:
    """Say what is being asked, if anything is."""
    waits = awaiting(turn.job, turn.session)
    what = f"confirm:{waits.step.slug}" if isinstance(waits, HoldConfirm) else ""
    turn.say(asked(turn.job, waits), what=what)


def asked(job: Job, waits: Awaiting) -> str:  # noqa: C901, PLR0911, PLR0912 - one line a case
    """Return the words that ask for what is awaited, '' where nothing is asked."""
    match waits:
        case AllClear(hazard=hazard):
            return phrase(f"emergency.{hazard}")
        case Between(first=first, second=second):
            one, two = difference(first.words, second.words)
            return phrase("between.ask", first=spoken(one).capitalize(), second=spoken(two))
        case ConfirmReading():
            return ""
        case ConfirmHeard(candidate=candidate):
            return phrase("between.confirm", words=" ".join(candidate.words).capitalize())
        case ConfirmEnd(what="search"):
            return phrase("fault.call-off-ask")
        case ConfirmEnd(what="finish"):
            return phrase("job.finish-ask-timer" if job.timers or job.clocks else "job.finish-ask")
        case ConfirmEnd():
            return phrase("job.call-off-ask")
        case ConfirmFault(slug=slug):
            return phrase("fault.ask", title=complaints()[slug].title)
        case ConfirmBack(step=slug):
            return back_words(job, slug)
        case MissingInput(ask=ask):
            return ask
        case Leaving(check=check):
            return phrase(f"leaving.{check}")
        case Licence(choice="licensed"):
            return phrase("licence.ask")
        case Licence():
            return phrase("licence.region")
        case HoldCheck(check=check):
            return check.ask
        case HoldReading(request=request) | StepReading(request=request):
            return request.ask
        case HoldRight(reading=reading):
            return phrase("reading.confirm", name=reading.name, value=spoken_reading(job, reading))
        case HoldConfirm(step=step):
            return _confirm_words(job, step)
        case OpenChoice(step=step):
            return step.choice.ask if step.choice else ""
        case _:
            return ""


def _confirm_words(job: Job, step: Step) -> str:
    """The last words before 'confirmed'; accepting readings names those outside."""
    if step.hold is None:
        return ""
    outside = outside_now(job) if step.hold.proves == "readings" else ()
    listing = phrase("hold.outside-listed", points=listed(outside)) + " " if outside else ""
    return listing + step.hold.confirm


def still_missing(turn: Turn) -> None:
    """Answer a 'done' that comes too early with what is missing."""
    job = turn.job
    match awaited_by_job(job):
        case HoldCheck(check=check):
            turn.tell("hold.check-done", ask=check.ask)
        case HoldReading(request=request):
            turn.tell("hold.reading-done", ask=request.ask)
        case HoldConfirm(step=step):
            words = phrase("hold.confirm-done", confirm=_confirm_words(job, step))
            turn.say(words, what=f"confirm:{step.slug}")
        case OpenChoice(step=step) if step.choice:
            turn.tell("step.choose", ask=step.choice.ask)
        case StepReading(step=step) if job.procedure:
            points = job.procedure.points
            names = tuple(points[r.point].names[0] for r in missing_readings(job, step))
            turn.tell("step.still", missing=listed(names))
        case _:
            ask_now(turn)
