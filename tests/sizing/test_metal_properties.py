"""Conduit, boxes and sheet metal: monotonic, inverse, and the tables against geometry."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.distance import euclidean

from companion.errors import SizingError
from companion.quantities import quantity, registry
from companion.sizing import answer, sizings
from companion.sizing.conduit import mark_spacing
from companion.sizing.model import Amount
from companion.sizing.sheet_metal_layout import diameter_of_wrap, wrap
from companion.sizing.sheet_metal_stock import fall, slope_of
from companion.sizing.tables import table

if TYPE_CHECKING:
    from companion.sizing.model import Said

SIZES = ["1/2", "3/4", "1", "1-1/4", "1-1/2", "2"]


@pytest.fixture(scope="module", autouse=True)
def _units_are_built() -> None:
    """The first quantity builds pint's registry, which takes longer than an example may."""
    registry()


def inches(low: str, high: str) -> st.SearchStrategy[Decimal]:
    return st.decimals(Decimal(low), Decimal(high), places=2, allow_nan=False)


def _size(count: int, gauge: str) -> int:
    said: dict[str, Said] = {"count": Amount(Decimal(count), "count"), "gauge": gauge}
    try:
        return SIZES.index(answer("conduit-fill", said).value)
    except SizingError:
        return len(SIZES)


@given(st.integers(1, 39), st.sampled_from(["14", "12", "10", "8", "6", "4"]))
def test_another_wire_never_takes_a_smaller_conduit(count: int, gauge: str) -> None:
    assert _size(count, gauge) <= _size(count + 1, gauge)


def test_the_most_wires_of_a_conduit_take_no_larger_one() -> None:
    """'How many' and 'what size' are one rule asked from both ends."""
    for gauge in ("14", "12", "10", "8", "6", "4"):
        said: dict[str, Said] = {"gauge": gauge, "size": "1/2", "raceway": "emt"}
        most = int(answer("conduit-fill", said).value)
        assert _size(most, gauge) == 0
        assert _size(most + 1, gauge) > 0


def test_conduit_areas_follow_their_diameters() -> None:
    """π/4 · d²; the table keeps three places."""
    for row in table("raceways").rows:
        area = 3.14159265 / 4 * float(row.exact("diameter_in")) ** 2
        assert float(row.exact("area_in2")) == pytest.approx(area, abs=0.0006)


def test_a_box_holds_as_many_wires_as_its_table_prints() -> None:
    """14, 12 and 10 AWG in each box, NFPA 70-2023 table 314.16(A): the printed counts."""
    printed = {
        "4x1-1/4 round": (6, 5, 5),
        "4x1-1/2 round": (7, 6, 6),
        "4x2-1/8 round": (10, 9, 8),
        "4x1-1/4 square": (9, 8, 7),
        "4x1-1/2 square": (10, 9, 8),
        "4x2-1/8 square": (15, 13, 12),
        "4-11/16x1-1/2 square": (14, 13, 11),
        "4-11/16x2-1/8 square": (21, 18, 16),
        "3x2x2 device": (5, 4, 4),
        "3x2x2-1/2 device": (6, 5, 5),
        "3x2x2-3/4 device": (7, 6, 5),
        "3x2x3-1/2 device": (9, 8, 7),
    }
    wires = table("box-wires")
    takes = [Fraction(wires.row("gauge", each).exact("volume_in3")) for each in ("14", "12", "10")]
    for row in table("boxes").rows:
        held = tuple(int(Fraction(row.exact("volume_in3")) / wire) for wire in takes)
        assert held == printed[row.text("box")]


@pytest.mark.parametrize(
    ("slug", "name", "rows", "column"),
    [
        ("conduit-fill", "gauge", "thhn-wires", "gauge"),
        ("conduit-fill", "raceway", "raceways", "raceway"),
        ("conduit-fill", "size", "raceways", "trade_size"),
        ("box-fill", "gauge", "box-wires", "gauge"),
        ("box-fill", "box", "boxes", "box"),
        ("sheet-gauge", "gauge", "galvanized-sheet", "gauge"),
    ],
)
def test_what_may_be_chosen_is_in_the_table(slug: str, name: str, rows: str, column: str) -> None:
    options = {option.value for option in sizings()[slug].input(name).options}
    assert options == {row.text(column) for row in table(rows).rows}


@given(inches("0.5", "24"), inches("10", "60"))
def test_marks_and_rise_undo_each_other(rise: Decimal, degrees: Decimal) -> None:
    """The bend turned into complex numbers: the slanted piece has the offset as its height."""
    apart = mark_spacing(quantity(rise, "in"), quantity(degrees, "deg")).to("inch").magnitude
    turned = apart * (-1 + 0j) ** (float(degrees) / 180)
    assert turned.imag == pytest.approx(float(rise), rel=1e-9)


@given(inches("1", "120"), inches("1", "120"))
def test_the_diagonal_agrees_with_scipy(width: Decimal, height: Decimal) -> None:
    """Scipy 1.17's distance of two opposite corners."""
    found = answer("square-check", {"width": Amount(width, "in"), "height": Amount(height, "in")})
    expected = euclidean((0, 0), (float(width), float(height)))
    assert float(found.value) == pytest.approx(expected, rel=1e-5)


@given(inches("3", "30"))
def test_wrap_and_diameter_undo_each_other(diameter: Decimal) -> None:
    pipe = quantity(diameter, "in")
    around = wrap(pipe, quantity(Decimal(0), "in"))
    assert diameter_of_wrap(around).magnitude == pytest.approx(float(diameter), rel=1e-9)


@given(inches("5", "30"), st.integers(1, 100))
def test_the_radius_comes_back_from_flat_and_gap(diameter: Decimal, percent: int) -> None:
    """R = w² / 8s + s / 2, the sagitta turned round."""
    flat = max(Decimal(1), diameter * percent / 100)
    found = answer("saddle-gap", {"diameter": Amount(diameter, "in"), "width": Amount(flat, "in")})
    gap, width = float(found.value), float(flat)
    assert width**2 / (8 * gap) + gap / 2 == pytest.approx(float(diameter) / 2, rel=1e-3)


@given(inches("2", "300"), inches("1", "12"))
def test_screws_are_never_further_apart_than_said(length: Decimal, spacing: Decimal) -> None:
    found = answer(
        "screw-spacing", {"length": Amount(length, "in"), "spacing": Amount(spacing, "in")}
    )
    gaps = int(found.value) - 1
    assert length / gaps <= spacing
    assert gaps == 1 or length / (gaps - 1) > spacing


@given(inches("0.5", "60"), inches("0.13", "0.5"))
def test_fall_and_slope_undo_each_other(run: Decimal, slope: Decimal) -> None:
    length = quantity(run, "ft")
    drop = fall(length, quantity(slope, "in"))
    assert slope_of(length, drop).magnitude == pytest.approx(float(slope), rel=1e-9)


@given(inches("0.5", "40"), inches("0.5", "40"))
def test_what_blocks_more_is_never_said_to_block_less(width: Decimal, wider: Decimal) -> None:
    width, wider = sorted((width, wider))

    def blocked(side: Decimal) -> Decimal:
        said: dict[str, Said] = {
            "insert-width": Amount(side, "in"),
            "insert-height": Amount(Decimal(4), "in"),
            "width": Amount(Decimal(40), "in"),
            "height": Amount(Decimal(20), "in"),
        }
        return Decimal(answer("duct-blockage", said).value)

    assert blocked(width) <= blocked(wider)
