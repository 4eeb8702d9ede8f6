"""24 V runs: voltage drop, gauge, and the current of a load."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken, written
from companion.sizing.metric import copper_area, in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from companion.ports import Exact
    from companion.quantities import Quantity
    from companion.sizing.tables import Row

GROUP = "Low voltage"
TABLE_8 = "NFPA 70-2023 chapter 9 table 8, 18 to 14 AWG, solid, 75 °C"
DERIVED = "derived from ASTM B258 and NBS Handbook 100, from memory"
TABLE_11 = "NFPA 70-2023 chapter 9 table 11(A) (from memory)"
PRACTICE = "common practice, no source"
_ORIGIN = {"published": TABLE_8, "derived": DERIVED}

_CLASS_2_CURRENT = str(figure("class-2-current-limit"))
_CLASS_2_POWER = str(figure("class-2-power-limit"))
_NOMINAL = str(figure("control-voltage"))

LOAD = Input(
    name="load",
    spoken="load",
    ask="How many amps?",
    ranges=(Range("0.02", _CLASS_2_CURRENT, "A"),),
)
LENGTH = Input(
    name="length",
    spoken="one-way length",
    ask="How many feet, one way?",
    ranges=(Range("1", "500", "ft"),),
    heard="{} one way",
)
GAUGE = Input(
    name="gauge",
    spoken="gauge",
    ask="What gauge?",
    options=tuple(
        Option(size, f"{words} gauge")
        for size, words in (
            ("14", "fourteen"),
            ("16", "sixteen"),
            ("18", "eighteen"),
            ("20", "twenty"),
            ("22", "twenty two"),
            ("24", "twenty four"),
        )
    ),
    kind="gauge",
)
SOURCE = Input(
    name="source",
    spoken="source voltage",
    ask="What voltage at the transformer?",
    ranges=(Range("20", "30", "V"),),
    heard="from {}",
    default=_NOMINAL,
    assumed="twenty four volts at the source",
)
WIRE = Input(
    name="wire",
    spoken="wire temperature",
    options=(Option("warm", "warm wire"), Option("cold", "cold wire")),
    default="warm",
    assumed="solid copper, warm",
)
_COLUMN = {"warm": "warm_ohm_per_kft", "cold": "cold_ohm_per_kft"}
_WARMTH = {"warm": "75 °C", "cold": "20 °C"}


# ---------------------------------------------------------------- voltage drop


def voltage_drop(load: Quantity, length: Quantity, resistance: Quantity) -> Quantity:
    """Return the drop over both conductors of a run.

    Args:
        load: current.
        length: one way; both conductors are counted here.
        resistance: of one conductor, per length.

    Source: Ohm's law. Checked by tests/golden/sizing/voltage-drop.toml.
    """
    drop: Quantity = (2 * length * resistance * load).to("volt")
    return drop


def resistance_of(gauge: str, warmth: str = "warm") -> Quantity:
    """Return one solid copper conductor's resistance per length, 'warm' 75 °C or 'cold' 20 °C."""
    per_kft = table("copper-solid").row("gauge", gauge).exact(_COLUMN[warmth])
    resistance: Quantity = quantity(per_kft, "ohm") / quantity(Decimal(1000), "ft")
    return resistance


def _work_out_drop(given: Given) -> Result:
    gauge, warmth = given.pick("gauge"), given.pick("wire")
    lost = voltage_drop(
        given.quantity("load"), given.quantity("length"), resistance_of(gauge, warmth)
    )
    source = given.quantity("source")
    drop_v, left_v = magnitude(lost, "V"), magnitude(source - lost, "V")
    share = magnitude(lost / source, "percent")
    row = table("copper-solid").row("gauge", gauge)
    per_kft = row.exact(_COLUMN[warmth])
    origin = DERIVED if warmth == "cold" else _ORIGIN[row.text("origin")]
    length, load = (
        written(given.exact("length", "ft"), "ft"),
        written(given.exact("load", "A"), "A"),
    )
    dropped = spoken(to_step(drop_v, "0.1"), "V")
    return Result(
        lead=f"{dropped} lost, {spoken(to_step(share, '1'), 'percent')}, {_left(left_v)}",
        value=plain(drop_v),
        unit="V",
        working=(
            (f"{gauge} AWG solid copper at {_WARMTH[warmth]}: {per_kft} Ω per 1000 ft ({origin})"),
            f"Drop: 2 × {length} × {per_kft} Ω / 1000 ft × {load} = {plain(drop_v)} V",
            f"Share: {plain(drop_v)} V / {given.amount('source').written()} = {plain(share)} %",
            f"Left: {plain(left_v)} V",
        ),
        why=f"Two times the length, {say(per_kft)} ohms a thousand feet, times the amps.",
        metric=f"{dropped}, over {in_metric(given.quantity('length'), 'meter', '0.1')} one way.",
        over=_too_little(left_v),
    )


