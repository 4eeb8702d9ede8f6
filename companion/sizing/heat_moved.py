"""Heat that moving air takes along: sensible by temperatures, total by wet bulbs."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion import quantities
from companion.numbers import say
from companion.quantities import quantity
from companion.sizing.heat import (
    ELEVATION,
    GROUP,
    SENSIBLE_SOURCE,
    factor_written,
    sensible_factor,
    spoken_btu,
)
from companion.sizing.humidity import air_pressure, by_relative_humidity, by_wet_bulb
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from companion.quantities import Quantity
    from companion.sizing.humidity import MoistAir

FLOW = Input(
    name="flow",
    spoken="flow",
    ask="How many C F M?",
    ranges=(Range("100", "3000", "cfm"),),
)
_SATURATED = Decimal(100)


def sensible_heat(flow: Quantity, difference: Quantity, elevation: Quantity) -> Quantity:
    """Return the heat that a flow carries by a difference in temperature.

    Source: sensible heat of standard air. Checked by tests/golden/sizing/sensible-heat.toml; the
    inverse of `companion.sizing.heat.sensible_flow`.
    """
    heat: Quantity = (sensible_factor(elevation) * flow * difference).to("Btu / hour")
    return heat


def _tons(heat: Quantity) -> str:
    tons = to_step(magnitude(heat, "ton"), "0.1")
    return f"{say(tons)} {'ton' if tons == 1 else 'tons'}"


def _work_out_sensible(given: Given) -> Result:
    elevation = given.quantity("elevation")
    heat = sensible_heat(given.quantity("flow"), given.quantity("difference"), elevation)
    btu = magnitude(heat, "Btu_h")
    return Result(
        lead=f"{spoken_btu(btu)} sensible, {_tons(heat)}",
        value=plain(btu),
        unit="Btu_h",
        working=(
            (
                f"{factor_written(elevation)} · {given.amount('flow').written()} · "
                f"{given.amount('difference').written()} = {plain(btu)} Btu/h"
            ),
        ),
        why="One point oh eight times flow times difference, less in thin air.",
        metric=f"{in_metric(heat, 'kilowatt', '0.1')}.",
    )


SENSIBLE_HEAT = Sizing(
    slug="sensible-heat",
    title="Sensible heat moved by the air",
    group=GROUP,
    example="twelve hundred c f m, eighteen degree split, how many b t u",
    formula="heat = 1.08 · flow · difference",
    inputs=(
        FLOW,
        Input(
            name="difference",
            spoken="split",
            ask="How many degrees of split?",
            ranges=(Range("1", "120", "delta_degF"),),
            heard="{} split",
        ),
        ELEVATION,
    ),
    work=_work_out_sensible,
    sources=(SENSIBLE_SOURCE, "thinner air: standard atmosphere, psychrolib"),
    assumption="sensible heat alone",
    caution="Moisture comes on top. Size no equipment from one reading.",
)


# ---------------------------------------------------------------- total


def total_heat(flow: Quantity, warm: MoistAir, cool: MoistAir) -> Quantity:
    """Return the heat between two states of the air that flows, its moisture with it.

    Source: 4.5 lb/h for each cfm of standard air; enthalpies by psychrolib. Checked by
    tests/golden/sizing/total-cooling.toml.
    """
    heat: Quantity = (air_weight(flow) * (warm.enthalpy() - cool.enthalpy())).to("Btu / hour")
    return heat


def air_weight(flow: Quantity) -> Quantity:
    """Return the weight of standard air that flows. Source: 4.5 = 0.075 lb/ft³ · 60 min/h."""
    per_flow = quantities.registry().Unit("pound / hour / (foot ** 3 / minute)")
    weight: Quantity = flow * quantities.registry().Quantity(
        float(figure("enthalpy-factor")), per_flow
    )
    return weight


def sea_level() -> Quantity:
    """Return the pressure of the standard atmosphere at sea level."""
    return air_pressure(quantity(Decimal(0), "ft"))


def coil_air(given: Given, side: str) -> MoistAir:
    """Return the air of one side of a coil by its bulbs, saturated where no dry bulb is known.

    Raises:
        SizingError: no air has such bulbs.
    """
    wet = given.quantity(f"{side}-wet-bulb")
    if not given.has(f"{side}-dry-bulb"):
        return by_relative_humidity(wet, quantity(_SATURATED, "percent"), sea_level())
    air = by_wet_bulb(given.quantity(f"{side}-dry-bulb"), wet, sea_level())
    if air is None:
        raise no_such_air(side)
    return air


def no_such_air(side: str = "") -> Exception:
    """Return the refusal for a dry and a wet bulb that go with no air."""
    where = f"{side} " if side else ""
    return refusal(
        f"No air has that {where}dry and wet bulb",
        "The wet bulb is at most as warm as the dry bulb, and not much colder. Read both again.",
        f"Those {where}bulbs don't fit each other. Read both again.",
    )


def _work_out_total(given: Given) -> Result:
    warm, cool = coil_air(given, "return"), coil_air(given, "supply")
    heat = total_heat(given.quantity("flow"), warm, cool)
    btu = magnitude(heat, "Btu_h")
    if btu <= 0:
        raise refusal(
            "The supply holds as much heat as the return",
            "Check the wet bulbs.",
            "Supply must hold less heat than return. Check the bulbs.",
        )
    rated = to_step(btu, "500")
    by_wet = not (given.has("return-dry-bulb") and given.has("supply-dry-bulb"))
    enthalpies = [plain(to_step(magnitude(a.enthalpy(), "Btu_lb"), "0.01")) for a in (warm, cool)]
    return Result(
        lead=f"{spoken_btu(rated)} in all, {_tons(heat)}",
        value=plain(btu),
        unit="Btu_h",
        working=(
            f"Return {enthalpies[0]} Btu/lb, supply {enthalpies[1]} Btu/lb",
            f"4.5 · {given.amount('flow').written()} · difference = {plain(btu)} Btu/h",
        ),
        why=f"Four and a half times flow, times {say(Decimal(enthalpies[0]))} less "
        f"{say(Decimal(enthalpies[1]))}.",
        metric=f"{in_metric(heat, 'kilowatt', '0.1')}.",
        assumption="By wet bulbs alone it reads a percent or two high." if by_wet else "",
    )


def _wet(side: str, low: str, high: str) -> Input:
    return Input(
        name=f"{side}-wet-bulb",
        spoken=f"{side} wet bulb",
        ask=f"What is the {side}'s wet bulb?",
        ranges=(Range(low, high, "degF"),),
        heard=f"{side} wet {{number}}",
    )


def _dry(side: str) -> Input:
    return Input(
        name=f"{side}-dry-bulb",
        spoken=f"{side} dry bulb",
        ranges=(Range("40", "110", "degF"),),
        heard=f"{side} dry {{number}}",
        needed=never,
    )


TOTAL_COOLING = Sizing(
    slug="total-cooling",
    title="Total cooling from wet bulbs",
    group=GROUP,
    example="sixty seven wet bulb in, fifty six out, eleven hundred c f m, tons",
    formula="heat = 4.5 · flow · (return enthalpy - supply enthalpy)",
    inputs=(
        _dry("return"),
        _wet("return", "50", "80"),
        _dry("supply"),
        _wet("supply", "35", "75"),
        FLOW,
    ),
    work=_work_out_total,
    sources=(
        "4.5 = 0.075 lb/ft³ · 60 min/h, standard air",
        "enthalpy: psychrolib, ASHRAE Handbook Fundamentals chapter 1",
    ),
    assumption="sea level, standard air",
    caution="Good to ten percent at best. Use two probes, well placed.",
)

SIZINGS = (SENSIBLE_HEAT, TOTAL_COOLING)
