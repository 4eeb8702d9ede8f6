"""Conduit: how many wires it holds, and the marks of an offset."""

from __future__ import annotations

import math
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken, written
from companion.sizing.counts import count_of
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step, to_tape
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.quantities import Quantity
    from companion.sizing.tables import Row

GROUP = "Conduit and boxes"
_TABLES = "NFPA 70-2023 chapter 9 tables 1, 4 and 5"
_MANY = 3  # from three wires on the fill is the same
_EIGHTHS = 8


# ---------------------------------------------------------------- fill


def fill_share(wires: Quantity, inside: Quantity) -> Quantity:
    """Return how full a conduit is.

    Args:
        wires: cross-section of all wires together, insulation included.
        inside: the conduit's inside area.

    Source: NFPA 70-2023 chapter 9 note 6. Checked by tests/golden/sizing/conduit-fill.toml.
    """
    share: Quantity = (wires / inside).to("percent")
    return share


def allowed_area(inside: Quantity, wires: int) -> Quantity:
    """Return what so many wires may take of a conduit's inside area.

    Source: NFPA 70-2023 chapter 9 table 1.
    """
    percent = table("conduit-fill").row("wires", str(min(wires, _MANY))).exact("percent")
    allowed: Quantity = inside * float(percent) / 100
    return allowed


@dataclass(frozen=True, slots=True)
class _Fill:
    """Wires in a conduit of the table."""

    wires: tuple[Decimal, ...]  # in²
    row: Row

    @property
    def total(self) -> Decimal:
        return sum(self.wires, Decimal(0))

    @property
    def inside(self) -> Decimal:
        return exact(self.row.exact("area_in2"))

    @property
    def allowed(self) -> Decimal:
        return magnitude(allowed_area(quantity(self.inside, "in2"), len(self.wires)), "in2")

    @property
    def percent(self) -> Decimal:
        share = fill_share(quantity(self.total, "in2"), quantity(self.inside, "in2"))
        return magnitude(share, "percent")

    @property
    def fits_plainly(self) -> bool:
        return self.total <= self.allowed

    @property
    def fits(self) -> bool:
        """Whether it is allowed; a remainder of 0.8 of a wire counts as one more of its size."""
        if self.fits_plainly:
            return True
        alike = len(self.wires) > 1 and len(set(self.wires)) == 1
        least = len(self.wires) - 1 + exact(figure("conduit-round-up"))
        return alike and self.allowed / self.wires[0] >= least

    def written(self) -> str:
        size, kind = self.row.text("trade_size"), _RACEWAYS[self.row.text("raceway")]
        return (
            f"{size} {kind}: {plain(self.total)} of {plain(self.inside)} in² is "
            f"{plain(self.percent)}%, allowed {plain(self.allowed)} in² for {len(self.wires)}"
        )


_RACEWAYS = {"emt": "EMT", "flex": "FMC", "liquidtight": "LFMC"}
_SIZES = (
    Option("1/2", "half inch"),
    Option("3/4", "three quarter inch"),
    Option("1", "one inch"),
    Option("1-1/4", "inch and a quarter"),
    Option("1-1/2", "inch and a half"),
    Option("2", "two inch"),
)
_SAID = {option.value: option.spoken for option in _SIZES}
_GAUGES = (
    Option("14", "fourteen gauge"),
    Option("12", "twelve gauge"),
    Option("10", "ten gauge"),
    Option("8", "eight gauge"),
    Option("6", "six gauge"),
    Option("4", "four gauge"),
)


def _area(gauge: str) -> Decimal:
    return exact(table("thhn-wires").row("gauge", gauge).exact("area_in2"))


def _wires(given: Given) -> tuple[Decimal, ...]:
    """Return the area of each wire that was named; a ground is as thick as the first."""
    first = _area(given.pick("gauge"))
    grounds = 1 if given.pick("ground") == "yes" else 0
    wires = [first] * (count_of(given, "count", "wires") + grounds)
    if given.has("second-count") and given.has("second-gauge"):
        wires += [_area(given.pick("second-gauge"))] * count_of(given, "second-count", "wires")
    return tuple(wires)


