"""`companion jobs list`: the jobs on the log, all of them or those that have what you look for."""

from __future__ import annotations

import argparse
import sys
from datetime import date

from companion.commands.job_choice import reading_store
from companion.commands.options import add_log
from companion.errors import DamagedLogError
from companion.showing import on_one_line

EPILOG = """examples:
  companion jobs list
  companion jobs list --customer miller --since 2026-03-01
  companion jobs list --point "supply static" --verdict outside
"""


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = "The jobs, a line each: all, or those that have all that you ask for."
    command.epilog = EPILOG
    command.add_argument(
        "--text",
        "--customer",
        default="",
        metavar="WORDS",
        help="all of these words in one note, name or title; a customer is found where a note says "
        "the name",
    )
    command.add_argument("--since", type=_day, metavar="DATE", help="on this day or later")
    command.add_argument("--until", type=_day, metavar="DATE", help="on this day or earlier")
    command.add_argument("--procedure", default="", metavar="NAME", help="of this kind of work")
    command.add_argument(
        "--point", default="", metavar="TEST_POINT", help="with a reading of this test point"
    )
    command.add_argument(
        "--verdict",
        choices=("within", "outside"),
        default="",
        help="with a reading of this verdict (with --point: of that test point)",
    )
    add_log(command)
    command.set_defaults(run=run)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as exc:
        raise argparse.ArgumentTypeError(f"'{text}' is no date; write it as 2026-03-04") from exc


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    from companion.joblog.finding import Wanted

    wanted = Wanted(
        arguments.text,
        arguments.since,
        arguments.until,
        arguments.procedure,
        arguments.point,
        arguments.verdict,
    )
    worst = 0
    with reading_store(arguments) as store:
        for job in store.find(wanted):
            opened = job.opened.strftime("%Y-%m-%d %H:%M UTC")
            title = on_one_line(job.title)
            name = on_one_line(job.id)
            print(f"{name}  {opened}  {job.state:<9}  {job.entries:>4} entries  {title}")
            if job.damage:
                print(f"companion: {job.damage}. Do not rely on that job.", file=sys.stderr)
                worst = DamagedLogError.exit_code
    return worst
