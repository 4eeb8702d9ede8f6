"""Moist air: its humidity and dew point, what sweats in it, how much water and heat it holds."""

from __future__ import annotations

from decimal import ROUND_CEILING, Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import spoken
from companion.sizing.heat import ELEVATION
from companion.sizing.heat_moved import no_such_air, sea_level
from companion.sizing.humidity import air_pressure, by_relative_humidity, by_wet_bulb
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact, never
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity
    from companion.sizing.humidity import MoistAir

GROUP = "Moist air"
SOURCE = "psychrolib 2.5: ASHRAE Handbook Fundamentals 2017 chapter 1"

DRY = Input(
    name="dry-bulb",
    spoken="dry bulb",
    ask="What is the dry bulb?",
    ranges=(Range("20", "120", "degF"),),
    heard="{number} dry",
)
_WET = (Range("10", "110", "degF"),)
HUMIDITY = (Range("5", "100", "percent"),)


def _by_bulbs(given: Given) -> MoistAir:
    air = by_wet_bulb(
        given.quantity("dry-bulb"),
        given.quantity("wet-bulb"),
        air_pressure(given.quantity("elevation")),
    )
    if air is None:
        raise no_such_air()
    return air


def _dew(air: MoistAir) -> Decimal:
    return magnitude(air.dew_point(), "degF")


# ---------------------------------------------------------------- humidity by wet bulb


def _work_out_bulbs(given: Given) -> Result:
    air = _by_bulbs(given)
    percent = magnitude(air.relative_humidity(), "percent")
    dew = _dew(air)
    return Result(
        lead=f"{spoken(to_step(percent, '1'), 'percent')} humidity, "
        f"dew point {say(to_step(dew, '1'))}",
        value=plain(percent),
        unit="percent",
        working=(
            f"Water: {plain(magnitude(air.moisture, 'gr_lb'))} gr/lb",
            f"Humidity {plain(percent)} %, dew point {plain(dew)} °F",
        ),
        why="The wet bulb tells how much water the air can still take.",
        metric=f"Dew point {in_metric(air.dew_point(), 'degC', '0.5')}.",
    )


WET_BULB_HUMIDITY = Sizing(
    slug="wet-bulb-humidity",
    title="Humidity and dew point from dry and wet bulb",
    group=GROUP,
    example="seventy five dry, sixty three wet, what's the r h",
    formula="the handbook's wet-bulb equation",
    inputs=(
        DRY,
        Input(
            name="wet-bulb",
            spoken="wet bulb",
            ask="What is the wet bulb?",
            ranges=_WET,
            heard="{number} wet",
        ),
        ELEVATION,
    ),
    work=_work_out_bulbs,
    sources=(SOURCE,),
    caution="Keep the sock wet, and air moving over it.",
)


# ---------------------------------------------------------------- dew point, and what sweats


def _sweats(surface: Decimal, dew: Decimal) -> str:
    """Say that metal sweats or nearly so, '' where it stays dry."""
    if surface <= dew:
        return "That sweats."
    margin = figure("sweat-margin")
    if surface <= dew + exact(margin):
        return f"Within {say(margin)} degrees of sweating."
    return ""


def _work_out_dew_point(given: Given) -> Result:
    air = by_relative_humidity(given.quantity("dry-bulb"), given.quantity("humidity"), sea_level())
    dew = _dew(air)
    over = _sweats(exact(given.exact("surface", "degF")), dew) if given.has("surface") else ""
    keep = (dew + exact(figure("sweat-margin"))).quantize(Decimal(1), ROUND_CEILING)
    dry = ", it stays dry" if given.has("surface") and not over else ""
    return Result(
        lead=f"dew point {say(to_step(dew, '1'))}{dry}",
        value=plain(dew),
        unit="degF",
        working=(
            (
                f"{given.amount('dry-bulb').written()} at {given.amount('humidity').written()}: "
                f"dew point {plain(dew)} °F"
            ),
            f"With {figure('sweat-margin')} °F of margin: keep it at {keep} °F or more",
        ),
        why=f"Metal under the dew point sweats; keep it at {say(keep)} or more.",
        metric=f"Dew point {in_metric(air.dew_point(), 'degC', '0.5')}.",
        over=over,
    )


DEW_POINT = Sizing(
    slug="dew-point",
    title="Dew point, and whether metal sweats",
    group=GROUP,
    example="seventy two and fifty five percent, will a fifty five degree duct sweat",
    formula="sweats where surface <= dew point, + 2 °F of margin",
    inputs=(
        Input(
            name="dry-bulb",
            spoken="air",
            ask="What is the temperature of the air?",
            ranges=(Range("30", "110", "degF"),),
        ),
        Input(
            name="humidity",
            spoken="humidity",
            ask="What percent is the humidity?",
            ranges=HUMIDITY,
            from_log=("indoor-humidity",),
        ),
        Input(
            name="surface",
            spoken="surface",
            ranges=(Range("0", "110", "degF"),),
            heard="metal at {number}",
            needed=never,
        ),
    ),
    work=_work_out_dew_point,
    sources=(SOURCE, "2 °F of margin: common practice, no source"),
    assumption="still air",
    caution="Insulate with the vapor barrier sealed. Where it sweats now, look for mold.",
)


