"""Round against rectangular, and how fast the air is in either."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, registry, spoken
from companion.sizing.airflow import duct_speed, rectangular_area, round_area
from companion.sizing.duct_sizes import PRACTICE, RUN, too_fast
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step, up_to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Ducts"
_WIDEST_IN = 60
_HALVINGS = 60
_HUEBSCHER = "Huebscher's equation, ASHRAE"
_CAUTION = "The same loss is not the same speed, nor the same area."
_SIDES = (Range("2", str(_WIDEST_IN), "in"),)
_WIDTH = Input("width", "width", "How many inches wide?", _SIDES, heard="{number}")
_DEPTH = Input("depth", "depth", "How many inches deep?", _SIDES, heard="~by {number}")


# ---------------------------------------------------------------- equivalent


def equivalent_round(width: Quantity, depth: Quantity) -> Quantity:
    """Return the round duct that loses as much at the same flow.

    Source: Huebscher's equation, ASHRAE. Checked by tests/golden/sizing/round-equivalent.toml.
    """
    built = registry()
    return built.Quantity(_huebscher(_inches(width), _inches(depth)), built.Unit("inch"))


def _inches(side: Quantity) -> float:
    return float(side.to("inch").magnitude)


def _huebscher(one: float, other: float) -> float:
    factor = float(figure("rectangular-factor"))
    return float(factor * (one * other) ** 0.625 / (one + other) ** 0.25)


def matching_width(depth: Quantity, diameter: Quantity) -> Quantity | None:
    """Return the width that makes a duct of that depth lose as much as a round one.

    The inverse of `equivalent_round`; None where it takes more than 60 in.
    """
    deep, wanted = _inches(depth), _inches(diameter)
    narrow, wide = 0.0, float(_WIDEST_IN)
    if _huebscher(wide, deep) < wanted:
        return None
    for _ in range(_HALVINGS):
        middle = (narrow + wide) / 2
        if _huebscher(middle, deep) < wanted:
            narrow = middle
        else:
            wide = middle
    built = registry()
    return built.Quantity(wide, built.Unit("inch"))


def _flat(width: Decimal, depth: Decimal) -> str:
    """Say that a duct is flatter than four to one."""
    if max(width, depth) > exact(figure("rectangular-ratio")) * min(width, depth):
        return "Flatter than four to one wastes metal and air."
    return ""


def _work_out_round(given: Given) -> Result:
    same = equivalent_round(given.quantity("width"), given.quantity("depth"))
    inches = magnitude(same, "in")
    lead = f"{say(to_step(inches, '0.1'))} inches round"
    over = ""
    if given.has("diameter"):
        other = exact(given.exact("diameter", "in"))
        lead += ", as good" if inches >= other else ""
        over = "" if inches >= other else f"Less than {say(other)} round."
    width, depth = given.amount("width"), given.amount("depth")
    return Result(
        lead=lead,
        value=plain(inches),
        unit="in",
        working=(
            (
                f"1.30 × ({width.written()} × {depth.written()})^0.625 / "
                f"({width.written()} + {depth.written()})^0.25 = {plain(inches)} in"
            ),
        ),
        why="Huebscher's equation: the same flow, the same friction.",
        metric=f"{in_metric(same, 'millimeter', '1')}.",
        over=over,
        caution=_flat(exact(width.to("in")), exact(depth.to("in"))),
    )


ROUND_EQUIVALENT = Sizing(
    slug="round-equivalent",
    title="Round duct that a rectangular one equals",
    group=GROUP,
    example="what's a twelve by eight equal to in round",
    formula="round = 1.30 · (width · depth)^0.625 / (width + depth)^0.25",
    inputs=(
        _WIDTH,
        _DEPTH,
        Input(
            name="diameter",
            spoken="round",
            ranges=(Range("3", "60", "in"),),
            heard="against {}",
            needed=never,
        ),
    ),
    work=_work_out_round,
    sources=(_HUEBSCHER,),
    assumption="the same flow and the same friction",
    caution=_CAUTION,
)


def _work_out_width(given: Given) -> Result:
    depth, diameter = given.amount("depth"), given.amount("diameter")
    width = matching_width(given.quantity("depth"), given.quantity("diameter"))
    if width is None:
        raise refusal(
            f"{depth.written()} deep it takes over {_WIDEST_IN} in of width",
            "Take it deeper, or two ducts.",
            f"Over {say(Decimal(_WIDEST_IN))} inches wide. Take it deeper.",
        )
    inches = magnitude(width, "in")
    up = up_to_step(inches, "0.1")
    return Result(
        lead=f"{say(up)} inches wide or more",
        value=plain(inches),
        unit="in",
        working=(
            (
                f"1.30 × ({depth.written()} × width)^0.625 / ({depth.written()} + width)^0.25 = "
                f"{diameter.written()}"
            ),
            f"Width: {plain(inches)} in, up to the next tenth",
        ),
        why="Huebscher's equation, turned round.",
        metric=f"{in_metric(quantity(up, 'in'), 'millimeter', '1')}.",
        caution=_flat(inches, exact(depth.to("in"))),
    )


RECTANGULAR_WIDTH = Sizing(
    slug="rectangular-width",
    title="Width that matches a round duct",
    group=GROUP,
    example="eight inch deep, what width matches ten inch round",
    formula="1.30 · (width · depth)^0.625 / (width + depth)^0.25 = round",
    inputs=(
        Input("depth", "depth", "How many inches deep?", _SIDES, heard="{} deep"),
        Input(
            name="diameter",
            spoken="diameter",
            ask="How many inches across is the round one?",
            ranges=(Range("3", "40", "in"),),
            heard="{} round",
        ),
    ),
    work=_work_out_width,
    sources=(_HUEBSCHER,),
    assumption="the same flow and the same friction",
    caution=_CAUTION,
)


# ---------------------------------------------------------------- velocity


def _work_out_velocity(given: Given) -> Result:
    run = given.pick("run")
    if given.has("speed"):
        speed, lines = given.quantity("speed"), ("As you gave it.",)
        why = "Against the speeds that the trade takes for quiet."
    else:
        if given.has("diameter"):
            area = round_area(given.quantity("diameter"))
        else:
            area = rectangular_area(given.quantity("width"), given.quantity("depth"))
        speed = duct_speed(given.quantity("flow"), area)
        why = "The flow over the area."
        ft2 = plain(magnitude(area, "ft2"))
        lines = (
            f"{given.amount('flow').written()} / {ft2} ft² = {plain(magnitude(speed, 'fpm'))} fpm",
        )
    fpm = magnitude(speed, "fpm")
    if fpm > figure("greatest-duct-velocity"):
        raise refusal(
            f"That would be {plain(fpm)} fpm, over what a duct runs at",
            "Check flow and size.",
            f"Over {say(figure('greatest-duct-velocity'))} feet a minute. Check flow and size.",
        )
    return Result(
        lead=_limits() if given.has("speed") else spoken(to_step(fpm, _step(fpm)), "fpm"),
        value=plain(fpm),
        unit="fpm",
        working=lines,
        why=why,
        metric=f"{in_metric(speed, 'meter / second', '0.1')}.",
        over=too_fast(fpm, run),
        caution=_fast_for_a_branch(fpm, run),
    )


def _step(fpm: Decimal) -> str:
    """Speeds go by tens; small ones by ones, or tens would swallow them."""
    return "10" if fpm >= Decimal(50) else "1"


def _limits() -> str:
    trunk, branch = (say(figure(f"{run}-speed-limit")) for run in ("trunk", "branch"))
    return f"a trunk goes to about {trunk}, a branch to {branch}"


def _fast_for_a_branch(fpm: Decimal, run: str) -> str:
    """Tell a branch's limit where the run was not said and only that one is broken."""
    if run or not figure("branch-speed-limit") < fpm <= figure("trunk-speed-limit"):
        return ""
    return f"In a branch keep to about {say(figure('branch-speed-limit'))}."


