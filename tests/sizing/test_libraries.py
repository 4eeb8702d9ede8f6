"""The formulas against libraries that know them independently."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pint
import psychrolib
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from golden_cases import measure
from hypothesis import given
from hypothesis import strategies as st

from companion.sizing import answer
from companion.sizing.model import Amount

SEA_LEVEL_PA = ATMOSPHERE_1976(0.0).P
UNITS: pint.UnitRegistry[Any] = pint.UnitRegistry()


def _celsius(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8


@given(st.integers(50, 3000), st.integers(60, 80), st.integers(50, 3000), st.integers(-20, 110))
def test_mixed_air_agrees_with_psychrolib(
    return_cfm: int, return_f: int, outside_cfm: int, outside_f: int
) -> None:
    """Enthalpy and humidity mixed by dry mass, 30 % and 70 % relative humidity, psychrolib 2.5.

    The sizing takes dry air; moisture moves the mix by up to 0.11 °F over these streams.
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    streams = [(return_cfm, _celsius(return_f), 0.3), (outside_cfm, _celsius(outside_f), 0.7)]
    mass = enthalpy = water = 0.0
    for cfm, celsius, humidity in streams:
        ratio = psychrolib.GetHumRatioFromRelHum(celsius, humidity, SEA_LEVEL_PA)
        dry = cfm / psychrolib.GetMoistAirVolume(celsius, ratio, SEA_LEVEL_PA)
        mass += dry
        water += dry * ratio
        enthalpy += dry * psychrolib.GetMoistAirEnthalpy(celsius, ratio)
    expected = psychrolib.GetTDryBulbFromEnthalpyAndHumRatio(enthalpy / mass, water / mass)
    found = answer(
        "mixed-air",
        {
            "return-flow": Amount(Decimal(return_cfm), "cfm"),
            "return-temperature": Amount(Decimal(return_f), "degF"),
            "outside": Amount(Decimal(outside_cfm), "cfm"),
            "outside-temperature": Amount(Decimal(outside_f), "degF"),
        },
    )
    assert float(found.value) == pytest.approx(expected * 1.8 + 32, abs=0.15)


def test_the_worked_mix_agrees_with_psychrolib() -> None:
    """800 cfm at 70 °F and 200 cfm at 10 °F, dry, densities by psychrolib 2.5 at sea level."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    warm, cold = (
        cfm * psychrolib.GetDryAirDensity(_celsius(f), SEA_LEVEL_PA)
        for cfm, f in ((800, 70), (200, 10))
    )
    given_ = {
        "return-flow": measure("800 cfm"),
        "return-temperature": measure("70 degF"),
        "outside": measure("200 cfm"),
        "outside-temperature": measure("10 degF"),
    }
    expected = (warm * 70 + cold * 10) / (warm + cold)
    assert float(answer("mixed-air", given_).value) == pytest.approx(expected, abs=0.001)


@given(st.integers(10, 4000), st.integers(3, 60))
def test_flow_agrees_with_units_alone(fpm: int, inches: int) -> None:
    """pint's own arithmetic in a registry of its own, in SI."""
    speed = (fpm * UNITS.foot / UNITS.minute).to("meter / second")
    radius = (inches * UNITS.inch / 2).to("meter")
    expected = (speed * 3.141592653589793 * radius**2).to("foot ** 3 / minute").magnitude
    found = answer(
        "duct-airflow",
        {"air": Amount(Decimal(fpm), "fpm"), "diameter": Amount(Decimal(inches), "in")},
    )
    assert float(found.value) == pytest.approx(expected, rel=1e-5)
