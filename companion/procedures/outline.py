"""A procedure in figures and in lines: for lists, for a foreman's reading, for the drawing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.procedures.paths import matters_from
from companion.procedures.walking import branches, first_step, index_of, next_step
from companion.quantities import trade_unit

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from companion.procedures.model import Procedure, ReadingRequest, Step, When


@dataclass(frozen=True, slots=True)
class Figures:
    """How much there is of a procedure.

    Attributes:
        steps: how many there are in all.
        ways: how many ways lead through it, by the choices; the regions that no condition names
            count as one.
        readings: how many are asked for, those of different choices each.
        holds: the numbers of its hold points, in order, each once.
        choices: how many it asks.
    """

    steps: int
    ways: int
    readings: int
    holds: tuple[str, ...]
    choices: int


def figures(procedure: Procedure) -> Figures:
    """Return a procedure in figures.

    >>> from companion.procedures import procedure
    >>> figures(procedure("fresh-air-damper")).holds
    ('H1', 'H2', 'H3', 'H4', 'H5', 'H6', 'H7')
    """
    steps = procedure.steps
    return Figures(
        steps=len(steps),
        ways=_count_ways(procedure),
        readings=sum(len(step.readings) for step in steps),
        holds=tuple(dict.fromkeys(step.hold.number for step in steps if step.hold)),
        choices=sum(step.choice is not None for step in steps),
    )


def _count_ways(procedure: Procedure) -> int:
    matters = matters_from(procedure)
    known: dict[tuple[str, frozenset[tuple[str, str]]], int] = {}

    def onward(step: Step, answers: Mapping[str, str]) -> int:
        named = matters[index_of(procedure, step.slug) or 0]
        state = step.slug, frozenset(each for each in answers.items() if each[0] in named)
        if state not in known:
            known[state] = sum(
                onward(following, given) if following else 1
                for given in branches(procedure, step, answers)
                for following in (next_step(procedure, step.slug, given),)
            )
        return known[state]

    start = first_step(procedure, {})
    return onward(start, {}) if start else 0


def marks(step: Step) -> tuple[str, ...]:
    """Return what a reader must see of a step at a glance, in the words of the model.

    >>> from companion.procedures import procedure
    >>> steps = {step.slug: step for step in procedure("fresh-air-damper").steps}
    >>> marks(steps["wire-120"]), marks(steps["prove-dead"])
    (('line voltage', 'dead'), ('line voltage', 'hold H2'))
    """
    said = (
        ("line voltage", step.line_voltage),
        ("dead", step.needs_dead),
        ("cuts", step.cuts),
        (f"power {step.power}", bool(step.power)),
        (f"hold {step.hold.number}" if step.hold else "", step.hold is not None),
        (step.ends, bool(step.ends)),
    )
    return tuple(mark for mark, holds in said if holds)


def condition(procedure: Procedure, when: When) -> str:
    """Return a condition in the words of the choices that it names; '' for none.

    >>> from companion.procedures import procedure
    >>> damper = procedure("fresh-air-damper")
    >>> condition(damper, {step.slug: step for step in damper.steps}["cut-board"].when)
    'only if duct: duct board'
    """
    names = {
        (step.choice.slug, option.slug): option.names[0]
        for step in reversed(procedure.steps)
        if step.choice
        for option in step.choice.options
    }
    said = (
        f"{_words(choice)}: {' or '.join(names.get((choice, each), each) for each in given)}"
        for choice, given in when.answers
    )
    told = "; ".join(said)
    return f"only if {told}" if told else ""


def wanted(procedure: Procedure, request: ReadingRequest) -> str:
    """Return what a reading must be: its limit with the unit, or the unit alone.

    >>> from companion.procedures import procedure
    >>> damper = procedure("fresh-air-damper")
    >>> steps = {step.slug: step for step in damper.steps}
    >>> [wanted(damper, each) for each in steps["prove-dead"].readings[:2]]
    ['110 to 126 V', 'at most 1 V']
    >>> [wanted(damper, each) for each in steps["plate"].readings[::2]]
    ['in. w.c.', 'at least lowest rise, °F']
    """
    unit = trade_unit(procedure.points[request.point].unit).symbol
    limit = request.limit
    if limit is None:
        return unit
    low = _end(procedure, limit.low, limit.low_of, f"{limit.low_times} times ", limit.low_times)
    high = _end(procedure, limit.high, limit.high_of, f"{limit.high_plus} over ", limit.high_plus)
    ends = (f"{low} to {high}",) if low and high else (low and f"at least {low}", f"at most {high}")
    told = next(filter(None, ends))
    return f"{told}, {unit}" if limit.low_of or limit.high_of else f"{told} {unit}"


def _end(procedure: Procedure, fixed: Decimal | None, of: str, how: str, by: Decimal | None) -> str:
    """One end of a limit: a figure, or another test point and how it counts."""
    if fixed is not None or not of:
        return "" if fixed is None else f"{fixed:,}"
    return f"{how if by is not None else ''}{procedure.points[of].names[0]}"


def _words(slug: str) -> str:
    return slug.replace("-", " ")
