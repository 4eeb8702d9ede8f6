"""Moist air as psychrolib finds it, against other equations and printed tables."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from companion.quantities import quantity
from companion.sizing import humidity
from companion.sizing.rounding import magnitude

if TYPE_CHECKING:
    from companion.quantities import Quantity

_BULBS = [(40, 36), (60, 50), (80, 60), (80, 67), (80, 78), (100, 67), (100, 78), (110, 78)]
_HUMID = [(dry, percent) for dry in (0, 30, 55, 75, 95) for percent in (10, 50, 90)]


def _f(degrees: float) -> Quantity:
    return quantity(Decimal(str(degrees)), "degF")


def _percent(share: float) -> Quantity:
    return quantity(Decimal(str(share)), "percent")


def _sea_level() -> Quantity:
    return humidity.air_pressure(quantity(Decimal(0), "ft"))


@pytest.mark.parametrize(
    ("fahrenheit", "psi"),
    [
        # IAPWS-97 by iapws 1.5.5, psia
        (55, "0.2141"),
        (70, "0.3633"),
    ],
)
def test_saturation_is_the_steam_tables(fahrenheit: int, psi: str) -> None:
    found = magnitude(humidity.saturation_pressure(_f(fahrenheit)), "psi")
    assert float(found) == pytest.approx(float(psi), abs=0.0001)


@pytest.mark.parametrize(
    ("feet", "pascals"),
    # U.S. Standard Atmosphere 1976 by fluids 1.3.1
    [(0, 101325), (5000, 84307), (10000, 69682)],
)
def test_pressure_falls_as_in_the_standard_atmosphere(feet: int, pascals: int) -> None:
    found = humidity.air_pressure(quantity(Decimal(feet), "ft"))
    assert float(found.to("pascal").magnitude) == pytest.approx(pascals, rel=0.0005)


def test_no_air_has_a_wet_bulb_over_its_dry_bulb_or_one_too_cold_for_dry_air() -> None:
    """Dry air of 100 °F has a wet bulb of 57 °F (CoolProp 8.0.0)."""
    assert humidity.by_wet_bulb(_f(70), _f(70.1), _sea_level()) is None
    assert humidity.by_wet_bulb(_f(100), _f(50), _sea_level()) is None
    assert humidity.by_wet_bulb(_f(100), _f(60), _sea_level()) is not None


def test_other_users_of_the_library_do_not_change_what_it_finds() -> None:
    import psychrolib  # noqa: PLC0415 - its unit system is what this sets

    before = magnitude(humidity.saturation_pressure(_f(70)), "psi")
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert magnitude(humidity.saturation_pressure(_f(70)), "psi") == before


def test_the_library_is_not_loaded_before_it_is_needed() -> None:
    look = "import sys, companion.sizing as s; s.sizings(); print('psychrolib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", look], capture_output=True, text=True, check=True)
    assert done.stdout == "False\n"


# ---------------------------------------------------------------- beside another library

REASON = "CoolProp of the extra 'test' is not installed"


def _real(wanted: str, dry_f: float, name: str, value: float) -> float:
    """Return a property of real moist air at sea level, by CoolProp's virial equations, in SI."""
    air = pytest.importorskip("CoolProp.HumidAirProp", reason=REASON)
    return float(air.HAPropsSI(wanted, "T", _kelvin(dry_f), name, value, "P", 101325.0))


def _kelvin(fahrenheit: float) -> float:
    return (fahrenheit - 32) / 1.8 + 273.15


def _btu_lb(joules_a_kilogram: float) -> float:
    """Return an enthalpy above that of dry air of 0 °F."""
    return (joules_a_kilogram - _real("H", 0, "W", 0.0)) / 2326


@pytest.mark.parametrize(("dry", "wet"), _BULBS)
def test_wet_bulbs_agree_with_real_air(dry: int, wet: int) -> None:
    """Real air beside perfect gas: within 0.8 percent of its water, 0.2 of 100 % humidity."""
    air = humidity.by_wet_bulb(_f(dry), _f(wet), _sea_level())
    assert air is not None
    real = _real("W", dry, "B", _kelvin(wet)) * 7000
    assert float(magnitude(air.moisture, "gr_lb")) == pytest.approx(real, rel=0.008)
    share = _real("R", dry, "B", _kelvin(wet)) * 100
    assert float(magnitude(air.relative_humidity(), "percent")) == pytest.approx(share, abs=0.2)


@pytest.mark.parametrize(("dry", "percent"), _HUMID)
def test_humidities_agree_with_real_air(dry: int, percent: int) -> None:
    """Within 0.7 percent of the water, 0.05 °F of the dew point, 0.3 Btu/lb."""
    air = humidity.by_relative_humidity(_f(dry), _percent(percent), _sea_level())
    share = percent / 100
    real = _real("W", dry, "R", share) * 7000
    assert float(magnitude(air.moisture, "gr_lb")) == pytest.approx(real, rel=0.007)
    dew = _real("D", dry, "R", share) * 1.8 - 459.67
    assert float(magnitude(air.dew_point(), "degF")) == pytest.approx(dew, abs=0.05)
    heat = _btu_lb(_real("H", dry, "R", share))
    assert float(magnitude(air.enthalpy(), "Btu_lb")) == pytest.approx(heat, abs=0.3)
