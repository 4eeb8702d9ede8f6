"""Air through a face: filters and grilles."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.air_fan import PRACTICE
from companion.sizing.airflow import duct_flow, duct_speed, rectangular_area
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from companion.quantities import Quantity

GROUP = "Air"
_SQUARE_INCHES = 144  # in a square foot


def _size(low: str, high: str) -> tuple[Input, Input]:
    """Return the inputs of a face: '{width} by {height}'."""
    sides = (Range(low, high, "in"),)
    return (
        Input("width", "width", "How many inches wide?", sides, heard="{number}"),
        Input("height", "height", "How many inches high?", sides, heard="~by {number}"),
    )


def _face(given: Given) -> Quantity:
    return rectangular_area(given.quantity("width"), given.quantity("height"))


def _by(given: Given) -> str:
    return f"{given.amount('width').written()} × {given.amount('height').written()}"


# ---------------------------------------------------------------- filter


def _filter_flow(given: Given) -> tuple[Quantity, str]:
    """Return the flow, and what was assumed where only the tons are known."""
    if given.amount("air").unit == "cfm":
        return given.quantity("air"), ""
    tons = magnitude(given.quantity("air"), "ton")
    flow = quantity(exact(figure("airflow-per-ton")) * tons, "cfm")
    return flow, f"{say(figure('airflow-per-ton'))} C F M a ton."


_AIR = Input(
    name="air",
    spoken="air",
    ask="How many C F M, or how many tons?",
    ranges=(Range("100", "3000", "cfm"), Range("1", "5", "ton")),
)
_FILTER_SOURCES = (f"up to 300 fpm for one inch filters, 500 for deep media: {PRACTICE}",)


def _work_out_face(given: Given) -> Result:
    flow, told = _filter_flow(given)
    speed = duct_speed(flow, _face(given))
    fpm = magnitude(speed, "fpm")
    cfm = plain(magnitude(flow, "cfm"))
    over = ""
    if fpm > figure("filter-face-limit-deep"):
        over = "Too small even for deep media."
    elif fpm > figure("filter-face-limit"):
        over = "Too fast for a one inch filter."
    return Result(
        lead=spoken(to_step(fpm, "5"), "fpm"),
        value=plain(fpm),
        unit="fpm",
        working=(f"{cfm} cfm × 144 / ({_by(given)}) = {plain(fpm)} fpm",),
        why="The flow over the filter's face.",
        metric=f"{in_metric(speed, 'meter / second', '0.1')}.",
        over=over,
        assumption=told,
    )


FILTER_FACE_VELOCITY = Sizing(
    slug="filter-face-velocity",
    title="Air speed at a filter's face",
    group=GROUP,
    example="twenty by twenty five at twelve hundred c f m, face velocity",
    formula="speed = flow · 144 / (width · height), in fpm, cfm and inches",
    inputs=(*_size("8", "30"), _AIR),
    work=_work_out_face,
    sources=_FILTER_SOURCES,
    assumption="nominal size; the real face is a little smaller each way",
    caution="A finer filter wants slower air. Watch the static.",
)


def _work_out_filter_area(given: Given) -> Result:
    flow, told = _filter_flow(given)
    area = flow / given.quantity("limit")
    ft2 = magnitude(area, "ft2")
    inches2 = ft2 * _SQUARE_INCHES
    up = math.ceil(inches2)
    side = math.isqrt(up - 1) + 1
    return Result(
        lead=f"{say(Decimal(up))} square inches or more, like {say(Decimal(side))} by "
        f"{say(Decimal(-(-up // side)))}",
        value=plain(ft2),
        unit="ft2",
        working=(
            (
                f"{plain(magnitude(flow, 'cfm'))} cfm / {given.amount('limit').written()} = "
                f"{plain(ft2)} ft²"
            ),
            f"× 144 = {plain(inches2)} in²",
        ),
        why="The flow over the speed that you allow.",
        metric=f"{in_metric(area, 'meter ** 2', '0.01')}.",
        assumption=told,
    )


FILTER_AREA = Sizing(
    slug="filter-area",
    title="Filter face that keeps the air slow",
    group=GROUP,
    example="what size filter for twelve hundred c f m under three hundred",
    formula="face = flow / speed",
    inputs=(
        _AIR,
        Input(
            name="limit",
            spoken="limit",
            ranges=(Range("100", "500", "fpm"),),
            heard="under {}",
            default=str(figure("filter-face-limit")),
            assumed="three hundred feet a minute",
        ),
    ),
    work=_work_out_filter_area,
    sources=_FILTER_SOURCES,
    assumption="the real face, a little smaller than nominal",
    caution="Two filters share the flow. Watch the static.",
)


# ---------------------------------------------------------------- grille


_FREE = Input(
    name="free",
    spoken="free area",
    ask="How much of it is open: point seven?",
    ranges=(Range("0.5", "0.9", "count"), Range("50", "90", "percent")),
    heard="{} free",
)
_GRILLE = _size("3", "60")
_GRILLE_SOURCES = (f"free area as the maker gives it, or a guess: {PRACTICE}",)


def _free_share(given: Given) -> Decimal:
    free = given.amount("free")
    return exact(free.value) / 100 if free.unit == "percent" else exact(free.value)


def _free_area(given: Given) -> Quantity:
    """Return the open part of the face."""
    area: Quantity = _face(given) * float(_free_share(given))
    return area


def _work_out_grille(given: Given) -> Result:
    flow = duct_flow(given.quantity("speed"), _free_area(given))
    cfm = magnitude(flow, "cfm")
    return Result(
        lead=spoken(to_step(cfm, "5"), "cfm"),
        value=plain(cfm),
        unit="cfm",
        working=(
            (
                f"{given.amount('speed').written()} × {_by(given)} / 144 × "
                f"{plain(_free_share(given))} = {plain(cfm)} cfm"
            ),
        ),
        why="The speed times the open part of the face.",
        metric=f"{in_metric(flow, 'liter / second', '1')}.",
    )


GRILLE_FLOW = Sizing(
    slug="grille-flow",
    title="Flow through a grille from its face velocity",
    group=GROUP,
    example=(
        "two forty feet a minute through a fourteen by fourteen return with point seven free "
        "area, how much"
    ),
    formula="flow = speed · width · height / 144 · free share, in cfm, fpm and inches",
    inputs=(
        Input(
            name="speed",
            spoken="speed",
            ask="How many feet a minute at the face?",
            ranges=(Range("10", "4000", "fpm"),),
        ),
        *_GRILLE,
        _FREE,
    ),
    work=_work_out_grille,
    sources=_GRILLE_SOURCES,
    assumption="the free area as you gave it",
    caution="A hand meter reads poorly at a face. Use a hood or a traverse if it matters.",
)


def _work_out_free_area(given: Given) -> Result:
    area = _free_area(given)
    ft2 = magnitude(area, "ft2")
    inches2 = ft2 * _SQUARE_INCHES
    return Result(
        lead=f"{say(to_step(inches2, '1'))} square inches",
        value=plain(ft2),
        unit="ft2",
        working=(
            f"{_by(given)} × {plain(_free_share(given))} = {plain(inches2)} in²",
            f"/ 144 = {plain(ft2)} ft²",
        ),
        why="Width times height times the open part.",
        metric=f"{in_metric(area, 'meter ** 2', '0.001')}.",
    )


FREE_AREA = Sizing(
    slug="free-area",
    title="Free area of a grille",
    group=GROUP,
    example="what's the free area of a twelve by six at seventy five percent",
    formula="free area = width · height · free share",
    inputs=(*_GRILLE, _FREE),
    work=_work_out_free_area,
    sources=_GRILLE_SOURCES,
    assumption="the free share as you gave it",
    caution="The maker's figure beats a guess.",
)

SIZINGS = (FILTER_FACE_VELOCITY, FILTER_AREA, GRILLE_FLOW, FREE_AREA)