def _rows(raceway: str) -> list[Row]:
    return [row for row in table("raceways").rows if row.text("raceway") == raceway]


def _work_out_fill(given: Given) -> Result:
    rows, size = _rows(given.pick("raceway")), given.pick("size")
    if not size:
        return _smallest(given, _wires(given), rows)
    row = next((row for row in rows if row.text("trade_size") == size), None)
    if row is None:
        raise refusal(
            f"{_RACEWAYS[given.pick('raceway')]} of {size} is not in the table",
            f"The largest is {rows[-1].text('trade_size')}.",
            f"The largest of that kind is {_SAID[rows[-1].text('trade_size')]}.",
        )
    return _verdict(given, row, rows) if given.has("count") else _most(given, row)


def _smallest_row(wires: tuple[Decimal, ...], rows: Sequence[Row]) -> Row:
    row = next((row for row in rows if _Fill(wires, row).fits), None)
    if row is None:
        raise refusal(
            f"{len(wires)} wires need more than {rows[-1].text('trade_size')}",
            "Split the run.",
            "No conduit on my list holds that.",
        )
    return row


def _smallest(given: Given, wires: tuple[Decimal, ...], rows: Sequence[Row]) -> Result:
    row = _smallest_row(wires, rows)
    fill = _Fill(wires, row)
    size = row.text("trade_size")
    smaller = [_Fill(wires, other) for other in rows[: rows.index(row)][-1:]]
    return Result(
        lead=_SAID[size],
        value=size,
        unit="",
        working=(*(each.written() + ": too full" for each in smaller), fill.written()),
        why=_why(fill),
        metric=_designated(row),
        caution=_derating(given),
    )


def _verdict(given: Given, row: Row, rows: Sequence[Row]) -> Result:
    fill = _Fill(_wires(given), row)
    full = f"{say(to_step(fill.percent, '1'))} percent full"
    if fill.fits:
        lead = f"it fits, {full}" if fill.fits_plainly else f"it just fits by rounding, {full}"
    else:
        lead = f"{full}, take {_SAID[_smallest_row(fill.wires, rows).text('trade_size')]}"
    return Result(
        lead=lead,
        value=plain(fill.percent),
        unit="percent",
        working=(fill.written(),),
        why=_why(fill),
        metric=_designated(row),
        over="" if fill.fits else "Too full.",
        caution=_derating(given),
    )


def _most(given: Given, row: Row) -> Result:
    wire = _area(given.pick("gauge"))
    fill = next_fill = _Fill((wire,), row)  # the thickest wire fits the smallest conduit once
    while next_fill.fits:
        fill, next_fill = next_fill, _Fill((*next_fill.wires, wire), row)
    most = len(fill.wires)
    return Result(
        lead=f"{say(Decimal(most))} {'wires' if most > 1 else 'wire'}",
        value=str(most),
        unit="count",
        working=(fill.written(), f"One more: {next_fill.written()}"),
        why=_why(fill),
        metric=_designated(row),
        caution=_DERATE if most > _MANY else "",
    )


def _why(fill: _Fill) -> str:
    return (
        f"{say(to_step(fill.total, '0.001'))} square inches of wire, "
        f"{say(to_step(fill.allowed, '0.001'))} allowed"
    )


_DERATE = "More than three that carry current are derated."


def _derating(given: Given) -> str:
    counted = count_of(given, "count", "wires") + count_of(given, "second-count", "wires")
    return _DERATE if counted > _MANY else ""


def _designated(row: Row) -> str:
    return f"Metric designator {say(row.exact('designator'))}"


def _no_size_yet(given: Mapping[str, object]) -> bool:
    return "size" not in given


def _second_count_is_known(given: Mapping[str, object]) -> bool:
    return "second-count" in given


