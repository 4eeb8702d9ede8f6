"""Trade units: conversions against their sources, writing, saying, and what pint costs."""

from __future__ import annotations

import os
import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import UnitError
from companion.language.automata import Compiler
from companion.language.library import packaged_library
from companion.language.sentences import sentences
from companion.numbers import NUMBER_WORDS, parse, say_digits
from companion.quantities import (
    UNITS,
    convert,
    quantity,
    readback,
    registry,
    spoken,
    trade_unit,
    units_from,
    written,
)

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Exact

# The slugs that procedures, sizings and grammars name.
WANTED = [
    "inH2O",
    "Pa",
    "psi",
    "V",
    "A",
    "mA",
    "ohm",
    "VA",
    "W",
    "kW",
    "Btu_h",
    "degF",
    "delta_degF",
    "degC",
    "ft",
    "in",
    "mm",
    "ft2",
    "in2",
    "in3",
    "lb",
    "deg",
    "cfm",
    "fpm",
    "percent",
    "gauge",
    "count",
    "s",
    "min",
    "h",
    "cent",
    "gr_lb",
    "Btu_lb",
    "gal_h",
    "gal_day",
    "inHg",
    "ton",
    "Btu",
    "therm",
    "MJ",
    "kWh",
    "delta_degC",
    "L_s",
    "m3_h",
    "m_s",
    "per_h",
    "W_cfm",
    "ft3",
    "gal",
    "imperial_gal",
    "L",
    "kg",
    "mg_h",
    "ppb",
    "uF",
    "rpm",
    "mm2",
]

DIMENSIONS = sorted({unit.dimension for unit in UNITS.values()})


# ---------------------------------------------------------------- the units


def test_every_slug_that_is_named_elsewhere_is_there() -> None:
    assert sorted(UNITS) == sorted(WANTED)
    assert len(UNITS) == len(WANTED)


def test_an_unknown_unit_is_refused_with_the_known_ones() -> None:
    for slug in ("gpm", "tons", "Nm", "volts", ""):
        with pytest.raises(UnitError, match=rf"^Unit '{slug}' is unknown\. Use one of: inH2O, Pa"):
            trade_unit(slug)


def test_a_unit_file_with_a_wrong_key_names_it() -> None:
    good = '[V]\nsymbol="V"\none="volt"\nmany="volts"\npint="volt"\ndimension="voltage"\n'
    assert units_from(good + 'heard=["volts"]')["V"].heard == (("volts",),)
    with pytest.raises(UnitError, match=r"^units.toml, \[V\]: keys missing or unknown: heard\."):
        units_from(good)
    with pytest.raises(UnitError, match=r"unknown: colour"):
        units_from(good + 'heard=[]\ncolour="red"')


@pytest.mark.parametrize("slug", WANTED)
def test_pint_knows_every_unit_and_none_is_one_of_its_traps(slug: str) -> None:
    unit = registry().Unit(UNITS[slug].pint_name)
    parts = {str(part) for part in unit._units}
    assert parts.isdisjoint({"number_meter", "ton", "US_ton"})  # what 'Nm' and 'ton' turn into


@pytest.mark.parametrize("dimension", DIMENSIONS)
def test_units_of_one_dimension_are_one_dimension_to_pint(dimension: str) -> None:
    same = [unit for unit in UNITS.values() if unit.dimension == dimension]
    assert len({registry().Unit(unit.pint_name).dimensionality for unit in same}) == 1


def test_heard_and_grammar_say_the_same_both_ways() -> None:
    library = packaged_library()
    in_grammar = {
        name: set(sentences(Compiler(library.rules).rule(f"companion.units.{name}")))
        for name in library.public("companion.units")
    }
    assert in_grammar == {slug: set(unit.heard) for slug, unit in UNITS.items() if unit.heard}


def test_how_a_unit_is_said_back_is_also_heard() -> None:
    for unit in UNITS.values():
        for said in {unit.one, unit.many} - {""}:
            assert tuple(said.lower().split()) in unit.heard, f"{unit.slug}: {said}"


