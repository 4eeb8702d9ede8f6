"""Parts: put in where they are named, told by their own file, gone from what the job keeps."""

from __future__ import annotations

import tomllib
from decimal import Decimal

import pytest

from companion.procedures import BrokenProcedureError, load, procedure, procedures
from companion.procedures.parts import Place, parts, whole
from companion.procedures.template import begun

SHORT = """
slug = "short"
[[steps]]
slug = "first"
say = "Look."
[[steps]]
part = "lock-out"
[[steps]]
slug = "last"
say = "Look again."
[points.known-source]
names = ["our source"]
unit = "V"
"""


def put_in(text: str) -> dict[str, object]:
    return whole(tomllib.loads(text, parse_float=Decimal), text, "short.toml").tables


def slugs_of(text: str) -> list[str]:
    steps = put_in(text)["steps"]
    assert isinstance(steps, list)
    return [step["slug"] for step in steps]


def test_a_parts_steps_stand_where_it_is_named() -> None:
    of_part = [step["slug"] for step in parts()["lock-out"].tables["steps"]]
    assert slugs_of(SHORT) == ["first", *of_part, "last"]
    assert "prove-dead" in of_part


def test_a_parts_test_points_come_with_it_and_the_procedures_own_stand() -> None:
    points = put_in(SHORT)["points"]
    assert isinstance(points, dict)
    assert points["known-source"]["names"] == ["our source"]
    assert set(parts()["lock-out"].tables["points"]) <= set(points)


def test_every_key_is_told_by_the_file_that_it_stands_in() -> None:
    found = whole(tomllib.loads(SHORT, parse_float=Decimal), SHORT, "short.toml")
    assert found.places["steps", 0, "say"].file == "short.toml"
    assert found.places["steps", 0, "say"].line == 5  # counted by hand
    assert found.places["steps", 1, "slug"].file == "parts/lock-out.toml"
    last = len(found.tables["steps"]) - 1
    assert found.places["steps", last, "say"] == Place("short.toml", 10)
    assert found.places["points", "known-source", "unit"].file == "short.toml"
    assert found.places["points", "leg-to-leg", "unit"].file == "parts/lock-out.toml"


def test_what_a_job_keeps_names_no_part_and_reads_the_same() -> None:
    for slug, made in procedures().items():
        assert not any("part" in step for step in tomllib.loads(made.text)["steps"])
        again = load(made.text, f"{slug}.toml")
        assert (again.steps, again.points, again.digest) == (made.steps, made.points, made.digest)


def test_a_part_that_is_not_there_is_told_with_its_line() -> None:
    text = begun("attic-fan", "Attic fan").replace('part = "stops"', 'part = "halts"')
    with pytest.raises(BrokenProcedureError, match="no part 'halts'") as raised:
        load(text, "attic-fan.toml")
    (problem,) = raised.value.problems
    assert text.splitlines()[problem.line - 1] == 'part = "halts"'


@pytest.mark.parametrize("put", ['part = "stops"\nsay = "x"', 'part = ["stops"]', "part = 3"])
def test_a_part_stands_alone_in_its_step_by_its_name(put: str) -> None:
    text = begun("attic-fan", "Attic fan").replace('part = "stops"', put)
    with pytest.raises(BrokenProcedureError, match="Alone in its step"):
        load(text, "attic-fan.toml")


def test_every_part_is_used() -> None:
    texts = " ".join(slug for made in procedures().values() for slug in (made.text,))
    for name, part in parts().items():
        steps = part.tables.get("steps", [])
        assert steps, name
        assert all(f'slug = "{step["slug"]}"' in texts for step in steps), name


def test_the_damper_is_whole_with_its_parts() -> None:
    order = [step.slug for step in procedure("fresh-air-damper").steps]
    assert order.index("arrival") == 0
    assert order.index("prove-dead") < order.index("cut-metal") < order.index("first-power")
