"""What a list of jobs tells about each, and how a new one is called."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from companion.dialogue.forgetting import FORGOTTEN

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable, Sequence
    from datetime import datetime

    from companion.ports import Entry

State = Literal["open", "finished", "left safe"]

# An entry of these kinds decides how a job stands; the last one wins, so that a job that was left
# safe and taken up again is open.
DECIDING: dict[str, State] = {
    "job-opened": "open",
    "resumed": "open",
    "finished": "finished",
    "left-safe": "left safe",
}


@dataclass(frozen=True, slots=True)
class JobSummary:
    """One line of the list of jobs.

    `opened` is the time of the first entry and `last_entry` the latest time of any, in UTC, as the
    clock had it; a removal later on is no work on the job and not counted there. `damage` says
    which entry does not hold, '' where all do.
    """

    id: str
    title: str
    opened: datetime
    last_entry: datetime
    state: State
    entries: int
    damage: str = ""


def state_after(kinds: Iterable[str]) -> State:
    """Return how a job stands after entries of these kinds.

    >>> state_after(["job-opened", "step-entered", "left-safe"])
    'left safe'
    """
    state: State = "open"
    for kind in kinds:
        state = DECIDING.get(kind, state)
    return state


def summary(entries: Sequence[Entry]) -> JobSummary:
    """Return a job's line for the list of jobs, from its entries.

    Args:
        entries: the job's entries, in order; at least one.
    """
    opened = next((entry for entry in entries if entry.kind == "job-opened"), None)
    worked = [entry for entry in entries if entry.kind != FORGOTTEN] or entries
    return JobSummary(
        id=entries[0].job,
        title=str(opened.payload.get("title", "")) if opened else "",
        opened=worked[0].at,
        last_entry=max(entry.at for entry in worked),
        state=state_after(entry.kind for entry in entries),
        entries=len(entries),
    )


def job_id(at: datetime, taken: Collection[str]) -> str:
    """Return an id that can be read out and typed: the local date, and which job of that day.

    Args:
        at: when the job begins, with its zone.
        taken: the ids in use.
    """
    day = at.astimezone().date().isoformat()
    return next(
        name for number in range(1, len(taken) + 2) if (name := f"{day}-{number}") not in taken
    )
