"""`companion jobs forget`: remove all that a job can tell of its customer, on request."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from typing import TYPE_CHECKING

from companion.commands.options import add_log, log_path
from companion.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from companion.dialogue.forgetting import ToForget
    from companion.ports import Entry

DESCRIPTION = """\
Remove for good all that a job can tell of its customer: what its notes say, what was made out
where it asked again, and every recording. What was done and measured stays, unless you say
--everything. An entry says what was removed, when and why; the chain still holds.
"""
EPILOG = """\
examples:
  companion jobs forget 2026-03-04-1
  companion jobs forget 2026-03-04-1 --everything --yes --why "the customer asked in writing"
"""
WHY = "the customer asked"


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = DESCRIPTION
    command.epilog = EPILOG
    command.add_argument("job", help="the job's id")
    command.add_argument(
        "--everything", action="store_true", help="also what was done and measured; of ended jobs"
    )
    command.add_argument(
        "--why", default=WHY, metavar="TEXT", help=f"kept; name nobody in it (default: {WHY})"
    )
    command.add_argument("--yes", action="store_true", help="do not ask first")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    from companion.dialogue.forgetting import to_forget
    from companion.joblog import SqliteStore
    from companion.joblog.summary import summary

    with SqliteStore(log_path(arguments)) as store:
        entries = list(store.entries(arguments.job))
        if arguments.everything and summary(entries).state == "open":
            raise InputError(
                f"Job {arguments.job} is still open: it goes on by what its entries say",
                "End it first, or leave out --everything.",
            )
        what = to_forget(entries, everything=arguments.everything)
        if not what:
            print(f"Job {arguments.job} says nothing (any more) of its customer.")
            return 0
        for line in _told(entries, what):
            print(line)
        if not arguments.yes:
            _ask(arguments.job)
        entry = store.redact(arguments.job, what, why=arguments.why, at=datetime.now(UTC))
    print(f"Removed. Entry {entry.number} says so; the chain holds.")
    print("Copies are not reached: delete or redo backups, exports and reports yourself.")
    return 0


def _told(entries: Sequence[Entry], what: ToForget) -> list[str]:
    """Say what will go."""
    from collections import Counter

    going = frozenset(what.entries)
    kinds = Counter(entry.kind for entry in entries if entry.number in going)
    lines = [f"What {count} x {kind} said" for kind, count in sorted(kinds.items())]
    if what.sounds:
        lines.append(f"The sound of {len(what.sounds)} more; what they say stays")
    return ["This will be removed for good:", *(f"  {line}" for line in lines)]


def _ask(job: str) -> None:
    """Go on only where the job's id is typed."""
    print(f"Type the job's id ({job}) to go on: ", end="", flush=True)
    if sys.stdin.readline().strip() != job:
        raise InputError("That is not the job's id", "Nothing was removed.")
