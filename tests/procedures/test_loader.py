"""Reading a procedure file: what is wrong is told by line and key, found and allowed.

Each of `data/mistakes.toml` changes one thing in `data/branches.toml`; the line expected is looked
up in the changed text by what stands there, so it never comes from the loader.
"""

from __future__ import annotations

import hashlib
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.errors import ProcedureError
from companion.procedures import BrokenProcedureError, Problem, load, procedure, procedures
from companion.procedures.model import When
from companion.sizing import sizings

DATA = Path(__file__).parent / "data"
FILE = DATA / "branches.toml"
TEXT = FILE.read_text("utf-8")
MISTAKES = tomllib.loads((DATA / "mistakes.toml").read_text("utf-8"))["mistakes"]


def _line_of(piece: str, text: str, mention: int = 1) -> int:
    """The line on which a piece of text stands, its first mention or a later one."""
    found = [number for number, line in enumerate(text.split("\n"), 1) if piece in line]
    return found[mention - 1]


@pytest.mark.parametrize("mistake", MISTAKES, ids=[f"{one['new']:.30}" for one in MISTAKES])
def test_each_kind_of_mistake_tells_its_line(mistake: dict[str, Any]) -> None:
    assert mistake["old"] in TEXT
    text = TEXT.replace(mistake["old"], mistake["new"], 1)
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "branches.toml")
    told = str(raised.value).split("\n")
    line = _line_of(mistake["stands"], text, mistake.get("mention", 1))
    if "message" in mistake:
        assert told == [f"branches.toml:{line}: {mistake['message']}"]
    else:
        assert any(one.startswith(f"branches.toml:{line}: ") for one in told), told


@pytest.mark.parametrize("months", ["0", "121", "1.5", '"one"', "true"])
def test_months_until_the_next_service_are_a_whole_number_of_some_years(months: str) -> None:
    text = TEXT.replace('say = "Cut metal."', f'say = "Cut metal."\nservice_months = {months}', 1)
    with pytest.raises(BrokenProcedureError, match="Give it a whole number from 1 to 120"):
        load(text, "branches.toml")


def test_unknown_unit_lists_the_units() -> None:
    text = TEXT.replace('unit = "inH2O"', 'unit = "inches"', 1)
    with pytest.raises(ProcedureError, match=r"branches\.toml:10: points\.supply-static\.unit"):
        load(text, "branches.toml")
    with pytest.raises(ProcedureError, match=r"unknown unit 'inches'. Units: A, Btu, Btu_h,"):
        load(text, "branches.toml")


def test_limit_of_another_unit() -> None:
    text = TEXT.replace('names = ["setting"]\nunit = "inH2O"', 'names = ["setting"]\nunit = "V"')
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "f.toml")
    line = _line_of("low_of", text)
    key = "steps[6].readings[1].limit.low_of"
    assert str(raised.value) == (
        f"f.toml:{line}: {key}: 'setting' is in V. 'supply-static' is in inH2O."
    )


def test_unknown_sizing_is_told_where_sizings_are_handed_in() -> None:
    text = TEXT.replace('say = "Measure static."', 'say = "x"\nworks_out = "total-static"')
    assert load(text, "f.toml").steps[6].works_out == "total-static"
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "f.toml", sizings={"voltage-drop": sizings()["voltage-drop"]})
    assert str(raised.value) == (
        f"f.toml:{_line_of('works_out', text)}: steps[6].works_out: "
        "unknown sizing 'total-static'. Sizings: voltage-drop."
    )


def test_a_condition_on_the_licence_before_it_is_asked() -> None:
    text = TEXT.replace('when = { duct = "board" }', 'when = { licensed = "no" }')
    with pytest.raises(BrokenProcedureError, match="the licence is not known here"):
        load(text, "f.toml")


@pytest.mark.parametrize(
    ("text", "line", "found"),
    [
        ("a = 1\nb = \n", 2, "not TOML: Invalid value"),
        ("[a]\nb = 1\n[a]\n", 3, "not TOML: Cannot declare ('a',) twice"),
        ("a = " + "[" * 5000, 1, "not TOML: cannot be read"),
        ("a = 1e99999999999999999999", 1, "not TOML: cannot be read"),
    ],
)
def test_a_file_that_is_no_toml_tells_the_line(text: str, line: int, found: str) -> None:
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "f.toml")
    problem = raised.value.problems[0]
    assert problem.line == line
    assert problem.found == found
    assert str(raised.value).startswith(f"f.toml:{line}: file: not TOML: ")