def test_no_unit_opens_with_a_word_that_could_still_be_the_number() -> None:
    """'thirty seconds' is the one known case: a time, which numbers.parse leaves alone."""
    opening = {words[0] for unit in UNITS.values() for words in unit.heard}
    assert opening & NUMBER_WORDS == {"second", "seconds", "of"}


# ---------------------------------------------------------------- converting


@pytest.mark.parametrize(
    ("value", "unit", "to", "expected", "tolerance"),
    [
        # NIST SP 811 (2008) appendix B.8; tolerance: half of the last digit printed there
        ("1", "inH2O", "Pa", "249.0889", "0.00005"),  # inch of water, conventional
        ("1", "psi", "Pa", "6894.757", "0.0005"),
        ("1", "ft", "mm", "304.8", "0"),  # exact
        ("1", "in", "mm", "25.4", "0"),  # exact
        ("1", "Btu_h", "W", "0.2930711", "0.00000005"),  # Btu(IT) an hour
        ("1", "min", "s", "60", "0"),  # exact
        ("1", "inHg", "Pa", "3386.389", "0.0005"),  # conventional
        ("1", "ton", "W", "3516.853", "0.0005"),  # 12 000 Btu(IT) an hour
        ("1", "therm", "MJ", "105.506", "0.0005"),  # 100 000 Btu(IT)
        ("1", "Btu", "kWh", "0.0002930711", "0.00000000005"),
        ("1", "cfm", "L_s", "0.4719474", "0.00000005"),
        ("1", "m3_h", "L_s", "0.2777778", "0.00000005"),
        ("1", "fpm", "m_s", "0.00508", "0"),  # exact
        ("1", "ft3", "L", "28.31685", "0.000005"),
        ("1", "gal", "L", "3.785412", "0.0000005"),
        ("1", "imperial_gal", "L", "4.54609", "0"),  # exact
        ("1", "lb", "kg", "0.45359237", "0"),  # exact
        # a degree of one scale is 1.8 of the other's: by definition
        ("18", "delta_degF", "delta_degC", "10", "0.000000001"),
        # the scales' fixed points and where they meet: by definition
        ("212", "degF", "degC", "100", "0"),
        ("32", "degF", "degC", "0", "0.000000001"),
        ("-40", "degC", "degF", "-40", "0.000000001"),
        ("20", "degC", "degF", "68", "0.000000001"),
        # prefixes and twelfths: by definition
        ("500", "mA", "A", "0.5", "0"),
        ("1.5", "kW", "W", "1500", "0"),
        ("7", "ft", "in", "84", "0"),
    ],
)
def test_conversions_agree_with_their_source(
    value: str, unit: str, to: str, expected: str, tolerance: str
) -> None:
    assert abs(convert(Decimal(value), unit, to) - Decimal(expected)) <= Decimal(tolerance)


@given(
    st.sampled_from(
        [
            (a, b)
            for a in WANTED
            for b in WANTED
            if UNITS[a].dimension == UNITS[b].dimension and not a.startswith("deg")
        ]
    ),
    st.decimals("-9999", "9999", places=3),
)
def test_there_and_back_is_where_it_was(units: tuple[str, str], value: Decimal) -> None:
    there, back = units
    again = convert(convert(value, there, back), back, there)
    assert abs(again - value) <= abs(value) * Decimal("1e-10")


@pytest.mark.parametrize(
    ("unit", "to"),
    [
        ("VA", "W"),  # one dimension to pint, two to an electrician
        ("degF", "delta_degF"),  # a temperature is no difference
        ("in", "inH2O"),
        ("gauge", "count"),
        ("percent", "count"),
        ("cfm", "fpm"),
    ],
)
def test_what_measures_something_else_is_refused(unit: str, to: str) -> None:
    with pytest.raises(UnitError, match=f"'{unit}' is a .*, '{to}' a .*Give a unit of"):
        convert(Decimal(1), unit, to)


