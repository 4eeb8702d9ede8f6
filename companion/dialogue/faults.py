"""Looking for a fault from within a job: a procedure of its own, and back to where the job was.

It is begun with the power as it is, so never while the circuit is locked out: half-wired work would
be powered to look for something else. Once it has opened the unit up itself, only its end (where
power is back and proved) or calling the whole job off leads out of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.prompting import ask_now
from companion.dialogue.session import ConfirmFault
from companion.language.phrasing import listed
from companion.procedures import complaints, procedure
from companion.procedures.walking import first_step

if TYPE_CHECKING:
    from companion.dialogue.outcome import Turn
    from companion.dialogue.state import Job


def find_fault(turn: Turn, slug: str) -> None:
    """Ask whether a fault is to be looked for; without a slug, tell which can be."""
    if not slug:
        titles = tuple(each.title.lower() for each in complaints().values())
        turn.tell("fault.which", titles=listed(titles, "or"))
    elif turn.job.procedure and turn.job.procedure.slug == slug:
        turn.tell("fault.itself")
    elif turn.job.home:
        turn.tell("fault.already")
    elif is_opened_up(turn.job):
        turn.tell("fault.dead")
    else:
        turn.remember(pending=ConfirmFault(slug))
        ask_now(turn)


def is_opened_up(job: Job) -> bool:
    """Return whether the search has locked out, or is at line voltage: only its end leads back."""
    return job.locked_out or (job.current is not None and job.current.line_voltage)


def begin_fault(turn: Turn, slug: str) -> str:
    """Log that a fault is looked for; return the slug of its first step."""
    made = procedure(slug)
    turn.log(
        "fault-begun",
        procedure=made.slug,
        title=made.title,
        version=made.version,
        digest=made.digest,
        text=made.text,
        step=turn.job.step,
    )
    turn.remember(changed="", prompted="", asked=None)
    turn.tell("fault.begun", title=made.title)
    first = first_step(made, turn.job.answers)
    return first.slug if first else ""


def end_fault(turn: Turn, how: str) -> None:
    """Log that the search is over, and say that the job goes on; the caller takes it up again."""
    turn.log("fault-ended", how=how)
    turn.remember(changed="", prompted="", asked=None)
    title = turn.job.procedure.title if turn.job.procedure else ""
    turn.tell("fault.ended" if how == "finished" else "fault.left", title=title)