def test_all_mistakes_come_in_one_report_in_the_order_of_the_file() -> None:
    text = TEXT.replace('version = "1"', "version = 1").replace('say = "Cut metal."', "sey = 1")
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "f.toml")
    assert [problem.key for problem in raised.value.problems] == [
        "version", "steps[1].say", "steps[1].sey",
    ]  # fmt: skip
    assert raised.value.exit_code == 3  # bad input, as every ProcedureError


def test_more_than_ten_mistakes_are_counted() -> None:
    extra = "".join(f"x{number:02} = 1\n" for number in range(13))
    with pytest.raises(BrokenProcedureError) as raised:
        load(extra + TEXT, "f.toml")
    told = str(raised.value).split("\n")
    assert len(told) == 11
    assert told[0].startswith("f.toml:1: x00: unknown key 'x00'. ")
    assert told[9].startswith("f.toml:10: x09: ")
    assert told[10] == "f.toml: 3 more. Mend these first."


def test_an_empty_file_says_what_is_missing() -> None:
    with pytest.raises(BrokenProcedureError) as raised:
        load("", "f.toml")
    keys = {problem.key for problem in raised.value.problems}
    assert keys == {"slug", "title", "version", "tools", "steps"}


def test_numbers_are_exactly_as_written() -> None:
    loaded = load(TEXT, "f.toml")
    assert loaded.points["setting"].low == Decimal("0.02")
    limit = loaded.steps[6].readings[1].limit
    assert limit is not None
    assert (limit.low, limit.low_times, limit.high) == (None, Decimal("1.5"), Decimal(2))


def test_conditions_take_one_option_or_several() -> None:
    loaded = load(TEXT, "f.toml")
    assert loaded.steps[5].when == When((("duct", ("metal",)), ("supply", ("120",))))


def test_the_job_can_keep_text_and_digest() -> None:
    loaded = load(TEXT, "f.toml")
    assert loaded.text == TEXT
    assert loaded.digest == hashlib.sha256(FILE.read_bytes()).hexdigest()


def test_packaged_procedures_go_by_their_file_name() -> None:
    assert all(slug == one.slug for slug, one in procedures().items())
    assert procedure("fresh-air-damper") is procedures()["fresh-air-damper"]


def test_packaged_procedures_name_sizings_that_exist() -> None:
    for one in procedures().values():
        assert load(one.text, one.slug, sizings=sizings()) == one


def test_points_that_are_no_tables() -> None:
    start, end = TEXT.index("[points.supply-static]"), TEXT.index("[[steps]]")
    with pytest.raises(BrokenProcedureError) as raised:
        load('points = "many"\n' + TEXT[:start] + TEXT[end:], "f.toml")
    assert str(raised.value) == "f.toml:1: points: is text. Give it tables, [points.some-name]."


def test_no_such_procedure_lists_those_there_are() -> None:
    with pytest.raises(ProcedureError, match=r"No procedure 'furnace'\.") as raised:
        procedure("furnace")
    assert raised.value.remedy == f"Procedures: {', '.join(sorted(procedures()))}."


@given(st.text(max_size=200))
def test_no_text_raises_anything_else(text: str) -> None:
    with pytest.raises(ProcedureError):
        load(text, "f.toml")


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_a_damaged_file_is_refused_or_loads_but_never_crashes(data: st.DataObject) -> None:
    lines = TEXT.split("\n")
    first = data.draw(st.integers(0, len(lines) - 1))
    count = data.draw(st.integers(1, 4))
    new = data.draw(st.sampled_from(["", "]", "[[steps]]", "x = 1", 'when = { duct = "board" }']))
    damaged = "\n".join([*lines[:first], new, *lines[first + count :]])
    problems: tuple[Problem, ...] = ()
    try:
        load(damaged, "f.toml")
    except BrokenProcedureError as exc:
        problems = exc.problems
    assert all(1 <= one.line <= damaged.count("\n") + 1 for one in problems)
