"""Procedures from their files: TOML to the model, with every problem told by key and line.

`load` reads in three passes and stops after the first that finds anything: TOML itself, the shape
(types, unknown keys, spoken length), then what the parts say about one another (`checking`).
"""

from __future__ import annotations

import hashlib
import re
import tomllib
from decimal import Decimal
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from companion.errors import ProcedureError
from companion.procedures.checking import check
from companion.procedures.model import (
    Check,
    ChoiceRequest,
    Hold,
    Limit,
    Option,
    Procedure,
    ReadingRequest,
    Step,
    TestPoint,
    When,
)
from companion.procedures.parts import parts, whole
from companion.procedures.problems import BrokenProcedureError, Findings, Problem
from companion.procedures.rules import RULES
from companion.procedures.speech import check_speech
from companion.procedures.tables import Table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.procedures.needs import Needs

KINDS = ("work", "fault")
PHASES = ("as found", "as left")
SIGNS = ("any", "plus", "minus")
POWERS = ("on", "live")
ENDS = ("finished", "left safe")
HOLD_NUMBERS = tuple(f"H{number}" for number in range(1, 8))
PROVES = ("dead", "readings")
MOST_DECIMALS = 4
MOST_MONTHS = 120  # until the next service

_PROCEDURE_KEYS = (
    "slug", "kind", "title", "version", "names", "scope_note", "tools", "points", "steps",
)  # fmt: skip
_POINT_KEYS = ("names", "unit", "low", "high", "decimals", "sign", "others")
_STEP_KEYS = (
    "slug", "say", "short", "more", "caution", "when", "readings", "choice", "hold", "line_voltage",
    "needs_dead", "cuts", "power", "works_out", "ends", "customer", "labels", "service_months",
)  # fmt: skip
_READING_KEYS = ("point", "ask", "limit", "when", "phase")
_LIMIT_KEYS = (
    "low", "high", "low_of", "low_times", "high_of", "high_plus", "source", "otherwise", "stops",
)  # fmt: skip
_CHOICE_KEYS = ("slug", "ask", "options")
_OPTION_KEYS = ("slug", "names", "goto")
_HOLD_KEYS = ("number", "title", "confirm", "checks", "proves")
_CHECK_KEYS = ("slug", "ask", "if_no", "when", "last")

_LINE_IN_MESSAGE = re.compile(r" \(at line (\d+), column \d+\)")


def load(text: str, where: str, *, sizings: Needs | None = None, safety: bool = True) -> Procedure:
    """Return the procedure that a file's text holds.

    Args:
        text: the file's text, TOML.
        where: the file as the author knows it, for messages.
        sizings: what `works_out` may name, by slug; None leaves that unchecked.
        safety: hold it to the rules of safety and speech. Not so a text that a job keeps: it was
            held to those of its day, and an old job must read the same after an update.

    Raises:
        BrokenProcedureError: the file breaks a rule; tells file, line, key, what was found and
            what is allowed, up to ten problems.
    """
    found = whole(_toml(text, where), text, where)
    findings = Findings(where, found.places)
    for path, name in found.unknown.items():
        findings.add(path, f"no part '{name}'", f"Alone in its step, one of {', '.join(parts())}")
    findings.raise_if_any()
    procedure = _procedure(
        Table("a procedure", found.tables, (), findings, _PROCEDURE_KEYS), found.text
    )
    findings.raise_if_any()
    check(procedure, findings, sizings, RULES if safety else ())
    if safety:
        check_speech(procedure, findings)
    findings.raise_if_any()
    return procedure


def findings_in(text: str, where: str) -> Findings:
    """Return findings on a file with nothing noted yet, for who looks at more than `load` does.

    Args:
        text: the file's text, one that `load` has read.
        where: the file as the author knows it.
    """
    return Findings(where, whole(_toml(text, where), text, where).places)


@cache
def slugs() -> tuple[str, ...]:
    """Return the slugs of the packaged procedures, in alphabetical order."""
    folder = files("companion.procedures").joinpath("data")
    names = (file.name for file in folder.iterdir() if file.name.endswith(".toml"))
    return tuple(sorted(name.removesuffix(".toml") for name in names))


def procedures() -> Mapping[str, Procedure]:
    """Return the packaged procedures by slug.

    >>> "fresh-air-damper" in procedures()
    True
    """
    return MappingProxyType({slug: procedure(slug) for slug in slugs()})


@cache
def procedure(slug: str) -> Procedure:
    """Return a packaged procedure.

    Raises:
        ProcedureError: there is none of that slug.
    """
    if slug not in slugs():
        raise ProcedureError(f"No procedure '{slug}'", f"Procedures: {', '.join(slugs())}.")
    file = files("companion.procedures").joinpath("data", f"{slug}.toml")
    return load(file.read_text("utf-8"), file.name)


def _toml(text: str, where: str) -> dict[str, object]:
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except (ValueError, ArithmeticError, RecursionError) as exc:
        problem = _toml_problem(text, where, exc)
        raise BrokenProcedureError(where, (problem,)) from exc


def _toml_problem(text: str, where: str, error: Exception) -> Problem:
    """A bad line stands in the message; a number or nesting beyond reason has none."""
    message = str(error) if isinstance(error, tomllib.TOMLDecodeError) else "cannot be read"
    found = _LINE_IN_MESSAGE.search(message)
    line = int(found.group(1)) if found else text.count("\n") + 1
    said = _LINE_IN_MESSAGE.sub("", message).replace(" (at end of document)", "")
    allowed = "Mend the TOML on this line or just above"
    return Problem(where, line, "file", f"not TOML: {said}", allowed)


