"""Air: flow in a duct, and total external static."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import spoken, written
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Air"


# ---------------------------------------------------------------- flow in a duct


def round_area(diameter: Quantity) -> Quantity:
    """Return the area of a round duct. Source: geometry."""
    area: Quantity = math.pi * diameter**2 / 4
    return area


def rectangular_area(width: Quantity, depth: Quantity) -> Quantity:
    """Return the area of a rectangular duct. Source: geometry."""
    area: Quantity = width * depth
    return area


def duct_flow(speed: Quantity, area: Quantity) -> Quantity:
    """Return the flow of an average speed through an area.

    Source: continuity. Checked by tests/golden/sizing/duct-airflow.toml.
    """
    flow: Quantity = (speed * area).to("foot ** 3 / minute")
    return flow


def duct_speed(flow: Quantity, area: Quantity) -> Quantity:
    """Return the average speed of a flow through an area: the inverse of `duct_flow`."""
    speed: Quantity = (flow / area).to("foot / minute")
    return speed


def _work_out_duct(given: Given) -> Result:
    if given.has("diameter"):
        area = round_area(given.quantity("diameter"))
        shape = f"π · ({given.amount('diameter').written()})² / 4"
    else:
        area = rectangular_area(given.quantity("width"), given.quantity("depth"))
        shape = f"{given.amount('width').written()} × {given.amount('depth').written()}"
    area_ft2 = plain(magnitude(area, "ft2"))
    size = f"Area: {shape} = {area_ft2} ft²"
    return (
        _flow(given, area, size) if given.amount("air").unit != "cfm" else _speed(given, area, size)
    )


def _flow(given: Given, area: Quantity, size: str) -> Result:
    air = given.amount("air")
    flow = duct_flow(given.quantity("air"), area)
    cfm = magnitude(flow, "cfm")
    return Result(
        lead=spoken(to_step(cfm, _step(cfm)), "cfm"),
        value=plain(cfm),
        unit="cfm",
        working=(size, f"Flow: {air.written()} × area = {plain(cfm)} cfm"),
        why=f"{air.spoken()} times {_square_feet(area)}.",
        metric=f"{in_metric(flow, 'liter / second', '1')}.",
    )


def _speed(given: Given, area: Quantity, size: str) -> Result:
    air = given.amount("air")
    speed = duct_speed(given.quantity("air"), area)
    fpm = magnitude(speed, "fpm")
    if fpm > figure("greatest-duct-velocity"):
        raise refusal(
            f"{air.written()} there would be {plain(fpm)} fpm, over what a duct runs at",
            "Check flow and size.",
            f"Over {say(figure('greatest-duct-velocity'))} feet a minute. Check flow and size.",
        )
    return Result(
        lead=spoken(to_step(fpm, _step(fpm)), "fpm"),
        value=plain(fpm),
        unit="fpm",
        working=(size, f"Speed: {air.written()} / area = {plain(fpm)} fpm"),
        why=f"{air.spoken()} over {_square_feet(area)}.",
        metric=f"{in_metric(speed, 'meter / second', '0.1')}.",
    )


def _step(figure_said: Decimal) -> str:
    """Flows and speeds go by fives; small ones by ones, or fives would swallow them."""
    return "5" if figure_said >= Decimal(50) else "1"


def _square_feet(area: Quantity) -> str:
    return spoken(to_step(magnitude(area, "ft2"), "0.01"), "ft2")


def _no_size_yet(given: Mapping[str, object]) -> bool:
    return not given.keys() & {"diameter", "width", "depth"}


def _is_round(given: Mapping[str, object]) -> bool:
    return given.get("round") == "yes"


def _is_rectangular(given: Mapping[str, object]) -> bool:
    return given.get("round") == "no" or bool(given.keys() & {"width", "depth"})


_DUCT = (Range("3", "60", "in"),)

DUCT_AIRFLOW = Sizing(
    slug="duct-airflow",
    title="Flow or speed of air in a duct",
    group=GROUP,
    example="seven hundred feet a minute through a ten inch pipe, how many c f m",
    formula="flow = speed · area; speed = flow / area",
    inputs=(
        Input(
            name="air",
            spoken="air",
            ask="How many feet a minute, or how many C F M?",
            ranges=(Range("10", "4000", "fpm"), Range("5", "20000", "cfm")),
            from_log=("intake-speed",),
        ),
        Input(
            name="round",
            spoken="round",
            ask="Is the duct round?",
            options=(Option("yes", "round"), Option("no", "rectangular")),
            kind="yes or no",
            heard="",
            needed=_no_size_yet,
        ),
        Input(
            name="diameter",
            spoken="diameter",
            ask="How many inches across?",
            ranges=_DUCT,
            heard="{} round",
            needed=_is_round,
        ),
        Input(
            name="width",
            spoken="width",
            ask="How many inches wide?",
            ranges=_DUCT,
            heard="{number}",
            needed=_is_rectangular,
        ),
        Input(
            name="depth",
            spoken="depth",
            ask="How many inches deep?",
            ranges=_DUCT,
            heard="~by {number}",
            needed=_is_rectangular,
        ),
    ),
    work=_work_out_duct,
    sources=("continuity",),
    assumption="the average speed over the whole duct, inside sizes",
    caution="The center alone runs about ten percent high. Average a traverse.",
)


# ---------------------------------------------------------------- total external static


def total_external_static(supply: Quantity, return_: Quantity) -> Quantity:
    """Return the total external static: both magnitudes added, whatever their signs.

    Source: ACCA commissioning practice. Checked by tests/golden/sizing/total-external-static.toml.
    """
    total: Quantity = abs(supply) + abs(return_)
    return total


def _work_out_static(given: Given) -> Result:
    if given.has("supply") and given.has("return"):
        total = total_external_static(given.quantity("supply"), given.quantity("return"))
        back = given.amount("return")
        first = (
            f"{given.amount('supply').written()} + "
            f"{written(max(back.value, -back.value), back.unit)}"
        )
        why = "Supply and return added, without the minus."
    else:
        total, first, why = (
            given.quantity("total"),
            given.amount("total").written(),
            "As you gave it.",
        )
    inches = magnitude(total, "inH2O")
    rated = magnitude(given.quantity("rated"), "inH2O")
    rounded = to_step(inches, "0.01")
    return Result(
        lead=f"{spoken(rounded, 'inH2O')} in all",
        value=plain(inches),
        unit="inH2O",
        working=(
            f"Total: {first} = {plain(inches)} in. w.c.",
            f"Against {plain(rated)} in. w.c.: {plain(rounded / rated * 100 - 100)} % over"
            if rounded > rated
            else f"At or under {plain(rated)} in. w.c.",
        ),
        why=why,
        metric=f"{in_metric(total, 'pascal', '1')}.",
        over=_over_rating(given, rated) if rounded > rated else "",
        assumption=_return_sign(given),
        caution=_supply_sign(given),
    )


def _over_rating(given: Given, rated: Decimal) -> str:
    if "rated" in given.assumed:
        return "Over the usual half inch; your plate decides."
    return f"Over the plate's {say(rated)}."


def _return_sign(given: Given) -> str:
    if given.has("return") and given.amount("return").value > 0:
        return "The return was taken as minus."
    return ""


def _supply_sign(given: Given) -> str:
    if given.has("supply") and given.amount("supply").value < 0:
        return "Supply reads minus: check the tube, then read again."
    return ""


def _no_total_given(given: Mapping[str, object]) -> bool:
    return "total" not in given


_STATIC = (Range("-3", "3", "inH2O"),)

TOTAL_EXTERNAL_STATIC = Sizing(
    slug="total-external-static",
    title="Total external static pressure",
    group=GROUP,
    example="supply's point three, return's minus point two four, what's my total",
    formula="total = |supply| + |return|",
    inputs=(
        Input(
            name="supply",
            spoken="supply static",
            ask="What is the supply static?",
            ranges=_STATIC,
            heard="supply {number}",
            from_log=("supply-static",),
            needed=_no_total_given,
        ),
        Input(
            name="return",
            spoken="return static",
            ask="What is the return static?",
            ranges=_STATIC,
            heard="return {number}",
            from_log=("return-static",),
            needed=_no_total_given,
        ),
        Input(
            name="total",
            spoken="total static",
            ranges=(Range("0", "6", "inH2O"),),
            heard="{number}",
            needed=never,
        ),
        Input(
            name="rated",
            spoken="rated static",
            ask="What static does the plate allow?",
            ranges=(Range("0.1", "3", "inH2O"),),
            heard="plate {number}",
            from_log=("plate-static",),
            default=str(figure("usual-total-static")),
            assumed="half an inch as the plate's limit",
        ),
    ),
    work=_work_out_static,
    sources=("ACCA commissioning practice", "half an inch: usual plate rating (from memory)"),
    assumption="probes outside the box, after the filter and before the coil",
    caution="What counts as external depends on where the filter and the coil sit.",
)


SIZINGS = (DUCT_AIRFLOW, TOTAL_EXTERNAL_STATIC)
