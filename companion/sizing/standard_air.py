"""Air as the trade reckons with it: standard density, thinner with height, and its speed."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from companion.quantities import quantity, registry
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from companion.quantities import Quantity

_DENSITY = "pound / foot ** 3"


def standard_density() -> Quantity:
    """Return the density of standard air. Source: ASHRAE Fundamentals, 0.075 lb/ft³."""
    built = registry()
    return built.Quantity(float(figure("standard-air-density")), built.Unit(_DENSITY))


def pressure_at(elevation: Quantity) -> Quantity:
    """Return the pressure of the standard atmosphere, 0 to 10,000 ft.

    Source: US Standard Atmosphere 1976, lowest layer; as in ASHRAE Fundamentals.
    """
    feet = elevation.to("foot").magnitude
    share = 1 - float(figure("atmosphere-lapse")) * feet
    found: Quantity = quantity(figure("standard-pressure"), "psi") * share ** float(
        figure("atmosphere-exponent")
    )
    return found


def density_at(elevation: Quantity, temperature: Quantity) -> Quantity:
    """Return the density of dry air: standard air's, by pressure and absolute temperature.

    Source: ideal gas. Checked by tests/golden/sizing/air-at-elevation.toml.
    """
    standard_temperature = quantity(figure("standard-air-temperature"), "degF").to("kelvin")
    pressures = (pressure_at(elevation) / quantity(figure("standard-pressure"), "psi")).to(
        "dimensionless"
    )
    found: Quantity = (
        standard_density() * pressures * (standard_temperature / temperature.to("kelvin"))
    )
    return found.to(_DENSITY)


def speed_of(pressure: Quantity, density: Quantity) -> Quantity:
    """Return the speed of air from its velocity pressure.

    Source: ASHRAE Fundamentals, V = 1096.7 · √(VP / density), in fpm, in. w.c. and lb/ft³.
    """
    inches = pressure.to("inH2O").magnitude
    per_ft3 = density.to(_DENSITY).magnitude
    built = registry()
    fpm = float(figure("velocity-pressure-factor")) * math.sqrt(inches / per_ft3)
    return built.Quantity(fpm, built.Unit("foot / minute"))


def velocity_pressure(speed: Quantity, density: Quantity) -> Quantity:
    """Return the velocity pressure of a speed: the inverse of `speed_of`."""
    ratio = speed.to("foot / minute").magnitude / float(figure("velocity-pressure-factor"))
    built = registry()
    return built.Quantity(ratio**2 * density.to(_DENSITY).magnitude, built.Unit("inH2O"))