# ---------------------------------------------------------------- water and heat in the air


def _work_out_moisture(given: Given) -> Result:
    if given.has("wet-bulb"):
        air = _by_bulbs(given)
    else:
        air = by_relative_humidity(
            given.quantity("dry-bulb"),
            given.quantity("humidity"),
            air_pressure(given.quantity("elevation")),
        )
    grains = magnitude(air.moisture, "gr_lb")
    heat = magnitude(air.enthalpy(), "Btu_lb")
    return Result(
        lead=f"{say(to_step(grains, '1'))} grains a pound, "
        f"{say(to_step(heat, '0.1'))} B T U a pound",
        value=plain(grains),
        unit="gr_lb",
        working=(
            f"Water: {plain(grains)} gr/lb, {plain(grains / 7000)} lb/lb",
            f"Heat: {to_step(heat, '0.01')} Btu/lb",
        ),
        why="Water and heat for each pound of dry air; seven thousand grains to the pound.",
        metric=f"{in_metric(air.moisture, 'gram / kilogram', '0.1')}.",
    )


def _no_wet_bulb_given(given: Mapping[str, object]) -> bool:
    return "wet-bulb" not in given


AIR_MOISTURE = Sizing(
    slug="air-moisture",
    title="Grains and enthalpy of air",
    group=GROUP,
    example="how many grains at eighty over sixty seven",
    formula="grains = 7000 · humidity ratio; h = 0.24 · t + W · (1061 + 0.444 · t)",
    inputs=(
        DRY,
        Input(name="wet-bulb", spoken="wet bulb", ranges=_WET, heard="{number} wet", needed=never),
        Input(
            name="humidity",
            spoken="humidity",
            ask="What percent is the humidity?",
            ranges=HUMIDITY,
            needed=_no_wet_bulb_given,
        ),
        ELEVATION,
    ),
    work=_work_out_moisture,
    sources=(SOURCE,),
    caution="Compare grains outside and inside, never the two humidities.",
)


def moisture_difference(outdoor: MoistAir, indoor: MoistAir) -> Quantity:
    """Return the water in outdoor air beyond that in indoor air, for a pound of dry air.

    Source: definition. Checked by tests/golden/sizing/moisture-difference.toml.
    """
    difference: Quantity = outdoor.moisture - indoor.moisture
    return difference


def _work_out_difference(given: Given) -> Result:
    outdoor, indoor = (
        by_relative_humidity(given.quantity(side), given.quantity(f"{side}-humidity"), sea_level())
        for side in ("outdoor", "indoor")
    )
    difference = moisture_difference(outdoor, indoor)
    grains = magnitude(difference, "gr_lb")
    apart: Quantity = difference * (1 if grains > 0 else -1)
    whole = to_step(abs(grains), "1")
    where = "more outside" if grains > 0 else "less outside"
    return Result(
        lead=f"{say(whole)} grains a pound {where}" if grains else "the same water in both",
        value=plain(grains),
        unit="gr_lb",
        working=(
            (
                f"Outdoor {plain(magnitude(outdoor.moisture, 'gr_lb'))} gr/lb, "
                f"indoor {plain(magnitude(indoor.moisture, 'gr_lb'))} gr/lb"
            ),
            f"Difference {plain(grains)} gr/lb",
        ),
        why="Grains outside less grains inside.",
        metric=f"{in_metric(apart, 'gram / kilogram', '0.1')} {where}.",
    )


def _side(side: str, low: str, high: str) -> tuple[Input, Input]:
    return (
        Input(
            name=side,
            spoken=f"{side} temperature",
            ask=f"What is the {side} temperature?",
            ranges=(Range(low, high, "degF"),),
            heard=f"{side} {{number}}",
            from_log=("outdoor-temperature",) if side == "outdoor" else (),
        ),
        Input(
            name=f"{side}-humidity",
            spoken=f"{side} humidity",
            ask=f"What percent is the {side} humidity?",
            ranges=HUMIDITY,
            heard="~at {}",
            from_log=("indoor-humidity",) if side == "indoor" else (),
        ),
    )


MOISTURE_DIFFERENCE = Sizing(
    slug="moisture-difference",
    title="Grains outside against inside",
    group=GROUP,
    example="what's the grains difference, outside ninety at sixty percent, "
    "inside seventy five at fifty percent",
    formula="difference = outdoor grains - indoor grains",
    inputs=(*_side("outdoor", "-40", "120"), *_side("indoor", "40", "110")),
    work=_work_out_difference,
    sources=(SOURCE,),
    assumption="sea level",
    caution="More outside: fresh air wets the house. Less outside: it dries it.",
)

SIZINGS = (WET_BULB_HUMIDITY, DEW_POINT, AIR_MOISTURE, MOISTURE_DIFFERENCE)
