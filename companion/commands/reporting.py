"""`companion jobs report`: the commissioning report as HTML or PDF."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

from companion.commands.job_choice import job_or_last, reading_store, unwritable
from companion.commands.options import add_log
from companion.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from companion.joblog.sounds import SoundFolder
    from companion.ports import Entry


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = "The commissioning report: the customer's page, then the technical pages."
    command.epilog = "example: companion jobs report --pdf --paper letter --out report.pdf"
    command.add_argument("job", nargs="?", help="the job's id (default: the last one)")
    command.add_argument("--pdf", action="store_true", help="as PDF; so too if --out ends in .pdf")
    command.add_argument(
        "--paper",
        choices=("letter", "a4"),
        help="of the PDF (default: what is in use where the job was; letter in US and Canada)",
    )
    command.add_argument("--out", type=Path, metavar="FILE", help="default: standard output")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    with reading_store(arguments) as store:
        entries = list(store.entries(job_or_last(store, arguments)))
        _write(_report(entries, store.sounds, arguments), arguments.out)
    return 0


def _report(
    entries: Sequence[Entry], sounds: SoundFolder, arguments: argparse.Namespace
) -> str | bytes:
    is_pdf = arguments.pdf or (arguments.out is not None and arguments.out.suffix.lower() == ".pdf")
    if is_pdf:
        from companion.report.pdf import report_pdf

        return report_pdf(entries, zone=None, sounds=sounds, paper=arguments.paper)
    if arguments.paper:
        raise InputError(
            f"--paper {arguments.paper} is for a PDF, and this report is HTML",
            "Give --pdf too, or an --out that ends in .pdf.",
        )
    from companion.report.page import report_page

    return report_page(entries, zone=None, sounds=sounds)


def _write(made: str | bytes, out: Path | None) -> None:
    data = made if isinstance(made, bytes) else made.encode("utf-8")
    if out is None:
        if isinstance(made, str):
            sys.stdout.write(made)
        elif sys.stdout.isatty():
            raise InputError("A PDF can't be shown in a terminal", "Name a file with --out.")
        else:
            sys.stdout.buffer.write(data)
        return
    try:
        out.write_bytes(data)
    except OSError as problem:
        raise unwritable(out, problem) from problem
    print(f"Written: {out}")
