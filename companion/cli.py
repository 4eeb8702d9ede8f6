"""The command line: parse, call, print. One line on stderr and a fixed exit code for each error."""

from __future__ import annotations

import argparse
import errno
import json
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from companion import __version__
from companion.commands import (
    comparing,
    drawings,
    exporting,
    finding,
    forgetting,
    importing,
    models,
    procedures,
    removing,
    reporting,
    selftest,
    sizings,
    verifying,
    work,
)
from companion.commands.job_choice import job_or_last, reading_store
from companion.commands.options import add_log, add_procedure
from companion.errors import CompanionError, InputError

if TYPE_CHECKING:
    from collections.abc import Sequence


SCOPES = ("steps", "readings", "questions", "everything", "standing-by")
INTERRUPTED = 130
NO_ROOM = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)

EXAMPLES = """examples:
  companion rehearse --out rehearsal-out
  companion selftest
  companion work
  companion ask "what gauge for half an amp at sixty feet"
  companion hear reading.wav --scope readings --json
  companion jobs report --out report.html

exit codes: 0 done, 1 a rehearsal went wrong, 2 wrong usage, 3 unusable input,
4 a model, voice or device is missing, 5 the job log, 130 interrupted
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run a command and return its exit code."""
    arguments = parser().parse_args(argv)
    try:
        return _run(arguments)
    except CompanionError as problem:
        print(f"companion: {problem}", file=sys.stderr)
        return problem.exit_code
    except KeyboardInterrupt:
        print("\ncompanion: interrupted; all that was logged is kept", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        _leave_stdout()
        return 0
    except OSError as problem:
        if problem.errno not in NO_ROOM:
            raise
        _leave_stdout()
        print(f"companion: no room to write to: {problem.strerror}. Free some.", file=sys.stderr)
        return InputError.exit_code


def _run(arguments: argparse.Namespace) -> int:
    """Run the command; what it printed is out before it counts as done."""
    code: int = arguments.run(arguments)
    sys.stdout.flush()
    return code


def _leave_stdout() -> None:
    """Nobody reads it, or it takes no more: leave Python nothing to flush there at its end."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def parser() -> argparse.ArgumentParser:
    """Return the parser of all commands."""
    top = argparse.ArgumentParser(
        prog="companion",
        description="Offline, hands-free voice companion for fitting powered duct accessories.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    top.add_argument("--version", action="version", version=f"companion {__version__}")
    commands = top.add_subparsers(metavar="COMMAND", required=True)
    written = argparse.RawDescriptionHelpFormatter
    _add_rehearse(commands.add_parser("rehearse", help="hear the whole job, spoken and answered"))
    work.add(
        commands.add_parser(
            "work", help="run or resume a job", formatter_class=argparse.RawDescriptionHelpFormatter
        )
    )
    _add_hear(commands.add_parser("hear", help="tell what is heard in recordings"))
    _add_ask(commands.add_parser("ask", help="answer one sizing question"))
    sums = commands.add_parser(
        "sizings", help="list what it can work out, and each one's page", formatter_class=written
    )
    sizings.add(sums)
    _add_jobs(commands.add_parser("jobs", help="list, show, export and report jobs"))
    by_hand = commands.add_parser(
        "template", help="print a cut-out at true scale", formatter_class=written
    )
    drawings.add_template(by_hand)
    trying = commands.add_parser("selftest", help="try all a job needs", formatter_class=written)
    selftest.add(trying)
    kinds = commands.add_parser(
        "procedures", help="list, read, check and begin procedures", formatter_class=written
    )
    procedures.add(kinds)
    shelf = commands.add_parser("models", help="choose a recogniser", formatter_class=written)
    models.add(shelf)
    return top


# ---------------------------------------------------------------- rehearse


def _add_rehearse(command: argparse.ArgumentParser) -> None:
    command.description = (
        "A prepared job, spoken by a synthetic technician, goes as sound through the real loop."
    )
    command.epilog = "example: companion rehearse --noise 20 --seed 7 --out rehearsal-out"
    command.add_argument(
        "--out",
        type=Path,
        default=Path("rehearsal-out"),
        metavar="DIR",
        help="where conversation, log and report go (default: rehearsal-out)",
    )
    command.add_argument("--real-time", action="store_true", help="pace it as it would be heard")
    command.add_argument("--noise", type=float, metavar="DB", help="blower hum at this SNR in dB")
    command.add_argument("--seed", type=int, default=1, help="varies pace, pitch and pauses")
    command.add_argument("--voice", metavar="NAME", help="the technician's; 'list' lists them")
    command.add_argument("--json", action="store_true", help="print the summary as JSON, last")
    command.add_argument("--quiet", action="store_true", help="do not print the conversation")
    command.set_defaults(run=_rehearse)


def _rehearse(arguments: argparse.Namespace) -> int:
    from companion.rehearsal.performance import Settings, rehearse
    from companion.rehearsal.speakers import available_speakers

    if arguments.voice == "list":
        print("\n".join(available_speakers()))
        return 0
    settings = Settings(
        out=arguments.out,
        seed=arguments.seed,
        speaker=arguments.voice,
        snr_db=arguments.noise,
        real_time=arguments.real_time,
        quiet=arguments.quiet,
    )
    summary = rehearse(settings)
    print(json.dumps(summary.as_json(), indent=2) if arguments.json else summary.as_text())
    return 0 if summary.completed else 1


# ---------------------------------------------------------------- hear


def _add_hear(command: argparse.ArgumentParser) -> None:
    command.description = "Tell what is heard in recordings: wav or flac, any rate, mono or stereo."
    command.epilog = "example: companion hear reading.wav --scope readings --json"
    command.add_argument("files", nargs="+", type=Path, metavar="FILE")
    command.add_argument(
        "--scope", choices=SCOPES, default="everything", help="what may be said (default: all)"
    )
    add_procedure(command)
    command.add_argument("--json", action="store_true", help="one JSON object a file")
    command.set_defaults(run=_hear)


def _hear(arguments: argparse.Namespace) -> int:
    from companion.hearing_files import heard_in, hearing_lines
    from companion.working import named_procedure

    worst = 0
    reader = heard_in(arguments.scope, named_procedure(arguments.procedure))
    for path in arguments.files:
        try:
            found = reader(path)
        except InputError as problem:
            print(f"companion: {problem}", file=sys.stderr)
            worst = problem.exit_code
            continue
        print(json.dumps(found) if arguments.json else hearing_lines(found), flush=True)
    return worst


# ---------------------------------------------------------------- ask


def _add_ask(command: argparse.ArgumentParser) -> None:
    command.description = "Answer one sizing question from text."
    command.epilog = 'example: companion ask "what gauge for half an amp at sixty feet"'
    command.add_argument("question", nargs="+", metavar="WORD", help="the question, in your words")
    command.add_argument("--json", action="store_true", help="print the answer as one JSON object")
    command.set_defaults(run=_ask)


def _ask(arguments: argparse.Namespace) -> int:
    from companion.asking import answer_lines, answered

    found = answered(" ".join(arguments.question))
    print(json.dumps(found, indent=2) if arguments.json else answer_lines(found))
    return 0


# ---------------------------------------------------------------- jobs


def _add_jobs(command: argparse.ArgumentParser) -> None:
    command.description = "Look at the jobs on the log."
    command.epilog = "example: companion jobs export --format csv --out readings.csv"
    actions = command.add_subparsers(metavar="ACTION", required=True)
    written = argparse.RawDescriptionHelpFormatter
    finding.add(actions.add_parser("list", help="the jobs, a line each", formatter_class=written))
    show = actions.add_parser("show", help="one job's entries")
    add_log(show)
    show.add_argument("job", nargs="?", help="the job's id (default: the last one)")
    show.set_defaults(run=_jobs_show)
    ways = "one job as CSV, JSON, calendar or zip"
    exporting.add(actions.add_parser("export", help=ways, formatter_class=written))
    importing.add(actions.add_parser("import", help="take an exported job back in"))
    comparing.add(actions.add_parser("compare", help="two visits side by side"))
    reporting.add(actions.add_parser("report", help="the commissioning report, as HTML or PDF"))
    drawing = "its cut-out to cut by, its wiring as built"
    drawings.add_job(actions.add_parser("drawing", help=drawing))
    holds = "whether the log holds"
    verifying.add(actions.add_parser("verify", help=holds, formatter_class=written))
    removing.add(actions.add_parser("remove", help="remove what entries say, and their sound"))
    forget = "remove all that a job tells of its customer"
    forgetting.add(actions.add_parser("forget", help=forget, formatter_class=written))


def _jobs_show(arguments: argparse.Namespace) -> int:
    from companion.showing import entry_line

    with reading_store(arguments) as store:
        for entry in store.entries(job_or_last(store, arguments)):
            print(entry_line(entry))
    return 0


if __name__ == "__main__":
    sys.exit(main())
