"""`companion jobs import`: take a job back in, as it was, from a zip or a JSON file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from companion.commands.options import add_log, log_path
from companion.errors import ForeignJobError, InputError

if TYPE_CHECKING:
    import argparse


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = (
        "Take a job that was exported as zip or json into the log, as it was: every entry, its "
        "digests, its sounds. All is checked first; what does not hold is refused whole."
    )
    command.epilog = "example: companion jobs import job.zip"
    command.add_argument("file", type=Path, metavar="FILE", help="what jobs export wrote")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    from tqdm import tqdm

    from companion.joblog import SqliteStore
    from companion.joblog.taking_in import take_in

    path: Path = arguments.file
    try:
        size = path.stat().st_size
        with path.open("rb"):
            pass
    except OSError as problem:
        raise InputError(
            f"{path} cannot be read: {problem.strerror}", "Name a file that jobs export wrote."
        ) from problem
    with (
        SqliteStore(log_path(arguments)) as store,
        tqdm(total=size, desc="checked", unit="B", unit_scale=True, disable=None, leave=False) as b,
    ):
        try:
            taken = take_in(path, store, b.update)
        except ForeignJobError as problem:
            raise ForeignJobError(problem.problem, problem.remedy, where=str(path)) from problem
    done = "Imported" if taken.is_new else "Already here, the very same"
    print(f"{done}: {taken.job}, {taken.entries} entries, {taken.sounds} sounds.")
    if taken.missing_sounds:
        print(f"{taken.missing_sounds} sounds that it names are not here: the file has them not.")
    return 0
