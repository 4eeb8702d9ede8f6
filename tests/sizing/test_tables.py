"""The tables vouch for themselves, and the derived figures follow from their formulas."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from importlib.resources import files

import pytest

from companion.sizing import sizings
from companion.sizing.tables import Table, TableError, exact_number, figure, read_table, table

NAMES = sorted(
    path.name.removesuffix(".csv")
    for path in files("companion.sizing").joinpath("tables").iterdir()
    if path.name.endswith(".csv")
)

ACCOUNT = """
title = "Test"
source = "none"
licence = "none"
valid = "here"
interpolation = "none"
[columns.size]
kind = "text"
meaning = "size"
[columns.area]
kind = "exact"
meaning = "area"
"""


@pytest.mark.parametrize("name", NAMES)
def test_every_table_says_where_it_comes_from_and_is_not_interpolated(name: str) -> None:
    found = table(name)
    assert found.title
    assert found.source
    assert found.licence
    assert found.valid
    assert found.interpolation == "none"
    assert found.rows


def test_every_figure_names_its_source_and_whether_it_is_from_memory() -> None:
    for row in table("figures").rows:
        assert row.text("origin")
        assert row.text("from_memory") in {"yes", "no"}


@pytest.mark.parametrize(
    ("account", "cells", "where"),
    [
        (ACCOUNT + 'colour = "red"\n', "size,area\n", "test.toml: columns.area.colour"),
        ("author = 1\n" + ACCOUNT, "size,area\n", "test.toml: author"),
        (ACCOUNT.replace('source = "none"\n', ""), "size,area\n", "test.toml: source"),
        (ACCOUNT.replace('kind = "exact"', 'kind = "real"'), "size,area\n", "columns.area"),
        (ACCOUNT, "size,length\n", "test.csv"),
        (ACCOUNT, "size,area\n1/2,big\n", "test.csv:2: area"),
        (ACCOUNT, "size,area\n1/2,\n", "test.csv:2: area"),
        (ACCOUNT, "size,area\n1/2\n", "test.csv:2: area"),
        (ACCOUNT, "size,area\n1/2,1,2\n", "test.csv:2: None"),
        ("title = ", "size,area\n", "test.toml"),
    ],
)
def test_a_broken_table_is_refused_by_file_and_key(account: str, cells: str, where: str) -> None:
    with pytest.raises(TableError) as refused:
        read_table("test", account, cells)
    assert where in str(refused.value)


def test_a_cell_that_may_be_empty_holds_nothing() -> None:
    account = ACCOUNT + "may_be_empty = true\n"
    (row,) = read_table("test", account, "size,area\n1/2,\n").rows
    assert not row.has("area")
    with pytest.raises(TableError, match=r"test\.csv:area"):
        row.exact("area")


def test_a_row_that_is_not_there_is_no_row() -> None:
    with pytest.raises(KeyError):
        table("ampacity").row("gauge", "13")


@pytest.mark.parametrize("text", ["big", "1/0", "1 big"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=re.escape(text)):
        exact_number(text)


# ---------------------------------------------------------------- the figures against their origin


def _copper() -> Table:
    return table("copper-solid")


def test_diameters_follow_astm_b258() -> None:
    """d = 0.005 · 92^((36 − n) / 39) in, ASTM B258; the table keeps four places."""
    for row in _copper().rows:
        diameter_in = 0.005 * 92 ** ((36 - int(row.text("gauge"))) / 39)
        assert float(row.exact("diameter_in")) == pytest.approx(diameter_in, abs=0.00005)


def test_areas_follow_the_diameters() -> None:
    """π/4 · d², 25.4 mm to the inch; the table keeps three figures, code areas round oddly."""
    for row in _copper().rows:
        diameter_mm = 25.4 * 0.005 * 92 ** ((36 - int(row.text("gauge"))) / 39)
        area_mm2 = 3.14159265 / 4 * diameter_mm**2
        assert float(row.exact("area_mm2")) == pytest.approx(area_mm2, rel=0.005)


def test_resistances_follow_the_copper_standard() -> None:
    """10.371 Ω·cmil/ft at 20 °C, 0.00393 per kelvin (NBS Handbook 100, from memory).

    Table 8 of chapter 9 lies within 0.4 percent of it; derived rows within the last figure.
    """
    for row in _copper().rows:
        cmil = (1000 * 0.005 * 92 ** ((36 - int(row.text("gauge"))) / 39)) ** 2
        cold = 10.371 / cmil * 1000
        warm = cold * (1 + 0.00393 * (75 - 20))
        allowed = 0.0005 if row.text("origin") == "derived" else 0.004
        assert float(row.exact("cold_ohm_per_kft")) == pytest.approx(cold, rel=0.0005)
        assert float(row.exact("warm_ohm_per_kft")) == pytest.approx(warm, rel=allowed)


def test_ampacities_rise_with_size_and_with_temperature() -> None:
    rows = table("ampacity").rows
    for metal in ("copper", "aluminum"):
        for column in (f"{metal}_60_a", f"{metal}_75_a"):
            filled = [row.exact(column) for row in rows if row.has(column)]
            assert filled == sorted(set(filled))
        for row in rows:
            if row.has(f"{metal}_60_a"):
                assert row.exact(f"{metal}_60_a") <= row.exact(f"{metal}_75_a")


def test_punches_in_inches_and_millimeters_are_the_same_hole() -> None:
    """25.4 mm to the inch (NIST SP 811); the table keeps a tenth of a millimeter."""
    for row in table("knockouts").rows:
        mm = Fraction(row.exact("punch_in")) * Fraction("25.4")
        assert abs(mm - Fraction(row.exact("punch_mm"))) <= Fraction("0.06")


# ---------------------------------------------------------------- the declarations against them


@pytest.mark.parametrize(
    ("slug", "name", "rows", "column"),
    [
        ("voltage-drop", "gauge", "copper-solid", "gauge"),
        ("low-voltage-gauge", "gauge", "copper-solid", "gauge"),
        ("line-wire-size", "gauge", "ampacity", "gauge"),
        ("knockout-size", "size", "knockouts", "trade_size"),
        ("transformer-size", "rating", "control-transformers", "rating_va"),
        ("longest-control-run", "gauge", "copper-solid", "gauge"),
        ("duct-friction", "surface", "duct-roughness", "surface"),
    ],
)
def test_what_may_be_chosen_is_what_the_table_holds(
    slug: str, name: str, rows: str, column: str
) -> None:
    options = {option.value for option in sizings()[slug].input(name).options}
    assert options == {str(row.cells[column]) for row in table(rows).rows}


def test_class_two_ceilings_bound_the_inputs() -> None:
    """8 A and 100 VA: NFPA 70-2023 chapter 9 table 11(A), from memory."""
    assert figure("class-2-current-limit") == Decimal(8)
    assert figure("class-2-power-limit") == Decimal(100)
    assert sizings()["voltage-drop"].input("load").ranges[0].high == "8.0"
    assert sizings()["secondary-fuse"].input("rating").ranges[0].high == "100"


def test_all_of_canada_is_known() -> None:
    """Ten provinces and three territories; Newfoundland goes by two names."""
    assert len({row.text("short") for row in table("regions").rows}) == 13
