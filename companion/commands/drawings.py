"""`companion template` and `companion jobs drawing`: the cut-out to cut by, the wiring as built."""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from companion.commands.job_choice import job_or_last, reading_store
from companion.commands.options import add_log
from companion.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from companion.ports import Entry
    from companion.report.drawings.cutout import Cutout
    from companion.report.drawings.from_log import ByHand

BY_HAND = """\
Print a cut-out's template at true scale, from figures that you type. On several sheets where it is
larger than one: lay the crosses on one another. Measure the printed ruler before you cut.
"""
OF_A_JOB = """\
A drawing from a job's own answers: the template of its cut-out, or its wiring as built. What the
log does not hold is marked as not recorded.
"""
SUFFIXES = (".pdf", ".svg")


def add_template(command: argparse.ArgumentParser) -> None:
    """Add the options of `companion template`."""
    command.description = BY_HAND
    command.epilog = (
        "example: companion template --opening 14-1/2x6-1/4 --flange 1 --spacing 4 "
        "--airflow right --out cutout.pdf"
    )
    command.add_argument(
        "--opening", required=True, metavar="SIZE", help="inches: 14-1/2x6.25, or '8 round'"
    )
    _add_cutout(command)
    command.set_defaults(run=_template)


def add_job(command: argparse.ArgumentParser) -> None:
    """Add the actions of `companion jobs drawing`."""
    command.description = OF_A_JOB
    command.epilog = "example: companion jobs drawing wiring --out wiring.pdf"
    actions = command.add_subparsers(metavar="DRAWING", required=True)
    template = actions.add_parser("template", help="the cut-out at true scale, to cut by")
    wiring = actions.add_parser("wiring", help="the wiring as built, as far as it is on the log")
    for each in (template, wiring):
        each.add_argument("job", nargs="?", help="the job's id (default: the last one)")
        add_log(each)
    _add_cutout(template)
    _add_out(wiring)
    template.set_defaults(run=_job_template)
    wiring.set_defaults(run=_job_wiring)


def _add_cutout(command: argparse.ArgumentParser) -> None:
    command.add_argument("--flange", metavar="INCHES", help="how far the flange covers the edge")
    screws = command.add_mutually_exclusive_group()
    screws.add_argument("--screws", type=int, metavar="N", help="how many pilot holes around it")
    screws.add_argument("--spacing", metavar="INCHES", help="or the widest step between them")
    command.add_argument("--setback", metavar="INCHES", help="holes from the edge (default: half)")
    command.add_argument("--pilot", metavar="INCHES", default="1/8", help="their size: 1/8")
    command.add_argument(
        "--airflow", choices=("up", "down", "left", "right"), help="which way the air goes on it"
    )
    command.add_argument("--label", metavar="TEXT", help="what it is for")
    _add_out(command)


def _add_out(command: argparse.ArgumentParser) -> None:
    command.add_argument("--paper", choices=("letter", "a4"), default="letter")
    command.add_argument(
        "--out", type=Path, metavar="FILE", help="a .pdf or .svg (default: a PDF here, named by it)"
    )


# ---------------------------------------------------------------- the commands


def _template(arguments: argparse.Namespace) -> int:
    from companion.report.drawings.from_log import by_hand
    from companion.report.drawings.lengths import sides

    today = datetime.now(UTC).astimezone().strftime("%Y-%m-%d")
    made = by_hand(sides(arguments.opening), _by_hand(arguments), today)
    return _write_template(arguments, made)


def _job_template(arguments: argparse.Namespace) -> int:
    from companion.report.drawings.from_log import cutout_of

    return _write_template(arguments, cutout_of(_entries(arguments), _by_hand(arguments)))


def _job_wiring(arguments: argparse.Namespace) -> int:
    from companion.report.drawings.wiring_drawing import wiring_svg
    from companion.report.drawings.wiring_pdf import wiring_pdf
    from companion.report.drawings.writing import file_part

    entries = _entries(arguments)
    drawn = wiring_svg(entries)
    if drawn is None:
        raise InputError(
            "This job's procedure has no wiring that can be drawn",
            "Choose another job: companion jobs list",
        )
    out = _out(arguments, f"wiring-{file_part(entries[0].job)}")
    _write(
        out, drawn.encode() if out.suffix.lower() == ".svg" else wiring_pdf(drawn, arguments.paper)
    )
    print("From the log alone. Prove dead before you touch it; the maker's diagram comes first.")
    return 0


def _write_template(arguments: argparse.Namespace, made: Cutout) -> int:
    from companion.report.drawings.writing import file_part

    out = _out(arguments, f"template-{file_part(made.job or made.label or made.size)}")
    if out.suffix.lower() == ".svg":
        from companion.report.drawings.svg import template_svg

        _write(out, template_svg(made).encode())
    else:
        from companion.report.drawings.pdf import template_pdf

        _write(out, template_pdf(made, arguments.paper, each_sheet=_progress()))
    print("Print at 100 %, no scaling. Measure the ruler on each sheet before you cut.")
    return 0


def _progress() -> Callable[[int, int], None]:
    """A bar on stderr where somebody looks at it, and more than a few sheets are to come."""
    from tqdm import tqdm

    bars: list[tqdm[int]] = []

    def told(done: int, whole: int) -> None:
        if not bars:
            few = whole < _MANY or not sys.stderr.isatty()
            bars.append(tqdm(total=whole, unit="sheet", leave=False, disable=few))
        bars[0].update(done - bars[0].n)
        if done == whole:
            bars[0].close()

    return told


_MANY = 10


# ---------------------------------------------------------------- what they share


def _by_hand(arguments: argparse.Namespace) -> ByHand:
    from companion.report.drawings.from_log import ByHand
    from companion.report.drawings.lengths import inches

    return ByHand(
        flange_in=inches(arguments.flange or "0"),
        setback_in=inches(arguments.setback) if arguments.setback else None,
        screws=arguments.screws,
        spacing_in=inches(arguments.spacing) if arguments.spacing else None,
        pilot_in=inches(arguments.pilot),
        airflow=arguments.airflow or "",
        label=arguments.label or "",
    )


def _entries(arguments: argparse.Namespace) -> list[Entry]:
    with reading_store(arguments) as store:
        return list(store.entries(job_or_last(store, arguments)))


def _out(arguments: argparse.Namespace, name: str) -> Path:
    out: Path = arguments.out or Path(f"{name}.pdf")
    if out.suffix.lower() not in SUFFIXES:
        raise InputError(
            f"'{out}' is neither a PDF nor an SVG", "Name a file that ends in .pdf or .svg."
        )
    return out


def _write(out: Path, content: bytes) -> None:
    try:
        out.write_bytes(content)
    except OSError as exc:
        raise InputError(f"'{out}' cannot be written", "Name another file with --out.") from exc
    print(f"Written: {out}")
