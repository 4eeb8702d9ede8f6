"""Fresh air: its share in a mix, what a house needs, and how cold the mix gets."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Fresh air"
_SAME_TO = 6  # decimals of a degree
PRACTICE = "common practice, no source"


# ---------------------------------------------------------------- outside air


def outside_air_fraction(mixed: Quantity, return_: Quantity, outdoor: Quantity) -> Quantity:
    """Return the share of outside air in a mix, by mass, from dry-bulb temperatures.

    Source: mass balance. Checked by tests/golden/sizing/outside-air-fraction.toml.
    """
    share: Quantity = ((mixed - return_) / (outdoor - return_)).to("percent")
    return share


def _work_out_fraction(given: Given) -> Result:
    back, out, mixed = (
        round(exact(given.exact(name, "degF")), _SAME_TO)  # converted, it may be a hair off
        for name in ("return", "outdoor", "mixed")
    )
    _check_temperatures(back, out, mixed)
    share = outside_air_fraction(
        given.quantity("mixed"), given.quantity("return"), given.quantity("outdoor")
    )
    percent = magnitude(share, "percent")
    lines = [
        f"({plain(mixed)} − {plain(back)}) / ({plain(out)} − {plain(back)}) = {plain(percent)} %"
    ]
    said = f"{spoken(to_step(percent, '1'), 'percent')} outside air"
    why = "Mixed less return, over outdoor less return."
    if not given.has("total"):
        metric = f"{said}, the same in metric."
        return Result(said, plain(percent), "percent", tuple(lines), why, metric)
    flow = share.to("dimensionless") * given.quantity("total")
    cfm = magnitude(flow, "cfm")
    lines.append(f"{plain(percent)} % of {given.amount('total').written()} = {plain(cfm)} cfm")
    return Result(
        lead=f"{spoken(to_step(cfm, '5'), 'cfm')}, {said}",
        value=plain(cfm),
        unit="cfm",
        working=tuple(lines),
        why=f"{why} Times the flow.",
        metric=f"{in_metric(flow, 'liter / second', '1')} of outside air.",
    )


def _check_temperatures(back: Decimal, out: Decimal, mixed: Decimal) -> None:
    least = figure("least-temperature-difference")
    if abs(back - out) < least:
        raise refusal(
            f"Return and outdoor are {plain(abs(back - out))} °F apart, under {least} °F",
            "Measure the flow instead.",
            f"Under {say(least)} degrees apart. Take a flow reading instead.",
        )
    if not min(back, out) <= mixed <= max(back, out):
        raise refusal(
            f"Mixed, {plain(mixed)} °F, is not between {plain(back)} and {plain(out)} °F",
            "Check the three temperatures.",
            "Mixed must lie between return and outdoor. Check all three.",
        )


OUTSIDE_AIR_FRACTION = Sizing(
    slug="outside-air-fraction",
    title="Share of outside air from temperatures",
    group=GROUP,
    example="return's seventy, outside's twenty, mixed is sixty four, how much outside air",
    formula="share = (mixed - return) / (outdoor - return)",
    inputs=(
        Input(
            name="return",
            spoken="return",
            ask="What is the return temperature?",
            ranges=(Range("55", "85", "degF"),),
            heard="return {number}",
            from_log=("return-temperature",),
        ),
        Input(
            name="outdoor",
            spoken="outdoor",
            ask="What is the outdoor temperature?",
            ranges=(Range("-40", "120", "degF"),),
            heard="outdoor {number}",
            from_log=("outdoor-temperature",),
        ),
        Input(
            name="mixed",
            spoken="mixed",
            ask="What is the mixed temperature?",
            ranges=(Range("-40", "120", "degF"),),
            heard="mixed {number}",
            from_log=("mixed-temperature",),
        ),
        Input(
            name="total",
            spoken="total flow",
            ranges=(Range("100", "3000", "cfm"),),
            heard="{} in all",
            needed=never,
        ),
    ),
    work=_work_out_fraction,
    sources=("mass balance", f"20 °F least difference: {PRACTICE}"),
    assumption="dry bulb, well mixed, no heat picked up",
    caution="Shield the probes from the heat exchanger. Average a few spots.",
)


# ---------------------------------------------------------------- house


def house_ventilation(area: Quantity, bedrooms: int, per_area: Quantity) -> Quantity:
    """Return a dwelling's outdoor-air rate: a share of its area, and of its people.

    Args:
        area: conditioned floor area.
        bedrooms: one person each, and one more.
        per_area: flow per area, by the standard's edition.

    Source: ASHRAE 62.2-2013 equation 4.1a. Checked by tests/golden/sizing/house-ventilation.toml.
    """
    per_person = quantity(figure("ventilation-per-person"), "cfm")
    flow: Quantity = per_area * area + per_person * (bedrooms + 1)
    return flow


_PER_AREA = {"current": "ventilation-per-area-2013", "older": "ventilation-per-area-2010"}
_EDITION = {"current": "ASHRAE 62.2-2013 or later", "older": "ASHRAE 62.2-2010 or earlier"}


def _work_out_ventilation(given: Given) -> Result:
    edition = given.pick("edition")
    coefficient = figure(_PER_AREA[edition])
    per_area = quantity(coefficient, "cfm") / quantity(Decimal(1), "ft2")
    bedrooms = int(given.exact("bedrooms", "count"))
    flow = house_ventilation(given.quantity("area"), bedrooms, per_area)
    cfm = magnitude(flow, "cfm")
    person = figure("ventilation-per-person")
    return Result(
        lead=f"{spoken(to_step(cfm, '1'), 'cfm')} for the whole house",
        value=plain(cfm),
        unit="cfm",
        working=(
            (
                f"{coefficient} × {plain(given.exact('area', 'ft2'))} ft² + "
                f"{person} × ({bedrooms} + 1) = {plain(cfm)} cfm ({_EDITION[edition]})"
            ),
        ),
        why=f"{say(coefficient)} times the area, {say(person)} for each bedroom and one more.",
        metric=f"{in_metric(flow, 'liter / second', '1')}.",
    )


HOUSE_VENTILATION = Sizing(
    slug="house-ventilation",
    title="Outdoor air that a house needs",
    group=GROUP,
    example="twenty four hundred square feet, three bedrooms, how much fresh air",
    formula="flow = 0.03 · area + 7.5 · (bedrooms + 1), in cfm and square feet",
    inputs=(
        Input(
            name="area",
            spoken="floor area",
            ask="How many square feet?",
            ranges=(Range("300", "8000", "ft2"),),
        ),
        Input(
            name="bedrooms",
            spoken="bedrooms",
            ask="How many bedrooms?",
            ranges=(Range("1", "8", "count"),),
            kind="count",
            heard="{} bedrooms",
        ),
        Input(
            name="edition",
            spoken="edition",
            options=(Option("current", "current standard"), Option("older", "older standard")),
            default="current",
            assumed="the twenty thirteen standard or later",
        ),
    ),
    work=_work_out_ventilation,
    sources=("ASHRAE 62.2-2013 and later, equation 4.1a; 0.01 instead of 0.03 up to 2010",),
    assumption="the whole house, no credit for leaks",
    caution="Your code may keep the older, smaller rate. Ask which edition it adopts.",
)


# ---------------------------------------------------------------- mixed air


def mixed_temperature(
    return_flow: Quantity, return_: Quantity, outside_flow: Quantity, outside: Quantity
) -> Quantity:
    """Return the temperature of two streams mixed, each flow measured at its own temperature.

    At one pressure the mass in a flow goes with flow over absolute temperature, so the mix is
    the flows' sum over the sum of each flow over its absolute temperature (dry air, constant
    heat capacity).

    Source: mass balance. Checked by tests/golden/sizing/mixed-air.toml.
    """
    masses = return_flow / return_.to("kelvin") + outside_flow / outside.to("kelvin")
    mix: Quantity = ((return_flow + outside_flow) / masses).to("degF")
    return mix


def mixed_by_share(share: Quantity, return_: Quantity, outside: Quantity) -> Quantity:
    """Return the temperature of a mix from the outside air's share of mass, or of equal volumes.

    The inverse of `companion.sizing.airflow.outside_air_fraction`.
    """
    mix: Quantity = return_ + share.to("dimensionless") * (outside - return_)
    return mix


def _work_out_mix(given: Given) -> Result:
    back, out = given.quantity("return-temperature"), given.quantity("outside-temperature")
    if given.amount("outside").unit == "percent":
        mix = mixed_by_share(given.quantity("outside"), back, out)
        how = "By share of mass"
        plain_volume = ""
    else:
        flow, fresh = given.quantity("return-flow"), given.quantity("outside")
        mix = mixed_temperature(flow, back, fresh, out)
        how = "By mass, flow over absolute temperature"
        plain_volume = _by_volume(mix, mixed_by_share(fresh / (flow + fresh), back, out))
    degrees = magnitude(mix, "degF")
    limit = figure("cold-mix")
    cold = degrees < limit
    return Result(
        lead=f"{spoken(to_step(degrees, '0.5'), 'degF')} mixed",
        value=plain(degrees),
        unit="degF",
        working=(f"{how}: {_streams(given)} = {plain(degrees)} °F",),
        why="Each stream counts by its mass; cold air is heavier.",
        metric=f"{in_metric(mix, 'degC', '0.5')}.",
        over=f"Under {spoken(limit, 'degF')}." if cold else "",
        assumption=plain_volume,
        caution="So cold a mix can trip a low limit or sweat." if cold else "",
    )


def _streams(given: Given) -> str:
    back, out = given.amount("return-temperature"), given.amount("outside-temperature")
    fresh = f"{given.amount('outside').written()} at {out.written()}"
    if given.has("return-flow"):
        return f"{given.amount('return-flow').written()} at {back.written()}, {fresh}"
    return f"{fresh}, the rest at {back.written()}"


def _by_volume(mix: Quantity, volumes: Quantity) -> str:
    """Tell that flows are taken as measured, and what plain volumes would give if that differs."""
    by_mass, by_volume = (to_step(magnitude(m, "degF"), "0.5") for m in (mix, volumes))
    other = f"; by plain volume, {say(by_volume)}" if by_mass != by_volume else ""
    return f"Each flow counts at its own temperature{other}."


def _outside_is_a_flow(given: Mapping[str, object]) -> bool:
    return getattr(given.get("outside"), "unit", None) != "percent"


_STREAM = Range("10", "3000", "cfm")
_AIR = (Range("-40", "140", "degF"),)

MIXED_AIR = Sizing(
    slug="mixed-air",
    title="Temperature of return and outside air mixed",
    group=GROUP,
    example="eight hundred return at seventy, two hundred outside at ten, what's the mix",
    formula="mix = sum of flows / sum of (flow / absolute temperature)",
    inputs=(
        Input(
            name="return-flow",
            spoken="return flow",
            ask="How many C F M of return air?",
            ranges=(_STREAM,),
            heard="{}",
            needed=_outside_is_a_flow,
        ),
        Input(
            name="return-temperature",
            spoken="return temperature",
            ask="What is the return temperature?",
            ranges=_AIR,
            heard="~return at {number}",
            from_log=("return-temperature",),
        ),
        Input(
            name="outside",
            spoken="outside flow",
            ask="How many C F M of outside air?",
            ranges=(_STREAM, Range("1", "99", "percent")),
            heard="{}",
        ),
        Input(
            name="outside-temperature",
            spoken="outside temperature",
            ask="What is the outdoor temperature?",
            ranges=_AIR,
            heard="~outside at {number}",
            from_log=("outdoor-temperature",),
        ),
    ),
    work=_work_out_mix,
    sources=("mass balance; dry air at one pressure",),
    assumption="dry air, both at one pressure",
    caution="Check the furnace's least return temperature.",
)

SIZINGS = (OUTSIDE_AIR_FRACTION, HOUSE_VENTILATION, MIXED_AIR)
