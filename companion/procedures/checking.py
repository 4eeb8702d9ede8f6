"""What the parts of a procedure say about one another, and whether every way through it ends.

Each rule is a function that notes what it finds; `check` is the list of them. The shape of the
file (types, keys, spoken length) is the loader's; these look at a procedure that has its shape.
"""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.procedures.paths import check_paths
from companion.procedures.walking import ASKED_BY_DIALOGUE, LICENSED
from companion.quantities import UNITS, convert

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping, Sequence

    from companion.procedures.model import (
        ChoiceRequest,
        Limit,
        Procedure,
        ReadingRequest,
        TestPoint,
        When,
    )
    from companion.procedures.needs import NeededInput, Needs, ValidRange
    from companion.procedures.positions import KeyPath
    from companion.procedures.problems import Findings
    from companion.procedures.rules import Rule

Offered = dict[str, set[str]]  # choice slug: the options it offers


def check(
    procedure: Procedure,
    findings: Findings,
    sizings: Needs | None = None,
    rules: Sequence[Rule] = (),
) -> None:
    """Note everything that does not hold together.

    Args:
        procedure: a procedure whose file has the right shape.
        findings: where to note.
        sizings: what `works_out` may name, by slug; None leaves that unchecked.
        rules: the safety rules that every way is held to.
    """
    for slug, point in procedure.points.items():
        _check_point(slug, point, findings)
    _check_names(procedure.points, findings)
    _check_duplicates(procedure, findings)
    for path, request in _requests(procedure):
        _check_reading(path, request, procedure, findings)
    _check_sources_of_limits(procedure, findings)
    _check_asked_once(procedure, findings)
    _check_holds(procedure, findings)
    _check_gotos(procedure, findings)
    _check_conditions(procedure, findings)
    if sizings is not None:
        _check_sizings(procedure, findings, sizings)
    if not findings:
        check_paths(procedure, findings, rules, sizings or {})


def _either(words: Collection[str]) -> str:
    return ", ".join(sorted(words)) or "none"


def _requests(procedure: Procedure) -> Iterator[tuple[KeyPath, ReadingRequest]]:
    for index, step in enumerate(procedure.steps):
        for number, request in enumerate(step.readings):
            yield ("steps", index, "readings", number), request


def _choices(procedure: Procedure) -> Iterator[tuple[KeyPath, ChoiceRequest]]:
    for index, step in enumerate(procedure.steps):
        if step.choice:
            yield ("steps", index, "choice"), step.choice


def _check_point(slug: str, point: TestPoint, findings: Findings) -> None:
    path: KeyPath = ("points", slug)
    if point.low >= point.high:
        found = f"low {point.low} is not below high {point.high}"
        findings.add((*path, "low"), found, "The plausible range runs from low to high")
    for place, unit in (("unit", point.unit), *(("others", unit) for unit in point.others)):
        if unit not in UNITS:
            findings.add((*path, place), f"unknown unit '{unit}'", f"Units: {_either(UNITS)}")
        elif point.unit in UNITS and UNITS[unit].dimension != UNITS[point.unit].dimension:
            found = f"'{unit}' measures {UNITS[unit].dimension}"
            findings.add(
                (*path, place), found, f"'{point.unit}' measures {UNITS[point.unit].dimension}"
            )
    if (point.sign == "plus" and point.high <= 0) or (point.sign == "minus" and point.low >= 0):
        found = f"sign '{point.sign}' leaves nothing of {point.low} to {point.high}"
        findings.add((*path, "sign"), found, "Mend the sign or the range")


def _check_names(points: Mapping[str, TestPoint], findings: Findings) -> None:
    owner: dict[str, str] = {}
    for slug, point in points.items():
        for index, name in enumerate(point.names):
            if name in owner:
                found = f"'{name}' already names {owner[name]}"
                findings.add(("points", slug, "names", index), found, "Give each point its own")
            owner.setdefault(name, slug)


def _check_duplicates(procedure: Procedure, findings: Findings) -> None:
    _check_twice(
        [(("steps", index, "slug"), step.slug) for index, step in enumerate(procedure.steps)],
        "step",
        findings,
    )
    for path, choice in _choices(procedure):
        options = tuple(enumerate(choice.options))
        slugs = [((*path, "options", index, "slug"), option.slug) for index, option in options]
        phrases = [
            ((*path, "options", index, "names", number), name)
            for index, option in options
            for number, name in enumerate(option.names)
        ]
        _check_twice(slugs, "option", findings)
        _check_twice(phrases, "phrase", findings)
        if choice.slug in ASKED_BY_DIALOGUE:
            findings.add(
                (*path, "slug"), f"'{choice.slug}' is asked anyway", "Give the choice another slug"
            )
    for index, step in enumerate(procedure.steps):
        checks = enumerate(step.hold.checks if step.hold else ())
        path = ("steps", index, "hold", "checks")
        _check_twice(
            [((*path, number, "slug"), one.slug) for number, one in checks], "check", findings
        )


