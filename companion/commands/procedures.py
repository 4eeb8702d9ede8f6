"""`companion procedures`: list them, read one, check files, draw one, begin one of your own."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from textwrap import fill
from typing import TYPE_CHECKING, Any

from companion.errors import InputError, ProcedureError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Iterator, Sequence

    from companion.procedure_shelf import Shelved
    from companion.procedures.model import Procedure, ReadingRequest, Step
    from companion.procedures.problems import Problem
    from companion.procedures.rules import Stated

DESCRIPTION = """\
The kinds of work that it can lead you through: those that come with it, and your shop's own.

Your own are files in one folder (list tells which). Begin one with new, check it, and it is there:
say its name, or start it with: companion work --procedure NAME
"""
EPILOG = """\
examples:
  companion procedures list
  companion procedures show humidifier
  companion procedures draw humidifier --out humidifier.svg
  companion procedures new attic-fan --title "Attic fan switch"
  companion procedures check attic-fan.toml
  companion procedures check --rules
"""
ABOUT = {
    "list": "List the procedures: steps, ways, readings, hold points, where each is from.",
    "show": "Print a procedure step by step, as it is said, with what it asks and holds.",
    "check": "Check procedures on every way through them; without a name, all there are.",
    "draw": "Draw a procedure as a diagram on one sheet, for a review: an SVG file.",
    "schema": "Print the JSON Schema of procedure files, by which an editor completes and warns.",
    "new": "Write a procedure that passes the check, for you to change.",
}
WIDTH = 96


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's actions and their options."""
    command.description = DESCRIPTION
    command.epilog = EPILOG
    actions = command.add_subparsers(metavar="ACTION", required=True)
    listing = actions.add_parser("list", help="what there is")
    show = actions.add_parser("show", help="one, step by step")
    show.add_argument("name", metavar="NAME|FILE", help="its slug, or a file")
    check = actions.add_parser("check", help="prove that they can be followed safely")
    check.add_argument("names", nargs="*", metavar="NAME|FILE", help="default: all there are")
    check.add_argument("--rules", action="store_true", help="print the rules, and why")
    draw = actions.add_parser("draw", help="one as a diagram, for a review")
    draw.add_argument("name", metavar="NAME|FILE", help="its slug, or a file")
    draw.add_argument("--out", type=Path, metavar="FILE", help="default: NAME.svg, here")
    schema = actions.add_parser("schema", help="what an editor needs to complete and warn")
    schema.add_argument("--out", type=Path, metavar="FILE", help="write it there instead")
    new = actions.add_parser("new", help="begin one of your own")
    new.add_argument("slug", metavar="NAME", help="lower-case words joined by hyphens")
    new.add_argument("--title", help="as it is said (default: the name's words)")
    new.add_argument("--out", type=Path, metavar="FILE", help="default: NAME.toml, here")
    for each, does in (
        (listing, _list),
        (show, _show),
        (check, _check),
        (draw, _draw),
        (schema, _schema),
        (new, _new),
    ):
        each.description = ABOUT[each.prog.split()[-1]]
        each.set_defaults(run=run, does=does)
    for each in (listing, check):
        each.add_argument("--json", action="store_true", help="print one JSON object")


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    does = arguments.does
    return int(does(arguments))


# ---------------------------------------------------------------- list


def _list(arguments: argparse.Namespace) -> int:
    from companion.procedure_shelf import folder, shelf

    there = shelf()
    if arguments.json:
        print(json.dumps([_row(each) for each in there.found.values()], indent=2))
    else:
        print("\n".join(_table([_row(each) for each in there.found.values()])))
        print(f"\nYour own: {folder()}")
    for problem in there.broken:
        print(f"Left out:\n{problem}", file=sys.stderr)
    return ProcedureError.exit_code if there.broken else 0