def _procedure(table: Table, text: str) -> Procedure:
    return Procedure(
        slug=table.slug("slug"),
        title=table.spoken("title"),
        version=table.text("version"),
        scope_note=table.text("scope_note", needed=False),
        tools=table.texts("tools", needed=True),
        points=MappingProxyType(_points(table)),
        steps=tuple(_step(one) for one in table.tables("steps", "a step", _STEP_KEYS, needed=True)),
        text=text,
        digest=hashlib.sha256(text.encode()).hexdigest(),
        names=table.phrases("names", needed=False),
        kind=table.one_of("kind", KINDS) or "work",
    )


class Complaint(NamedTuple):
    """What is said of a fault that can be looked for: its procedure's title, and its names."""

    title: str
    names: tuple[str, ...]


@cache
def complaints() -> Mapping[str, Complaint]:
    """Return the faults that can be looked for, by their procedures' slugs.

    Only the heads of the files are read: nobody waits for all procedures in the middle of a talk.
    """
    folder = files("companion.procedures").joinpath("data")
    heads = {
        slug: tomllib.loads(folder.joinpath(f"{slug}.toml").read_text("utf-8")) for slug in slugs()
    }
    found = {slug: head for slug, head in heads.items() if head.get("kind") == "fault"}
    return MappingProxyType(
        {slug: Complaint(head["title"], tuple(head["names"])) for slug, head in found.items()}
    )


def faults() -> tuple[Procedure, ...]:
    """Return the packaged fault-finding procedures, by slug."""
    return tuple(procedure(slug) for slug in complaints())


def _points(table: Table) -> dict[str, TestPoint]:
    found = table.named_tables("points", "a test point", _POINT_KEYS)
    return {slug: _point(slug, one) for slug, one in found.items()}


def _point(slug: str, table: Table) -> TestPoint:
    low, high = table.number("low"), table.number("high")
    for key, value in (("low", low), ("high", high)):
        if value is None and key not in table:
            table.note((key,), "is missing", "A test point has a plausible range, low and high")
    return TestPoint(
        slug=slug,
        names=table.phrases("names"),
        unit=table.text("unit"),
        low=low or Decimal(0),
        high=high or Decimal(0),
        decimals=table.whole("decimals", 0, MOST_DECIMALS),
        sign=table.one_of("sign", SIGNS) or "any",
        others=table.texts("others"),
    )


def _step(table: Table) -> Step:
    readings = table.tables("readings", "a reading", _READING_KEYS)
    choice = table.table("choice", "a choice", _CHOICE_KEYS)
    hold = table.table("hold", "a hold", _HOLD_KEYS)
    return Step(
        slug=table.slug("slug"),
        say=table.spoken("say"),
        short=table.spoken("short", needed=False),
        more=table.text("more", needed=False),
        caution=table.spoken("caution", needed=False),
        when=When(table.words_by_key("when")),
        readings=tuple(_reading(one) for one in readings),
        choice=_choice(choice) if choice else None,
        hold=_hold(hold) if hold else None,
        line_voltage=table.flag("line_voltage"),
        needs_dead=table.flag("needs_dead"),
        cuts=table.flag("cuts"),
        power=table.one_of("power", POWERS),
        works_out=table.slug("works_out", needed=False),
        ends=table.one_of("ends", ENDS),
        customer=table.text("customer", needed=False),
        labels=table.flag("labels"),
        service_months=_service_months(table),
    )


def _service_months(table: Table) -> int:
    return table.whole("service_months", 1, MOST_MONTHS) if "service_months" in table else 0


def _reading(table: Table) -> ReadingRequest:
    limit = table.table("limit", "a limit", _LIMIT_KEYS)
    return ReadingRequest(
        point=table.slug("point"),
        ask=table.spoken("ask"),
        limit=_limit(limit) if limit else None,
        when=When(table.words_by_key("when")),
        phase=table.one_of("phase", PHASES),
    )


def _limit(table: Table) -> Limit:
    return Limit(
        low=table.number("low"),
        high=table.number("high"),
        low_of=table.slug("low_of", needed=False),
        low_times=table.number("low_times"),
        high_of=table.slug("high_of", needed=False),
        high_plus=table.number("high_plus"),
        source=table.text("source"),
        otherwise=table.spoken("otherwise"),
        stops=table.flag("stops"),
    )


def _choice(table: Table) -> ChoiceRequest:
    options = table.tables("options", "an option", _OPTION_KEYS, needed=True)
    return ChoiceRequest(
        slug=table.slug("slug"),
        ask=table.spoken("ask"),
        options=tuple(
            Option(one.slug("slug"), one.phrases("names"), one.slug("goto", needed=False))
            for one in options
        ),
    )


def _hold(table: Table) -> Hold:
    return Hold(
        number=table.one_of("number", HOLD_NUMBERS, needed=True),
        title=table.spoken("title"),
        confirm=table.spoken("confirm"),
        checks=tuple(
            Check(
                one.slug("slug"),
                one.spoken("ask"),
                one.spoken("if_no"),
                When(one.words_by_key("when")),
                one.flag("last"),
            )
            for one in table.tables("checks", "a check", _CHECK_KEYS)
        ),
        proves=table.one_of("proves", PROVES),
    )