def _check_twice(named: list[tuple[KeyPath, str]], kind: str, findings: Findings) -> None:
    seen: set[str] = set()
    for path, name in named:
        if name in seen:
            findings.add(path, f"{kind} '{name}' is there twice", f"Give each {kind} its own")
        seen.add(name)


def _check_reading(
    path: KeyPath, request: ReadingRequest, procedure: Procedure, findings: Findings
) -> None:
    point = procedure.points.get(request.point)
    if point is None:
        known = f"Test points: {_either(procedure.points)}"
        findings.add((*path, "point"), f"unknown test point '{request.point}'", known)
    elif request.limit:
        _check_limit((*path, "limit"), request.limit, point, procedure, findings)


def _check_limit(
    path: KeyPath, limit: Limit, point: TestPoint, procedure: Procedure, findings: Findings
) -> None:
    _check_ends(path, limit, point, findings)
    for key, base, extra in (
        ("low", limit.low_of, limit.low_times),
        ("high", limit.high_of, limit.high_plus),
    ):
        extra_key = "low_times" if key == "low" else "high_plus"
        if extra is not None and not base:
            findings.add(
                (*path, extra_key), f"{extra_key} without {key}_of", f"Name a point in {key}_of"
            )
        if base and base not in procedure.points:
            known = f"Test points: {_either(procedure.points)}"
            findings.add((*path, f"{key}_of"), f"unknown test point '{base}'", known)
        elif base and point.unit in UNITS and procedure.points[base].unit != point.unit:
            found = f"'{base}' is in {procedure.points[base].unit}"
            findings.add((*path, f"{key}_of"), found, f"'{point.slug}' is in {point.unit}")


def _check_ends(path: KeyPath, limit: Limit, point: TestPoint, findings: Findings) -> None:
    for key, fixed, base in (
        ("low", limit.low, limit.low_of),
        ("high", limit.high, limit.high_of),
    ):
        if fixed is not None and base:
            findings.add((*path, f"{key}_of"), f"{key} and {key}_of", "Give one of the two")
        if fixed is not None and not point.low <= fixed <= point.high:
            found = f"{fixed} is outside the plausible {point.low} to {point.high}"
            findings.add((*path, key), found, f"Mend it, or the range of '{point.slug}'")
    if limit.low is not None and limit.high is not None and limit.low > limit.high:
        found = f"low {limit.low} is above high {limit.high}"
        findings.add((*path, "low"), found, "Low is at most high")
    if limit.low is None and limit.high is None and not limit.low_of and not limit.high_of:
        findings.add(path, "no end", "A limit has low, high, low_of or high_of")


def _check_sources_of_limits(procedure: Procedure, findings: Findings) -> None:
    """A limit taken from another point needs that point to be read before."""
    read: set[str] = set()
    for path, request in _requests(procedure):
        limit = request.limit
        for key, base in (("low_of", limit.low_of), ("high_of", limit.high_of)) if limit else ():
            if base in procedure.points and base not in read:
                found = f"'{base}' is not read before"
                findings.add((*path, "limit", key), found, "Ask for that reading first")
        read.add(request.point)


def _check_asked_once(procedure: Procedure, findings: Findings) -> None:
    """Outside a hold point one reading serves every request for its point and phase."""
    for index, step in enumerate(procedure.steps):
        if step.hold:
            continue
        for number, request in enumerate(step.readings):
            for before in step.readings[:number]:
                same = (before.point, before.phase) == (request.point, request.phase)
                if same and not _exclude_each_other(before.when, request.when):
                    key = ("steps", index, "readings", number, "point")
                    found = f"'{request.point}' is asked for twice"
                    findings.add(key, found, "Ask once a step, or by conditions that differ")


def _exclude_each_other(one: When, other: When) -> bool:
    """Return whether some choice can't answer both."""
    wanted = dict(one.answers)
    return any(
        choice in wanted and not set(options) & set(wanted[choice])
        for choice, options in other.answers
    )