def _left(left_v: Decimal) -> str:
    if left_v <= 0:
        return "nothing left"
    return f"{say(to_step(left_v, '0.1'))} left"


def _too_little(left_v: Decimal) -> str:
    least = figure("least-device-voltage")
    return f"Under {spoken(least, 'V')} at the far end." if left_v < least else ""


VOLTAGE_DROP = Sizing(
    slug="voltage-drop",
    title="Voltage drop on a 24 V run",
    group=GROUP,
    example="what's the drop on sixty feet of eighteen gauge at half an amp",
    formula="drop = 2 · length · resistance · load",
    inputs=(LOAD, LENGTH, GAUGE, SOURCE, WIRE),
    work=_work_out_drop,
    sources=("Ohm's law", TABLE_8, f"24 to 20 AWG, and cold wire: {DERIVED}"),
    assumption="the length one way",
    caution="The device's own minimum decides. Don't parallel wires to fix a drop.",
)


# ---------------------------------------------------------------- gauge


def greatest_resistance(drop: Quantity, load: Quantity, length: Quantity) -> Quantity:
    """Return the resistance per length that one conductor of a run may have.

    Args:
        drop: allowed voltage drop over both conductors.
        load: current.
        length: one way.

    Source: Ohm's law. Checked by tests/golden/sizing/low-voltage-gauge.toml.
    """
    resistance: Quantity = drop / (2 * length * load)
    return resistance


def thinnest_gauge(greatest_ohm_per_kft: Exact) -> str | None:
    """Return the thinnest gauge of warm copper that stays under a resistance, None for none."""
    rows = table("copper-solid").rows  # thinnest first
    fits = (row for row in rows if row.exact("warm_ohm_per_kft") <= greatest_ohm_per_kft)
    return next((row.text("gauge") for row in fits), None)


def _work_out_gauge(given: Given) -> Result:
    allowed = (given.quantity("drop") * given.quantity("source")).to("volt")
    limit = _per_kft(greatest_resistance(allowed, given.quantity("load"), given.quantity("length")))
    gauge = thinnest_gauge(limit)
    if gauge is None:
        raise refusal(
            f"Even 14 AWG drops more than {plain(magnitude(allowed, 'V'))} V there",
            "Shorten the run, split the load, or put the transformer nearer.",
            "Fourteen gauge won't do. Shorten the run or split the load.",
        )
    row = table("copper-solid").row("gauge", gauge)
    return Result(
        lead=f"{_verdict(given.pick('gauge'), gauge)}{say(Decimal(gauge))} gauge",
        value=gauge,
        unit="gauge",
        working=_gauge_account(given, allowed, limit, row),
        why=f"At most {say(to_step(limit, '0.1'))} ohms a thousand feet; "
        f"{say(Decimal(gauge))} gauge has {say(row.exact('warm_ohm_per_kft'))}.",
        metric=f"At least {copper_area(row.exact('area_mm2'))} of copper.",
        assumption=_if_ten_percent(given, gauge),
    )


def _gauge_account(given: Given, allowed: Quantity, limit: Decimal, row: Row) -> tuple[str, ...]:
    drop, source = given.amount("drop").written(), given.amount("source").written()
    allowed_v = plain(magnitude(allowed, "V"))
    length, load = plain(given.exact("length", "ft")), plain(given.exact("load", "A"))
    per_kft = row.exact("warm_ohm_per_kft")
    return (
        f"Allowed drop: {drop} of {source} = {allowed_v} V ({PRACTICE})",
        (
            f"Most a conductor may have: {allowed_v} V / (2 × {length} ft × {load} A) = "
            f"{plain(limit)} Ω per 1000 ft"
        ),
        (
            f"Thinnest at or under it: {row.text('gauge')} AWG, {per_kft} Ω per 1000 ft at 75 °C "
            f"({_ORIGIN[row.text('origin')]})"
        ),
    )


def _per_kft(resistance: Quantity) -> Decimal:
    return magnitude(resistance * quantity(Decimal(1000), "ft"), "ohm")


def _verdict(proposed: str, needed: str) -> str:
    """Say whether the gauge that was asked about does; a larger number is a thinner wire."""
    if not proposed:
        return ""
    words = say(Decimal(proposed))
    if int(proposed) > int(needed):
        return f"{words} is too thin, take "
    return f"{words} will do, it takes at least "


