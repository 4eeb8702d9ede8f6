"""Sheet and pipe on the bench: gauge and weight, reach through board, fall of a drain."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken, written
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.rounding import magnitude, plain, to_step, up_to_step
from companion.sizing.sheet_metal import GROUP
from companion.sizing.tables import exact_number, figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity
    from companion.sizing.tables import Row


# ---------------------------------------------------------------- gauge

_GAUGES = (
    Option("20", "twenty gauge"),
    Option("22", "twenty two gauge"),
    Option("24", "twenty four gauge"),
    Option("26", "twenty six gauge"),
    Option("28", "twenty eight gauge"),
    Option("30", "thirty gauge"),
)
_SAID = {option.value: option.spoken for option in _GAUGES}


def sheet_weight(width: Quantity, length: Quantity, per_area: Quantity) -> Quantity:
    """Return the weight of a piece of sheet.

    Args:
        width: of the piece.
        length: of the piece.
        per_area: weight of an area, by gauge.

    Source: definition. Checked by tests/golden/sizing/sheet-gauge.toml.
    """
    weight: Quantity = (width * length * per_area).to("pound")
    return weight


def _row(gauge: str) -> Row:
    return table("galvanized-sheet").row("gauge", gauge)


def _thickness(row: Row) -> Decimal:
    return exact(row.exact("thickness_in"))


def _thick(row: Row) -> str:
    """Say how thick a gauge is, to the thousandth."""
    return spoken(to_step(_thickness(row), "0.001"), "in")


def _work_out_gauge(given: Given) -> Result:
    if given.has("thickness"):
        return _nearest(given)
    row = _row(given.pick("gauge"))
    return _weight(given, row) if given.has("length") else _known(row)


def _known(row: Row) -> Result:
    inches, gauge = _thickness(row), row.text("gauge")
    return Result(
        lead=_thick(row),
        value=plain(inches),
        unit="in",
        working=(f"{gauge} gauge galvanized: {inches} in (from memory)",),
        why=f"read off the table for {_SAID[gauge]}",
        metric=in_metric(quantity(inches, "in"), "millimeter", "0.01"),
    )


def _weight(given: Given, row: Row) -> Result:
    each = row.exact("weight_psf")
    per_area = quantity(each, "lb") / quantity(Decimal(1), "ft2")
    weight = sheet_weight(given.quantity("width"), given.quantity("length"), per_area)
    pounds = magnitude(weight, "lb")
    sides = f"{given.amount('width').written()} × {given.amount('length').written()}"
    return Result(
        lead=spoken(to_step(pounds, "0.1"), "lb"),
        value=plain(pounds),
        unit="lb",
        working=(
            f"{row.text('gauge')} gauge galvanized: {each} lb a square foot (from memory)",
            f"{sides} × {each} = {plain(pounds)} lb",
        ),
        why=f"{say(each)} pounds a square foot, times the area",
        metric=in_metric(weight, "kilogram", "0.1"),
    )


def _nearest(given: Given) -> Result:
    """Return the gauge nearest to a measured thickness, and whether it is the one asked about."""
    inches = magnitude(given.quantity("thickness"), "in")
    row = min(
        table("galvanized-sheet").rows,
        key=lambda each: (abs(_thickness(each) - inches), -_thickness(each)),
    )
    gauge, asked = row.text("gauge"), given.pick("gauge")
    answered = f"{'yes' if asked == gauge else 'no'}, " if asked else ""
    return Result(
        lead=f"{answered}nearest is {_SAID[gauge]}, {_thick(row)}",
        value=gauge,
        unit="",
        working=(
            f"{plain(inches)} in lies nearest to {gauge} gauge, {_thickness(row)} in (from memory)",
        ),
        why=f"of the even gauges, {_SAID[gauge]} is nearest",
        metric=in_metric(quantity(_thickness(row), "in"), "millimeter", "0.01"),
    )


def _no_thickness(given: Mapping[str, object]) -> bool:
    return "thickness" not in given


def _length_is_known(given: Mapping[str, object]) -> bool:
    return "length" in given


def _width_is_known(given: Mapping[str, object]) -> bool:
    return "width" in given


_PIECE = (Range("0.1", "20", "ft"),)

SHEET_GAUGE = Sizing(
    slug="sheet-gauge",
    title="Galvanized sheet: thickness and weight by gauge",
    group=GROUP,
    example="weight of a two by three piece of twenty four",
    formula="thickness looked up by gauge; weight = width · length · weight of a square foot",
    inputs=(
        Input(
            name="gauge",
            spoken="gauge",
            ask="What gauge is it?",
            options=_GAUGES,
            kind="gauge",
            needed=_no_thickness,
        ),
        Input(
            name="width",
            spoken="width",
            ask="How many feet wide is it?",
            ranges=_PIECE,
            heard="{number}",
            needed=_length_is_known,
        ),
        Input(
            name="length",
            spoken="length",
            ask="How many feet long is it?",
            ranges=_PIECE,
            heard="~by {}",
            needed=_width_is_known,
        ),
        Input(
            name="thickness",
            spoken="thickness",
            ranges=(Range("0.01", "0.05", "in"),),
            heard="measured {}",
            needed=never,
        ),
    ),
    work=_work_out_gauge,
    sources=("galvanized sheet gauge, nominal (from memory)",),
    assumption="galvanized sheet; other metals differ",
    caution="Gloves and glasses at cut edges. Measure bare metal.",
)


# ---------------------------------------------------------------- reach


def reach(board: Quantity, gasket: Quantity, metal: Quantity, grip: Quantity) -> Quantity:
    """Return how long a neck, a tab or a screw must be to go through and hold.

    Args:
        board: thickness of board or liner.
        gasket: thickness of the gasket, uncrushed; half of it stays.
        metal: thickness of sheet in the way.
        grip: what must stand out behind.

    Source: geometry. Checked by tests/golden/sizing/neck-length.toml.
    """
    length: Quantity = (board + gasket / 2 + metal + grip).to("inch")
    return length


def _work_out_neck(given: Given) -> Result:
    board = quantity(exact_number(given.pick("board").replace("-", " ")), "in")
    parts = (given.quantity("gasket"), given.quantity("metal"), given.quantity("grip"))
    inches = magnitude(reach(board, *parts), "in")
    cut = up_to_step(inches, "0.25")
    gasket, metal, grip = (given.amount(name).written() for name in ("gasket", "metal", "grip"))
    return Result(
        lead=f"{spoken(cut, 'in')} long",
        value=plain(inches),
        unit="in",
        working=(
            f"{given.pick('board')} in + {gasket} / 2 + {metal} + {grip} = {plain(inches)} in",
            f"Up to the next quarter: {written(cut, 'in')}",
        ),
        why="board, half the gasket, metal and grip, up to the next quarter",
        metric=in_metric(quantity(cut, "in"), "millimeter", "1"),
    )


NECK_LENGTH = Sizing(
    slug="neck-length",
    title="Neck, tab or screw through board or liner",
    group=GROUP,
    example="one inch board and a quarter gasket, how long a neck do i need",
    formula="board + gasket / 2 + metal + grip, up to the next quarter inch",
    inputs=(
        Input(
            name="board",
            spoken="board",
            ask="How thick is the board or liner?",
            options=(
                Option("1/2", "half inch"),
                Option("3/4", "three quarter inch"),
                Option("1", "one inch"),
                Option("1-1/4", "inch and a quarter"),
                Option("1-1/2", "inch and a half"),
                Option("2", "two inch"),
            ),
            kind="trade size",
            heard="{} board",
        ),
        Input(
            name="gasket",
            spoken="gasket",
            ranges=(Range("0", "1", "in"),),
            heard="gasket {}",
            default="0",
            assumed="no gasket",
        ),
        Input(
            name="metal",
            spoken="metal",
            ranges=(Range("0", "0.25", "in"),),
            heard="metal {}",
            default="0",
            assumed="no sheet to count",
        ),
        Input(
            name="grip",
            spoken="grip",
            ranges=(Range("0.25", "1", "in"),),
            heard="{} to hold",
            default="0.5",
            assumed="half an inch to hold",
        ),
    ),
    work=_work_out_neck,
    sources=("geometry", "half an inch to hold: common practice, no source"),
    assumption="the board's nominal thickness, gasket half crushed",
    caution="Seal cut board, wear a respirator. Old gray wrap may be asbestos: stop there.",
)


# ---------------------------------------------------------------- fall


def fall(run: Quantity, slope: Quantity) -> Quantity:
    """Return how far a drain falls.

    Args:
        run: its length.
        slope: its fall in one foot.

    Source: definition. Checked by tests/golden/sizing/drain-fall.toml.
    """
    drop: Quantity = (run.to("foot").magnitude * slope).to("inch")
    return drop


def slope_of(run: Quantity, drop: Quantity) -> Quantity:
    """Return the fall in one foot: the inverse of `fall`."""
    slope: Quantity = (drop / run.to("foot").magnitude).to("inch")
    return slope


def _work_out_fall(given: Given) -> Result:
    return _slope(given) if given.has("drop") else _drop(given)


def _drop(given: Given) -> Result:
    run, slope = given.amount("run"), given.amount("slope")
    inches = magnitude(fall(given.quantity("run"), given.quantity("slope")), "in")
    marked = up_to_step(inches, "0.125")
    return Result(
        lead=f"{spoken(marked, 'in')} of fall",
        value=plain(inches),
        unit="in",
        working=(
            f"{run.written()} × {slope.written()} a foot = {plain(inches)} in",
            f"Up to the next eighth: {written(marked, 'in')}",
        ),
        why=f"{run.spoken()} times {slope.spoken()} a foot",
        metric=in_metric(quantity(marked, "in"), "millimeter", "1"),
    )


_METER = Decimal(1000)  # mm


def _slope(given: Given) -> Result:
    run, drop = given.amount("run"), given.amount("drop")
    inches = magnitude(slope_of(given.quantity("run"), given.quantity("drop")), "in")
    least = figure("least-drain-slope")
    a_meter = fall(quantity(_METER, "mm"), quantity(inches, "in"))
    return Result(
        lead=f"{spoken(to_step(inches, '0.01'), 'in')} a foot",
        value=plain(inches),
        unit="in",
        working=(f"{drop.written()} / {run.written()} = {plain(inches)} in a foot",),
        why=f"{drop.spoken()} over {run.spoken()}",
        metric=f"{in_metric(a_meter, 'millimeter', '1')} a meter",
        over="Under an eighth a foot." if inches < least else "",
    )


def _no_drop(given: Mapping[str, object]) -> bool:
    return "drop" not in given


DRAIN_FALL = Sizing(
    slug="drain-fall",
    title="Fall of a drain",
    group=GROUP,
    example="quarter inch a foot over eleven feet, how much drop",
    formula="fall = run · slope; slope = fall / run",
    inputs=(
        Input(
            name="run",
            spoken="run",
            ask="How many feet long is the run?",
            ranges=(Range("0.5", "60", "ft"),),
        ),
        Input(
            name="slope",
            spoken="slope",
            ranges=(Range("0.125", "0.5", "in"),),
            heard="{} a foot",
            default="0.25",
            assumed="a quarter inch a foot",
            needed=_no_drop,
        ),
        Input(
            name="drop",
            spoken="fall",
            ranges=(Range("0.05", "30", "in"),),
            heard="{} of fall",
            needed=never,
        ),
    ),
    work=_work_out_fall,
    sources=(
        "a quarter inch a foot: common practice, no source",
        "an eighth at least: IMC (from memory)",
    ),
    caution="Your local code sets slope and where it ends.",
)

SIZINGS = (SHEET_GAUGE, NECK_LENGTH, DRAIN_FALL)
