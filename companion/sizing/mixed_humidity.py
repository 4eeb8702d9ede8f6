"""The humidity of return and outside air mixed."""

from __future__ import annotations

from decimal import Decimal

from companion.numbers import say
from companion.quantities import spoken
from companion.sizing.heat import ELEVATION
from companion.sizing.humidity import air_pressure, by_relative_humidity, mixed
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing
from companion.sizing.moist_air import GROUP, HUMIDITY, SOURCE
from companion.sizing.rounding import magnitude, plain, to_step

_FULL = Decimal(100)


def _work_out(given: Given) -> Result:
    pressure = air_pressure(given.quantity("elevation"))
    back, out = (
        by_relative_humidity(
            given.quantity(f"{side}-temperature"), given.quantity(f"{side}-humidity"), pressure
        )
        for side in ("return", "outside")
    )
    mix = mixed(back, out, given.quantity("outside"))
    degrees = magnitude(mix.temperature, "degF")
    humidity = magnitude(mix.relative_humidity(), "percent")
    dew = magnitude(mix.dew_point(), "degF")
    fogs = humidity > _FULL
    grains = [plain(magnitude(air.moisture, "gr_lb")) for air in (back, out, mix)]
    share = given.amount("outside").written()
    return Result(
        lead=f"{spoken(min(to_step(humidity, '1'), _FULL), 'percent')} at "
        f"{say(to_step(degrees, '0.5'))} degrees, dew point {say(to_step(dew, '1'))}",
        value=plain(humidity),
        unit="percent",
        working=(
            f"Water: return {grains[0]}, outside {grains[1]}; {share} outside: {grains[2]} gr/lb",
            f"Mixed {plain(degrees)} °F: {plain(humidity)} % relative humidity",
            f"Dew point {plain(dew)} °F",
        ),
        why="Water and heat each by the share of mass; then what the mix can carry.",
        metric=f"At {in_metric(mix.temperature, 'degC', '0.5')}.",
        over="It would fog." if fogs else "",
    )


def _side(side: str, temperature_point: str) -> tuple[Input, Input]:
    return (
        Input(
            name=f"{side}-temperature",
            spoken=f"{side} temperature",
            ask=f"What is the {side} temperature?",
            ranges=(Range("-40" if side == "outside" else "32", "120", "degF"),),
            heard=f"{side} {{number}}",
            from_log=(temperature_point,),
        ),
        Input(
            name=f"{side}-humidity",
            spoken=f"{side} humidity",
            ask=f"What percent is the {side} humidity?",
            ranges=HUMIDITY,
            heard="~at {}",
        ),
    )


MIXED_HUMIDITY = Sizing(
    slug="mixed-humidity",
    title="Humidity of return and outside air mixed",
    group=GROUP,
    example="return seventy at forty percent, outside thirty at eighty percent, "
    "twenty five percent outside air, what's the humidity of the mix",
    formula="W = Wr + share · (Wo - Wr), h likewise; the humidity is that of W at h",
    inputs=(
        Input(
            name="outside",
            spoken="share of outside air",
            ask="What percent is outside air?",
            ranges=(Range("1", "99", "percent"),),
            heard="{} outside",
        ),
        *_side("return", "return-temperature"),
        *_side("outside", "outdoor-temperature"),
        ELEVATION,
    ),
    work=_work_out,
    sources=("mass balance", SOURCE),
    caution="Cold metal sweats below the dew point. Check the furnace's least return temperature.",
)

SIZINGS = (MIXED_HUMIDITY,)