def test_the_same_unit_converts_without_touching_the_value() -> None:
    assert str(convert(Decimal("0.20"), "inH2O", "inH2O")) == "0.20"
    assert convert(Fraction(1, 2), "in", "in") == Decimal("0.5")


def test_temperatures_and_differences_are_built_as_such() -> None:
    assert quantity(Decimal(20), "degC").to("degF").magnitude == pytest.approx(68)
    rise = quantity(Decimal(18), "delta_degF")
    assert (rise * 2).magnitude == 36  # an offset unit would raise here
    assert quantity(Decimal(20), "degC") + rise == quantity(Decimal(30), "degC")  # 18/1.8 = 10


def test_quantities_come_from_one_registry() -> None:
    added = quantity(Decimal(1), "ft") + quantity(Fraction(1, 2), "in")
    assert added.to("inch").magnitude == pytest.approx(12.5)
    assert registry() is registry()


# ---------------------------------------------------------------- writing


@pytest.mark.parametrize(
    ("value", "unit", "decimals", "text"),
    [
        # trade writing: common practice, no source
        (Decimal("0.45"), "inH2O", None, "0.45 in. w.c."),
        (Decimal("-0.20"), "inH2O", None, "-0.20 in. w.c."),
        (Decimal(119), "V", None, "119 V"),
        (Decimal("26.249"), "V", 1, "26.2 V"),
        (Decimal("26.25"), "V", 1, "26.3 V"),
        (Decimal("-26.25"), "V", 1, "-26.3 V"),
        (Decimal("-0.004"), "inH2O", 2, "0.00 in. w.c."),
        (Decimal(24), "V", 1, "24.0 V"),
        (Decimal(1200), "cfm", None, "1200 cfm"),
        (Decimal("1E+3"), "cfm", None, "1000 cfm"),
        (Decimal(75), "degF", None, "75 °F"),
        (Decimal(12), "percent", None, "12%"),
        (Decimal(18), "gauge", None, "18 AWG"),
        (Decimal(3), "count", None, "3"),
        (Fraction(1, 2), "A", None, "0.5 A"),
        (Fraction(2, 3), "A", None, "2/3 A"),
        (Fraction(2, 3), "A", 2, "0.67 A"),
        (Fraction(85, 16), "in", None, "5 5/16 in"),
        (Decimal("5.3125"), "in", None, "5 5/16 in"),
        (Decimal("5.31"), "in", None, "5.31 in"),
        (Fraction(-3, 8), "in", None, "-3/8 in"),
        (Fraction(6), "in", None, "6 in"),
        (Fraction(0), "in", None, "0 in"),
        (Fraction(85, 16), "in", 2, "5.31 in"),
    ],
)
def test_written_as_the_trade_writes(
    value: Exact, unit: str, decimals: int | None, text: str
) -> None:
    assert written(value, unit, decimals) == text


# ---------------------------------------------------------------- saying


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        # trade speech: common practice, no source
        (Decimal(1), "V", "one volt"),
        (Decimal(-1), "degF", "minus one degree"),
        (Decimal("1.0"), "A", "one amp"),
        (Decimal("0.5"), "A", "point five amps"),
        (Decimal(0), "A", "zero amps"),
        (Decimal(60), "ft", "sixty feet"),
        (Decimal(1200), "cfm", "twelve hundred C F M"),
        (Decimal(40), "VA", "forty V A"),
        (Decimal("0.45"), "inH2O", "point four five inches of water"),
        (Decimal(1), "inH2O", "one inch of water"),
        (Fraction(1, 2), "inH2O", "half an inch of water"),
        (Fraction(1, 2), "A", "half an amp"),
        (Fraction(1, 2), "V", "half a volt"),
        (Fraction(5, 2), "ft", "two and a half feet"),
        (Decimal("5.3125"), "in", "five and five sixteenths inches"),
        (Fraction(3, 8), "in", "three eighths of an inch"),
        (Decimal("0.25"), "in", "one quarter of an inch"),
        (Fraction(-1, 2), "in", "minus half an inch"),
        (Decimal("5.31"), "in", "five point three one inches"),
        (Decimal(1), "ft2", "one square foot"),
        (Decimal(18), "gauge", "eighteen gauge"),
        (Decimal(1), "gauge", "one gauge"),
        (Decimal(3), "count", "three"),
        (Fraction(1, 2), "count", "one half"),
        (Decimal(8), "percent", "eight percent"),
        (Decimal(36000), "Btu_h", "thirty six thousand B T U an hour"),
    ],
)
def test_spoken_as_a_colleague_would(value: Exact, unit: str, words: str) -> None:
    assert spoken(value, unit) == words


