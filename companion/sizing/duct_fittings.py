"""What a fitting costs, in pressure and in feet of straight duct."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.quantities import quantity, spoken
from companion.sizing.airflow import duct_flow, duct_speed, round_area
from companion.sizing.duct_sizes import (
    DIAMETER,
    check_it_is_air_in_a_duct,
    in_hundred_feet,
)
from companion.sizing.friction import friction_rate
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, never
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.standard_air import standard_density, velocity_pressure

if TYPE_CHECKING:
    from companion.quantities import Quantity

GROUP = "Ducts"
_COEFFICIENT = "What is its C, from the maker or a book?"


def fitting_loss(coefficient: float, speed: Quantity) -> Quantity:
    """Return what a fitting loses: its coefficient times the velocity pressure, standard air.

    Source: ASHRAE duct fitting method. Checked by tests/golden/sizing/fitting-loss.toml.
    """
    lost: Quantity = coefficient * velocity_pressure(speed, standard_density())
    return lost


def _work_out_loss(given: Given) -> Result:
    lost = fitting_loss(float(given.exact("coefficient", "count")), given.quantity("speed"))
    inches = magnitude(lost, "inH2O")
    return Result(
        lead=spoken(to_step(inches, "0.001"), "inH2O"),
        value=plain(inches),
        unit="inH2O",
        working=(
            (
                f"{given.amount('coefficient').written()} × ({given.amount('speed').written()} / "
                f"4005)² = {plain(inches)} in. w.c."
            ),
        ),
        why="C times the velocity pressure.",
        metric=f"{in_metric(lost, 'pascal', '0.1')}.",
    )


FITTING_LOSS = Sizing(
    slug="fitting-loss",
    title="Pressure that a fitting loses",
    group=GROUP,
    example="c of point two two at eight hundred feet a minute",
    formula="loss = C · (speed / 4005)², in in. w.c. and fpm",
    inputs=(
        Input(
            name="coefficient",
            spoken="C",
            ask=_COEFFICIENT,
            ranges=(Range("0", "2", "count"),),
            heard="C of {}",
        ),
        Input(
            name="speed",
            spoken="speed",
            ask="How many feet a minute?",
            ranges=(Range("50", "4000", "fpm"),),
            heard="at {}",
        ),
    ),
    work=_work_out_loss,
    sources=("ASHRAE duct fitting method",),
    assumption="standard air",
    caution="C differs from fitting to fitting. Take it from the maker or a book.",
)


# ---------------------------------------------------------------- feet


def equivalent_length(lost: Quantity, in_hundred: Quantity) -> Quantity:
    """Return the straight duct that loses as much, from its loss in a hundred feet.

    Source: identity. Checked by tests/golden/sizing/fitting-length.toml.
    """
    ratio = (lost / in_hundred).to("dimensionless").magnitude
    feet: Quantity = quantity(Decimal(100), "ft") * ratio
    return feet


def _work_out_length(given: Given) -> Result:
    area = round_area(given.quantity("diameter"))
    if given.amount("air").unit == "cfm":
        flow = given.quantity("air")
        speed = duct_speed(flow, area)
    else:
        speed = given.quantity("air")
        flow = duct_flow(speed, area)
    check_it_is_air_in_a_duct(flow, given.quantity("diameter"))
    lost = fitting_loss(float(given.exact("coefficient", "count")), speed)
    if given.has("friction"):
        hundred, told = given.quantity("friction"), ""
    else:
        hundred = in_hundred_feet(friction_rate(flow, given.quantity("diameter"), "galvanized"))
        told = "Beside clean galvanized duct."
    feet = equivalent_length(lost, hundred)
    found = magnitude(feet, "ft")
    return Result(
        lead=spoken(to_step(found, "1"), "ft"),
        value=plain(found),
        unit="ft",
        working=(
            (
                f"Fitting: {given.amount('coefficient').written()} × "
                f"({plain(magnitude(speed, 'fpm'))} / 4005)² = {plain(magnitude(lost, 'inH2O'))} "
                "in. w.c."
            ),
            f"Duct: {plain(magnitude(hundred, 'inH2O'))} in. w.c. in 100 ft",
            f"100 × fitting / duct = {plain(found)} ft",
        ),
        why="The fitting's loss over the duct's loss in a foot.",
        metric=f"{in_metric(feet, 'meter', '0.1')}.",
        assumption=told,
    )


FITTING_LENGTH = Sizing(
    slug="fitting-length",
    title="Feet of straight duct that a fitting is worth",
    group=GROUP,
    example="equivalent feet for c of point two in ten round at seven hundred",
    formula="length = 100 · C · velocity pressure / friction in 100 ft",
    inputs=(
        Input(
            name="coefficient",
            spoken="C",
            ask=_COEFFICIENT,
            ranges=(Range("0.02", "3", "count"),),
            heard="C of {}",
        ),
        DIAMETER,
        Input(
            name="air",
            spoken="air",
            ask="How many feet a minute, or how many C F M?",
            ranges=(Range("50", "4000", "fpm"), Range("20", "3000", "cfm")),
            heard="at {}",
        ),
        Input(
            name="friction",
            spoken="rate",
            ranges=(Range("0.02", "0.5", "inH2O"),),
            heard="friction {number}",
            needed=never,
        ),
    ),
    work=_work_out_length,
    sources=("ASHRAE duct fitting method", "Darcy and Colebrook, ASHRAE Fundamentals, duct design"),
    assumption="standard air, the flow that you told",
    caution="Lists of feet for fittings differ. The manual's come first.",
)

SIZINGS = (FITTING_LOSS, FITTING_LENGTH)
