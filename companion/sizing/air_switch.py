"""The air-proving switch: whether the differential at hand closes it, and what it takes."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import spoken
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact, never
from companion.sizing.rounding import magnitude, plain, to_step, up_to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from companion.quantities import Quantity

GROUP = "Air"
_FACTOR = figure("air-switch-factor")
_SOURCES = ("one and a half times the setting: common practice, no source",)
_CAUTION = "It proves pressure, not flow. Never leave it jumpered."


def differential_ratio(differential: Quantity, setting: Quantity) -> Quantity:
    """Return the differential over the setting; minus where the tubes are swapped.

    Source: common practice. Checked by tests/golden/sizing/air-switch-margin.toml.
    """
    ratio: Quantity = (differential / setting).to("dimensionless")
    return ratio


def _work_out_margin(given: Given) -> Result:
    across, setting = given.quantity("differential"), given.quantity("setting")
    ratio = differential_ratio(across, setting)
    times = magnitude(ratio, "count")
    inches = magnitude(across, "inH2O")
    least = magnitude(setting, "inH2O")
    if given.has("deadband"):
        least += exact(given.exact("deadband", "inH2O"))
    return Result(
        lead=f"{say(_down_to_tenth(times))} times the setting",
        value=plain(times),
        unit="count",
        working=(
            (
                f"{given.amount('differential').written()} / {given.amount('setting').written()} = "
                f"{plain(times)}"
            ),
            f"To close: over {plain(least)} in. w.c.; to rely on: {_FACTOR} × the setting",
        ),
        why="The differential over the setting.",
        metric=f"{in_metric(across, 'pascal', '1')} across the tubes.",
        over=_too_little(inches, least, times),
    )


def _down_to_tenth(times: Decimal) -> Decimal:
    """Down, never up: a margin is not rounded into being enough."""
    tenths = int(times * 10)
    return Decimal(tenths) / 10 if tenths else to_step(times, "0.01")


def _too_little(inches: Decimal, least: Decimal, times: Decimal) -> str:
    if inches < 0:
        return "Minus: the tubes are swapped, it never closes."
    if inches <= least:
        return "Too little to close it."
    if times < _FACTOR:
        return "It closes, but under one and a half times the setting."
    return ""


_SETTING = Input(
    name="setting",
    spoken="setting",
    ask="What is the switch set at?",
    ranges=(Range("0.02", "1", "inH2O"),),
    heard="set at {number}",
    from_log=("switch-setting",),
)

AIR_SWITCH_MARGIN = Sizing(
    slug="air-switch-margin",
    title="Whether an air-proving switch makes",
    group=GROUP,
    example="my switch sets at point one five, duct reads point three two across the tubes, enough",
    formula="margin = differential / setting, at least 1.5",
    inputs=(
        _SETTING,
        Input(
            name="differential",
            spoken="differential",
            ask="What reads across the tubes, blower at its lowest?",
            ranges=(Range("-2", "2", "inH2O"),),
            heard="{number} across the tubes",
            from_log=("tube-differential",),
        ),
        Input(
            name="deadband",
            spoken="deadband",
            ranges=(Range("0", "0.1", "inH2O"),),
            heard="deadband {number}",
            needed=never,
        ),
    ),
    work=_work_out_margin,
    sources=_SOURCES,
    assumption="the high tube on the plus side, the lowest speed it must run at",
    caution=_CAUTION,
)


def _work_out_least(given: Given) -> Result:
    wanted = given.quantity("setting") * float(_FACTOR)
    inches = magnitude(wanted, "inH2O")
    return Result(
        lead=f"at least {spoken(up_to_step(inches, '0.01'), 'inH2O')} across the tubes",
        value=plain(inches),
        unit="inH2O",
        working=(f"{_FACTOR} × {given.amount('setting').written()} = {plain(inches)} in. w.c.",),
        why="One and a half times the setting.",
        metric=f"{in_metric(wanted, 'pascal', '1')}.",
    )


AIR_SWITCH_LEAST = Sizing(
    slug="air-switch-least",
    title="Differential that an air-proving switch wants",
    group=GROUP,
    example="what differential should i see for a switch set at point one five",
    formula="differential = 1.5 · setting",
    inputs=(_SETTING,),
    work=_work_out_least,
    sources=_SOURCES,
    assumption="the lowest speed that the accessory must run at",
    caution=_CAUTION,
)

SIZINGS = (AIR_SWITCH_MARGIN, AIR_SWITCH_LEAST)
