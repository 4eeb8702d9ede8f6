"""The checker bites: every shipped procedure, made unsafe in one place, is refused.

The mutants are made by rules of their own from what the file marks, not from what the checker
looks at: a hold point or its whole step is dropped, what must come after a hold point is put before
it, a limit is given in a unit of another dimension, a choice leads nowhere, a reading is asked for
twice, a sizing comes before what it works with. Which changes are unsafe is common practice, no
source: lock-out before work, a look before a cut, cold before power.
"""

from __future__ import annotations

import tomllib
from copy import deepcopy
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
import tomli_w

from companion.procedures import BrokenProcedureError, load, procedures
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Iterator

Tables = dict[str, Any]
OTHER_UNITS = {"V": "ft", "A": "degF", "ohm": "V", "inH2O": "A", "degF": "V"}  # none alike
AFTER_LOCK_OUT = ("needs_dead", "cuts")


@cache
def _whole(slug: str) -> str:
    return procedures()[slug].text


def _tables(slug: str) -> Tables:
    return tomllib.loads(_whole(slug), parse_float=Decimal)


def _without_holds(tables: Tables) -> Iterator[tuple[str, Tables]]:
    """Drop a hold point from its step, then the whole step."""
    for index, step in enumerate(tables["steps"]):
        if "hold" not in step:
            continue
        bare = deepcopy(tables)
        del bare["steps"][index]["hold"]
        yield f"no hold at {step['slug']}", bare
        gone = deepcopy(tables)
        del gone["steps"][index]
        yield f"no {step['slug']}", gone


def _before_lock_out(tables: Tables) -> Iterator[tuple[str, Tables]]:
    """Put work that needs the circuit dead in front of the first proof of it."""
    steps = tables["steps"]
    proofs = [at for at, step in enumerate(steps) if step.get("hold", {}).get("proves") == "dead"]
    for index, step in enumerate(steps):
        if proofs and index > proofs[-1] and any(step.get(key) for key in AFTER_LOCK_OUT):
            moved = deepcopy(tables)
            moved["steps"].insert(proofs[0], _alone(moved["steps"].pop(index)))
            yield f"{step['slug']} before the lock-out", moved


def _after_power(tables: Tables) -> Iterator[tuple[str, Tables]]:
    """Put wiring behind the first power."""
    steps = tables["steps"]
    power = [at for at, step in enumerate(steps) if step.get("power") == "on"]
    for index, step in enumerate(steps):
        if power and index < power[0] and step.get("needs_dead") and "hold" not in step:
            moved = deepcopy(tables)
            later = moved["steps"].pop(index)
            moved["steps"].insert(power[-1], _alone(later))
            yield f"{step['slug']} after the first power", moved


def _alone(step: Tables) -> Tables:
    """A step that depends on nothing, so that only its place is wrong."""
    return {key: value for key, value in step.items() if key not in {"when", "choice", "readings"}}


def _other_units(tables: Tables) -> Iterator[tuple[str, Tables]]:
    for slug, point in tables.get("points", {}).items():
        for other in ("unit", "others"):
            if other == "others" and not point.get("others"):
                continue
            changed = deepcopy(tables)
            unit = OTHER_UNITS.get(point["unit"], "V")
            changed["points"][slug][other] = unit if other == "unit" else [unit]
            if other == "others" or _is_bound(tables, slug):
                yield f"{slug} in {unit}", changed


def _is_bound(tables: Tables, slug: str) -> bool:
    """Whether something else tells the unit that a test point must have."""
    requests = [each for step in tables["steps"] for each in step.get("readings", ())]
    named = {
        (each["point"], each["limit"].get(key))
        for each in requests
        for key in ("low_of", "high_of")
        if each.get("limit", {}).get(key)
    }
    return bool(tables["points"][slug].get("others")) or any(slug in pair for pair in named)


def _dangling(tables: Tables) -> Iterator[tuple[str, Tables]]:
    for index, step in enumerate(tables["steps"]):
        for number, option in enumerate(step.get("choice", {}).get("options", ())):
            nowhere = deepcopy(tables)
            nowhere["steps"][index]["choice"]["options"][number]["goto"] = "no-such-step"
            yield f"{step['slug']} {option['slug']} to nowhere", nowhere


def _without_ends(tables: Tables) -> Iterator[tuple[str, Tables]]:
    for index, step in enumerate(tables["steps"]):
        if "ends" in step:
            endless = deepcopy(tables)
            del endless["steps"][index]["ends"]
            yield f"{step['slug']} ends nothing", endless


def _read_twice(tables: Tables) -> Iterator[tuple[str, Tables]]:
    """Ask for a step's last reading again right after it."""
    for index, step in enumerate(tables["steps"]):
        readings, hold = step.get("readings", ()), step.get("hold", {})
        changes = step.get("cuts") or step.get("power") == "on"
        if not readings or changes or hold.get("proves") == "dead":
            continue
        last = {key: value for key, value in readings[-1].items() if key != "limit"}
        again = {"slug": "again", "say": "Read it again.", "readings": [last]}
        again |= {
            key: step[key] for key in ("when", "line_voltage", "needs_dead", "power") if key in step
        }
        twice = deepcopy(tables)
        twice["steps"].insert(index + 1, again)
        yield f"{step['slug']} reads {last['point']} twice", twice


def _worked_out_early(tables: Tables) -> Iterator[tuple[str, Tables]]:
    """Work a sizing out as the step begins that first reads what it works with."""
    for step in tables["steps"]:
        sizing = sizings().get(step.get("works_out", ""))
        needed = [i for i in sizing.inputs if i.needed({}) and not i.default] if sizing else ()
        points = {point for each in needed for point in each.from_log}
        reading = (
            at
            for at, other in enumerate(tables["steps"])
            if points & {each["point"] for each in other.get("readings", ())}
        )
        first = next(reading, None)
        if first is not None:
            early = deepcopy(tables)
            early["steps"][first]["works_out"] = step["works_out"]
            yield f"{step['works_out']} at {early['steps'][first]['slug']}", early


MAKERS = (
    _without_holds,
    _before_lock_out,
    _after_power,
    _other_units,
    _dangling,
    _without_ends,
    _read_twice,
    _worked_out_early,
)


def mutants(slug: str) -> Iterator[tuple[str, Tables]]:
    """Yield what was done, and the procedure that it was done to."""
    tables = _tables(slug)
    for make in MAKERS:
        yield from make(tables)


@pytest.mark.parametrize("slug", sorted(procedures()))
def test_a_procedure_made_unsafe_in_one_place_is_refused(slug: str) -> None:
    survivors, count = [], 0
    for done, tables in mutants(slug):
        count += 1
        try:
            load(tomli_w.dumps(tables), f"{slug}.toml", sizings=sizings())
        except BrokenProcedureError:
            continue
        survivors.append(done)
    assert survivors == []
    assert count > 10


@pytest.mark.parametrize("slug", sorted(procedures()))
def test_written_out_again_it_is_the_same_procedure(slug: str) -> None:
    again = load(tomli_w.dumps(_tables(slug)), f"{slug}.toml")
    assert (again.points, again.steps) == (procedures()[slug].points, procedures()[slug].steps)