def _if_ten_percent(given: Given, gauge: str) -> str:
    """Tell what the looser habit would allow, where the default drop was assumed."""
    if "drop" not in given.assumed:
        return ""
    loose = quantity(figure("greatest-control-drop"), "percent") * given.quantity("source")
    limit = greatest_resistance(loose.to("volt"), given.quantity("load"), given.quantity("length"))
    thinner = thinnest_gauge(_per_kft(limit))
    if thinner is None or thinner == gauge:
        return ""
    percent = spoken(figure("greatest-control-drop"), "percent")
    return f"At {percent}, {say(Decimal(thinner))} gauge would do."


LOW_VOLTAGE_GAUGE = Sizing(
    slug="low-voltage-gauge",
    title="Smallest gauge for a 24 V run",
    group=GROUP,
    example="what gauge for half an amp at sixty feet",
    formula="resistance <= drop / (2 · length · load); the next thicker wire, never a thinner",
    inputs=(
        LOAD,
        LENGTH,
        Input(
            name="drop",
            spoken="allowed drop",
            ask="What drop may it have, in percent?",
            ranges=(Range("1", "10", "percent"),),
            heard="{} drop",
            default=str(figure("steady-control-drop")),
            assumed="five percent drop",
        ),
        SOURCE,
        Input(
            name="gauge",
            spoken="gauge",
            options=GAUGE.options,
            kind="gauge",
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_gauge,
    sources=(
        "Ohm's law",
        TABLE_8,
        f"24 to 20 AWG, and cold wire: {DERIVED}",
        f"5 and 10 percent drop: {PRACTICE}",
    ),
    assumption="warm solid copper, the length one way",
    caution=(
        "The device may ask for thicker. In a plenum use plenum-rated class two cable. "
        "Never share a box with line voltage."
    ),
)


# ---------------------------------------------------------------- current


def current_of(power: Quantity, voltage: Quantity) -> Quantity:
    """Return the current of an apparent power. Source: definition of the volt-ampere."""
    current: Quantity = (power / voltage).to("ampere")
    return current


def apparent_power(current: Quantity, voltage: Quantity) -> Quantity:
    """Return the apparent power of a current. Source: definition of the volt-ampere."""
    power: Quantity = (current * voltage).to("volt_ampere")
    return power


def _work_out_current(given: Given) -> Result:
    load, volts = given.amount("load"), given.amount("voltage")
    if load.unit == "VA":
        amps = magnitude(current_of(given.quantity("load"), given.quantity("voltage")), "A")
        said = spoken(to_step(amps, "0.01"), "A")
        working = f"{load.written()} / {volts.written()} = {plain(amps)} A"
        why = f"{load.spoken()} over {volts.spoken()}."
        return Result(said, plain(amps), "A", (working,), why, f"{said}, the same in metric.")
    power = magnitude(apparent_power(given.quantity("load"), given.quantity("voltage")), "VA")
    said = spoken(to_step(power, "1"), "VA")
    limit = figure("class-2-power-limit")
    return Result(
        lead=said,
        value=plain(power),
        unit="VA",
        working=(f"{load.written()} × {volts.written()} = {plain(power)} VA",),
        why=f"{load.spoken()} times {volts.spoken()}.",
        metric=f"{said}, the same in metric.",
        over=f"Over the {say(limit)} V A of class two." if power > limit else "",
    )


LOW_VOLTAGE_CURRENT = Sizing(
    slug="low-voltage-current",
    title="Amps from VA, or VA from amps, at 24 V",
    group=GROUP,
    example="what's eighteen v a in amps",
    formula="amps = VA / volts; VA = amps · volts",
    inputs=(
        Input(
            name="load",
            spoken="load",
            ask="How many V A, or how many amps?",
            ranges=(Range("1", _CLASS_2_POWER, "VA"), Range("0.02", "5", "A")),
        ),
        Input(
            name="voltage",
            spoken="voltage",
            ask="What voltage?",
            ranges=(Range("20", "30", "V"),),
            heard="~at {}",
            default=_NOMINAL,
            assumed="twenty four volts; more volts, fewer amps",
        ),
    ),
    work=_work_out_current,
    sources=("definition of the volt-ampere", TABLE_11),
    caution="V A on a plate is not watts; a coil's watts are lower.",
)


SIZINGS = (VOLTAGE_DROP, LOW_VOLTAGE_GAUGE, LOW_VOLTAGE_CURRENT)
