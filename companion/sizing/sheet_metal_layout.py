"""Laying out sheet metal: square corners, round pipe, screws, saddles."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken, written
from companion.sizing.counts import count_of
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step, to_tape
from companion.sizing.sheet_metal import GROUP
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity


def _millimeters(inches: Decimal) -> str:
    return in_metric(quantity(inches, "in"), "millimeter", "1")


# ---------------------------------------------------------------- square


def diagonal(width: Quantity, height: Quantity) -> Quantity:
    """Return the diagonal of a rectangle.

    Source: Pythagoras. Checked by tests/golden/sizing/square-check.toml.
    """
    across: Quantity = ((width**2 + height**2) ** 0.5).to("inch")
    return across


def _work_out_square(given: Given) -> Result:
    width, height = given.amount("width"), given.amount("height")
    across = magnitude(diagonal(given.quantity("width"), given.quantity("height")), "in")
    mark = to_tape(across)
    lead, over = spoken(mark, "in"), ""
    if given.has("measured"):
        off = abs(magnitude(given.quantity("measured"), "in") - across)
        square = off <= exact(figure("square-allowance"))
        lead = f"square, {lead}" if square else f"it should be {lead}"
        over = "" if square else f"Out by {spoken(_mark_off(off), 'in')}."
    return Result(
        lead=lead,
        value=plain(across),
        unit="in",
        working=(
            f"√({width.written()}² + {height.written()}²) = {plain(across)} in",
            f"Nearest sixteenth: {written(mark, 'in')}",
        ),
        why=f"the root of {width.number()} squared and {height.number()} squared",
        metric=_millimeters(across),
        over=over,
    )


def _mark_off(off: Decimal) -> Fraction:
    """Return how far it is out on a tape: more than a sixteenth is never told as one."""
    return max(to_tape(off), Fraction(figure("square-allowance")) + Fraction(1, 16))


_SIDE = (Range("1", "120", "in"),)

SQUARE_CHECK = Sizing(
    slug="square-check",
    title="Diagonal of a square cut",
    group=GROUP,
    example="what's the diagonal on a ten by fourteen opening",
    formula="diagonal = √(width² + height²)",
    inputs=(
        Input(
            name="width",
            spoken="width",
            ask="How many inches wide is it?",
            ranges=_SIDE,
            heard="{number}",
        ),
        Input(
            name="height",
            spoken="height",
            ask="How many inches high is it?",
            ranges=_SIDE,
            heard="~by {number}",
        ),
        Input(
            name="measured",
            spoken="measured diagonal",
            ranges=(Range("1", "170", "in"),),
            heard="measured {}",
            needed=never,
        ),
    ),
    work=_work_out_square,
    sources=("Pythagoras", "a sixteenth between diagonals: common practice, no source"),
    assumption="both diagonals alike, within a sixteenth",
    caution="A cut out of square leaks at its gasket.",
)


# ---------------------------------------------------------------- round pipe


def wrap(diameter: Quantity, lap: Quantity) -> Quantity:
    """Return the strip that goes once round a pipe and laps.

    Source: geometry. Checked by tests/golden/sizing/pipe-wrap.toml.
    """
    strip: Quantity = (math.pi * diameter + lap).to("inch")
    return strip


def diameter_of_wrap(around: Quantity) -> Quantity:
    """Return a pipe's diameter from its circumference: the inverse of `wrap` without lap."""
    diameter: Quantity = (around / math.pi).to("inch")
    return diameter


def _work_out_wrap(given: Given) -> Result:
    return _strip(given) if given.has("diameter") else _pipe(given)


def _strip(given: Given) -> Result:
    lap = given.quantity("lap")
    strip = magnitude(wrap(given.quantity("diameter"), lap), "in")
    mark = to_tape(strip)
    return Result(
        lead=spoken(mark, "in"),
        value=plain(strip),
        unit="in",
        working=(
            (
                f"π × {given.amount('diameter').written()} + {given.amount('lap').written()} = "
                f"{plain(strip)} in, nearest {written(mark, 'in')}"
            ),
        ),
        why=f"pi times {given.amount('diameter').spoken()}, plus the lap",
        metric=_millimeters(strip),
    )


def _pipe(given: Given) -> Result:
    inches = magnitude(diameter_of_wrap(given.quantity("around")), "in")
    size, mark = to_step(inches, "1"), to_tape(inches)
    between = abs(inches - size) > exact(figure("pipe-size-allowance"))
    return Result(
        lead=f"{spoken(mark, 'in')} across" if between else f"{say(size)} inch pipe",
        value=plain(inches),
        unit="in",
        working=(
            (
                f"{given.amount('around').written()} / π = {plain(inches)} in across, "
                f"nearest {written(mark, 'in')}"
            ),
        ),
        why=f"{given.amount('around').spoken()} over pi is {say(to_step(inches, '0.01'))}",
        metric=_millimeters(inches),
        over="No whole inch size." if between else "",
    )


