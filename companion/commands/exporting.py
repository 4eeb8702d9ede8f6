"""`companion jobs export`: a job in open forms: CSV, JSON, a calendar, a zip of the whole."""

from __future__ import annotations

import sys
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import TYPE_CHECKING

from companion.commands.job_choice import job_or_last, reading_store, unwritable, write_text
from companion.commands.options import add_log
from companion.errors import InputError

if TYPE_CHECKING:
    import argparse

    from companion.joblog import SqliteStore
    from companion.joblog.whole import WholeJob

FORMATS = ("csv", "json", "entries-csv", "ics", "zip")
DESCRIPTION = """\
Write one job:
  csv          its readings, with units, limits and verdicts (RFC 4180)
  entries-csv  every entry
  json         all of it, with the chain of digests; --schema prints its JSON Schema
  ics          its next service date and open reminders, for a calendar (RFC 5545)
  zip          all of it with its sounds and a manifest of digests, for jobs import
"""
EPILOG = """examples:
  companion jobs export --format csv --out readings.csv
  companion jobs export 2026-03-04-1 --format zip --out job.zip
  companion jobs export --format ics --service-in "6 months" --out service.ics
  companion jobs export --schema
"""


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = DESCRIPTION
    command.epilog = EPILOG
    command.add_argument("job", nargs="?", help="the job's id (default: the last one)")
    command.add_argument("--format", choices=FORMATS, default="csv", help="default: csv")
    command.add_argument("--out", type=Path, metavar="FILE", help="default: standard output")
    command.add_argument("--schema", action="store_true", help="print the JSON Schema of json")
    due = command.add_mutually_exclusive_group()
    due.add_argument("--service-on", metavar="DATE", help="ics: the next service, 2026-09-04")
    due.add_argument("--service-in", metavar="TIME", help="ics: from the visit on, '6 months'")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    if (arguments.service_on or arguments.service_in) and arguments.format != "ics":
        raise InputError(
            "A service date goes into a calendar alone", "Add --format ics, or leave it out."
        )
    if arguments.schema:
        from companion.joblog.job_schema import schema_text

        write_text(schema_text(), arguments.out)
        return 0
    with reading_store(arguments) as store:
        whole = store.whole(job_or_last(store, arguments))
        if arguments.format == "zip":
            _zip(whole, store, arguments.out)
            return 0
    write_text(_text(whole, arguments), arguments.out)
    return 0


def _text(whole: WholeJob, arguments: argparse.Namespace) -> str:
    from companion.joblog import export

    match arguments.format:
        case "json":
            return export.job_json(whole.entries, whole.salts, whole.removals)
        case "entries-csv":
            return export.entries_csv(whole.entries)
        case "ics":
            from companion.joblog.service_calendar import Service, job_calendar

            service = Service.told(arguments.service_on, arguments.service_in, whole.entries)
            return job_calendar(whole.entries, service)
        case _:
            return export.readings_csv(whole.entries)


def _zip(whole: WholeJob, store: SqliteStore, out: Path | None) -> None:
    """Write beside the place, and rename: a zip that was cut off never looks like a whole one."""
    from tqdm import tqdm

    from companion.joblog.archive import write_archive

    if out is None:
        raise InputError("A zip is nothing for a screen", "Say where to: --out job.zip")
    sounds = len(whole.sounds())
    try:
        with NamedTemporaryFile(dir=out.parent, prefix=f".{out.name}-", delete=False) as part:
            try:
                bar = tqdm(total=sounds, desc="sounds", unit=" sounds", disable=None, leave=False)
                with bar:
                    lost = write_archive(whole, store.sounds, part, bar.update)
                part.flush()
                Path(part.name).replace(out)
            finally:
                Path(part.name).unlink(missing_ok=True)
    except OSError as problem:
        raise unwritable(out, problem) from problem
    print(f"Written: {out} ({len(whole.entries)} entries, {sounds - len(lost)} sounds)")
    for kept in lost:
        print(f"companion: {kept.file!a} is missing or altered: left out", file=sys.stderr)
