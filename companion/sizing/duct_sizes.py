"""Ducts by friction: what one loses, what size a flow takes, and the rate to design at."""

from __future__ import annotations

from decimal import ROUND_DOWN, Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, registry, spoken
from companion.sizing.airflow import duct_speed, round_area
from companion.sizing.friction import LEAST_REYNOLDS, diameter_for, friction_rate, reynolds
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step, up_to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from companion.quantities import Quantity

GROUP = "Ducts"
PRACTICE = "common practice, no source"
WIDEST_IN = 30
_NARROWEST_IN = 4
_HUNDRED_FEET = Decimal(100)
_FRICTION_SOURCES = (
    "Darcy and Colebrook, ASHRAE Fundamentals, duct design",
    "roughness: ASHRAE Fundamentals, duct design",
)
_FLEX = "Flex that is not pulled tight can lose more than twice as much."
_SURFACE = Input(
    name="surface",
    spoken="duct",
    options=(
        Option("galvanized", "galvanized"),
        Option("aluminum", "aluminum"),
        Option("flex", "flex pulled tight"),
    ),
    default="galvanized",
    assumed="clean galvanized",
)
RUN = Input(
    name="run",
    spoken="run",
    options=(Option("branch", "a branch"), Option("trunk", "a trunk")),
    needed=never,
)


def in_hundred_feet(rate: Quantity) -> Quantity:
    """Return what is lost in a hundred feet at a rate per length."""
    lost: Quantity = (rate * quantity(_HUNDRED_FEET, "ft")).to("inH2O")
    return lost


def per_length(in_hundred: Quantity) -> Quantity:
    """Return the rate per length of a loss in a hundred feet: the inverse of `in_hundred_feet`."""
    rate: Quantity = (in_hundred / quantity(_HUNDRED_FEET, "ft")).to(
        registry().Unit("pascal / meter")
    )
    return rate


def check_it_is_air_in_a_duct(flow: Quantity, diameter: Quantity) -> None:
    """Refuse what hardly moves, and what moves faster than any duct is run.

    Raises:
        SizingError: it is outside what the friction equation and the trade know.
    """
    if reynolds(flow, diameter) < LEAST_REYNOLDS:
        raise refusal(
            f"The flow is not turbulent: a Reynolds number under {LEAST_REYNOLDS}",
            "Check flow and size.",
            "Too slow to figure. Check flow and size.",
        )
    fpm = magnitude(duct_speed(flow, round_area(diameter)), "fpm")
    if fpm > figure("greatest-duct-velocity"):
        raise refusal(
            f"That would be {plain(fpm)} fpm, over what a duct runs at",
            "Check flow and size.",
            f"Over {say(figure('greatest-duct-velocity'))} feet a minute. Check flow and size.",
        )


def too_fast(fpm: Decimal, run: str) -> str:
    """Return the noise limit that a speed breaks, '' for none; a trunk's where the run is open."""
    limit = figure("branch-speed-limit" if run == "branch" else "trunk-speed-limit")
    if fpm <= limit:
        return ""
    where = "a branch" if run == "branch" else "a trunk"
    return f"Over {say(limit)} feet a minute, noisy for {where}."


# ---------------------------------------------------------------- friction


def _work_out_friction(given: Given) -> Result:
    flow, diameter = given.quantity("flow"), given.quantity("diameter")
    check_it_is_air_in_a_duct(flow, diameter)
    rate = friction_rate(flow, diameter, given.pick("surface"))
    hundred = in_hundred_feet(rate)
    inches = magnitude(hundred, "inH2O")
    speed = magnitude(duct_speed(flow, round_area(diameter)), "fpm")
    said = f"{_friction(inches)} in a hundred feet"
    lines = [
        f"{plain(speed)} fpm in {given.amount('diameter').written()} round",
        f"Darcy and Colebrook: {plain(inches)} in. w.c. in 100 ft",
    ]
    metric = f"{in_metric(rate, 'pascal / meter', '0.01')}."
    if not given.has("length"):
        why = "Darcy's equation at that speed."
        return Result(said, plain(inches), "inH2O", tuple(lines), why, metric)
    lost = inches * exact(given.exact("length", "ft")) / _HUNDRED_FEET
    lines.append(f"× {given.amount('length').written()} / 100 = {plain(lost)} in. w.c.")
    return Result(
        lead=f"{_friction(lost)}, {said}",
        value=plain(lost),
        unit="inH2O",
        working=tuple(lines),
        why="Darcy's equation at that speed, for that length.",
        metric=f"{in_metric(quantity(lost, 'inH2O'), 'pascal', '0.1')}.",
    )


def _friction(inches: Decimal) -> str:
    """A small loss would lose its sense in hundredths."""
    step = "0.001" if inches < Decimal("0.05") else "0.01"
    return spoken(to_step(inches, step), "inH2O")


FLOW = Input(
    name="flow",
    spoken="flow",
    ask="How many C F M?",
    ranges=(Range("20", "5000", "cfm"),),
)
DIAMETER = Input(
    name="diameter",
    spoken="diameter",
    ask="How many inches across?",
    ranges=(Range(str(_NARROWEST_IN), str(WIDEST_IN), "in"),),
    heard="{} round",
)

