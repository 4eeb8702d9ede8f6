"""`companion sizings`: what it can work out, and the handbook page of each."""

from __future__ import annotations

import json
from textwrap import fill
from typing import TYPE_CHECKING, Any

from companion.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator

    from companion.sizing.model import Input, Sizing

DESCRIPTION = """\
What it can work out. Ask any of it on the job, or with: companion ask "QUESTION"
"""
EPILOG = """\
examples:
  companion sizings
  companion sizings list --json
  companion sizings show voltage-drop
"""
WIDTH = 96


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's actions and their options."""
    command.description = DESCRIPTION
    command.epilog = EPILOG
    command.set_defaults(run=_list, json=False)
    actions = command.add_subparsers(metavar="ACTION")
    listing = actions.add_parser(
        "list", help="all of them, with a question each (if you don't say)"
    )
    listing.description = "List the sizings by group, each with a question that asks for it."
    listing.add_argument("--json", action="store_true", help="print one JSON object")
    listing.set_defaults(run=_list)
    show = actions.add_parser("show", help="one of them, as a handbook has it")
    show.description = "Print a sizing's page: formula, inputs, assumptions, sources, an example."
    show.add_argument("name", metavar="NAME", help="as listed: voltage-drop")
    show.set_defaults(run=_show)


def _list(arguments: argparse.Namespace) -> int:
    from companion.sizing import sizings  # help stays fast

    groups: dict[str, list[Sizing]] = {}
    for each in sizings().values():
        groups.setdefault(each.group, []).append(each)
    if arguments.json:
        print(json.dumps([_row(each) for each in sizings().values()], indent=2))
        return 0
    longest = max(map(len, sizings()))
    for group, found in groups.items():
        print(f"\n{group}")
        for each in found:
            print(f"  {each.slug:{longest}}  {each.example}")
    print(f"\n{len(sizings())} sizings. Their pages: companion sizings show NAME")
    return 0


def _row(each: Sizing) -> dict[str, Any]:
    return {
        "name": each.slug,
        "title": each.title,
        "group": each.group,
        "example": each.example,
        "formula": each.formula,
        "inputs": [wanted.name for wanted in each.inputs],
        "sources": list(each.sources),
    }


def _show(arguments: argparse.Namespace) -> int:
    from companion.sizing import sizings

    found = sizings().get(arguments.name)
    if found is None:
        raise InputError(
            f"No sizing '{arguments.name}'", "List their names with: companion sizings list."
        )
    print("\n".join(_page(found)))
    return 0


def _page(found: Sizing) -> Iterator[str]:
    from companion.asking import answered
    from companion.errors import MissingInputError

    yield f"{found.title} ({found.slug})"
    yield f"\n{_inset(found.formula)}\n"
    yield "Inputs:"
    for wanted in found.inputs:
        yield _inset(_told(wanted))
    if found.assumption:
        yield f"\nTaken for granted:\n{_inset(found.assumption)}"
    if found.caution:
        yield f"\nCaution:\n{_inset(found.caution)}"
    yield "\nSources:"
    yield from (_inset(source) for source in found.sources)
    yield f"\nAsk:\n{_inset(found.example)}"
    try:
        answer = answered(found.example)
    except MissingInputError as lacking:
        yield f"\nIt asks then:\n{_inset(lacking.ask)}"
        return
    yield f"\nIt answers:\n{_inset(answer['spoken'])}"
    yield "\nWorking:"
    yield from (_inset(line) for line in answer["working"])


def _told(wanted: Input) -> str:
    """Return an input in one line: its valid values, where they come from, what is assumed."""
    ranges = [f"{valid.low} to {valid.high} {valid.unit}" for valid in wanted.ranges]
    options = [", ".join(option.value for option in wanted.options)] if wanted.options else []
    told = [f"{wanted.spoken}: {' or '.join(ranges or options)}"]
    if wanted.many:
        told.append("several add up")
    if wanted.default:
        told.append(f"left out: {wanted.assumed or wanted.default}")
    if wanted.from_log:
        told.append(f"read off the log at {', '.join(wanted.from_log)}")
    return "; ".join(told)


def _inset(text: str) -> str:
    return fill(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