def _check_holds(procedure: Procedure, findings: Findings) -> None:
    for index, step in enumerate(procedure.steps):
        path = ("steps", index, "hold")
        if step.hold and not step.hold.checks and not step.readings:
            findings.add(path, "holds nothing", "Give it checks, or the step readings")
        if step.hold and step.choice:
            findings.add(path, "a hold and a choice in one step", "Make two steps of it")
        if step.ends and (step.hold or step.choice or step.line_voltage):
            findings.add(
                ("steps", index, "ends"), "the last step holds or asks", "End on a plain step"
            )


def _check_gotos(procedure: Procedure, findings: Findings) -> None:
    places = {step.slug: index for index, step in enumerate(procedure.steps)}
    for path, choice in _choices(procedure):
        here = path[1]
        for index, option in enumerate(choice.options):
            key = (*path, "options", index, "goto")
            if option.goto and option.goto not in places:
                findings.add(key, f"no step '{option.goto}'", "Name a later step")
            elif option.goto and isinstance(here, int) and places[option.goto] <= here:
                findings.add(key, f"'{option.goto}' is not later", "A goto leads forward")


def _check_conditions(procedure: Procedure, findings: Findings) -> None:
    """Each `when` names a choice that was asked before, and options that it offers."""
    offered: Offered = {LICENSED: {"yes", "no"}}
    for index, step in enumerate(procedure.steps):
        path: KeyPath = ("steps", index)
        _check_when((*path, "when"), step.when, offered, findings)
        if step.choice:
            slugs = {option.slug for option in step.choice.options}
            offered.setdefault(step.choice.slug, set()).update(slugs)
        for number, request in enumerate(step.readings):
            _check_when((*path, "readings", number, "when"), request.when, offered, findings)
        for number, one in enumerate(step.hold.checks if step.hold else ()):
            _check_when((*path, "hold", "checks", number, "when"), one.when, offered, findings)


def _check_when(path: KeyPath, when: When, offered: Offered, findings: Findings) -> None:
    for choice, options in when.answers:
        known = offered.get(choice)
        if known is None and choice not in ASKED_BY_DIALOGUE:
            found = f"no choice '{choice}' before this"
            findings.add((*path, choice), found, f"Choices so far: {_either(offered)}")
        for option in options:
            if known is not None and option not in known:
                found = f"'{choice}' offers no '{option}'"
                findings.add((*path, choice), found, f"It offers: {_either(known)}")


def _check_sizings(procedure: Procedure, findings: Findings, sizings: Needs) -> None:
    """Each sizing exists, and each of its inputs can be had: read, asked for aloud or assumed."""
    read = {request.point for _, request in _requests(procedure)}
    for index, step in enumerate(procedure.steps):
        sizing = sizings.get(step.works_out)
        if step.works_out and sizing is None:
            found = f"unknown sizing '{step.works_out}'"
            findings.add(("steps", index, "works_out"), found, f"Sizings: {_either(sizings)}")
        for each in sizing.inputs if sizing else ():
            points = [procedure.points[slug] for slug in each.from_log if slug in read]
            for point in points:
                _check_fits(point, each, step.works_out, findings)
            if not (points or each.ask or each.default) and each.needed({}):
                found = f"nothing gives '{each.name}', which '{step.works_out}' works with"
                allowed = f"Read one of: {_either(each.from_log)}"
                findings.add(("steps", index, "works_out"), found, allowed)


def _check_fits(point: TestPoint, wanted: NeededInput, sizing: str, findings: Findings) -> None:
    """Some value that is plausible at the test point is one that the sizing holds for."""
    if point.unit not in UNITS or not wanted.ranges:
        return
    path: KeyPath = ("points", point.slug)
    alike = [
        each for each in wanted.ranges if UNITS[each.unit].dimension == UNITS[point.unit].dimension
    ]
    if not alike:
        units = _either([each.unit for each in wanted.ranges])
        found = f"'{point.unit}' is no unit of '{wanted.name}', which '{sizing}' takes from it"
        findings.add((*path, "unit"), found, f"Units: {units}, or another slug for the point")
    elif not any(_overlaps(point, each) for each in alike):
        valid = ", ".join(f"{each.low} to {each.high} {each.unit}" for each in alike)
        found = f"nothing of {point.low} to {point.high} {point.unit} is what '{sizing}' holds for"
        findings.add((*path, "low"), found, f"It holds for {valid}")


def _overlaps(point: TestPoint, valid: ValidRange) -> bool:
    low, high = (convert(end, point.unit, valid.unit) for end in (point.low, point.high))
    return low <= Decimal(valid.high) and high >= Decimal(valid.low)
