"""What a round duct loses to friction: Darcy's equation with Colebrook's friction factor."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

from companion.quantities import quantity, registry
from companion.sizing.standard_air import standard_density
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from companion.quantities import Quantity

LEAST_REYNOLDS = 4000  # below it the flow is not surely turbulent, and Colebrook does not hold
_ROUNDS = 40  # each gains more than a digit
_HALVINGS = 60
_NARROWEST_M, _WIDEST_M = 0.02, 3.0


def reynolds(flow: Quantity, diameter: Quantity) -> float:
    """Return the Reynolds number of standard air in a round duct. Source: definition."""
    return _reynolds(_si(flow, "meter ** 3 / second"), _si(diameter, "meter"))


def friction_rate(flow: Quantity, diameter: Quantity, surface: str) -> Quantity:
    """Return the pressure lost per length of round duct, standard air.

    Args:
        flow: turbulent flow, see `reynolds`.
        diameter: inside.
        surface: a row of the table duct-roughness.

    Source: Darcy and Colebrook, ASHRAE Fundamentals, duct design. Checked by
    tests/golden/sizing/duct-friction.toml.
    """
    built = registry()
    pascals = _rate(_si(flow, "meter ** 3 / second"), _si(diameter, "meter"), _roughness_m(surface))
    return built.Quantity(pascals, built.Unit("pascal / meter"))


def diameter_for(flow: Quantity, rate: Quantity, surface: str) -> Quantity:
    """Return the diameter at which a flow loses `rate`: the inverse of `friction_rate`."""
    flow_m3_s, rough = _si(flow, "meter ** 3 / second"), _roughness_m(surface)
    wanted = _si(rate, "pascal / meter")
    narrow, wide = _NARROWEST_M, _WIDEST_M
    for _ in range(_HALVINGS):
        middle = (narrow + wide) / 2
        if _rate(flow_m3_s, middle, rough) > wanted:
            narrow = middle
        else:
            wide = middle
    built = registry()
    found: Quantity = built.Quantity(wide, built.Unit("meter")).to("inch")
    return found


def _si(found: Quantity, unit: str) -> float:
    return float(found.to(registry().Unit(unit)).magnitude)


@cache
def _density() -> float:
    return _si(standard_density(), "kilogram / meter ** 3")


@cache
def _roughness_m(surface: str) -> float:
    row = table("duct-roughness").row("surface", surface)
    return _si(quantity(row.exact("roughness_ft"), "ft"), "meter")


def _reynolds(flow_m3_s: float, diameter_m: float) -> float:
    speed = 4 * flow_m3_s / (math.pi * diameter_m**2)
    return _density() * speed * diameter_m / float(figure("standard-air-viscosity"))


def _rate(flow_m3_s: float, diameter_m: float, roughness_m: float) -> float:
    speed = 4 * flow_m3_s / (math.pi * diameter_m**2)
    factor = _colebrook(_reynolds(flow_m3_s, diameter_m), roughness_m / diameter_m)
    return factor * _density() * speed**2 / (2 * diameter_m)


def _colebrook(number: float, relative: float) -> float:
    """Return Darcy's friction factor, by putting the equation into itself until it settles."""
    root = 7.0  # of one over the factor, somewhere in the middle
    for _ in range(_ROUNDS):
        root = -2 * math.log10(relative / 3.7 + 2.51 * root / number)
    return float(1 / root**2)