def _no_diameter(given: Mapping[str, object]) -> bool:
    return "diameter" not in given


def _has_diameter(given: Mapping[str, object]) -> bool:
    return "diameter" in given


PIPE_WRAP = Sizing(
    slug="pipe-wrap",
    title="Round pipe: size from the wrap, strip from the size",
    group=GROUP,
    example="my tape reads forty four wrapped round, what size pipe",
    formula="diameter = around / π; strip = π · diameter + lap",
    inputs=(
        Input(
            name="around",
            spoken="distance around",
            ask="How many inches around?",
            ranges=(Range("9", "100", "in"),),
            heard="{} around",
            needed=_no_diameter,
        ),
        Input(
            name="diameter",
            spoken="diameter",
            ranges=(Range("3", "30", "in"),),
            heard="{number} round",
            needed=never,
        ),
        Input(
            name="lap",
            spoken="lap",
            ranges=(Range("0", "3", "in"),),
            heard="lap {}",
            default="0",
            assumed="no lap",
            needed=_has_diameter,
        ),
    ),
    work=_work_out_wrap,
    sources=("geometry",),
    assumption="bare pipe under the tape",
    caution="Wrapped in insulation, take off twice its thickness.",
)


# ---------------------------------------------------------------- screws


def chord(diameter: Quantity, parts: int) -> Quantity:
    """Return the straight distance between neighbours of so many points on a circle.

    Source: geometry, D · sin(180° / n). Checked by tests/golden/sizing/screw-spacing.toml.
    """
    apart: Quantity = (diameter * math.sin(math.pi / parts)).to("inch")
    return apart


def least_gaps(length: Quantity, spacing: Quantity) -> int:
    """Return how many equal gaps, none wider than `spacing`, a length falls into."""
    share = float((length / spacing).to("dimensionless").magnitude)
    return math.ceil(round(share, 9))  # twelve gaps of four are twelve, in floats too


def _edge(given: Given) -> tuple[Quantity, str, bool]:
    """Return the line that the screws go along, how it was found, and whether it closes."""
    if given.has("diameter"):
        size = given.amount("diameter").written()
        return math.pi * given.quantity("diameter"), f"Around: π × {size}", True
    if given.has("width") and given.has("height"):
        around = 2 * (given.quantity("width") + given.quantity("height"))
        size = f"{given.amount('width').written()} + {given.amount('height').written()}"
        return around, f"Around: 2 × ({size})", True
    inset = given.quantity("setback")
    size = f"{given.amount('length').written()} − 2 × {given.amount('setback').written()}"
    return given.quantity("length") - 2 * inset, f"Edge: {size}", False


def _work_out_screws(given: Given) -> Result:
    line, found, closed = _edge(given)
    inches = magnitude(line, "in")
    if inches <= 0:
        raise refusal(
            "The ends set back leave no edge",
            "Check the figures.",
            "That leaves no edge. Check it.",
        )
    fewest = int(figure("least-round-screws")) if given.has("diameter") else 1
    if given.has("screws"):
        screws = count_of(given, "screws", "screws")
        gaps = screws if closed else screws - 1
    else:
        gaps = max(least_gaps(line, given.quantity("spacing")), fewest)
        screws = gaps if closed else gaps + 1
    apart = inches / gaps
    mark = to_tape(apart)
    lead = f"{spoken(mark, 'in')} apart"
    working = [f"{found} = {plain(inches)} in", f"{plain(inches)} in / {gaps} = {plain(apart)} in"]
    if given.has("diameter"):
        straight = magnitude(chord(given.quantity("diameter"), gaps), "in")
        working.append(f"Straight across, for dividers: {plain(straight)} in")
        lead = f"{lead}, dividers at {spoken(to_tape(straight), 'in')}"
    counted = "" if given.has("screws") else f"{say(Decimal(screws))} screws, "
    return Result(
        lead=f"{counted}{lead}",
        value=plain(apart) if given.has("screws") else str(screws),
        unit="in" if given.has("screws") else "count",
        working=tuple(working),
        why=f"{spoken(to_tape(inches), 'in')} in {say(Decimal(gaps))} equal gaps",
        metric=f"{_millimeters(apart)} apart",
        over="A round joint takes three screws at least." if screws < fewest else "",
    )


def _is_straight(given: Mapping[str, object]) -> bool:
    return not given.keys() & {"diameter", "width", "height"}


def _is_rectangle(given: Mapping[str, object]) -> bool:
    return "diameter" not in given and bool(given.keys() & {"width", "height"})


