"""`companion jobs verify`: whether the log holds, job by job, and the first entry that does not."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from companion.commands.options import add_log, log_path
from companion.errors import DamagedLogError, InputError

if TYPE_CHECKING:
    import argparse

    from companion.joblog import SqliteStore
    from companion.joblog.checking import Checked

DESCRIPTION = """\
Verify the chain of every job, what the entries say, removals, and the sound beside the log.
A line a job tells how many entries it has and the hash of the last one, or the first entry that
does not hold. Nothing is mended. It ends with 5 where something does not hold.

That entries at the very end are gone shows only against a hash that was kept elsewhere: give the
one that stands on the report with --head.
"""
EPILOG = """\
examples:
  companion jobs verify
  companion jobs verify 2026-03-04-1 --head 3b0c…  (all 64 digits, as on the report)
"""


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = DESCRIPTION
    command.epilog = EPILOG
    command.add_argument("job", nargs="?", default="all", help="the job's id (default: all)")
    command.add_argument("--head", metavar="HASH", help="the last hash of a job, as printed")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command.

    Raises:
        DamagedLogError: something does not hold; all of it was printed.
    """
    from companion.joblog import SqliteStore

    digest = _digest(arguments.head) if arguments.head else ""
    with SqliteStore(log_path(arguments), read_only=True) as store:
        if digest:
            return _against(store, arguments.job, digest)
        problems = store.file_problems() if arguments.job == "all" else []
        for problem in problems:
            print(f"file: {problem}")
        found = _checked(store, arguments.job)
    wrong = [each.problem for each in found if each.problem]
    if wrong or problems:
        first = wrong[0] if wrong else problems[0]
        raise DamagedLogError(
            f"{len(wrong)} of {len(found)} jobs do not hold; the first: {first}",
            "Keep a copy of the file as it is; do not rely on what does not hold.",
            where=str(log_path(arguments)),
        )
    return 0


def _checked(store: SqliteStore, which: str) -> list[Checked]:
    from tqdm import tqdm

    from companion.joblog.checking import check_job

    jobs = store.job_ids() if which == "all" else [which]
    found = []
    for job in tqdm(jobs, unit="job", disable=None, leave=False):
        each = check_job(store, job)
        tqdm.write(checked_line(each))
        found.append(each)
    return found


def checked_line(found: Checked) -> str:
    """Return what was found of a job as a line."""
    if found.problem:
        return f"{found.job}  DOES NOT HOLD  {found.problem}"
    remarks = [
        f"{found.removed} emptied on request" if found.removed else "",
        f"{found.unsaid} of them without an entry that says so" if found.unsaid else "",
        f"{found.sounds} sounds" if found.sounds else "",
        f"{found.sounds_gone} sounds not there" if found.sounds_gone else "",
    ]
    more = "".join(f", {remark}" for remark in remarks if remark)
    return f"{found.job}  holds  {found.entries} entries{more}  {found.head}"


def _against(store: SqliteStore, which: str, digest: str) -> int:
    """Look for the entry that a printed hash stands for."""
    from companion.joblog.checking import place_of

    jobs = store.job_ids() if which == "all" else [which]
    broken = ""
    for job in jobs:
        try:
            entries = list(store.entries(job))
        except DamagedLogError as problem:
            broken = broken or str(problem)
            continue
        number = place_of(entries, digest)
        if number is not None:
            since = len(entries) - number
            more = f"; {since} came later" if since else ", the last one"
            print(f"{job}  holds up to that hash: entry {number}{more}")
            return 0
    raise DamagedLogError(
        broken or "No entry has that hash: entries at the end are gone, or were replaced",
        "Look for a copy of the log with it; do not rely on this one.",
        where=str(store.path),
    )


def _digest(text: str) -> str:
    digest = re.sub(r"\s", "", text).lower()
    if not re.fullmatch(r"[0-9a-f]{64}", digest):
        raise InputError(
            f"'{text}' is no hash of a job", "Give all 64 digits (0-9, a-f), as on the report."
        )
    return digest
