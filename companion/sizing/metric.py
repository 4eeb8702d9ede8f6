"""Results in metric, as spoken. Units that only metric needs are named here, by pint's names."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion import quantities
from companion.numbers import say
from companion.sizing.rounding import to_step

if TYPE_CHECKING:
    from companion.ports import Exact
    from companion.quantities import Quantity

_WORDS = {
    "meter": "meters",
    "millimeter": "millimeters",
    "liter / second": "liters a second",
    "meter / second": "meters a second",
    "pascal": "pascals",
    "meter ** 2": "square meters",
    "millimeter ** 2": "square millimeters",
    "centimeter ** 3": "cubic centimeters",
    "kilogram": "kilograms",
    "pascal / meter": "pascals a meter",
    "kilogram / meter ** 3": "kilograms a cubic meter",
    "degC": "degrees Celsius",
    "delta_degC": "degrees Celsius",
    "kilowatt": "kilowatts",
    "gram / kilogram": "grams a kilogram",
    "kilojoule / kilogram": "kilojoules a kilogram",
    "liter / hour": "liters an hour",
    "liter / day": "liters a day",
}


def in_metric(found: Quantity, unit: str, step: str) -> str:
    """Return a quantity in a metric unit, spoken: 'eighteen point three meters'.

    Args:
        found: any quantity of the unit's dimension.
        unit: one of pint's names: 'meter', 'millimeter', 'liter / second', ...
        step: the step it is rounded to.
    """
    figure = found.to(quantities.registry().Unit(unit)).magnitude
    return f"{say(to_step(Decimal(f'{figure:.9g}'), step))} {_WORDS[unit]}"


def copper_area(area_mm2: Exact) -> str:
    """Return a conductor's cross-section, spoken: 'point eight two square millimeters'."""
    return f"{say(to_step(area_mm2, '0.01'))} square millimeters"
