"""Run capacitors: measured under load, held to their rating, put together."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Motors"
_SAME = "the same in metric"
_RIGHT_ON = Decimal("0.05")  # percent; a tenth is what is said
_DISCHARGE = "Kill power and discharge it through a resistor before you touch it."


def capacitance(current: Quantity, voltage: Quantity, frequency: Quantity) -> Quantity:
    """Return the capacitance that carries an alternating current at a voltage.

    Source: C = I / (2π f V). Checked by tests/golden/sizing/run-capacitor.toml.
    """
    found: Quantity = (current / (2 * math.pi * frequency * voltage)).to("microfarad")
    return found


def deviation(measured: Quantity, rated: Quantity) -> Quantity:
    """Return by what share a measured value is off its rating. Source: definition."""
    off: Quantity = ((measured - rated) / rated).to("percent")
    return off


def together(values: tuple[Quantity, ...], *, in_series: bool) -> Quantity:
    """Return what capacitors make together.

    Source: they add in parallel, their inverses in series.
    Checked by tests/golden/sizing/capacitors-together.toml.
    """
    microfarads = [value.to("microfarad").magnitude for value in values]
    total = 1 / sum(1 / each for each in microfarads) if in_series else sum(microfarads)
    return quantity(Decimal(f"{total:.12g}"), "uF")


# ---------------------------------------------------------------- under load


def _work_out_under_load(given: Given) -> Result:
    hertz = figure("line-frequency")
    frequency = 1 / (quantity(Decimal(1), "s") / float(hertz))
    found = capacitance(given.quantity("current"), given.quantity("voltage"), frequency)
    microfarads = magnitude(found, "uF")
    said = spoken(to_step(microfarads, "0.1"), "uF")
    lines = [
        (
            f"{given.amount('current').written()} / (2π × {hertz} Hz × "
            f"{given.amount('voltage').written()}) = {plain(microfarads)} µF"
        )
    ]
    over, of_rated = "", ""
    if given.has("rated"):
        off = magnitude(deviation(found, given.quantity("rated")), "percent")
        tolerance = figure("capacitor-tolerance")
        lines.append(f"Against {given.amount('rated').written()}: {plain(off)} %")
        of_rated = f", {_off(off)}"
        over = _outside(off, exact(tolerance))
    return Result(
        lead=f"{said}{of_rated}",
        value=plain(microfarads),
        unit="uF",
        working=tuple(lines),
        why="Amps over volts, times two thousand six hundred fifty three.",
        metric=f"{said}, {_SAME}.",
        over=over,
        assumption="Six percent is allowed, unless the case says otherwise."
        if given.has("rated")
        else "",
    )


def _off(percent: Decimal) -> str:
    """Say how far off its rating it is: 'seven point one percent low'."""
    if abs(percent) < _RIGHT_ON:
        return "right on its rating"
    rounded = to_step(abs(percent), "0.1")
    return f"{spoken(rounded, 'percent')} {'high' if percent > 0 else 'low'}"


def _outside(percent: Decimal, tolerance: Decimal) -> str:
    return f"Outside {spoken(tolerance, 'percent')}." if abs(percent) > tolerance else ""


RUN_CAPACITOR = Sizing(
    slug="run-capacitor",
    title="Run capacitor from amps and volts under load",
    group=GROUP,
    example="three point two amps on the start wire at three fifty volts, what microfarad",
    formula="C = current / (2π · 60 Hz · voltage)",
    inputs=(
        Input(
            name="current",
            spoken="start wire current",
            ask="How many amps on the start wire?",
            ranges=(Range("0.3", "15", "A"),),
        ),
        Input(
            name="voltage",
            spoken="voltage across it",
            ask="How many volts across the capacitor?",
            ranges=(Range("150", "500", "V"),),
        ),
        Input(
            name="rated",
            spoken="rating",
            ranges=(Range("1", "100", "uF"),),
            heard="rated {}",
            needed=never,
        ),
    ),
    work=_work_out_under_load,
    sources=("C = I / (2π f V)", "six percent: common rating, from memory"),
    assumption="sixty hertz, the motor running",
    caution=f"It is live and can hold over four hundred volts. {_DISCHARGE}",
)


# ---------------------------------------------------------------- against its rating


def _work_out_tolerance(given: Given) -> Result:
    off = magnitude(deviation(given.quantity("measured"), given.quantity("rated")), "percent")
    tolerance = Decimal(given.pick("tolerance"))
    over = _outside(off, tolerance)
    said = _off(off)
    return Result(
        lead=said if over else f"{said}, good",
        value=plain(off),
        unit="percent",
        working=(
            (
                f"({given.amount('measured').written()} − {given.amount('rated').written()}) / "
                f"{given.amount('rated').written()} = {plain(off)} %, allowed ±{plain(tolerance)} %"
            ),
        ),
        why="Measured less rated, over rated.",
        metric=f"{said}, {_SAME}.",
        over=over,
    )


CAPACITOR_TOLERANCE = Sizing(
    slug="capacitor-tolerance",
    title="Capacitor against its rating",
    group=GROUP,
    example="capacitor rated forty five reads forty one point eight",
    formula="off = (measured - rated) / rated",
    inputs=(
        Input(
            name="rated",
            spoken="rating",
            ask="How many microfarads is it rated?",
            ranges=(Range("1", "100", "uF"),),
            heard="rated {}",
        ),
        Input(
            name="measured",
            spoken="measured value",
            ask="How many microfarads does it read?",
            ranges=(Range("0", "120", "uF"),),
            heard="reads {}",
        ),
        Input(
            name="tolerance",
            spoken="tolerance",
            options=(
                Option("5", "five percent"),
                Option("6", "six percent"),
                Option("10", "ten percent"),
            ),
            heard="{} allowed",
            default=str(figure("capacitor-tolerance")),
            assumed="six percent allowed",
        ),
    ),
    work=_work_out_tolerance,
    sources=("the rating on its case", "six percent: common rating, from memory"),
    caution=f"{_DISCHARGE} Never fit one of lower voltage.",
)


# ---------------------------------------------------------------- several


def _work_out_together(given: Given) -> Result:
    if given.has("pair"):
        each = quantity(Decimal(given.pick("pair")), "uF")
        values, names = (each, each), (f"{given.pick('pair')} µF",) * 2
    else:
        values = (given.quantity("first"), given.quantity("second"))
        names = (given.amount("first").written(), given.amount("second").written())
    in_series = given.pick("series") == "yes"
    microfarads = magnitude(together(values, in_series=in_series), "uF")
    said = spoken(to_step(microfarads, "0.1"), "uF")
    sum_ = f"1 / (1/({names[0]}) + 1/({names[1]}))" if in_series else " + ".join(names)
    return Result(
        lead=said,
        value=plain(microfarads),
        unit="uF",
        working=(f"{sum_} = {plain(microfarads)} µF",),
        why="In series the inverses add." if in_series else "In parallel they add.",
        metric=f"{said}, {_SAME}.",
    )


def _no_pair(given: Mapping[str, object]) -> bool:
    return "pair" not in given


_PAIRS = ("5", "10", "20", "30", "40", "50")

CAPACITORS_TOGETHER = Sizing(
    slug="capacitors-together",
    title="Capacitors in series or in parallel",
    group=GROUP,
    example="two twenties in series, what microfarad",
    formula="parallel: C = C1 + C2; series: C = 1 / (1/C1 + 1/C2)",
    inputs=(
        Input(
            name="pair",
            spoken="two alike",
            options=tuple(Option(each, f"two of {say(Decimal(each))}") for each in _PAIRS),
            needed=never,
        ),
        Input(
            name="first",
            spoken="first capacitor",
            ask="How many microfarads is the first?",
            ranges=(Range("1", "100", "uF"),),
            needed=_no_pair,
        ),
        Input(
            name="second",
            spoken="second capacitor",
            ask="How many microfarads is the second?",
            ranges=(Range("1", "100", "uF"),),
            heard="~and {}",
            needed=_no_pair,
        ),
        Input(
            name="series",
            spoken="in series",
            ask="Are they in series?",
            options=(Option("yes", "in series"), Option("no", "in parallel")),
            kind="yes or no",
        ),
    ),
    work=_work_out_together,
    sources=("they add in parallel, their inverses in series",),
    caution=f"{_DISCHARGE} Never fit one of lower voltage.",
)

SIZINGS = (RUN_CAPACITOR, CAPACITOR_TOLERANCE, CAPACITORS_TOGETHER)
