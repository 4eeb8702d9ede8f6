"""Measuring air: a traverse, where its points go, and what ducts leak."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.airflow import duct_flow, round_area
from companion.sizing.metric import in_metric
from companion.sizing.model import Amount, Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step, to_tape
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.quantities import Quantity

GROUP = "Air"
_MOST_READINGS = 50
_TRAVERSE = "equal-area traverse, ASHRAE 111 (from memory)"


# ---------------------------------------------------------------- traverse


def average(speeds: Sequence[Quantity]) -> Quantity:
    """Return the mean of speeds: of the speeds themselves, not of their pressures.

    Source: continuity. Checked by tests/golden/sizing/traverse-average.toml.
    """
    mean: Quantity = sum(speeds[1:], speeds[0]) / len(speeds)
    return mean


def _work_out_average(given: Given) -> Result:
    readings = given.amounts["speeds"]
    if len(readings) > _MOST_READINGS:
        raise refusal(
            f"{len(readings)} readings are more than {_MOST_READINGS}",
            "Average them in two parts.",
            "Fifty readings at most. Average them in two parts.",
        )
    mean = average(given.listed("speeds"))
    fpm = magnitude(mean, "fpm")
    lines = [f"({' + '.join(plain(r.to('fpm')) for r in readings)}) / {len(readings)} = "]
    lines[0] += f"{plain(fpm)} fpm"
    said = f"{spoken(to_step(fpm, '10'), 'fpm')}{_of_readings(readings)}"
    if not given.has("diameter"):
        return Result(
            lead=said,
            value=plain(fpm),
            unit="fpm",
            working=tuple(lines),
            why=f"{_read_back(readings)} over {say(Decimal(len(readings)))}.",
            metric=f"{in_metric(mean, 'meter / second', '0.1')}.",
        )
    area = round_area(given.quantity("diameter"))
    flow = duct_flow(mean, area)
    cfm = magnitude(flow, "cfm")
    lines.append(f"× {plain(magnitude(area, 'ft2'))} ft² = {plain(cfm)} cfm")
    return Result(
        lead=f"{spoken(to_step(cfm, '5'), 'cfm')}, {said}",
        value=plain(cfm),
        unit="cfm",
        working=tuple(lines),
        why=f"{_read_back(readings)} over {say(Decimal(len(readings)))}, times the area.",
        metric=f"{in_metric(flow, 'liter / second', '1')}.",
    )


def _of_readings(readings: Sequence[Amount]) -> str:
    count = say(Decimal(len(readings)))
    return f" from {count} readings" if len(readings) > 1 else " as you gave it"


def _read_back(readings: Sequence[Amount]) -> str:
    """Say the lowest and the highest of many: reading all of them back takes no breath."""
    speeds = sorted(exact(reading.to("fpm")) for reading in readings)
    low, high = (say(round(speed, 3)) for speed in (speeds[0], speeds[-1]))
    return f"Readings from {low} to {high} added up,"


def _wants_flow(given: Mapping[str, object]) -> bool:
    return "flow" in given


TRAVERSE_AVERAGE = Sizing(
    slug="traverse-average",
    title="Average of a traverse",
    group=GROUP,
    example="average these eight twenty nine oh five eight sixty seven ninety",
    formula="speed = sum of speeds / count; flow = speed · area",
    inputs=(
        Input(
            name="speeds",
            spoken="readings",
            ask="What is the average, or the only reading?",
            ranges=(Range("50", "4000", "fpm"),),
            heard="",
            many=True,
        ),
        Input(
            name="diameter",
            spoken="diameter",
            ask="How many inches across is the round duct?",
            ranges=(Range("4", "60", "in"),),
            heard="{} round",
            needed=_wants_flow,
        ),
        Input(
            name="flow",
            spoken="flow",
            options=(Option("wanted", ""),),
            needed=never,
        ),
    ),
    work=_work_out_average,
    sources=("continuity", _TRAVERSE),
    assumption="speeds averaged, not velocity pressures",
    caution="Best seven and a half diameters behind a bend, three ahead of one.",
)


# ---------------------------------------------------------------- where the points go


def equal_area_radii(points_each_side: int) -> tuple[float, ...]:
    """Return the radii of an equal-area traverse as shares of the duct's radius, outermost first.

    Source: rings of equal area, each read at the radius that halves it; ASHRAE 111 (from memory).
    Checked by tests/golden/sizing/traverse-points.toml.
    """
    count = points_each_side
    return tuple(math.sqrt((2 * ring - 1) / (2 * count)) for ring in range(count, 0, -1))


def _work_out_points(given: Given) -> Result:
    points = exact(given.exact("points", "count"))
    if points % 2:
        raise refusal(
            f"{plain(points)} points across are no even number",
            "Take as many on each side of the center.",
            "Take an even number, as many on each side.",
        )
    radius = magnitude(given.quantity("diameter"), "in") / 2
    shares = equal_area_radii(int(points) // 2)
    walls = [radius * (1 - Decimal(f"{share:.9g}")) for share in shares]
    marks = ", ".join(say(to_tape(wall, 8) or to_tape(wall)) for wall in walls)
    metric = ", ".join(in_metric(quantity(wall, "in"), "millimeter", "1") for wall in walls)
    return Result(
        lead=f"{marks} inches from the wall, from both sides",
        value=plain(walls[0]),
        unit="in",
        working=tuple(
            f"{plain(radius)} in × (1 − {share:.4f}) = {plain(wall)} in"
            for share, wall in zip(shares, walls, strict=True)
        ),
        why="Rings of equal area, one reading in each.",
        metric=f"{metric}.",
    )


TRAVERSE_POINTS = Sizing(
    slug="traverse-points",
    title="Where the points of a traverse go in a round duct",
    group=GROUP,
    example="where do i put six points across an eighteen inch duct",
    formula="radius of point i of n a side = duct radius · √((2i - 1) / 2n)",
    inputs=(
        Input(
            name="points",
            spoken="points across",
            ask="How many points across?",
            ranges=(Range("2", "10", "count"),),
            kind="count",
            heard="{} points",
        ),
        Input(
            name="diameter",
            spoken="diameter",
            ask="How many inches across is the duct?",
            ranges=(Range("4", "60", "in"),),
            heard="{} round",
        ),
    ),
    work=_work_out_points,
    sources=(_TRAVERSE,),
    assumption="rings of equal area, inside size",
    caution="Do it twice, square to each other, and average all.",
)


# ---------------------------------------------------------------- leakage


def leakage_share(leak: Quantity, system: Quantity) -> Quantity:
    """Return the leakage as a share of the system's flow.

    Source: definition. Checked by tests/golden/sizing/duct-leakage.toml.
    """
    share: Quantity = (leak / system).to("percent")
    return share


_LEAK = Input(
    name="leak",
    spoken="leakage",
    ask="How many C F M leak at twenty five pascals?",
    ranges=(Range("0", "1000", "cfm"),),
)
_LEAK_CAUTION = "What passes is your energy code's to say. It differs by state."
_SYSTEM = (Range("400", "2500", "cfm"),)


def _work_out_leakage(given: Given) -> Result:
    share = leakage_share(given.quantity("leak"), given.quantity("system"))
    percent = magnitude(share, "percent")
    said = spoken(to_step(percent, "0.1"), "percent")
    return Result(
        lead=f"{said} leakage",
        value=plain(percent),
        unit="percent",
        working=(
            (
                f"{given.amount('leak').written()} / {given.amount('system').written()} = "
                f"{plain(percent)} %"
            ),
        ),
        why="The leakage over the system's flow.",
        metric=f"{said}, the same in metric.",
    )


DUCT_LEAKAGE = Sizing(
    slug="duct-leakage",
    title="Duct leakage as a share of the flow",
    group=GROUP,
    example="c f m twenty five came out seventy two on a twelve hundred system, percent",
    formula="share = leakage / system flow",
    inputs=(
        _LEAK,
        Input(
            name="system",
            spoken="system",
            ask="How many C F M is the system?",
            ranges=_SYSTEM,
            heard="of {}",
        ),
    ),
    work=_work_out_leakage,
    sources=("definition",),
    assumption="measured at twenty five pascals",
    caution=_LEAK_CAUTION,
)


def _work_out_by_area(given: Given) -> Result:
    leak, lines = given.quantity("leak"), []
    if given.amount("leak").unit == "percent":
        leak = (leak.to("dimensionless") * given.quantity("system")).to("foot ** 3 / minute")
        lines.append(
            f"{given.amount('leak').written()} of {given.amount('system').written()} = "
            f"{plain(magnitude(leak, 'cfm'))} cfm"
        )
    hundreds = exact(given.exact("area", "ft2")) / 100
    cfm = magnitude(leak, "cfm")
    each = cfm / hundreds
    limit = exact(figure("duct-leakage-limit"))
    lines += [
        f"{plain(cfm)} cfm / {plain(hundreds)} hundred ft² = {plain(each)} cfm",
        f"Limit of {limit} cfm for each: {plain(limit * hundreds)} cfm in all",
    ]
    return Result(
        lead=(
            f"{spoken(to_step(each, '0.1'), 'cfm')} for each hundred square feet; "
            f"{say(limit)} would be {say(to_step(limit * hundreds, '1'))} in all"
        ),
        value=plain(each),
        unit="cfm",
        working=tuple(lines),
        why="The leakage over the floor area in hundreds.",
        metric=f"{in_metric(leak, 'liter / second', '1')} in all.",
        over=f"Over {say(limit)} for each hundred square feet." if each > limit else "",
    )


def _leak_is_a_share(given: Mapping[str, object]) -> bool:
    return getattr(given.get("leak"), "unit", None) == "percent"


DUCT_LEAKAGE_BY_AREA = Sizing(
    slug="duct-leakage-by-area",
    title="Duct leakage for each hundred square feet",
    group=GROUP,
    example="what's eighty c f m of leakage on two thousand square feet",
    formula="leakage for each = leakage / (floor area / 100)",
    inputs=(
        Input(
            name=_LEAK.name,
            spoken=_LEAK.spoken,
            ask=_LEAK.ask,
            ranges=(*_LEAK.ranges, Range("0.1", "60", "percent")),
        ),
        Input(
            name="system",
            spoken="system",
            ask="How many C F M is the system?",
            ranges=_SYSTEM,
            heard="of {}",
            needed=_leak_is_a_share,
        ),
        Input(
            name="area",
            spoken="floor area",
            ask="How many square feet?",
            ranges=(Range("300", "8000", "ft2"),),
        ),
    ),
    work=_work_out_by_area,
    sources=("four cfm for each hundred square feet: IECC practice (from memory)",),
    assumption="measured at twenty five pascals",
    caution=_LEAK_CAUTION,
)

SIZINGS = (TRAVERSE_AVERAGE, TRAVERSE_POINTS, DUCT_LEAKAGE, DUCT_LEAKAGE_BY_AREA)