def _no_speed(given: Mapping[str, object]) -> bool:
    return "speed" not in given


def _no_size_yet(given: Mapping[str, object]) -> bool:
    return not given.keys() & {"speed", "diameter", "width", "depth"}


def _is_round(given: Mapping[str, object]) -> bool:
    return given.get("round") == "yes" and "speed" not in given


def _is_rectangular(given: Mapping[str, object]) -> bool:
    return (
        "speed" not in given
        and "diameter" not in given
        and (given.get("round") == "no" or bool(given.keys() & {"width", "depth"}))
    )


DUCT_VELOCITY = Sizing(
    slug="duct-velocity",
    title="Duct velocity against noise",
    group=GROUP,
    example="what's the velocity of four hundred in ten",
    formula="speed = flow / area; branch to about 600 fpm, trunk to about 900",
    inputs=(
        Input(
            name="speed",
            spoken="speed",
            ranges=(Range("10", "4000", "fpm"),),
            needed=never,
        ),
        Input(
            name="flow",
            spoken="flow",
            ask="How many C F M?",
            ranges=(Range("20", "3000", "cfm"),),
            needed=_no_speed,
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
            ranges=(Range("3", "30", "in"),),
            heard="{} round",
            needed=_is_round,
        ),
        Input(
            name="width",
            spoken="width",
            ask="How many inches wide?",
            ranges=(Range("3", "60", "in"),),
            heard="{number}",
            needed=_is_rectangular,
        ),
        Input(
            name="depth",
            spoken="depth",
            ask="How many inches deep?",
            ranges=(Range("3", "60", "in"),),
            heard="~by {number}",
            needed=_is_rectangular,
        ),
        RUN,
    ),
    work=_work_out_velocity,
    sources=("continuity", f"600 fpm in a branch, 900 in a trunk: {PRACTICE}"),
    assumption="the average speed, inside sizes",
    caution="Those limits are practice, not code.",
)

SIZINGS = (ROUND_EQUIVALENT, RECTANGULAR_WIDTH, DUCT_VELOCITY)
