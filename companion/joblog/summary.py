"""What a list of jobs tells about each, and how a new one is called."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

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
    """One line of the list of jobs; `opened` and `last_entry` are UTC."""

    id: str
    title: str
    opened: datetime
    last_entry: datetime
    state: State
    entries: int


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
    return JobSummary(
        id=entries[0].job,
        title=str(opened.payload.get("title", "")) if opened else "",
        opened=entries[0].at,
        last_entry=entries[-1].at,
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
