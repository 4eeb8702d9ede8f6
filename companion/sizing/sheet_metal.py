"""Sheet metal: cut-outs, tape fractions and holes for fittings."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken, written
from companion.sizing.metric import in_metric
from companion.sizing.model import (
    Amount,
    Given,
    Input,
    Option,
    Range,
    Result,
    Sizing,
    exact,
    never,
)
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step, to_tape
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Sheet metal"
_TAPE = 16


# ---------------------------------------------------------------- cut-out


def metal_beside(face: Quantity, hole: Quantity) -> Quantity:
    """Return the metal left at both sides together, when a hole is cut in a face.

    Source: arithmetic. Checked by tests/golden/sizing/centre-cutout.toml.
    """
    left: Quantity = (face - hole).to("inch")
    return left


def tape_marks(metal_in: Decimal) -> tuple[Fraction, Fraction]:
    """Return the marks at both sides of a centred hole: tape sixteenths that add up to the metal.

    >>> tape_marks(Decimal("11")), tape_marks(Decimal("9.0625"))
    ((Fraction(11, 2), Fraction(11, 2)), (Fraction(9, 2), Fraction(73, 16)))
    """
    sixteenths = int(to_tape(metal_in, _TAPE) * _TAPE)
    near = sixteenths // 2
    return Fraction(near, _TAPE), Fraction(sixteenths - near, _TAPE)


@dataclass(frozen=True, slots=True)
class _Axis:
    """One direction of a cut-out: the two figures and the marks they make."""

    name: str
    face: Amount
    hole: Amount
    metal_in: Decimal

    @property
    def marks(self) -> tuple[Fraction, Fraction]:
        return tape_marks(self.metal_in)

    @property
    def edges(self) -> str:
        return "the sides" if self.name == "width" else "top and bottom"

    def spoken(self) -> str:
        """Return where to mark, in words."""
        near, far = self.marks
        if near == far:
            each = "each side" if self.name == "width" else "top and bottom"
            return f"{spoken(near, 'in')} from {each}"
        one, other = (
            ("one side", "the other") if self.name == "width" else ("the top", "the bottom")
        )
        return f"{spoken(near, 'in')} from {one}, {say(far)} from {other}"

    def written(self) -> str:
        """Return the working, in figures."""
        near, far = self.marks
        return (
            f"{self.name.capitalize()}: ({self.face.written()} − {self.hole.written()}) / 2 = "
            f"{plain(self.metal_in / 2)} in; marks {written(near, 'in')} and {written(far, 'in')}"
        )

    def metric(self) -> str:
        """Return where to mark, in millimeters."""
        half = quantity(self.metal_in / 2, "in")
        return f"{in_metric(half, 'millimeter', '1')} from {self.edges}"


def _axis(given: Given, name: str) -> _Axis:
    hole = f"hole-{name}" if given.has(f"hole-{name}") else "hole-width"
    face = f"face-{name}"
    metal_in = magnitude(metal_beside(given.quantity(face), given.quantity(hole)), "in")
    if metal_in < 0:
        raise refusal(
            f"The hole's {name}, {given.amount(hole).written()}, is more than the face's, "
            f"{given.amount(face).written()}",
            "Check the two figures.",
            "That hole is bigger than the face. Check the figures.",
        )
    return _Axis(name, given.amount(face), given.amount(hole), metal_in)


def _work_out_cutout(given: Given) -> Result:
    axes = [_axis(given, "width")]
    if given.has("face-height"):
        axes.append(_axis(given, "height"))
    hole_as_high = given.has("face-height") and not given.has("hole-height")
    return Result(
        lead=", ".join(axis.spoken() for axis in axes),
        value=f"{exact(axes[0].marks[0]):f}",
        unit="in",
        working=tuple(axis.written() for axis in axes),
        why="Face less hole, half of it on each side, to the nearest sixteenth.",
        metric=", ".join(axis.metric() for axis in axes) + ".",
        over=_thin_metal(min(axes, key=lambda axis: axis.marks)),
        assumption="The hole is as high as it is wide." if hole_as_high else "",
    )


def _thin_metal(tightest: _Axis) -> str:
    """Say that little metal stays beside the hole, '' where there is enough."""
    near, _ = tightest.marks
    if near >= figure("least-metal-at-hole"):
        return ""
    left = f"Only {spoken(near, 'in')} of metal" if near else "No metal"
    return f"{left} left at {tightest.edges}."


def _hole_height_is_known(given: Mapping[str, object]) -> bool:
    return "hole-height" in given


_IN_THE_FACE = (Range("0.25", "72", "in"),)
_FACE = (Range("3", "72", "in"),)

CENTRE_CUTOUT = Sizing(
    slug="centre-cutout",
    title="Centre a cut-out on a face",
    group=GROUP,
    example="center a nine by six opening on a twenty by eighteen face",
    formula="from each side = (face - hole) / 2",
    inputs=(
        Input(
            name="face-width",
            spoken="face",
            ask="How many inches wide is the face?",
            ranges=_FACE,
            heard="face {number}",
        ),
        Input(
            name="face-height",
            spoken="face height",
            ask="How many inches high is the face?",
            ranges=_FACE,
            heard="~by {number}",
            needed=_hole_height_is_known,
        ),
        Input(
            name="hole-width",
            spoken="hole",
            ask="How many inches wide is the hole?",
            ranges=_IN_THE_FACE,
            heard="hole {number}",
        ),
        Input(
            name="hole-height",
            spoken="hole height",
            ranges=_IN_THE_FACE,
            heard="~by {number}",
            needed=never,
        ),
    ),
    work=_work_out_cutout,
    sources=("arithmetic", "an inch of metal beside a hole: common practice, no source"),
    assumption="the outside of the metal as the edge, centered",
    caution="Look inside for coil, pan and igniter before you cut. Never cut a heat exchanger.",
)


# ---------------------------------------------------------------- tape


def _work_out_tape(given: Given) -> Result:
    parts = int(given.pick("parts"))
    inches = magnitude(given.quantity("length").to("inch"), "in")
    mark = to_tape(inches, parts)
    off = (exact(mark) - inches) * 1000
    return Result(
        lead=f"{spoken(mark, 'in')}, {_off_by(off)}",
        value=f"{exact(mark):f}",
        unit="in",
        working=(
            f"{given.amount('length').written()} = {plain(inches)} in (1 in = 25.4 mm)",
            f"{plain(inches)} × {parts} = {plain(inches * parts)}, nearest {mark * parts}",
            f"{_figures(mark)} in, off by {plain(off)} thousandths",
        ),
        why=f"{say(to_step(inches, '0.001'))} inches, times {say(Decimal(parts))}, nearest whole.",
        metric=f"{in_metric(quantity(mark, 'in'), 'millimeter', '0.1')}.",
    )


def _figures(mark: Fraction) -> str:
    """Return inches as a whole and a fraction, thirty-seconds too."""
    whole, over = divmod(mark, 1)
    return " ".join(filter(None, (str(whole) if whole or not over else "", str(over or ""))))


def _off_by(thousandths: Decimal) -> str:
    """Say how far a mark is from the figure: 'half a thousandth over', 'exactly'."""
    rounded = to_step(abs(thousandths), "0.1")
    if not thousandths or rounded < Decimal("0.05"):
        return "exactly"
    count = "thousandth" if rounded == 1 else "thousandths"
    return f"{say(rounded)} {count} {'over' if thousandths > 0 else 'under'}"


NEAREST_SIXTEENTH = Sizing(
    slug="nearest-sixteenth",
    title="Decimal inches or millimeters on a tape",
    group=GROUP,
    example="what's point four three seven as a fraction",
    formula="nearest whole (inches · 16) / 16",
    inputs=(
        Input(
            name="length",
            spoken="length",
            ask="How many inches or millimeters?",
            ranges=(Range("0", "120", "in"), Range("0", "3000", "mm")),
        ),
        Input(
            name="parts",
            spoken="fraction",
            options=(
                Option("8", "eighth"),
                Option("16", "sixteenth"),
                Option("32", "thirty second"),
            ),
            heard="to the nearest {}",
            default="16",
            assumed="the nearest sixteenth",
        ),
    ),
    work=_work_out_tape,
    sources=("arithmetic; 1 in = 25.4 mm exactly (NIST SP 811)",),
    caution="Round after adding, not before.",
)


# ---------------------------------------------------------------- knockout


def _work_out_knockout(given: Given) -> Result:
    size = given.pick("size")
    row = table("knockouts").row("trade_size", size)
    hole, punch, punch_mm = row.exact("hole_in"), row.exact("punch_in"), row.exact("punch_mm")
    return Result(
        lead=f"a {say(hole)} inch hole",
        value=f"{exact(hole):f}",
        unit="in",
        working=(
            f"Trade size {size}: knockout {_figures(Fraction(hole))} in (from memory)",
            f"Punch of that size: {punch} in, {punch_mm} mm (from memory)",
        ),
        why=f"A punch of that size makes {say(punch)} inches.",
        metric=f"{say(punch_mm)} millimeters with a punch.",
    )


KNOCKOUT_SIZE = Sizing(
    slug="knockout-size",
    title="Hole for a conduit connector",
    group=GROUP,
    example="what hole for a half inch connector",
    formula="looked up by trade size",
    inputs=(
        Input(
            name="size",
            spoken="trade size",
            ask="What trade size?",
            options=(
                Option("1/2", "half inch"),
                Option("3/4", "three quarter inch"),
                Option("1", "one inch"),
                Option("1-1/4", "inch and a quarter"),
                Option("1-1/2", "inch and a half"),
                Option("2", "two inch"),
            ),
            kind="trade size",
            heard="{} trade size",
        ),
    ),
    work=_work_out_knockout,
    sources=("knockouts and punches: common practice (from memory)",),
    assumption="trade size, not the size you measure",
    caution="Look behind the panel before you drill. Deburr, then locknut and bushing.",
)

SIZINGS = (CENTRE_CUTOUT, NEAREST_SIXTEENTH, KNOCKOUT_SIZE)
