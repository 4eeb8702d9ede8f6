"""Boxes and the room in front of equipment."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken, written
from companion.sizing.conduit import GROUP
from companion.sizing.counts import count_of
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.rounding import magnitude, plain
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity
    from companion.sizing.tables import Row

_BOX_CODE = "NFPA 70-2023 314.16(B), tables 314.16(A) and 314.16(B)(1)"


# ---------------------------------------------------------------- box fill


def grounds_allowance(grounds: int, largest: Quantity) -> Quantity:
    """Return the room that the equipment grounds of a box take together.

    Args:
        grounds: how many, 0 and above.
        largest: the allowance of a conductor as thick as the thickest of them.

    Source: NFPA 70-2023 314.16(B)(5). Checked by tests/golden/sizing/box-fill.toml.
    """
    further = max(grounds - int(figure("box-grounds-as-one")), 0)
    counted = Decimal(bool(grounds)) + further * exact(figure("box-further-ground"))
    room: Quantity = largest * float(counted)
    return room


def yokes_allowance(yokes: int, largest: Quantity) -> Quantity:
    """Return the room that switches and receptacles take. Source: 314.16(B)(4)."""
    room: Quantity = largest * yokes * float(figure("box-yoke-conductors"))
    return room


_GAUGES = (
    Option("18", "eighteen gauge"),
    Option("16", "sixteen gauge"),
    Option("14", "fourteen gauge"),
    Option("12", "twelve gauge"),
    Option("10", "ten gauge"),
    Option("8", "eight gauge"),
    Option("6", "six gauge"),
)
_BOXES = (
    Option("4x1-1/4 round", "four by one and a quarter round box"),
    Option("4x1-1/2 round", "four by one and a half round box"),
    Option("4x2-1/8 round", "four by two and an eighth round box"),
    Option("4x1-1/4 square", "four by one and a quarter square box"),
    Option("4x1-1/2 square", "four by one and a half square box"),
    Option("4x2-1/8 square", "four by two and an eighth square box"),
    Option("4-11/16x1-1/2 square", "four eleven by one and a half square box"),
    Option("4-11/16x2-1/8 square", "four eleven by two and an eighth square box"),
    Option("3x2x2 device", "two inch deep device box"),
    Option("3x2x2-1/2 device", "two and a half inch deep device box"),
    Option("3x2x2-3/4 device", "two and three quarter inch deep device box"),
    Option("3x2x3-1/2 device", "three and a half inch deep device box"),
)
_SAID = {option.value: option.spoken for option in _BOXES}


def _allowance(gauge: str) -> Decimal:
    return exact(table("box-wires").row("gauge", gauge).exact("volume_in3"))


def _shares(given: Given) -> list[tuple[str, Decimal]]:
    """Return what takes room in the box, each with its volume in cubic inches."""
    gauges = [given.pick("gauge")]
    shares = []
    for count, gauge in (("count", "gauge"), ("second-count", "second-gauge")):
        if given.has(count) and given.has(gauge):
            gauges.append(given.pick(gauge))
            wires = count_of(given, count, "wires")
            each = _allowance(given.pick(gauge))
            shares.append((f"{wires} × {given.pick(gauge)} AWG at {each} in³", wires * each))
    largest = max(map(_allowance, gauges))
    room = quantity(largest, "in3")
    grounds, yokes = count_of(given, "grounds", "grounds"), count_of(given, "yokes", "devices")
    blocks = count_of(given, "blocks", "terminal blocks")
    clamps = 1 if given.pick("clamps") == "yes" else 0
    rest = (
        (f"{grounds} grounds", magnitude(grounds_allowance(grounds, room), "in3")),
        (f"{yokes} devices", magnitude(yokes_allowance(yokes, room), "in3")),
        ("clamps", clamps * largest),
        (f"{blocks} terminal blocks", blocks * largest),
    )
    return [*shares, *((what, volume) for what, volume in rest if volume)]


def _work_out_box(given: Given) -> Result:
    shares = _shares(given)
    needed = sum((volume for _, volume in shares), Decimal(0))
    row = _smallest_box(needed, device=given.has("yokes"))
    room = f"{say(needed)} cubic inches"
    lead, over = _box_verdict(given, needed, row)
    return Result(
        lead=lead,
        value=plain(needed),
        unit="in3",
        working=(
            *(f"{what} = {plain(volume)} in³" for what, volume in shares),
            f"Together {plain(needed)} in³",
            *([f"{row.text('box')}: {row.exact('volume_in3')} in³"] if row else []),
        ),
        why=f"the parts add up to {room}",
        metric=in_metric(quantity(needed, "in3"), "centimeter ** 3", "1"),
        over=over,
    )


def _box_verdict(given: Given, needed: Decimal, row: Row | None) -> tuple[str, str]:
    """Return the box to take, and the limit that is broken: none is enough, or not this one."""
    take = f"take a {_SAID[row.text('box')]}" if row else "no box on my list holds that"
    if not given.has("box"):
        lead = take.removeprefix("take ") if row else "split it"
        return f"{lead}, {say(needed)} cubic inches", "" if row else "No box on my list holds that."
    has = exact(table("boxes").row("box", given.pick("box")).exact("volume_in3"))
    taken = f"{say(needed)} of {say(has)} cubic inches"
    return (f"it does, {taken}", "") if needed <= has else (f"{taken}, {take}", "Too small.")


def _smallest_box(needed: Decimal, *, device: bool) -> Row | None:
    """Return the smallest box that is enough: one for a device where it takes one."""
    enough = [row for row in table("boxes").rows if row.exact("volume_in3") >= needed]
    wanted = [row for row in enough if (row.text("kind") == "device") == device] or enough
    return min(wanted, key=lambda row: row.exact("volume_in3"), default=None)


def _second_count_is_known(given: Mapping[str, object]) -> bool:
    return "second-count" in given


BOX_FILL = Sizing(
    slug="box-fill",
    title="Box fill",
    group=GROUP,
    example="four twelves a ground and one switch, what box",
    formula="conductors · 1, all clamps 1, a yoke 2, up to four grounds 1, each further 1/4, "
    "a terminal block 1, each times the volume of its conductor",
    inputs=(
        Input(
            name="count",
            spoken="number of wires",
            ask="How many wires come in, without grounds?",
            ranges=(Range("0", "40", "count"),),
            kind="count",
            heard="{} wires",
        ),
        Input(
            name="gauge",
            spoken="gauge",
            ask="What gauge are the wires?",
            options=_GAUGES,
            kind="gauge",
            heard="{}",
        ),
        Input(
            name="second-count",
            spoken="number of other wires",
            ranges=(Range("1", "40", "count"),),
            kind="count",
            heard="{} more",
            needed=never,
        ),
        Input(
            name="second-gauge",
            spoken="gauge of the others",
            ask="What gauge are the others?",
            options=_GAUGES,
            kind="gauge",
            heard="{}",
            needed=_second_count_is_known,
        ),
        Input(
            name="grounds",
            spoken="grounds",
            ranges=(Range("0", "10", "count"),),
            kind="count",
            heard="grounds {}",
            needed=never,
        ),
        Input(
            name="yokes",
            spoken="devices",
            ranges=(Range("0", "4", "count"),),
            kind="count",
            heard="devices {}",
            needed=never,
        ),
        Input(
            name="clamps",
            spoken="clamps",
            options=(Option("yes", "clamps inside"), Option("no", "no clamps inside")),
            kind="yes or no",
            default="no",
            assumed="no clamps inside",
        ),
        Input(
            name="blocks",
            spoken="terminal blocks",
            ranges=(Range("0", "4", "count"),),
            kind="count",
            heard="terminal blocks {}",
            needed=never,
        ),
        Input(name="box", spoken="box", options=_BOXES, heard="{}", needed=never),
    ),
    work=_work_out_box,
    sources=(_BOX_CODE,),
    assumption="pigtails as free, only what you named in it",
    caution="A transformer takes room too. Use the enclosure it is listed with.",
    united_states_only=True,
)


# ---------------------------------------------------------------- working space


def _row_for(given: Given) -> tuple[str, Row]:
    """Return the voltage to ground in words, and the row of the table that holds for it."""
    volts = exact(given.exact("voltage", "V"))
    to_ground = figure("split-phase-ground") if volts <= figure("split-phase-limit") else volts
    rows = [row for row in table("working-space").rows if row.exact("above_v") < to_ground]
    return say(to_ground), rows[-1]


def _work_out_space(given: Given) -> Result:
    to_ground, row = _row_for(given)
    condition = given.pick("condition") or "1"
    depth = quantity(row.exact(f"condition_{condition}_ft"), "ft")
    width, height = row.exact("width_in"), row.exact("height_ft")
    feet = magnitude(depth, "ft")
    deep, high = (spoken(Fraction(size), "ft") for size in (feet, height))
    lead = f"{deep} deep, {spoken(width, 'in')} wide, {high} high"
    over = ""
    if given.has("room"):
        short = magnitude(given.quantity("room"), "ft") < feet
        over = "Too tight." if short else ""
        lead = lead if short else f"that is enough, it takes {deep}"
    return Result(
        lead=lead,
        value=plain(feet),
        unit="ft",
        working=(
            (
                f"{given.amount('voltage').written()}: condition {condition}, "
                f"{plain(feet)} ft deep (table 110.26(A)(1))"
            ),
            f"{written(width, 'in')} wide or as wide as the equipment, {height} ft high",
            "Condition 1: nothing live or grounded opposite; 2: grounded; 3: live",
        ),
        why=f"{to_ground} volts to ground, read off the table",
        metric=f"{in_metric(depth, 'millimeter', '1')} deep, "
        f"{in_metric(quantity(width, 'in'), 'millimeter', '1')} wide",
        over=over,
        assumption=f"That is {to_ground} volts to ground.",
    )


def _is_over_split_phase(given: Mapping[str, object]) -> bool:
    value = getattr(given.get("voltage"), "value", None)
    return value is not None and value > figure("split-phase-limit")


WORKING_SPACE = Sizing(
    slug="working-space",
    title="Working space in front of equipment",
    group=GROUP,
    example="working clearance at two forty",
    formula="looked up by voltage to ground and by what is opposite",
    inputs=(
        Input(
            name="voltage",
            spoken="voltage",
            ranges=(Range("100", "600", "V"),),
            heard="{}",
            default="240",
            assumed="a house supply",
        ),
        Input(
            name="condition",
            spoken="condition",
            ask="What is opposite? Condition one, two or three?",
            options=(
                Option("1", "condition one"),
                Option("2", "condition two"),
                Option("3", "condition three"),
            ),
            kind="count",
            needed=_is_over_split_phase,
        ),
        Input(
            name="room",
            spoken="room",
            ranges=(Range("6", "240", "in"),),
            heard="{} in front",
            needed=never,
        ),
    ),
    work=_work_out_space,
    sources=("NFPA 70-2023 110.26(A)",),
    caution="For gear worked on live. Your local rules may want more.",
    united_states_only=True,
)

SIZINGS = (BOX_FILL, WORKING_SPACE)
