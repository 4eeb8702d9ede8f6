"""24 V bench checks: how thick a wire is, what a coil should measure, what a signal means."""

from __future__ import annotations

from decimal import Decimal
from math import pi
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import UNITS, quantity, spoken, written
from companion.sizing.low_voltage import GROUP, PRACTICE
from companion.sizing.metric import copper_area
from companion.sizing.model import Amount, Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal, short
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

# ---------------------------------------------------------------- wire thickness

_SIZES = (
    ("24", "twenty four gauge"),
    ("22", "twenty two gauge"),
    ("20", "twenty gauge"),
    ("18", "eighteen gauge"),
    ("16", "sixteen gauge"),
    ("14", "fourteen gauge"),
    ("12", "twelve gauge"),
    ("10", "ten gauge"),
    ("8", "eight gauge"),
    ("6", "six gauge"),
    ("4", "four gauge"),
    ("3", "three gauge"),
    ("2", "two gauge"),
    ("1", "one gauge"),
    ("1/0", "one aught"),
    ("2/0", "two aught"),
    ("3/0", "three aught"),
    ("4/0", "four aught"),
)
_HUNDRED = 100


def _two_figures(value: Decimal) -> Decimal:
    """Return a figure in two figures, or whole from a hundred up."""
    return to_step(value, "1") if value >= _HUNDRED else Decimal(f"{Decimal(f'{value:.2g}'):f}")


def wire_diameter(gauge: str) -> Quantity:
    """Return the diameter of a bare solid wire.

    Args:
        gauge: AWG, '24' to '1', '1/0' to '4/0'; '1/0' counts as nought, '2/0' as minus one.

    Source: ASTM B258. Checked by tests/golden/sizing/wire-thickness.toml.
    """
    number = 1 - int(gauge.removesuffix("/0")) if gauge.endswith("/0") else int(gauge)
    return quantity(Decimal(f"{0.005 * 92 ** ((36 - number) / 39):.12g}"), "in")


def wire_area(diameter: Quantity) -> Quantity:
    """Return the cross-section of a round wire. Source: geometry."""
    area: Quantity = pi / 4 * diameter**2
    return area


def _work_out_thickness(given: Given) -> Result:
    gauge = given.pick("gauge")
    diameter = wire_diameter(gauge)
    inches, mm = magnitude(diameter, "in"), magnitude(diameter, "mm")
    area_mm2 = Decimal(f"{wire_area(diameter).to('millimeter ** 2').magnitude:.9g}")
    thick = f"{say(to_step(mm, '0.01'))} millimeters"
    area = copper_area(_two_figures(area_mm2))
    return Result(
        lead=f"{say(to_step(inches, '0.001'))} inch thick, {thick}, {area}",
        value=plain(inches),
        unit="in",
        working=(
            f"Diameter: 0.005 in · 92^((36 − n) / 39) = {plain(inches)} in (ASTM B258)",
            f"In metric: {plain(mm)} mm",
            f"Cross-section: π/4 · diameter² = {plain(area_mm2)} mm²",
        ),
        why="Six gauges thicker is about twice as thick; thirty six gauge is five thousandths.",
        metric=f"{thick} thick, {area}.",
    )


WIRE_THICKNESS = Sizing(
    slug="wire-thickness",
    title="Thickness and cross-section of a gauge",
    group=GROUP,
    example="what's eighteen gauge in millimeters",
    formula="diameter = 0.005 in · 92^((36 − n) / 39); 1/0 is n = 0, 2/0 is n = −1",
    inputs=(
        Input(
            name="gauge",
            spoken="gauge",
            ask="What gauge?",
            options=tuple(Option(size, words) for size, words in _SIZES),
            kind="gauge",
        ),
    ),
    work=_work_out_thickness,
    sources=("ASTM B258", "π/4 · diameter²"),
    assumption="one solid wire, bare",
    caution="Stranded is about an eighth fatter. Set strippers and ferrules by the strand marking.",
)


# ---------------------------------------------------------------- coil


def coil_impedance(rating: Quantity, voltage: Quantity) -> Quantity:
    """Return volts over amps of a coil at its rating; its ohms alone are always fewer.

    Source: definition of the volt-ampere. Checked by tests/golden/sizing/coil-ohms.toml.
    """
    impedance: Quantity = (voltage**2 / rating).to("ohm")
    return impedance


