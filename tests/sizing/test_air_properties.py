"""Air and ducts: what must hold for any inputs, and libraries that know it independently."""

from __future__ import annotations

from decimal import Decimal
from math import sqrt
from typing import Any

import pint
import psychrolib
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from fluids.friction import Colebrook
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from companion.errors import SizingError
from companion.sizing import answer
from companion.sizing.model import Amount, Answer
from companion.sizing.tables import figure, table

UNITS: pint.UnitRegistry[Any] = pint.UnitRegistry()
SEVENTY_K = UNITS.Quantity(70, "degF").to("kelvin").magnitude
# No deadline: the first call builds the unit registry.
patiently = settings(deadline=None, max_examples=50)
SURFACES = [row.text("surface") for row in table("duct-roughness").rows]


def of(number: float | str, unit: str) -> Amount:
    return Amount(Decimal(str(number)), unit)


def answered(slug: str, **said: Amount | str) -> Answer | None:
    try:
        return answer(slug, said)
    except SizingError:
        return None


def value(slug: str, **said: Amount | str) -> float:
    return float(answer(slug, said).value)


# ---------------------------------------------------------------- against libraries


@patiently
@given(st.integers(20, 5000), st.integers(4, 30), st.sampled_from(SURFACES))
def test_friction_agrees_with_fluids(cfm: int, inches: int, surface: str) -> None:
    """fluids 1.3: its own exact Colebrook; viscosity at 70 °F by its standard atmosphere."""
    found = answered(
        "duct-friction", flow=of(cfm, "cfm"), diameter=of(inches, "in"), surface=surface
    )
    assume(found is not None)
    assert found is not None
    density = (0.075 * UNITS.pound / UNITS.foot**3).to("kilogram / meter ** 3").magnitude
    viscosity = ATMOSPHERE_1976.viscosity(SEVENTY_K)
    diameter = inches * 0.0254
    speed = cfm * 0.3048**3 / 60 / (3.141592653589793 * diameter**2 / 4)
    rough = float(table("duct-roughness").row("surface", surface).exact("roughness_ft")) * 0.3048
    factor = Colebrook(density * speed * diameter / viscosity, rough / diameter)
    pascals = factor * density * speed**2 / 2 / diameter * 30.48
    assert float(found.value) == pytest.approx(pascals / 249.0889, rel=0.002)


def test_the_viscosity_is_the_standard_atmospheres() -> None:
    expected = ATMOSPHERE_1976.viscosity(SEVENTY_K)
    assert float(figure("standard-air-viscosity")) == pytest.approx(expected, rel=0.002)


@patiently
@given(st.integers(0, 10000), st.integers(-40, 140))
def test_density_agrees_with_two_libraries(feet: int, fahrenheit: int) -> None:
    """Pressure by fluids 1.3, density by psychrolib 2.5; the trade's 0.075 is a rounded figure."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    pressure = ATMOSPHERE_1976(feet * 0.3048).P
    celsius = (fahrenheit - 32) / 1.8
    expected = psychrolib.GetDryAirDensity(celsius, pressure) / 16.018463
    found = value("air-at-elevation", elevation=of(feet, "ft"), temperature=of(fahrenheit, "degF"))
    assert found == pytest.approx(expected, rel=0.002)


@patiently
@given(st.integers(1, 200))
def test_velocity_pressure_agrees_with_bernoulli(hundredths: int) -> None:
    """√(2 Δp / ρ) in SI; 1096.7 rests on a slightly lighter inch of water, a thousandth."""
    pressure = hundredths / 100
    expected = sqrt(2 * pressure * 249.0889 / 1.20138) / 0.3048 * 60
    found = value("velocity-pressure", pressure=of(pressure, "inH2O"))
    assert found == pytest.approx(expected, rel=0.0015)


# ---------------------------------------------------------------- inverse pairs


@patiently
@given(st.integers(20, 3000), st.sampled_from(["0.05", "0.08", "0.1", "0.15", "0.2"]))
def test_the_size_that_is_answered_keeps_the_friction(cfm: int, rate: str) -> None:
    flow = of(cfm, "cfm")
    found = answered("round-duct-size", flow=flow, friction=of(rate, "inH2O"))
    assume(found is not None)
    assert found is not None
    least = Decimal(found.value)
    size = max(-int(-least), 4) if least == int(least) else max(int(least) + 1, 4)
    assert value("duct-friction", flow=flow, diameter=of(size, "in")) <= float(rate) * 1.00001
    if least >= 4:
        there = value("duct-friction", flow=flow, diameter=Amount(least, "in"))
        assert there == pytest.approx(float(rate), rel=1e-4)


@patiently
@given(st.integers(4, 24), st.integers(4, 24))
def test_the_width_that_is_answered_equals_the_round(depth: int, diameter: int) -> None:
    found = answered("rectangular-width", depth=of(depth, "in"), diameter=of(diameter, "in"))
    assume(found is not None)
    assert found is not None
    width = Decimal(found.value)
    assume(width >= 2)
    back = value("round-equivalent", width=Amount(width, "in"), depth=of(depth, "in"))
    assert back == pytest.approx(diameter, rel=1e-4)


@patiently
@given(st.integers(100, 3000), st.integers(100, 3000), st.integers(10, 60))
def test_static_at_another_flow_and_back_is_where_it_was(
    one: int, other: int, hundredths: int
) -> None:
    static = of(hundredths / 100, "inH2O")
    there = answer(
        "static-at-flow", {"static": static, "from": of(one, "cfm"), "to": of(other, "cfm")}
    )
    assume(Decimal("0.005") <= Decimal(there.value) <= 2)
    back = answer(
        "static-at-flow",
        {
            "static": Amount(Decimal(there.value), "inH2O"),
            "from": of(other, "cfm"),
            "to": of(one, "cfm"),
        },
    )
    assert float(back.value) == pytest.approx(hundredths / 100, rel=1e-4)


@patiently
@given(st.integers(5, 50), st.integers(10, 150), st.integers(200, 3000))
def test_the_flow_left_takes_the_old_static_again(added: int, static: int, cfm: int) -> None:
    """The whole duct, at the flow that is left, takes the fan's pressure as it was."""
    left = value(
        "added-drop",
        added=of(added / 100, "inH2O"),
        static=of(static / 100, "inH2O"),
        flow=of(cfm, "cfm"),
    )
    assume(left >= 100)
    whole = (added + static) / 100
    assert whole * (left / cfm) ** 2 == pytest.approx(static / 100, rel=1e-4)
    assert left < cfm