def _no_spacing(given: Mapping[str, object]) -> bool:
    return "spacing" not in given


SCREW_SPACING = Sizing(
    slug="screw-spacing",
    title="Screws in equal steps round a flange or along an edge",
    group=GROUP,
    example="eight screws round a twelve inch collar, how far apart",
    formula="gaps = length / spacing, rounded up; apart = length / gaps; "
    "chord = diameter · sin (180° / gaps)",
    inputs=(
        Input(
            name="screws",
            spoken="screws",
            ask="How many screws?",
            ranges=(Range("2", "60", "count"),),
            kind="count",
            heard="{} screws",
            needed=_no_spacing,
        ),
        Input(
            name="diameter",
            spoken="diameter",
            ranges=(Range("3", "30", "in"),),
            heard="{number} round",
            needed=never,
        ),
        Input(
            name="width",
            spoken="width",
            ask="How many inches wide is it?",
            ranges=(Range("1", "72", "in"),),
            heard="{number}",
            needed=_is_rectangle,
        ),
        Input(
            name="height",
            spoken="height",
            ask="How many inches high is it?",
            ranges=(Range("1", "72", "in"),),
            heard="~by {number}",
            needed=_is_rectangle,
        ),
        Input(
            name="length",
            spoken="edge",
            ask="How many inches long is the edge?",
            ranges=(Range("2", "300", "in"),),
            heard="edge {}",
            needed=_is_straight,
        ),
        Input(
            name="spacing",
            spoken="spacing",
            ranges=(Range("1", "12", "in"),),
            heard="{} at most",
            needed=never,
        ),
        Input(
            name="setback",
            spoken="setback",
            ranges=(Range("0", "2", "in"),),
            heard="ends set in {}",
            default="0",
            assumed="the first screw at the end",
            needed=_is_straight,
        ),
    ),
    work=_work_out_screws,
    sources=("geometry", "three screws in a round joint: IRC M1601.4.1"),
    assumption="equal steps, each corner counted once",
    caution="Look behind for coil, bladder and wiring before you drive one.",
)


# ---------------------------------------------------------------- saddle


def saddle_gap(diameter: Quantity, width: Quantity) -> Quantity:
    """Return how far the edges of a flat stand off a pipe that it touches in the middle.

    Source: geometry, the sagitta. Checked by tests/golden/sizing/saddle-gap.toml.
    """
    radius = diameter / 2
    gap: Quantity = (radius - (radius**2 - (width / 2) ** 2) ** 0.5).to("inch")
    return gap


def _work_out_saddle(given: Given) -> Result:
    pipe, flat = given.amount("diameter"), given.amount("width")
    if given.quantity("width") > given.quantity("diameter"):
        raise refusal(
            f"A flat of {flat.written()} is wider than the pipe, {pipe.written()}",
            "Check the two figures.",
            "The flat is wider than the pipe. Check the figures.",
        )
    inches = magnitude(saddle_gap(given.quantity("diameter"), given.quantity("width")), "in")
    wide = inches > exact(figure("tight-saddle"))
    mark = to_tape(inches)
    lead = spoken(mark, "in") if mark else "under a thirty second of an inch"
    return Result(
        lead=f"a gap of {lead}",
        value=plain(inches),
        unit="in",
        working=(
            f"R = {pipe.written()} / 2; R − √(R² − ({flat.written()} / 2)²) = {plain(inches)} in",
        ),
        why="the radius, less the root of radius squared less half the flat squared",
        metric=in_metric(quantity(inches, "in"), "millimeter", "0.1"),
        over=f"Over {spoken(Fraction(figure('tight-saddle')), 'in')}." if wide else "",
        caution="Foam alone won't hold that. Make a saddle or a square section." if wide else "",
    )


SADDLE_GAP = Sizing(
    slug="saddle-gap",
    title="Gap under a flat on a round pipe",
    group=GROUP,
    example="six inch flat box on a fourteen inch round, how deep is the gap at the edge",
    formula="gap = R - √(R² - (width / 2)²)",
    inputs=(
        Input(
            name="width",
            spoken="flat",
            ask="How many inches wide is the flat?",
            ranges=(Range("1", "30", "in"),),
            heard="flat {}",
        ),
        Input(
            name="diameter",
            spoken="pipe",
            ask="How many inches across is the pipe?",
            ranges=(Range("5", "30", "in"),),
            heard="pipe {}",
        ),
    ),
    work=_work_out_saddle,
    sources=("geometry", "a quarter inch: common practice, no source"),
    assumption="the flat touching in the middle",
)

SIZINGS = (SQUARE_CHECK, PIPE_WRAP, SCREW_SPACING, SADDLE_GAP)
