"""Air by its pressures: velocity pressure, what parts cost, and what another flow makes of them."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact, never
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.standard_air import (
    density_at,
    pressure_at,
    speed_of,
    standard_density,
)
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Air"
_HUNDREDTH = "0.01"


def _inches(found: Quantity) -> str:
    return spoken(to_step(magnitude(found, "inH2O"), _HUNDREDTH), "inH2O")


def _pascals(found: Quantity) -> str:
    return f"{in_metric(found, 'pascal', '1')}."


# ---------------------------------------------------------------- velocity pressure


def _work_out_velocity(given: Given) -> Result:
    density, air = standard_density(), "standard air, 0.075 lb/ft³"
    told = "Standard air, point oh seven five pounds a cubic foot."
    if given.has("elevation"):
        elevation = given.quantity("elevation")
        density = density_at(elevation, quantity(figure("standard-air-temperature"), "degF"))
        per_ft3 = Decimal(f"{density.magnitude:.4f}")
        air = f"{given.amount('elevation').written()} and 70 °F, {plain(per_ft3)} lb/ft³"
        told = "Standard atmosphere for that height, seventy degrees."
    speed = speed_of(given.quantity("pressure"), density)
    fpm = magnitude(speed, "fpm")
    return Result(
        lead=spoken(to_step(fpm, "10"), "fpm"),
        value=plain(fpm),
        unit="fpm",
        working=(
            f"Air: {air}",
            f"1096.7 × √({given.amount('pressure').written()} / density) = {plain(fpm)} fpm",
        ),
        why="It goes with the root of the velocity pressure over the air's density.",
        metric=f"{in_metric(speed, 'meter / second', '0.1')}.",
        assumption=told,
    )


VELOCITY_PRESSURE = Sizing(
    slug="velocity-pressure",
    title="Air speed from velocity pressure",
    group=GROUP,
    example="velocity pressure's point oh four, how fast is the air",
    formula="speed = 1096.7 · √(velocity pressure / density), in fpm, in. w.c. and lb/ft³",
    inputs=(
        Input(
            name="pressure",
            spoken="pressure",
            ask="What is the velocity pressure?",
            ranges=(Range("0.001", "2", "inH2O"),),
        ),
        Input(
            name="elevation",
            spoken="elevation",
            ranges=(Range("0", "10000", "ft"),),
            heard="at {}",
            needed=never,
        ),
    ),
    work=_work_out_velocity,
    sources=("ASHRAE Fundamentals, velocity pressure equation",),
    caution="Point the tube straight into the air. Tape the holes after.",
)


# ---------------------------------------------------------------- drop


def pressure_drop(before: Quantity, after: Quantity) -> Quantity:
    """Return what is lost between two points, whatever the signs of the readings.

    Source: arithmetic. Checked by tests/golden/sizing/pressure-drop.toml.
    """
    lost: Quantity = abs(before - after)
    return lost


def _work_out_drop(given: Given) -> Result:
    lost = pressure_drop(given.quantity("before"), given.quantity("after"))
    before, after = given.amount("before"), given.amount("after")
    return Result(
        lead=_inches(lost),
        value=plain(magnitude(lost, "inH2O")),
        unit="inH2O",
        working=(
            (
                f"|({before.written()}) − ({after.written()})| = "
                f"{plain(magnitude(lost, 'inH2O'))} in. w.c."
            ),
        ),
        why="One reading less the other, the sign left off.",
        metric=_pascals(lost),
        caution=_across_the_blower(given),
    )


def _across_the_blower(given: Given) -> str:
    before, after = (exact(given.amount(name).value) for name in ("before", "after"))
    if before * after < 0:
        return "One is plus, one minus: take both on the same side of the blower."
    return ""


_STATIC = (Range("-3", "3", "inH2O"),)

PRESSURE_DROP = Sizing(
    slug="pressure-drop",
    title="Pressure drop across a part",
    group=GROUP,
    example="filter in's minus point oh eight, out's minus point three, what's the drop",
    formula="drop = |before - after|",
    inputs=(
        Input(
            name="before",
            spoken="pressure before",
            ask="What is the pressure before it?",
            ranges=_STATIC,
            heard="before {number}",
        ),
        Input(
            name="after",
            spoken="pressure after",
            ask="What is the pressure after it?",
            ranges=_STATIC,
            heard="after {number}",
        ),
    ),
    work=_work_out_drop,
    sources=("arithmetic",),
    assumption="the same airflow for both readings",
    caution="A rated drop holds at its rated flow only. It goes with the flow squared.",
)


# ---------------------------------------------------------------- budget


def _work_out_left(given: Given) -> Result:
    budget = given.quantity("budget")
    parts = [given.amount(name) for name in ("filter", "coil") if given.has(name)]
    parts += given.amounts.get("other", ())
    used = sum((exact(part.to("inH2O")) for part in parts), Decimal(0))
    left = magnitude(budget, "inH2O") - used
    taken = " − ".join([given.amount("budget").written(), *(part.written() for part in parts)])
    gone = left <= 0
    return Result(
        lead=f"{spoken(to_step(left, _HUNDREDTH), 'inH2O')} left",
        value=plain(left),
        unit="inH2O",
        working=(f"{taken} = {plain(left)} in. w.c.",),
        why="The budget less every drop.",
        metric=f"{in_metric(quantity(left, 'inH2O'), 'pascal', '1')} left.",
        over="The budget is used up." if gone else "",
    )


def _parts_by_name(given: Mapping[str, object]) -> bool:
    return "other" not in given


_DROP = (Range("0", "1", "inH2O"),)

STATIC_LEFT = Sizing(
    slug="static-left",
    title="Static left for the duct after its parts",
    group=GROUP,
    example="what's left of point five after point two two and point two",
    formula="left = budget - every drop",
    inputs=(
        Input(
            name="budget",
            spoken="budget",
            ask="How much static does the blower have?",
            ranges=(Range("0.1", "1.2", "inH2O"),),
            heard="{} less",
            from_log=("plate-static",),
        ),
        Input(
            name="filter",
            spoken="filter drop",
            ask="What does the filter drop?",
            ranges=_DROP,
            heard="filter {number}",
            from_log=("filter-drop",),
            needed=_parts_by_name,
        ),
        Input(
            name="coil",
            spoken="coil drop",
            ask="What does the coil drop?",
            ranges=_DROP,
            heard="coil {number}",
            from_log=("coil-drop",),
            needed=_parts_by_name,
        ),
        Input(
            name="other",
            spoken="other drops",
            ranges=_DROP,
            many=True,
            needed=never,
        ),
    ),
    work=_work_out_left,
    sources=("ACCA Manual D, budget of available static (from memory)",),
    assumption="every drop at the flow you run",
    caution="A rated drop holds at its rated flow. Scale it by the flow squared.",
)


# ---------------------------------------------------------------- another flow


def pressure_at_flow(pressure: Quantity, flow: Quantity, other: Quantity) -> Quantity:
    """Return a duct's or a part's pressure at another flow: it goes with the flow squared.

    Source: fan laws. Checked by tests/golden/sizing/static-at-flow.toml.
    """
    found: Quantity = pressure * (other / flow).to("dimensionless") ** 2
    return found


def _work_out_at_flow(given: Given) -> Result:
    found = pressure_at_flow(given.quantity("static"), given.quantity("from"), given.quantity("to"))
    inches = magnitude(found, "inH2O")
    ratio = magnitude((given.quantity("to") / given.quantity("from")).to("percent"), "percent")
    return Result(
        lead=spoken(to_step(inches, _at_flow_step(inches)), "inH2O"),
        value=plain(inches),
        unit="inH2O",
        working=(
            (
                f"{given.amount('static').written()} × ({given.amount('to').written()} / "
                f"{given.amount('from').written()})² = {plain(inches)} in. w.c."
            ),
        ),
        why=f"{spoken(to_step(ratio, '1'), 'percent')} of the flow, squared.",
        metric=_pascals(found),
    )


def _at_flow_step(inches: Decimal) -> str:
    """A small drop would lose its sense in hundredths."""
    return "0.001" if inches < Decimal("0.1") else _HUNDREDTH


_FLOW = (Range("100", "3000", "cfm"),)

STATIC_AT_FLOW = Sizing(
    slug="static-at-flow",
    title="Static or drop at another airflow",
    group=GROUP,
    example="static's point six at twelve hundred, what at one thousand",
    formula="static = static now · (new flow / flow now)²",
    inputs=(
        Input(
            name="static",
            spoken="static",
            ask="What is the static or drop now?",
            ranges=(Range("0.005", "2", "inH2O"),),
            from_log=("total-static",),
        ),
        Input(name="from", spoken="flow", ask="At how many C F M?", ranges=_FLOW, heard="at {}"),
        Input(
            name="to",
            spoken="new flow",
            ask="How many C F M after the change?",
            ranges=_FLOW,
            heard="then {}",
        ),
    ),
    work=_work_out_at_flow,
    sources=("fan affinity laws",),
    assumption="the same duct and the same air",
    caution="It holds for the duct. A motor that ramps up holds its flow at other watts.",
)


# ---------------------------------------------------------------- something added


def flow_after(flow: Quantity, static: Quantity, added: Quantity) -> Quantity:
    """Return the flow left when a drop is added and the fan's pressure stays as it is.

    Source: square law. Checked by tests/golden/sizing/added-drop.toml.
    """
    share = math.sqrt((static / (static + added)).to("dimensionless").magnitude)
    left: Quantity = flow * share
    return left


def _work_out_added(given: Given) -> Result:
    static, added = given.quantity("static"), given.quantity("added")
    left = flow_after(given.quantity("flow"), static, added)
    cfm = magnitude(left, "cfm")
    lost = (1 - cfm / exact(given.exact("flow", "cfm"))) * 100
    whole = magnitude(static + added, "inH2O")
    return Result(
        lead=(
            f"{spoken(to_step(cfm, '5'), 'cfm')} at worst, "
            f"{spoken(to_step(lost, '1'), 'percent')} less"
        ),
        value=plain(cfm),
        unit="cfm",
        working=(
            (
                f"{given.amount('flow').written()} × √({given.amount('static').written()} / "
                f"{plain(whole)} in. w.c.) = {plain(cfm)} cfm"
            ),
            f"Fan that holds its flow instead: {plain(whole)} in. w.c.",
        ),
        why="The flow goes with the root of old static over new.",
        metric=f"{in_metric(left, 'liter / second', '1')}.",
    )


ADDED_DROP = Sizing(
    slug="added-drop",
    title="Airflow after a module is added",
    group=GROUP,
    example="adding point oh eight to point five at twelve hundred, where does the flow go",
    formula="flow = flow now · √(static / (static + added drop))",
    inputs=(
        Input(
            name="added",
            spoken="drop",
            ask="What does the new part drop?",
            ranges=(Range("0.01", "0.5", "inH2O"),),
            heard="{number} added",
        ),
        Input(
            name="static",
            spoken="static",
            ask="What is the total static now?",
            ranges=(Range("0.1", "1.5", "inH2O"),),
            heard="~to {number}",
            from_log=("total-static",),
        ),
        Input(
            name="flow",
            spoken="flow",
            ask="How many C F M now?",
            ranges=(Range("200", "3000", "cfm"),),
            heard="at {}",
        ),
    ),
    work=_work_out_added,
    sources=("square law of a duct",),
    assumption="the fan's pressure stays put, the worst case",
    caution="Measure after. Total static must stay at or under the plate.",
)


# ---------------------------------------------------------------- elevation


def _work_out_elevation(given: Given) -> Result:
    density = density_at(given.quantity("elevation"), given.quantity("temperature"))
    per_ft3 = Decimal(f"{density.magnitude:.9g}")
    ratio = per_ft3 / exact(figure("standard-air-density"))
    heat = exact(figure("sensible-heat-factor")) * ratio
    factor = Decimal(f"{float(figure('velocity-pressure-factor')) / math.sqrt(per_ft3):.9g}")
    psi = magnitude(pressure_at(given.quantity("elevation")), "psi")
    pounds = say(to_step(per_ft3, "0.001"))
    return Result(
        lead=(
            f"{pounds} pounds a cubic foot. Heat factor {say(to_step(heat, _HUNDREDTH))}, "
            f"speed factor {say(to_step(factor, '10'))}"
        ),
        value=plain(per_ft3),
        unit="",
        working=(
            f"Pressure of the standard atmosphere: {plain(psi)} psi",
            f"0.075 × pressure / 14.696 × 529.67 / (°F + 459.67) = {plain(per_ft3)} lb/ft³",
            f"Heat factor, not 1.08: 1.08 × density / 0.075 = {plain(heat)}",
            f"Speed factor, not 4005: 1096.7 / √density = {plain(factor)}",
        ),
        why="Thinner by height, and by warmth. One oh eight and four thousand five shift with it.",
        metric=f"{in_metric(density, 'kilogram / meter ** 3', _HUNDREDTH)}.",
    )


AIR_AT_ELEVATION = Sizing(
    slug="air-at-elevation",
    title="Air density and factors at an elevation",
    group=GROUP,
    example="i'm at five thousand feet, what do i use instead of one oh eight",
    formula="density = 0.075 · pressure / 14.696 · 529.67 / (°F + 459.67)",
    inputs=(
        Input(
            name="elevation",
            spoken="elevation",
            ask="How many feet above the sea?",
            ranges=(Range("0", "10000", "ft"),),
        ),
        Input(
            name="temperature",
            spoken="temperature",
            ranges=(Range("-40", "140", "degF"),),
            default="70",
            assumed="seventy degrees",
        ),
    ),
    work=_work_out_elevation,
    sources=("US Standard Atmosphere 1976, lowest layer", "ASHRAE Fundamentals, standard air"),
    assumption="the standard atmosphere, no weather",
    caution="A furnace's own altitude rating and orifices are another matter.",
)

SIZINGS = (
    VELOCITY_PRESSURE,
    PRESSURE_DROP,
    STATIC_LEFT,
    STATIC_AT_FLOW,
    ADDED_DROP,
    AIR_AT_ELEVATION,
)