CONDUIT_FILL = Sizing(
    slug="conduit-fill",
    title="Conduit fill",
    group=GROUP,
    example="what size e m t for six tens",
    formula="sum of wire areas <= 53 % (one wire), 31 % (two) or 40 % (more) of the inside",
    inputs=(
        Input(
            name="count",
            spoken="number of wires",
            ask="How many wires, without the ground?",
            ranges=(Range("1", "40", "count"),),
            kind="count",
            heard="{} wires",
            needed=_no_size_yet,
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
            name="ground",
            spoken="ground",
            options=(Option("yes", "a ground"), Option("no", "")),
            kind="yes or no",
            needed=never,
        ),
        Input(
            name="raceway",
            spoken="kind of conduit",
            options=(
                Option("emt", "E M T"),
                Option("flex", "flex"),
                Option("liquidtight", "liquid tight"),
            ),
            heard="in {}",
            default="emt",
            assumed="E M T",
        ),
        Input(
            name="size",
            spoken="trade size",
            ask="What trade size?",
            options=_SIZES,
            kind="trade size",
            needed=never,
        ),
    ),
    work=_work_out_fill,
    sources=(
        _TABLES,
        "note 7, the remainder of 0.8, and metric designators: from memory",
    ),
    assumption="T H H N, and no other wire in it",
    caution="Three eighths flex has a table of its own.",
    united_states_only=True,
)


# ---------------------------------------------------------------- offset


def mark_spacing(offset: Quantity, angle: Quantity) -> Quantity:
    """Return how far apart the two bends of an offset are marked.

    Source: trigonometry, offset / sin θ. Checked by tests/golden/sizing/conduit-offset.toml.
    """
    spacing: Quantity = offset / math.sin(angle.to("radian").magnitude)
    return spacing


def shrink(offset: Quantity, angle: Quantity) -> Quantity:
    """Return how much shorter the run gets by an offset.

    Source: trigonometry, offset · tan(θ / 2).
    """
    shorter: Quantity = offset * math.tan(angle.to("radian").magnitude / 2)
    return shorter


def _work_out_offset(given: Given) -> Result:
    offset, angle = given.quantity("offset"), given.quantity("angle")
    apart = magnitude(mark_spacing(offset, angle), "in")
    shorter = magnitude(shrink(offset, angle), "in")
    rise, bend = given.amount("offset").written(), given.amount("angle").written()
    marks, less = to_tape(apart, _EIGHTHS), to_tape(shorter, _EIGHTHS)
    return Result(
        lead=f"marks {spoken(marks, 'in')} apart, shrink {spoken(less, 'in')}",
        value=plain(apart),
        unit="in",
        working=(
            f"Marks: {rise} / sin {bend} = {plain(apart)} in, nearest {written(marks, 'in')}",
            (
                f"Shrink: {rise} × tan ({bend} / 2) = {plain(shorter)} in, "
                f"nearest {written(less, 'in')}"
            ),
        ),
        why=f"{given.amount('offset').spoken()} times {say(_multiplier(given))}",
        metric=f"marks {in_metric(quantity(apart, 'in'), 'millimeter', '1')} apart, "
        f"shrink {in_metric(quantity(shorter, 'in'), 'millimeter', '1')}",
    )


def _multiplier(given: Given) -> Decimal:
    """Return what the trade multiplies an offset by, to a tenth."""
    inch = quantity(Decimal(1), "in")
    return to_step(magnitude(mark_spacing(inch, given.quantity("angle")), "in"), "0.01")


CONDUIT_OFFSET = Sizing(
    slug="conduit-offset",
    title="Marks and shrink of a conduit offset",
    group=GROUP,
    example="six inch offset at forty five, mark spacing",
    formula="marks apart = offset / sin angle; shrink = offset · tan (angle / 2)",
    inputs=(
        Input(
            name="offset",
            spoken="offset",
            ask="How many inches of offset?",
            ranges=(Range("0.5", "24", "in"),),
            heard="offset {}",
        ),
        Input(
            name="angle",
            spoken="bend",
            ask="How many degrees of bend?",
            ranges=(Range("10", "60", "deg"),),
            heard="~at {}",
        ),
    ),
    work=_work_out_offset,
    sources=("trigonometry",),
    assumption="two equal bends",
    caution="No more than four quarter bends between pull points.",
)

SIZINGS = (CONDUIT_FILL, CONDUIT_OFFSET)