DUCT_FRICTION = Sizing(
    slug="duct-friction",
    title="Friction in a round duct",
    group=GROUP,
    example="what's the friction on eight inch at two hundred c f m",
    formula="loss = f · length / diameter · density · speed² / 2, f by Colebrook",
    inputs=(
        FLOW,
        DIAMETER,
        Input(
            name="length",
            spoken="length",
            ranges=(Range("1", "800", "ft"),),
            heard="{} long",
            needed=never,
        ),
        _SURFACE,
    ),
    work=_work_out_friction,
    sources=_FRICTION_SOURCES,
    assumption="standard air, straight duct",
    caution=_FLEX,
)


# ---------------------------------------------------------------- size


def _work_out_size(given: Given) -> Result:
    flow, surface = given.quantity("flow"), given.pick("surface")
    least = diameter_for(flow, per_length(given.quantity("friction")), surface)
    inches = magnitude(least, "in")
    size = max(up_to_step(inches, "1"), Decimal(_NARROWEST_IN))
    if size > WIDEST_IN:
        raise refusal(
            f"It takes {plain(inches)} in, over {WIDEST_IN} in",
            "Split the flow, or check the rate.",
            f"Over {say(Decimal(WIDEST_IN))} inches. Split the flow.",
        )
    round_duct = quantity(size, "in")
    check_it_is_air_in_a_duct(flow, round_duct)
    fpm = magnitude(duct_speed(flow, round_area(round_duct)), "fpm")
    there = magnitude(in_hundred_feet(friction_rate(flow, round_duct, surface)), "inH2O")
    return Result(
        lead=f"{say(size)} inch round, {spoken(to_step(fpm, '10'), 'fpm')}",
        value=plain(inches),
        unit="in",
        working=(
            (
                f"{given.amount('flow').written()} loses {given.amount('friction').written()} in "
                f"100 ft at {plain(inches)} in"
            ),
            f"Next whole inch: {plain(size)} in, {plain(fpm)} fpm, {plain(there)} in. w.c.",
        ),
        why=f"{say(to_step(inches, '0.1'))} inches by friction, then the next whole inch up.",
        metric=f"{in_metric(round_duct, 'millimeter', '1')}.",
        over=too_fast(fpm, given.pick("run")),
    )


ROUND_DUCT_SIZE = Sizing(
    slug="round-duct-size",
    title="Round duct for a flow",
    group=GROUP,
    example="what round for four hundred c f m at point one",
    formula="the diameter at which the friction is the rate, up to a whole inch",
    inputs=(
        FLOW,
        Input(
            name="friction",
            spoken="rate",
            ranges=(Range("0.02", "0.2", "inH2O"),),
            heard="at {number}",
            default=str(figure("usual-friction-rate")),
            assumed="point one friction",
        ),
        RUN,
        _SURFACE,
    ),
    work=_work_out_size,
    sources=(*_FRICTION_SOURCES, f"600 fpm in a branch, 900 in a trunk: {PRACTICE}"),
    assumption="standard air, straight duct",
    caution=_FLEX,
)


# ---------------------------------------------------------------- design rate


def design_rate(available: Quantity, length: Quantity) -> Quantity:
    """Return the loss in a hundred feet that spends the available static over the length.

    Source: ACCA Manual D (from memory). Checked by tests/golden/sizing/design-friction.toml.
    """
    rate: Quantity = available * (quantity(_HUNDRED_FEET, "ft") / length).to("dimensionless")
    return rate


def _work_out_design(given: Given) -> Result:
    rate = design_rate(given.quantity("available"), given.quantity("length"))
    inches = magnitude(rate, "inH2O")
    down = inches.quantize(Decimal("0.01"), ROUND_DOWN)
    lead = spoken(down or to_step(inches, "0.001"), "inH2O")
    over = ""
    if inches < exact(figure("least-friction-rate")):
        over = "Too little to design with."
    elif inches > exact(figure("greatest-friction-rate")):
        over = "More than ducts are drawn for: they would be loud."
    return Result(
        lead=f"{lead} in a hundred feet",
        value=plain(inches),
        unit="inH2O",
        working=(
            (
                f"{given.amount('available').written()} × 100 / "
                f"{given.amount('length').written()} = {plain(inches)} in. w.c. in 100 ft"
            ),
            "Said in hundredths, down: the duct comes out no smaller",
        ),
        why="The static over the length in hundreds of feet, rounded down.",
        metric=f"{in_metric(per_length(rate), 'pascal / meter', '0.01')}.",
        over=over,
    )


DESIGN_FRICTION = Sizing(
    slug="design-friction",
    title="Friction rate to design at",
    group=GROUP,
    example="point two left and two hundred and ninety feet effective, what friction",
    formula="rate = available static · 100 / total effective length",
    inputs=(
        Input(
            name="available",
            spoken="static",
            ask="How much static is left for the duct?",
            ranges=(Range("0.02", "0.6", "inH2O"),),
        ),
        Input(
            name="length",
            spoken="length",
            ask="How many feet in all, fittings included?",
            ranges=(Range("50", "800", "ft"),),
            heard="over {}",
        ),
    ),
    work=_work_out_design,
    sources=("ACCA Manual D (from memory)",),
    assumption="the longest supply plus the longest return, fittings counted",
    caution="Fittings make most of that length. Take their feet from the manual.",
)

SIZINGS = (DUCT_FRICTION, ROUND_DUCT_SIZE, DESIGN_FRICTION)
