"""The schema and the loader say the same of keys, types and what must be there."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import tomli_w
from jsonschema import Draft202012Validator

from companion.procedures import BrokenProcedureError, load, loader, slugs
from companion.procedures.parts import PART
from companion.procedures.schema import schema
from companion.procedures.template import begun

if TYPE_CHECKING:
    from collections.abc import Iterator

DATA = Path(loader.__file__).parent / "data"
SCHEMA = schema()
VALIDATOR = Draft202012Validator(SCHEMA)
STEP = SCHEMA["properties"]["steps"]["items"]
READING = STEP["properties"]["readings"]["items"]
CHOICE = STEP["properties"]["choice"]
HOLD = STEP["properties"]["hold"]
KEYS = {
    "procedure": (loader._PROCEDURE_KEYS, SCHEMA),
    "point": (loader._POINT_KEYS, SCHEMA["properties"]["points"]["additionalProperties"]),
    "step": ((*loader._STEP_KEYS, PART), STEP),
    "reading": (loader._READING_KEYS, READING),
    "limit": (loader._LIMIT_KEYS, READING["properties"]["limit"]),
    "choice": (loader._CHOICE_KEYS, CHOICE),
    "option": (loader._OPTION_KEYS, CHOICE["properties"]["options"]["items"]),
    "hold": (loader._HOLD_KEYS, HOLD),
    "check": (loader._CHECK_KEYS, HOLD["properties"]["checks"]["items"]),
}

# Every key of every kind of table once; it need not make sense, only have its shape.
FULL = """
slug = "attic-fan"
kind = "work"
title = "Attic fan"
version = "1.0"
names = ["attic fan"]
scope_note = "For trials."
tools = ["meter"]

[points.control-voltage]
names = ["control voltage"]
unit = "V"
low = 0
high = 60.5
decimals = 1
sign = "plus"
others = ["V"]

[[steps]]
slug = "look"
say = "Look."
short = "Go."
more = "Look again."
caution = "Hot."
when = { licensed = ["yes"] }
line_voltage = true
needs_dead = true
cuts = true
power = "live"
works_out = "total-external-static"
ends = "finished"
customer = "Look at it once a season."
labels = true
service_months = 12

[[steps.readings]]
point = "control-voltage"
ask = "Control voltage?"
phase = "as found"
when = { region = "texas" }

[steps.readings.limit]
low = 1
high = 2
low_of = "control-voltage"
low_times = 1.5
high_of = "control-voltage"
high_plus = 0.5
source = "common practice, no source"
otherwise = "Find out why."
stops = true

[steps.choice]
slug = "way"
ask = "This way, or that?"

[[steps.choice.options]]
slug = "this"
names = ["this way"]
goto = "look"

[steps.hold]
number = "H1"
title = "Looked"
confirm = "Say confirmed."
proves = "readings"

[[steps.hold.checks]]
slug = "seen"
ask = "Seen?"
if_no = "Look."
last = true
when = { licensed = "yes" }
"""

# Where each kind of table stands in it.
PLACES: dict[str, tuple[str | int, ...]] = {
    "procedure": (),
    "point": ("points", "control-voltage"),
    "step": ("steps", 0),
    "reading": ("steps", 0, "readings", 0),
    "limit": ("steps", 0, "readings", 0, "limit"),
    "choice": ("steps", 0, "choice"),
    "option": ("steps", 0, "choice", "options", 0),
    "hold": ("steps", 0, "hold"),
    "check": ("steps", 0, "hold", "checks", 0),
}


def cases() -> list[tuple[str, str]]:
    return [(kind, key) for kind, (keys, _) in KEYS.items() for key in keys if key != PART]


def changed(kind: str) -> tuple[dict[str, Any], dict[str, Any]]:
    """The whole file's tables, and in it the one of a kind."""
    tables: dict[str, Any] = tomllib.loads(FULL)
    table: Any = tables
    for each in PLACES[kind]:
        table = table[each]
    return tables, table


def found_by_loader(tables: dict[str, Any]) -> set[str]:
    """What the loader finds wrong with the shape."""
    try:
        load(tomli_w.dumps(tables), "trial.toml", safety=False)
    except BrokenProcedureError as problem:
        return {each.found for each in problem.problems}
    return set()


