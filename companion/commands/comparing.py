"""`companion jobs compare`: two visits to one address, side by side."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from companion.commands.job_choice import reading_store, write_text
from companion.commands.options import add_log
from companion.showing import on_one_line

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

    from companion.dialogue.visits import Compared, PointCompared
    from companion.joblog.comparison import Visits

HEADS = ("TEST POINT", "FIRST", "SECOND", "DIFFERENCE", "VERDICTS")


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's options."""
    command.description = (
        "Each test point as it was left at two visits, with the difference (the second less the "
        "first) and the verdicts, and the choices that were answered otherwise."
    )
    command.epilog = "example: companion jobs compare 2026-03-04-1 2026-09-04-1"
    command.add_argument("first", metavar="JOB", help="the earlier visit's id")
    command.add_argument("second", metavar="JOB", help="the later one's")
    command.add_argument("--format", choices=("text", "csv", "json"), default="text")
    command.add_argument("--out", type=Path, metavar="FILE", help="default: standard output")
    add_log(command)
    command.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    from companion.dialogue.visits import compared
    from companion.joblog.comparison import comparison_csv, comparison_json
    from companion.joblog.summary import summary

    with reading_store(arguments) as store:
        first, second = (list(store.entries(job)) for job in (arguments.first, arguments.second))
    found = compared(first, second)
    visits = summary(first), summary(second)
    match arguments.format:
        case "csv":
            text = comparison_csv(visits, found)
        case "json":
            text = comparison_json(visits, found)
        case _:
            text = _text(visits, found)
    write_text(text, arguments.out)
    return 0


def _text(visits: Visits, found: Compared) -> str:
    """Return the visits as a table for a screen."""
    from companion.joblog.comparison import shown

    lines = [
        f"{name}: {on_one_line(v.id)}, {v.opened:%Y-%m-%d}, {v.state}, {on_one_line(v.title)}"
        for name, v in zip(("First", "Second"), visits, strict=True)
    ]
    rows = [HEADS, *(_row(point, shown) for point in found.points)]
    widths = [max(len(row[place]) for row in rows) for place in range(len(HEADS))]
    if found.points:
        lines += ["", *(_padded(row, widths) for row in rows)]
    else:
        lines += ["", "Neither visit has a reading that stands."]
    if found.choices:
        lines += ["", "Answered otherwise:"]
    lines += [
        f"  {on_one_line(each.choice)}: {on_one_line(each.first) or 'not asked'}, then "
        f"{on_one_line(each.second) or 'not asked'}"
        for each in found.choices
    ]
    return "\n".join(lines) + "\n"


def _row(point: PointCompared, shown: Callable[[str, str], str]) -> tuple[str, ...]:
    both = (point.first, point.second)
    values = [on_one_line(shown(each.value, each.unit)) if each else "-" for each in both]
    verdicts = [on_one_line(each.verdict) or "no limit" if each else "-" for each in both]
    sign = "+" if point.difference and Decimal(point.difference) > 0 else ""
    difference = f"{sign}{shown(point.difference, point.unit)}" if point.difference else "-"
    return (on_one_line(point.name), *values, difference, ", then ".join(dict.fromkeys(verdicts)))


def _padded(row: tuple[str, ...], widths: list[int]) -> str:
    cells = [
        row[0].ljust(widths[0]),
        *(c.rjust(w) for c, w in zip(row[1:4], widths[1:4], strict=True)),
    ]
    return "  ".join([*cells, row[4]]).rstrip()