@patiently
@given(st.integers(2, 100), st.integers(4, 30), st.integers(300, 2000))
def test_a_fittings_feet_of_duct_lose_what_the_fitting_does(
    hundredths: int, inches: int, fpm: int
) -> None:
    said = {"diameter": of(inches, "in"), "coefficient": of(hundredths / 100, "count")}
    found = answered("fitting-length", **said, air=of(fpm, "fpm"))
    assume(found is not None)
    assert found is not None
    lost = value("fitting-loss", coefficient=said["coefficient"], speed=of(fpm, "fpm"))
    cfm = value("duct-airflow", air=of(fpm, "fpm"), diameter=said["diameter"])
    assume(20 <= cfm <= 5000)
    hundred = value("duct-friction", flow=of(cfm, "cfm"), diameter=said["diameter"])
    assert float(found.value) * hundred / 100 == pytest.approx(lost, rel=1e-3)


# ---------------------------------------------------------------- monotonic and safe


@patiently
@given(st.integers(50, 3000), st.integers(50, 3000), st.sampled_from(["0.05", "0.1", "0.2"]))
def test_more_air_never_takes_a_smaller_duct(one: int, other: int, rate: str) -> None:
    small, large = sorted((one, other))
    sizes = [
        answered("round-duct-size", flow=of(cfm, "cfm"), friction=of(rate, "inH2O"))
        for cfm in (small, large)
    ]
    assume(all(sizes))
    assert float(sizes[0].value) <= float(sizes[1].value)  # type: ignore[union-attr]


@patiently
@given(st.lists(st.integers(100, 3000), min_size=1, max_size=10))
def test_an_average_lies_inside_and_under_that_of_the_pressures(speeds: list[int]) -> None:
    """Averaging velocity pressures instead gives the root mean square, which is never lower."""
    found = float(answer("traverse-average", {"speeds": tuple(of(s, "fpm") for s in speeds)}).value)
    assert min(speeds) - 0.01 <= found <= max(speeds) + 0.01
    assert found <= sqrt(sum(s * s for s in speeds) / len(speeds)) + 0.01


@patiently
@given(st.integers(2, 100), st.integers(-200, 200))
def test_a_switch_is_said_to_be_fine_only_with_half_as_much_again(
    setting: int, across: int
) -> None:
    found = answer(
        "air-switch-margin",
        {"setting": of(setting / 100, "inH2O"), "differential": of(across / 100, "inH2O")},
    )
    assert found.over_limit == (2 * across < 3 * setting)


@patiently
@given(st.integers(2, 100))
def test_the_differential_asked_for_is_enough(setting: int) -> None:
    wanted = answer("air-switch-least", {"setting": of(setting / 100, "inH2O")})
    found = answer(
        "air-switch-margin",
        {
            "setting": of(setting / 100, "inH2O"),
            "differential": Amount(Decimal(wanted.value), "inH2O"),
        },
    )
    assert not found.over_limit


@patiently
@given(st.integers(100, 3000), st.integers(100, 500))
def test_the_filter_that_is_answered_keeps_the_speed(cfm: int, limit: int) -> None:
    area = value("filter-area", air=of(cfm, "cfm"), limit=of(limit, "fpm"))
    assert cfm / area == pytest.approx(limit, rel=1e-4)
