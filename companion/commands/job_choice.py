"""What the commands about jobs share: opening the log to read, which job, and where to write."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

from companion.commands.options import log_path
from companion.errors import InputError, JobNotFoundError

if TYPE_CHECKING:
    import argparse
    from pathlib import Path

    from companion.joblog import SqliteStore


def reading_store(arguments: argparse.Namespace) -> SqliteStore:
    """Return the log that was named, open to read."""
    from companion.joblog import SqliteStore

    return SqliteStore(log_path(arguments), read_only=True)


def job_or_last(store: SqliteStore, arguments: argparse.Namespace) -> str:
    """Return the job that was named, else the one that was worked on last."""
    if arguments.job:
        return str(arguments.job)
    jobs = store.jobs()
    if not jobs:
        raise JobNotFoundError("(any)", log_path(arguments))
    return max(jobs, key=lambda job: job.last_entry).id


def write_text(text: str, out: Path | None) -> None:
    """Write to a file, or to standard output where there is none.

    Raises:
        InputError: the file cannot be written.
    """
    if out is None:
        sys.stdout.write(text)
        return
    try:
        out.write_text(text, encoding="utf-8", newline="")
    except OSError as problem:
        raise unwritable(out, problem) from problem
    print(f"Written: {out}")


def unwritable(out: Path, problem: OSError) -> InputError:
    """Return the error for a place that cannot be written."""
    return InputError(
        f"{out} cannot be written: {problem.strerror}", "Choose another place with --out."
    )