def _row(each: Shelved) -> dict[str, Any]:
    from companion.procedures.outline import figures

    found = figures(each.procedure)
    return {
        "name": each.procedure.slug,
        "title": each.procedure.title,
        "version": each.procedure.version,
        "steps": found.steps,
        "ways": found.ways,
        "readings": found.readings,
        "holds": list(found.holds),
        "file": str(each.path) if each.path else "",
        "replaces": each.replaces,
    }


def _table(rows: Sequence[dict[str, Any]]) -> list[str]:
    longest = max(len(row["name"]) for row in rows)
    head = f"{'NAME':{longest}}  STEPS   WAYS  READINGS  HOLD POINTS           FROM"
    return [head, *(_line(row, longest) for row in rows)]


def _line(row: dict[str, Any], longest: int) -> str:
    from_ = row["file"] or "comes with it"
    from_ += " (in place of the one that comes with it)" if row["replaces"] else ""
    holds = " ".join(row["holds"])
    figures = f"{row['steps']:5}  {row['ways']:5}  {row['readings']:8}"
    return f"{row['name']:{longest}}  {figures}  {holds:20}  {from_}"


# ---------------------------------------------------------------- show


def _show(arguments: argparse.Namespace) -> int:
    from companion.procedure_shelf import named

    made = named(arguments.name)
    print(f"{made.title}, version {made.version}\n{_wrapped(made.scope_note)}")
    print(_wrapped(f"Tools: {', '.join(made.tools)}"))
    for number, step in enumerate(made.steps, 1):
        print("\n".join(_told(number, step, made)))
    return 0


def _told(number: int, step: Step, made: Procedure) -> Iterator[str]:
    from companion.procedures.outline import marks

    only = "; ".join(f"{choice} {' or '.join(given)}" for choice, given in step.when.answers)
    told = [*(f"only with {only}" for _ in [only] if only), *marks(step)]
    yield f"\n{number:3}  {step.slug}" + (f"   [{', '.join(told)}]" if told else "")
    if step.caution:
        yield _inset(f"Caution: {step.caution}")
    yield _inset(step.say)
    for check in step.hold.checks if step.hold else ():
        yield _inset(f"- {check.ask}")
    if step.choice:
        yield _inset(f"? {step.choice.ask}")
        for option in step.choice.options:
            yield _inset(f"  {option.names[0]}" + (f": to {option.goto}" if option.goto else ""))
    for request in step.readings:
        yield _inset(f"= {request.ask} {_limit(request, made)}".rstrip())
    if step.hold:
        yield _inset(f"Hold: {step.hold.confirm}")


def _limit(request: ReadingRequest, made: Procedure) -> str:
    limit = request.limit
    if limit is None:
        return ""
    unit = made.points[request.point].unit
    low = _end(limit.low, limit.low_of, f"{limit.low_times} times" if limit.low_times else "")
    high = _end(limit.high, limit.high_of, f"{limit.high_plus} over" if limit.high_plus else "")
    ends = [f"at least {low}" if low else "", f"at most {high}" if high else ""]
    return f"({', '.join(filter(None, ends))} {unit}; {limit.source})"


def _end(fixed: object, of: str, how: str) -> str:
    if fixed is not None:
        return str(fixed)
    return f"{how} {of}".strip() if of else ""


def _wrapped(text: str) -> str:
    return fill(" ".join(text.split()), WIDTH)


def _inset(text: str) -> str:
    return fill(text, WIDTH, initial_indent="     ", subsequent_indent="       ")


# ---------------------------------------------------------------- check


def _check(arguments: argparse.Namespace) -> int:
    if arguments.rules:
        print("\n\n".join(_rules()))
        return 0
    reports = []
    for name in arguments.names or _all_names():
        reports.append(_report(name))
        if not arguments.json:
            print("\n".join(_reported(reports[-1])), flush=True)
    if arguments.json:
        print(json.dumps(reports, indent=2))
    return ProcedureError.exit_code if any(report["problems"] for report in reports) else 0


def _all_names() -> list[str]:
    from companion.procedure_shelf import shelf

    there = shelf()
    return [*there.found, *(each.file for each in there.broken)]