@pytest.mark.parametrize(
    ("value", "unit", "decimals", "words"),
    [
        # digit by digit: ICAO Doc 9432, chapter 2; the unit behind it: common practice, no source
        (Decimal(119), "V", None, "one one nine volts"),
        (Decimal("26.2"), "V", 1, "two six point two volts"),
        (Decimal("-0.2"), "inH2O", 2, "minus zero point two zero inches of water"),
        (Decimal("0.437"), "inH2O", 2, "zero point four three seven inches of water"),
        (Decimal(1), "V", None, "one volt"),
        (Decimal(1), "V", 1, "one point zero volts"),
        (Decimal(18), "gauge", None, "one eight gauge"),
        (Fraction(107, 8), "in", None, "one three and three eighths inches"),
        (Fraction(5, 16), "in", None, "five sixteenths of an inch"),
        (Fraction(1, 2), "A", 2, "zero point five zero amps"),
    ],
)
def test_read_back_digit_by_digit(
    value: Exact, unit: str, decimals: int | None, words: str
) -> None:
    assert readback(value, unit, decimals) == words


@given(st.sampled_from(WANTED), st.decimals("-999.99", "9999.99", places=2))
def test_what_is_read_back_is_the_value_and_nothing_else(slug: str, value: Decimal) -> None:
    said = readback(value, slug)
    unit = UNITS[slug]
    number = said.removesuffix(unit.many).removesuffix(unit.one).strip()
    assert number == say_digits(value)
    assert parse(number.split()) == value


# ---------------------------------------------------------------- what pint costs


def run(code: str, **env: str) -> str:
    result = subprocess.run(
        [sys.executable, "-W", "error", "-c", code],
        env={**os.environ, **env},
        capture_output=True,
        text=True,
        check=True,
    )
    return result.stdout.strip()


def test_saying_and_writing_never_import_pint() -> None:
    code = (
        "import sys; from decimal import Decimal as D; from companion.quantities import *; "
        "written(D(1), 'V'); spoken(D(1), 'in'); readback(D(1), 'V'); print('pint' in sys.modules)"
    )
    assert run(code) == "False"


FEET = (
    "from decimal import Decimal; from companion.quantities import convert; "
    "print(convert(Decimal(2), 'ft', 'in'))"
)


def test_the_registry_is_kept_in_the_cache_folder(tmp_path: Path) -> None:
    assert run(FEET, XDG_CACHE_HOME=str(tmp_path)) == "24"
    assert list(tmp_path.rglob("*.pickle"))
    assert run(FEET, XDG_CACHE_HOME=str(tmp_path)) == "24"


def test_a_cache_that_cannot_be_written_costs_time_and_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_the_way = tmp_path / "file"
    in_the_way.touch()
    assert run(FEET, XDG_CACHE_HOME=str(in_the_way)) == "24"
    monkeypatch.setenv("XDG_CACHE_HOME", str(in_the_way))
    assert registry.__wrapped__().Quantity(2, "foot").to("inch").magnitude == pytest.approx(24)


def test_a_cache_torn_by_a_power_cut_costs_time_and_nothing_else(tmp_path: Path) -> None:
    run(FEET, XDG_CACHE_HOME=str(tmp_path))
    for kept in tmp_path.rglob("*.pickle"):
        kept.write_bytes(kept.read_bytes()[:100])
    assert run(FEET, XDG_CACHE_HOME=str(tmp_path)) == "24"
