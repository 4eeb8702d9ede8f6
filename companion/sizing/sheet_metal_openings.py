"""Openings in sheet metal: area, gasket, blank for a cover, what blocks a duct."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken, written
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step, to_tape, up_to_step
from companion.sizing.sheet_metal import GROUP
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity


def _millimeters(inches: Decimal) -> str:
    return in_metric(quantity(inches, "in"), "millimeter", "1")


def _no_diameter(given: Mapping[str, object]) -> bool:
    return "diameter" not in given


_WIDTH = Input(
    name="width",
    spoken="width",
    ask="How many inches wide is it?",
    ranges=(Range("1", "72", "in"),),
    heard="{number}",
    needed=_no_diameter,
)
_HEIGHT = Input(
    name="height",
    spoken="height",
    ask="How many inches high is it?",
    ranges=(Range("1", "72", "in"),),
    heard="~by {number}",
    needed=_no_diameter,
)
_DIAMETER = Input(
    name="diameter",
    spoken="diameter",
    ranges=(Range("3", "30", "in"),),
    heard="{number} round",
    needed=never,
)


# ---------------------------------------------------------------- area


def opening_area(width: Quantity, height: Quantity) -> Quantity:
    """Return the area of a rectangular opening.

    Source: geometry. Checked by tests/golden/sizing/opening-area.toml.
    """
    area: Quantity = (width * height).to("foot ** 2")
    return area


def round_opening_area(diameter: Quantity) -> Quantity:
    """Return the area of a round opening. Source: geometry."""
    area: Quantity = (math.pi * diameter**2 / 4).to("foot ** 2")
    return area


def _area(given: Given) -> tuple[Quantity, str]:
    """Return the area of the opening, and how it was found."""
    if given.has("diameter"):
        shape = f"π · ({given.amount('diameter').written()})² / 4"
        return round_opening_area(given.quantity("diameter")), shape
    shape = f"{given.amount('width').written()} × {given.amount('height').written()}"
    return opening_area(given.quantity("width"), given.quantity("height")), shape


def _work_out_area(given: Given) -> Result:
    area, shape = _area(given)
    square_feet, square_inches = magnitude(area, "ft2"), magnitude(area, "in2")
    feet = spoken(to_step(square_feet, "0.01"), "ft2")
    inches = spoken(to_step(square_inches, "1"), "in2")
    return Result(
        lead=f"{inches}, {feet}",
        value=plain(square_feet),
        unit="ft2",
        working=(
            f"{shape} = {plain(square_inches)} in²",
            f"{plain(square_inches)} / 144 = {plain(square_feet)} ft²",
        ),
        why=f"{inches} over one hundred forty four is {feet}",
        metric=in_metric(area, "meter ** 2", "0.001"),
    )


OPENING_AREA = Sizing(
    slug="opening-area",
    title="Area of an opening or a duct",
    group=GROUP,
    example="square inches in a twelve by eight",
    formula="width · height / 144; π · diameter² / 576",
    inputs=(_WIDTH, _HEIGHT, _DIAMETER),
    work=_work_out_area,
    sources=("geometry",),
    assumption="the free opening, without its flange",
    caution="A grille's free area is less than its opening.",
)


# ---------------------------------------------------------------- gasket


def edge_length(width: Quantity, height: Quantity) -> Quantity:
    """Return the perimeter of a rectangle.

    Source: geometry. Checked by tests/golden/sizing/gasket-length.toml.
    """
    around: Quantity = (2 * (width + height)).to("inch")
    return around


def round_edge_length(diameter: Quantity) -> Quantity:
    """Return the circumference of a circle. Source: geometry."""
    around: Quantity = (math.pi * diameter).to("inch")
    return around


def _work_out_gasket(given: Given) -> Result:
    if given.has("diameter"):
        around = round_edge_length(given.quantity("diameter"))
        shape = f"π × {given.amount('diameter').written()}"
    else:
        around = edge_length(given.quantity("width"), given.quantity("height"))
        shape = f"2 × ({given.amount('width').written()} + {given.amount('height').written()})"
    inches, overlap = magnitude(around, "in"), exact(figure("gasket-overlap"))
    marked = up_to_step(inches, "0.25")
    cut = marked + overlap
    return Result(
        lead=f"cut {spoken(cut, 'in')}, {spoken(marked, 'in')} around and a lap",
        value=plain(inches),
        unit="in",
        working=(
            f"Around: {shape} = {plain(inches)} in",
            f"Up to the quarter, and {written(overlap, 'in')} to overlap: {written(cut, 'in')}",
        ),
        why=f"around, up to the quarter, plus {spoken(overlap, 'in')}",
        metric=_millimeters(cut),
    )


GASKET_LENGTH = Sizing(
    slug="gasket-length",
    title="Gasket for an opening",
    group=GROUP,
    example="how much gasket for a nine by six opening",
    formula="2 · (width + height), or π · diameter; up to a quarter inch, and an inch of overlap",
    inputs=(_WIDTH, _HEIGHT, _DIAMETER),
    work=_work_out_gasket,
    sources=("geometry", "an inch of overlap: common practice, no source"),
    assumption="one strip along the edge of the opening",
    caution="Lap it at a side, not at a corner.",
)


# ---------------------------------------------------------------- blank


def blank_side(opening: Quantity, depth: Quantity, lap: Quantity) -> Quantity:
    """Return the side of a blank: the opening, and at both ends its wall and its lap.

    Source: geometry. Checked by tests/golden/sizing/blank-size.toml.
    """
    side: Quantity = (opening + 2 * depth + 2 * lap).to("inch")
    return side


def _work_out_blank(given: Given) -> Result:
    lap = given.quantity("lap")
    depth = given.quantity("depth") if given.has("depth") else quantity(Decimal(0), "in")
    wall = f" + 2 × {given.amount('depth').written()}" if given.has("depth") else ""
    sides = [
        magnitude(blank_side(given.quantity(n), depth, lap), "in") for n in ("width", "height")
    ]
    wide, high = (to_tape(side) for side in sides)
    added = f"{wall} + 2 × {given.amount('lap').written()}"
    return Result(
        lead=f"cut {say(wide)} by {spoken(high, 'in')}",
        value=plain(sides[0]),
        unit="in",
        working=(
            f"Width: {given.amount('width').written()}{added} = {plain(sides[0])} in",
            f"Height: {given.amount('height').written()}{added} = {plain(sides[1])} in",
            f"Blank: {plain(sides[0] * sides[1])} in²",
        ),
        why="the opening, and at both ends the lap" + (" and the wall" if wall else ""),
        metric=f"{_millimeters(sides[0])} by {_millimeters(sides[1])}",
    )


_HOLE = (Range("0.5", "48", "in"),)

BLANK_SIZE = Sizing(
    slug="blank-size",
    title="Blank for a patch, a cover or a box",
    group=GROUP,
    example="what size patch for a nine by six hole with an inch lap",
    formula="side = opening + 2 · depth + 2 · lap",
    inputs=(
        Input(
            name="width",
            spoken="width",
            ask="How many inches wide is it?",
            ranges=_HOLE,
            heard="{number}",
        ),
        Input(
            name="height",
            spoken="height",
            ask="How many inches high is it?",
            ranges=_HOLE,
            heard="~by {number}",
        ),
        Input(
            name="depth",
            spoken="depth",
            ranges=(Range("0", "12", "in"),),
            heard="depth {}",
            needed=never,
        ),
        Input(
            name="lap",
            spoken="lap",
            ranges=(Range("0.25", "3", "in"),),
            heard="lap {}",
            default="1",
            assumed="an inch of lap",
        ),
    ),
    work=_work_out_blank,
    sources=("geometry", "an inch of lap where none is said: common practice, no source"),
    assumption="the same lap all round, no allowance for bends",
    caution="Wear gloves. Hem what stays open.",
)


# ---------------------------------------------------------------- blockage


def blocked_share(insert: Quantity, duct: Quantity) -> Quantity:
    """Return what part of a duct's area an insert takes, seen from the front.

    Source: definition. Checked by tests/golden/sizing/duct-blockage.toml.
    """
    share: Quantity = (insert / duct).to("percent")
    return share


def speed_ratio(share: Quantity) -> float:
    """Return how many times faster the air goes past the insert. Source: continuity."""
    ratio: float = 1 / (1 - share.to("dimensionless").magnitude)
    return ratio


def _fits_in(given: Given) -> bool:
    insert = sorted(given.exact(f"insert-{side}", "in") for side in ("width", "height"))
    if given.has("diameter"):
        corner = sum(exact(side) ** 2 for side in insert)
        return corner <= exact(given.exact("diameter", "in")) ** 2
    duct = sorted(given.exact(side, "in") for side in ("width", "height"))
    return all(small <= large for small, large in zip(insert, duct, strict=True))


def _work_out_blockage(given: Given) -> Result:
    front = opening_area(given.quantity("insert-width"), given.quantity("insert-height"))
    duct, shape = _area(given)
    share = blocked_share(front, duct)
    percent = magnitude(share, "percent")
    if not _fits_in(given) or percent >= _ALL:
        raise refusal(
            f"The insert fills the duct or does not go in: {plain(percent)}%",
            "Check the sizes.",
            "That doesn't go into the duct. Check the sizes.",
        )
    ratio = Decimal(f"{speed_ratio(share):.6g}")
    limit = figure("blockage-limit")
    over = percent > limit
    faster = to_step(100 * (ratio - 1), "1")
    sides = " × ".join(given.amount(f"insert-{side}").written() for side in ("width", "height"))
    blocked = f"{say(to_step(percent, '1'))} percent"
    return Result(
        lead=f"{blocked} blocked, air {say(faster)} percent faster there",
        value=plain(percent),
        unit="percent",
        working=(
            f"100 × ({sides}) / ({shape}) = {plain(percent)}%",
            f"Speed there: 1 / (1 − {plain(percent / 100)}) = {plain(ratio)} times",
        ),
        why="the insert's front over the duct's area",
        metric=f"{blocked}, the same in metric",
        over=f"Over {say(limit)} percent." if over else "",
        caution="Check static and temperature rise again." if over else "",
    )


_ALL = Decimal(100)


def _no_size_yet(given: Mapping[str, object]) -> bool:
    return not given.keys() & {"diameter", "width", "height"}


def _is_round(given: Mapping[str, object]) -> bool:
    return given.get("round") == "yes" and not given.keys() & {"width", "height"}


def _is_rectangular(given: Mapping[str, object]) -> bool:
    if "diameter" in given:
        return False
    return given.get("round") == "no" or bool(given.keys() & {"width", "height"})


_INSERT = (Range("0.5", "40", "in"),)

DUCT_BLOCKAGE = Sizing(
    slug="duct-blockage",
    title="How much an insert blocks of a duct",
    group=GROUP,
    example="my module sticks four by six into a sixteen by twenty, how much does it block",
    formula="percent = 100 · insert / duct; speed there = speed / (1 - share)",
    inputs=(
        Input(
            name="insert-width",
            spoken="insert",
            ask="How many inches wide is what sticks in?",
            ranges=_INSERT,
            heard="{number}",
        ),
        Input(
            name="insert-height",
            spoken="insert height",
            ask="How many inches high is what sticks in?",
            ranges=_INSERT,
            heard="~by {number}",
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
            ask="How many inches across is the pipe?",
            ranges=(Range("4", "30", "in"),),
            heard="in {number} round",
            needed=_is_round,
        ),
        Input(
            name="width",
            spoken="duct",
            ask="How many inches wide is the duct?",
            ranges=(Range("4", "60", "in"),),
            heard="in {number}",
            needed=_is_rectangular,
        ),
        Input(
            name="height",
            spoken="duct height",
            ask="How many inches high is the duct?",
            ranges=(Range("4", "60", "in"),),
            heard="~by {number}",
            needed=_is_rectangular,
        ),
    ),
    work=_work_out_blockage,
    sources=("continuity", "ten percent: common practice, no source"),
    assumption="its front, straight on to the air",
)

SIZINGS = (OPENING_AREA, GASKET_LENGTH, BLANK_SIZE, DUCT_BLOCKAGE)