def _work_out_coil(given: Given) -> Result:
    volts = quantity(Decimal(given.pick("coil")), "V")
    most = magnitude(coil_impedance(given.quantity("rating"), volts), "ohm")
    least = most * exact(figure("least-coil-share")) / 100
    between = f"between {say(_two_figures(least))} and {say(_two_figures(most))} ohms"
    verdict, account = _coil_verdict(given, least, most)
    return Result(
        lead=f"{verdict}{between}",
        value=plain(most),
        unit="ohm",
        working=(
            (
                f"Volts over amps: ({given.pick('coil')} V)² / {given.amount('rating').written()} "
                f"= {plain(most)} Ω, more than the coil's ohms can be"
            ),
            f"Least ohms: a fifth of it, {plain(least)} Ω ({PRACTICE})",
            *account,
        ),
        why=f"{spoken(Decimal(given.pick('coil')), 'V')} squared, over "
        f"{given.amount('rating').spoken()}; copper alone measures less.",
        metric=f"{between}, the same in metric.",
    )


def _coil_verdict(given: Given, least: Decimal, most: Decimal) -> tuple[str, tuple[str, ...]]:
    if not given.has("reading"):
        return "", ()
    ohms = magnitude(given.quantity("reading"), "ohm")
    words, shown = given.amount("reading").spoken(), given.amount("reading").written()
    if ohms >= most:
        return f"{words} looks open, it should be ", (f"{shown} is over it: open",)
    if ohms < least:
        return f"{words} looks shorted, it should be ", (f"{shown} is under it: shorted turns",)
    amps = quantity(Decimal(given.pick("coil")), "V") / given.quantity("reading")
    limit = plain(magnitude(amps.to("ampere"), "A"))
    return f"{words} is plausible, ", (f"{shown} lies between: on d.c. it would draw {limit} A",)


COIL_OHMS = Sizing(
    slug="coil-ohms",
    title="Ohms that a coil should measure",
    group=GROUP,
    example="what should a six v a coil measure",
    formula="ohms < volts² / VA; a fifth of it at least",
    inputs=(
        Input(
            name="rating",
            spoken="coil",
            ask="How many V A is the coil?",
            ranges=(Range("1", "100", "VA"),),
        ),
        Input(
            name="reading",
            spoken="meter reading",
            ranges=(Range("0.1", "20000", "ohm"),),
            heard="",
            needed=never,
        ),
        Input(
            name="coil",
            spoken="coil voltage",
            options=(
                Option("24", "twenty four volts"),
                Option("120", "one hundred twenty volts"),
                Option("208", "two hundred eight volts"),
                Option("240", "two hundred forty volts"),
            ),
            heard="~at {}",
            default="24",
            assumed="a twenty four volt coil",
        ),
    ),
    work=_work_out_coil,
    sources=(
        "Ohm's law; an a.c. coil's ohms are fewer than its volts over amps",
        f"a fifth at least: {PRACTICE}",
    ),
    assumption="an A C coil",
    caution="Kill the power and lift a lead first. Ohms prove nothing alone: compare a twin.",
)


# ---------------------------------------------------------------- control signal


def position_of(signal: Quantity, closed: Quantity, full: Quantity) -> Quantity:
    """Return the position of a linear, direct-acting actuator as a share of its travel.

    Source: linear scaling. Checked by tests/golden/sizing/signal-position.toml.
    """
    position: Quantity = ((signal - closed) / (full - closed)).to("percent")
    return position


def signal_for(position: Quantity, closed: Quantity, full: Quantity) -> Quantity:
    """Return the signal that brings an actuator to a position: the inverse of `position_of`."""
    signal: Quantity = closed + position.to("dimensionless") * (full - closed)
    return signal


_FULL = {"V": Decimal(10), "mA": Decimal(20)}
_LIVE_ZERO = Decimal(4)  # milliamps; what four to twenty starts from


def _in_milliamps(given: Mapping[str, object]) -> bool:
    return given.get("kind") == "milliamps" or _dimension(given.get("signal")) == _CURRENT


def _dimension(measure: object) -> str:
    unit = str(getattr(measure, "unit", ""))
    return UNITS[unit].dimension if unit in UNITS else ""


_CURRENT = UNITS["mA"].dimension


def _closed_is_open_question(given: Mapping[str, object]) -> bool:
    """Volts start from zero or from two, and nobody can tell which; milliamps start from four."""
    return not _in_milliamps(given)


def _no_position(given: Mapping[str, object]) -> bool:
    return "position" not in given