def test_it_is_a_schema_of_its_draft() -> None:
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("kind", KEYS)
def test_every_key_of_the_loader_is_in_the_schema_and_no_other(kind: str) -> None:
    keys, table = KEYS[kind]
    assert set(table["properties"]) == set(keys)
    assert table["additionalProperties"] is False


def test_the_trial_has_every_key_and_both_take_its_shape() -> None:
    for kind, (keys, _) in KEYS.items():
        assert set(changed(kind)[1]) == set(keys) - {PART}
    assert list(VALIDATOR.iter_errors(tomllib.loads(FULL))) == []
    said = {found.split(" ", 1)[0] for found in found_by_loader(tomllib.loads(FULL))}
    assert said & {"is", "unknown"} == set()


def described(table: object) -> Iterator[tuple[str, bool]]:
    if isinstance(table, dict):
        for key, each in table.get("properties", {}).items():
            yield key, bool(each.get("description"))
        for each in table.values():
            yield from described(each)


def test_every_key_is_described() -> None:
    assert [key for key, is_described in described(SCHEMA) if not is_described] == []


@pytest.mark.parametrize("slug", slugs())
def test_every_packaged_procedure_is_valid(slug: str) -> None:
    tables = tomllib.loads((DATA / f"{slug}.toml").read_text("utf-8"))
    assert list(VALIDATOR.iter_errors(tables)) == []
    whole = tomllib.loads(loader.procedure(slug).text)  # with its parts put in
    assert list(VALIDATOR.iter_errors(whole)) == []


def test_what_new_writes_is_valid() -> None:
    assert list(VALIDATOR.iter_errors(tomllib.loads(begun("attic-fan", "Attic fan")))) == []


@pytest.mark.parametrize(("kind", "key"), cases())
def test_a_misspelt_key_is_refused_by_both(kind: str, key: str) -> None:
    tables, table = changed(kind)
    table[f"{key}s"] = table.pop(key)
    assert not VALIDATOR.is_valid(tables)
    assert any(found == f"unknown key '{key}s'" for found in found_by_loader(tables))


@pytest.mark.parametrize(("kind", "key"), cases())
def test_a_wrong_type_is_refused_by_both(kind: str, key: str) -> None:
    tables, table = changed(kind)
    table[key] = 5 if isinstance(table[key], str | list | dict) else "five"
    assert not VALIDATOR.is_valid(tables)
    assert any(found.startswith("is ") for found in found_by_loader(tables))


@pytest.mark.parametrize(("kind", "key"), cases())
def test_a_missing_key_is_refused_by_both_or_by_neither(kind: str, key: str) -> None:
    tables, table = changed(kind)
    del table[key]
    assert VALIDATOR.is_valid(tables) == ("is missing" not in found_by_loader(tables))


@pytest.mark.parametrize(
    ("kind", "key", "value"),
    [
        ("procedure", "slug", "Attic Fan"),
        ("procedure", "kind", "trial"),
        ("procedure", "names", ["Attic fan"]),
        ("procedure", "tools", []),
        ("procedure", "version", " "),
        ("procedure", "steps", []),
        ("point", "unit", "furlong"),
        ("point", "decimals", 5),
        ("point", "names", []),
        ("point", "names", ["one", "one"]),
        ("step", "say", "word " * 25),
        ("step", "power", "off"),
        ("step", "ends", "done"),
        ("step", "when", {"way": []}),
        ("step", "part", "lock-out"),
        ("reading", "phase", "later"),
        ("hold", "number", "H8"),
        ("hold", "proves", "alive"),
        ("option", "goto", "Up There"),
    ],
)
def test_a_wrong_value_is_refused_by_both(kind: str, key: str, value: object) -> None:
    tables, table = changed(kind)
    before = found_by_loader(tables)
    table[key] = copy.deepcopy(value)
    assert not VALIDATOR.is_valid(tables)
    assert found_by_loader(tables) - before != set()


def test_a_part_stands_alone_and_is_one_there_is() -> None:
    for step, is_valid in (({PART: "lock-out"}, True), ({PART: "lock-in"}, False)):
        tables = tomllib.loads(begun("attic-fan", "Attic fan"))
        tables["steps"].append(step)
        assert VALIDATOR.is_valid(tables) == is_valid