def _rules() -> Iterator[str]:
    for rule in _all_rules():
        yield f"{rule.slug}\n{_inset(rule.says)}\n{_inset(f'Why: {rule.reason}')}\n" + _inset(
            f"From: {rule.source}"
        )


def _all_rules() -> tuple[Stated, ...]:
    from companion.dialogue.leaving import WAY_OUT
    from companion.dialogue.meant import ONE_MEANING
    from companion.procedures.before import ORDER_RULES
    from companion.procedures.rules import RULES
    from companion.procedures.speech import SPEECH_RULES

    return (*RULES, WAY_OUT, *ORDER_RULES, *SPEECH_RULES, ONE_MEANING)


def _report(name: str) -> dict[str, Any]:
    from companion.procedure_shelf import checked, named
    from companion.procedures import BrokenProcedureError, slugs
    from companion.procedures.outline import figures

    try:
        made = named(name)
        if name in slugs():  # one that comes with it is held to the rest of the rules only here
            made = checked(made.text, made.slug)
    except BrokenProcedureError as problem:
        return {"name": name, "problems": [_problem(each) for each in problem.problems]}
    found = figures(made)
    return {"name": name, "steps": found.steps, "ways": found.ways, "problems": []}


def _problem(each: Problem) -> dict[str, Any]:
    return {
        "file": each.file,
        "line": each.line,
        "key": each.key,
        "found": each.found,
        "mend": each.allowed,
        "rule": each.rule,
        "way": list(each.way),
    }


def _reported(report: dict[str, Any]) -> Iterator[str]:
    if not report["problems"]:
        ways = f"{report['ways']} way{'s' if report['ways'] != 1 else ''}"
        rules = f"{len(_all_rules())} rules"
        yield f"{report['name']}: {report['steps']} steps, {ways}, {rules}: holds"
        return
    count = len(report["problems"])
    yield f"{report['name']}: {count} problem{'s' if count != 1 else ''}"
    for each in report["problems"]:
        rule = f" [{each['rule']}]" if each["rule"] else ""
        yield f"  {each['file']}:{each['line']}: {each['key']}: {each['found']}{rule}"
        yield f"      Mend it: {each['mend']}."
        if each["way"]:
            yield fill(
                f"on the way: {', '.join(each['way'])}",
                WIDTH,
                initial_indent="      ",
                subsequent_indent="        ",
            )


# ---------------------------------------------------------------- draw


def _draw(arguments: argparse.Namespace) -> int:
    from companion.procedure_shelf import named
    from companion.report.procedure_drawing import drawn

    made = named(arguments.name)
    out: Path = arguments.out or Path(f"{made.slug}.svg")
    _write(out, drawn(made))
    print(f"{out}\nA browser shows and prints it, on A3 or larger.")
    return 0


def _write(out: Path, text: str) -> None:
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as exc:
        raise InputError(f"'{out}' cannot be written", "Name another file with --out.") from exc


# ---------------------------------------------------------------- schema


def _schema(arguments: argparse.Namespace) -> int:
    from companion.procedures.schema import schema

    text = json.dumps(schema(), indent=2, ensure_ascii=False)
    out: Path | None = arguments.out
    if out is None:
        print(text)
        return 0
    _write(out, f"{text}\n")
    print(f"{out}\nFirst line of a procedure beside it: #:schema ./{out.name}")
    return 0


# ---------------------------------------------------------------- new


def _new(arguments: argparse.Namespace) -> int:
    from companion.procedures.template import begun

    out: Path = arguments.out or Path(f"{arguments.slug}.toml")
    title = arguments.title or arguments.slug.replace("-", " ").capitalize()
    text = begun(arguments.slug, title)
    try:
        with out.open("x", encoding="utf-8") as file:
            file.write(text)
    except FileExistsError as exc:
        raise InputError(f"'{out}' is there already", "Name another file with --out.") from exc
    except OSError as exc:
        raise InputError(f"'{out}' cannot be written", "Name another file with --out.") from exc
    print(f"{out}\nChange it, then: companion procedures check {out}")
    return 0