def _span(given: Given) -> tuple[Amount, Amount]:
    """Return the signals of closed and of fully open, in one unit."""
    said = given.amounts["signal"][0] if given.has("signal") else None
    milliamps = given.pick("kind") == "milliamps" or _dimension(said) == _CURRENT
    unit = "mA" if milliamps else "V"
    low = given.amount("closed") if given.has("closed") else Amount(_LIVE_ZERO, unit)
    high = given.amount("full") if given.has("full") else Amount(_FULL[unit], unit)
    ends = [each for each in (low, high, said) if each is not None]
    if any(_dimension(end) != UNITS[unit].dimension for end in ends):
        raise refusal(
            "Signal and span are in different units",
            "Give all of them in volts, or all in milliamps.",
            "Volts or milliamps, not both. Ask again.",
        )
    low, high = (Amount(end.to(unit), unit) for end in (low, high))
    if exact(low.value) >= exact(high.value):
        raise refusal(
            f"A span from {low.written()} to {high.written()} opens nothing",
            "Give the closed signal first; it is the lower one.",
            "The closed signal must be the lower one.",
        )
    return low, high


def _work_out_signal(given: Given) -> Result:
    low, high = _span(given)
    unit = low.unit
    closed, full = quantity(low.value, unit), quantity(high.value, unit)
    span = f"{low.number()} to {high.spoken()}"
    shown = f"{low.written()} to {high.written()}"
    if given.has("position"):
        share = given.quantity("position")
        signal = magnitude(signal_for(share, closed, full), unit)
        said = spoken(to_step(signal, "0.1"), unit)
        return Result(
            lead=f"{said}, on {span}",
            value=plain(signal),
            unit=unit,
            working=(
                (
                    f"{low.written()} + {given.amount('position').written()} of {shown} = "
                    f"{written(Decimal(plain(signal)), unit)}"
                ),
            ),
            why=f"{given.amount('position').spoken()} of the span, on top of {low.spoken()}.",
            metric=f"{said}, the same in metric.",
        )
    signal = magnitude(given.quantity("signal"), unit)
    if not exact(low.value) <= signal <= exact(high.value):
        raise refusal(
            f"{plain(signal)} {unit} lies outside {shown}",
            "Check the signal and the actuator's setting.",
            short(f"That's outside {span}.", "That's outside the span.") + " Check the setting.",
        )
    percent = magnitude(position_of(given.quantity("signal"), closed, full), "percent")
    said = spoken(to_step(percent, "1"), "percent")
    return Result(
        lead=f"{said} open, on {span}",
        value=plain(percent),
        unit="percent",
        working=(
            (
                f"({plain(signal)} − {plain(low.value)}) / "
                f"({plain(high.value)} − {plain(low.value)}) = {plain(percent)} %, {shown}"
            ),
        ),
        why=f"How far the signal is above {low.spoken()}, out of the whole span.",
        metric=f"{said}, the same in metric.",
    )


SIGNAL_POSITION = Sizing(
    slug="signal-position",
    title="Control signal to position, and back",
    group=GROUP,
    example="six volts on two to ten how far open",
    formula="percent = 100 · (signal − closed) / (open − closed)",
    inputs=(
        Input(
            name="signal",
            spoken="signal",
            ask="What signal do you read?",
            ranges=(Range("0", "12", "V"), Range("0", "24", "mA")),
            needed=_no_position,
        ),
        Input(
            name="position",
            spoken="position",
            ranges=(Range("0", "100", "percent"),),
            heard="{} open",
            needed=never,
        ),
        Input(
            name="closed",
            spoken="closed signal",
            ask="Which signal is closed, zero volts or two?",
            ranges=(Range("0", "9", "V"), Range("0", "19", "mA")),
            heard="",
            needed=_closed_is_open_question,
        ),
        Input(
            name="full",
            spoken="open signal",
            ranges=(Range("1", "12", "V"), Range("1", "24", "mA")),
            heard="",
            needed=never,
        ),
        Input(
            name="kind",
            spoken="kind of signal",
            options=(Option("volts", "volts"), Option("milliamps", "milliamps")),
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_signal,
    sources=("linear scaling", f"open at ten volts or twenty milliamps: {PRACTICE}"),
    assumption="a linear actuator that opens as the signal rises",
    caution="Blade angle is not airflow. Measure the air.",
)


SIZINGS = (WIRE_THICKNESS, COIL_OHMS, SIGNAL_POSITION)
