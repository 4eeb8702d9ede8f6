"""Water that a cooling coil takes out of the air: its flow, and what share of the work it is."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity
from companion.sizing.heat_moved import FLOW, air_weight, coil_air
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact, never
from companion.sizing.moist_air import GROUP, SOURCE
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure
from companion.sizing.winter_humidity import gallons

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity
    from companion.sizing.humidity import MoistAir

_PINTS = 8  # to the gallon, by definition


# ---------------------------------------------------------------- condensate


def condensate(flow: Quantity, warm: MoistAir, cool: MoistAir) -> Quantity:
    """Return the water that leaves the air between two states, as a volume a time.

    Source: mass balance of 4.5 lb/h for each cfm; humidity ratios by psychrolib. Checked by
    tests/golden/sizing/condensate-flow.toml.
    """
    return gallons(air_weight(flow) * (warm.moisture - cool.moisture))


def _work_out_condensate(given: Given) -> Result:
    warm, cool = coil_air(given, "return"), coil_air(given, "supply")
    flow = condensate(given.quantity("flow"), warm, cool)
    gallons_an_hour = magnitude(flow, "gal_h")
    if gallons_an_hour <= 0:
        raise refusal(
            "The supply holds as much water as the return",
            "A dry coil makes no water; else check the bulbs.",
            "No water comes out. Check the bulbs, or the coil is dry.",
        )
    said = to_step(gallons_an_hour, "0.1")
    pints = to_step(gallons_an_hour * _PINTS, "1")
    return Result(
        lead=f"{say(said)} {'gallon' if said == 1 else 'gallons'} an hour, "
        f"{say(pints)} {'pint' if pints == 1 else 'pints'}",
        value=plain(gallons_an_hour),
        unit="gal_h",
        working=(
            (
                f"Return {plain(magnitude(warm.moisture, 'gr_lb'))} gr/lb, "
                f"supply {plain(magnitude(cool.moisture, 'gr_lb'))} gr/lb"
            ),
            (
                f"4.5 · {given.amount('flow').written()} · difference / 7000 / 8.34 = "
                f"{plain(gallons_an_hour)} gal/h"
            ),
        ),
        why="Four and a half times flow, times the grains lost.",
        metric=f"{in_metric(flow, 'liter / hour', '0.1')}.",
    )


def _bulbs(side: str) -> tuple[Input, Input]:
    dry = Input(
        name=f"{side}-dry-bulb",
        spoken=f"{side} dry bulb",
        ask=f"What is the {side}'s dry bulb?",
        ranges=(Range("35", "110", "degF"),),
        heard=f"{side} {{number}}",
        from_log=(f"{side}-temperature",),
    )
    wet = replace(
        dry,
        name=f"{side}-wet-bulb",
        spoken=f"{side} wet bulb",
        ask=f"What is the {side}'s wet bulb?",
        heard="~over {number}",
        from_log=(),
    )
    return dry, wet


CONDENSATE_FLOW = Sizing(
    slug="condensate-flow",
    title="Water that a cooling coil makes",
    group=GROUP,
    example="twelve hundred c f m, in eighty sixty seven, out fifty eight fifty six, pints an hour",
    formula="gal/h = 4.5 · flow · (W return - W supply) / 8.34",
    inputs=(FLOW, *_bulbs("return"), *_bulbs("supply")),
    work=_work_out_condensate,
    sources=(SOURCE, "mass balance, 4.5 = 0.075 lb/ft³ · 60 min/h"),
    assumption="sea level, running steadily",
    caution="Trap the drain, and guard it against overflow. A light load makes far less.",
)


# ---------------------------------------------------------------- sensible heat ratio


def sensible_heat_ratio(sensible: Quantity, total: Quantity) -> Quantity:
    """Return the sensible share of all the heat moved. Source: definition."""
    share: Quantity = (sensible / total).to("dimensionless")
    return share


def _work_out_ratio(given: Given) -> Result:
    if given.has("sensible"):
        sensible = given.quantity("sensible")
    else:
        sensible = quantity(exact(given.exact("sensible-thousands", "count")) * 1000, "Btu_h")
    total = given.quantity("total")
    ratio = magnitude(sensible_heat_ratio(sensible, total), "count")
    if ratio > 1:
        raise refusal(
            "Sensible heat is more than total heat",
            "Check which is which.",
            "Sensible can't be more than total. Check the two.",
        )
    rounded = to_step(ratio, "0.01")
    dry = ratio >= exact(figure("dry-coil-ratio"))
    return Result(
        lead=f"ratio {say(rounded)}",
        value=plain(ratio),
        unit="count",
        working=(
            (
                f"{plain(magnitude(sensible, 'Btu_h'))} / "
                f"{plain(magnitude(total, 'Btu_h'))} Btu/h = "
                f"{plain(ratio)}"
            ),
        ),
        why="Sensible over total; the rest is water taken out.",
        metric=f"ratio {say(rounded)}, the same in metric.",
        over="Next to no water is taken out." if dry else "",
    )


def _no_thousands_given(given: Mapping[str, object]) -> bool:
    return "sensible-thousands" not in given


_HEAT = (Range("1000", "150000", "Btu_h"),)

SENSIBLE_HEAT_RATIO = Sizing(
    slug="sensible-heat-ratio",
    title="Sensible heat ratio",
    group=GROUP,
    example="what's my s h r with forty thousand total and thirty sensible",
    formula="ratio = sensible / total",
    inputs=(
        Input(
            name="total",
            spoken="total heat",
            ask="How many B T U an hour in all?",
            ranges=_HEAT,
            heard="{} total",
        ),
        Input(
            name="sensible",
            spoken="sensible heat",
            ask="How many B T U an hour sensible?",
            ranges=_HEAT,
            heard="{} sensible",
            needed=_no_thousands_given,
        ),
        Input(
            name="sensible-thousands",
            spoken="sensible heat in thousands",
            ranges=(Range("1", "150", "count"),),
            heard="{} thousand sensible",
            needed=never,
        ),
    ),
    work=_work_out_ratio,
    sources=("definition", "0.95 as a dry coil: common practice, no source"),
    assumption="both by readings in the air",
    caution="Near one, check the airflow before you blame the charge.",
)

SIZINGS = (CONDENSATE_FLOW, SENSIBLE_HEAT_RATIO)
