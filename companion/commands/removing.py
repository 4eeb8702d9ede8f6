"""`companion jobs remove`: remove what entries say, and their sound, on a customer's request."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

from companion.commands.options import add_log, log_path
from companion.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from companion.ports import Entry


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = (
        "Remove for good what entries say, and the sound that they name. That they were there, "
        "when, and why they were emptied stays, in an entry of its own; the chain still holds. "
        "For all that a job can tell of its customer: companion jobs forget."
    )
    command.epilog = "example: companion jobs remove 2026-03-04-1 57 58 --why 'customer asked'"
    command.add_argument("job", help="the job's id")
    command.add_argument("entries", nargs="+", type=int, metavar="ENTRY", help="their numbers")
    command.add_argument("--why", required=True, metavar="TEXT", help="kept; name nobody in it")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    from companion.dialogue.forgetting import ToForget
    from companion.joblog import SqliteStore
    from companion.joblog.summary import summary

    numbers = sorted(set(arguments.entries))
    with SqliteStore(log_path(arguments)) as store:
        entries = list(store.entries(arguments.job))
        _check(entries, numbers, is_open=summary(entries).state == "open")
        what = ToForget(tuple(numbers))
        entry = store.redact(arguments.job, what, why=arguments.why, at=datetime.now(UTC))
    said = ", ".join(map(str, numbers))
    print(f"Removed: what {said} said. The entries stay, and entry {entry.number} tells of it.")
    return 0


def _check(entries: Sequence[Entry], numbers: Sequence[int], *, is_open: bool) -> None:
    """Refuse what is not there, what is gone already, and what an open job still needs."""
    from companion.dialogue.forgetting import FORGOTTEN, FREELY_SAID

    by_number = {entry.number: entry for entry in entries}
    for number in numbers:
        entry = by_number.get(number)
        if entry is None:
            raise InputError(
                f"There is no entry {number}; the job has {len(entries)}",
                "See them with: companion jobs show",
            )
        if not entry.payload:
            raise InputError(f"Entry {number} says nothing (any more)", "Leave it out.")
        if entry.kind == FORGOTTEN:
            raise InputError(f"Entry {number} says that content was removed", "It has to stay.")
        if is_open and entry.kind not in FREELY_SAID:
            raise InputError(
                f"Entry {number} is no note, and the job is still open: it goes on by what it says",
                "End the job first. Only notes, and what was made out where it asked again, can be"
                " removed from an open one.",
            )
