"""Line-voltage runs: the drop in percent, and how far a gauge reaches."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.line_voltage import GROUP, SIZES
from companion.sizing.low_voltage import LENGTH, voltage_drop
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, never
from companion.sizing.refusals import capital, refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from companion.ports import Exact
    from companion.quantities import Quantity

TABLE_8 = "NFPA 70-2023 chapter 9 table 8, stranded, 75 °C"
ADVICE = "NFPA 70-2023 210.19 and 215.2 informational notes: 3 percent advised, 5 with the feeder"

LOAD = Input(
    name="load",
    spoken="load",
    ask="How many amps?",
    ranges=(Range("0.1", "100", "A"),),
)
VOLTAGE = Input(
    name="voltage",
    spoken="voltage",
    ask="At what voltage?",
    ranges=(Range("100", "250", "V"),),
    heard="~at {}",
)
GAUGE = Input(
    name="gauge",
    spoken="gauge",
    ask="What gauge?",
    options=tuple(Option(size, words) for size, words in SIZES),
    kind="gauge",
)
METAL = Input(
    name="metal",
    spoken="metal",
    options=(Option("copper", "copper"), Option("aluminum", "aluminum")),
    heard="~{}",
    default="copper",
    assumed="copper",
)
DROP = Input(
    name="drop",
    spoken="drop",
    ranges=(Range("1", "5", "percent"),),
    heard="{} drop",
    default=str(figure("line-drop-aim")),
    assumed="three percent as the aim",
)


def ohms_per_kft(gauge: str, metal: str) -> Exact:
    """Return one stranded conductor's ohms per 1000 ft at 75 °C.

    Raises:
        SizingError: aluminum in a size that building wire is not made in.
    """
    row = table("line-wire-resistance").row("gauge", gauge)
    if not row.has(f"{metal}_ohm_per_kft"):
        raise refusal(
            f"there is no {gauge} AWG {metal} building wire",
            "Ask for 12 AWG or thicker.",
            "Aluminum starts at twelve gauge.",
        )
    return row.exact(f"{metal}_ohm_per_kft")


def _resistance(per_kft: Exact) -> Quantity:
    resistance: Quantity = quantity(per_kft, "ohm") / quantity(Decimal(1000), "ft")
    return resistance


def drop_percent(drop: Quantity, voltage: Quantity) -> Quantity:
    """Return a drop as a share of the supply, in percent.

    Source: definition. Checked by tests/golden/sizing/line-voltage-drop.toml.
    """
    share: Quantity = (drop / voltage).to("percent")
    return share


def run_length(load: Quantity, drop: Quantity, resistance: Quantity) -> Quantity:
    """Return the one-way length over which a load loses `drop`: `voltage_drop` turned round.

    Args:
        load: current.
        drop: over both conductors, a voltage.
        resistance: of one conductor, per length.

    Source: Ohm's law. Checked by tests/golden/sizing/line-run-length.toml.
    """
    length: Quantity = (drop / (2 * resistance * load)).to("foot")
    return length


# ---------------------------------------------------------------- drop


def _work_out_drop(given: Given) -> Result:
    gauge, metal = given.pick("gauge"), given.pick("metal")
    load, length, volts = given.amount("load"), given.amount("length"), given.amount("voltage")
    per_kft = ohms_per_kft(gauge, metal)
    drop = voltage_drop(given.quantity("load"), given.quantity("length"), _resistance(per_kft))
    lost = magnitude(drop, "V")
    percent = magnitude(drop_percent(drop, given.quantity("voltage")), "percent")
    if percent >= 100:  # noqa: PLR2004 - all of it
        raise refusal(
            f"The run would lose {plain(lost)} V of {volts.written()}",
            "Take a thicker wire or a smaller load.",
            "That run would lose all of it. Take thicker wire.",
        )
    limit = given.exact("drop", "percent")
    said = f"{spoken(to_step(lost, '0.1'), 'V')} lost, {say(to_step(percent, '0.1'))} percent"
    return Result(
        lead=said,
        value=plain(percent),
        unit="percent",
        working=(
            f"{gauge} AWG {metal}: {per_kft} Ω per 1000 ft ({TABLE_8})",
            f"2 × {length.written()} × {per_kft} / 1000 × {load.written()} = {plain(lost)} V",
            f"100 × {plain(lost)} / {volts.written()} = {plain(percent)}%",
            f"Aim: at most {plain(limit)}% ({ADVICE})",
        ),
        why=f"Twice {length.spoken()} at {say(per_kft)} ohms a thousand, times {load.spoken()}. "
        f"Then over {volts.spoken()}.",
        metric=f"{said}, the same in metric.",
        over=f"Over {say(limit)} percent." if percent > limit else "",
    )


LINE_VOLTAGE_DROP = Sizing(
    slug="line-voltage-drop",
    title="Voltage drop of a line-voltage run, in percent",
    group=GROUP,
    example="what's the drop on twelve gauge, eighty feet, twelve amps at one twenty",
    formula="percent = 100 · 2 · feet · ohms per 1000 ft / 1000 · amps / volts",
    inputs=(LOAD, VOLTAGE, LENGTH, GAUGE, METAL, DROP),
    work=_work_out_drop,
    sources=("Ohm's law", TABLE_8, ADVICE),
    assumption="stranded wire at seventy five Celsius, single phase, the length one way",
    caution="The percent is advice; the equipment may want less. Ampacity and breaker still rule.",
    defers=True,
)


# ---------------------------------------------------------------- reach


def _work_out_reach(given: Given) -> Result:
    gauge, metal = given.pick("gauge"), given.pick("metal")
    load, volts, percent = given.amount("load"), given.amount("voltage"), given.amount("drop")
    per_kft = ohms_per_kft(gauge, metal)
    allowed = given.quantity("voltage") * given.quantity("drop")
    reach = run_length(given.quantity("load"), allowed, _resistance(per_kft))
    feet, volts_lost = magnitude(reach, "ft"), magnitude(allowed.to("volt"), "V")
    whole = Decimal(int(feet))  # down: a foot more would lose too much
    if not whole:
        raise refusal(
            f"{gauge} AWG {metal} loses {percent.written()} in less than a foot",
            "Take a thicker wire.",
            "Not even a foot. Take thicker wire.",
        )
    longest = Decimal(LENGTH.ranges[0].high)
    most = f"more than {spoken(longest, 'ft')}" if whole > longest else spoken(whole, "ft")
    verdict, over = "", ""
    if given.has("length"):
        wanted = given.amount("length")
        if feet < given.exact("length", "ft"):
            over = f"{capital(wanted.spoken())} is too far."
        else:
            verdict = f"{wanted.spoken()} will do, it reaches "
    return Result(
        lead=f"{verdict}{most} one way",
        value=plain(feet),
        unit="ft",
        working=(
            f"{gauge} AWG {metal}: {per_kft} Ω per 1000 ft ({TABLE_8})",
            f"Drop: {percent.written()} of {volts.written()} = {plain(volts_lost)} V ({ADVICE})",
            (
                f"1000 × {plain(volts_lost)} / (2 × {per_kft} × {load.written()}) "
                f"= {plain(feet)} ft, down to {whole} ft"
            ),
        ),
        why=f"{percent.spoken()} of {volts.spoken()}, over twice {load.spoken()} "
        f"at {say(per_kft)} ohms a thousand feet.",
        metric=f"{in_metric(reach, 'meter', '0.1')} one way."
        if whole <= longest
        else f"more than {in_metric(quantity(longest, 'ft'), 'meter', '1')} one way.",
        over=over,
    )


LINE_RUN_LENGTH = Sizing(
    slug="line-run-length",
    title="Longest line-voltage run of a gauge",
    group=GROUP,
    example="how far can i go on twelve gauge at sixteen amps, one twenty",
    formula="feet = 1000 · (percent / 100 · volts) / (2 · ohms per 1000 ft · amps)",
    inputs=(
        LOAD,
        VOLTAGE,
        GAUGE,
        METAL,
        DROP,
        Input(
            name="length",
            spoken="length",
            ranges=LENGTH.ranges,
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_reach,
    sources=("Ohm's law", TABLE_8, ADVICE),
    assumption="stranded wire at seventy five Celsius, single phase",
    caution="The wire must still carry the load: ampacity and breaker rule.",
    defers=True,
)

SIZINGS = (LINE_VOLTAGE_DROP, LINE_RUN_LENGTH)
