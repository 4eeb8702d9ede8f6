"""24 V runs as they lie in the house: how far, what they measure, where they are shorted."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.low_voltage import (
    DERIVED,
    GAUGE,
    GROUP,
    LENGTH,
    LOAD,
    PRACTICE,
    SOURCE,
    TABLE_8,
    resistance_of,
)
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import down_to_step, magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

_LEAST_DROP = Decimal("0.2")
_FEW_FEET = 5  # what a run is rounded to, as the trade cuts cable

# ---------------------------------------------------------------- longest run


def longest_run(drop: Quantity, load: Quantity, resistance: Quantity) -> Quantity:
    """Return the longest one-way length that keeps within a drop over both conductors.

    Args:
        drop: allowed, over both conductors.
        load: current.
        resistance: of one conductor, per length.

    Source: Ohm's law. Checked by tests/golden/sizing/longest-control-run.toml.
    """
    length: Quantity = (drop / (2 * resistance * load)).to("foot")
    return length


def _work_out_longest(given: Given) -> Result:
    gauge, allowed = given.pick("gauge"), _allowed_drop(given)
    allowed_v = magnitude(allowed, "V")
    resistance = resistance_of(gauge)
    feet = magnitude(longest_run(allowed, given.quantity("load"), resistance), "ft")
    per_kft = plain(magnitude(resistance * quantity(Decimal(1000), "ft"), "ohm"))
    left = magnitude(given.quantity("source"), "V") - allowed_v
    least = figure("least-device-voltage")
    return Result(
        lead=_how_far(feet),
        value=plain(feet),
        unit="ft",
        working=(
            f"Allowed drop: {plain(allowed_v)} V, which leaves {plain(left)} V",
            f"{gauge} AWG solid copper at 75 °C: {per_kft} Ω per 1000 ft",
            (
                f"Length: {plain(allowed_v)} V / (2 × {per_kft} Ω / 1000 ft × "
                f"{plain(given.exact('load', 'A'))} A) = {plain(feet)} ft one way, rounded down"
            ),
        ),
        why=f"{spoken(to_step(allowed_v, '0.1'), 'V')}, over twice {say(Decimal(per_kft))} ohms "
        "a thousand feet, over the amps.",
        metric=f"{in_metric(quantity(feet, 'ft'), 'meter', '0.1')} at most.",
        over=f"Under {spoken(least, 'V')} at the far end." if left < least else "",
    )


def _how_far(feet: Decimal) -> str:
    """Say the length rounded down; past what the trade runs, the figure means nothing."""
    greatest = Decimal(LENGTH.ranges[0].high)
    if feet > greatest:
        return f"over {spoken(greatest, 'ft')}"
    step = str(_FEW_FEET) if feet >= _FEW_FEET else "0.1"
    return f"{spoken(down_to_step(feet, step), 'ft')} at most"


def _allowed_drop(given: Given) -> Quantity:
    """Return the tighter of the drop that is allowed and the voltage that must be left."""
    source = given.quantity("source")
    allowed: list[Quantity] = []
    if given.has("end"):
        allowed.append(source - given.quantity("end"))
    if given.has("allowed"):
        drop = given.quantity("allowed")
        share = given.amount("allowed").unit == "percent"
        allowed.append((drop * source).to("volt") if share else drop)
    least: Quantity = min(allowed)
    if magnitude(least, "V") < _LEAST_DROP:
        raise refusal(
            f"{plain(magnitude(least, 'V'))} V is no drop to size a run by",
            f"Allow at least {_LEAST_DROP} V.",
            "That leaves no voltage to lose. Check both voltages.",
        )
    return least


def _no_end(given: Mapping[str, object]) -> bool:
    return "end" not in given


LONGEST_CONTROL_RUN = Sizing(
    slug="longest-control-run",
    title="Longest 24 V run for a drop",
    group=GROUP,
    example="how far can i run eighteen gauge at half an amp with two volts drop",
    formula="length = drop / (2 · resistance · load), one way",
    inputs=(
        GAUGE,
        LOAD,
        Input(
            name="allowed",
            spoken="allowed drop",
            ask="What drop may it have?",
            ranges=(Range("0.2", "6", "V"), Range("1", "25", "percent")),
            heard="{} drop",
            default="2",
            assumed="two volts of drop",
            needed=_no_end,
        ),
        Input(
            name="end",
            spoken="far-end voltage",
            ranges=(Range("15", "29", "V"),),
            heard="{} left",
            needed=never,
        ),
        SOURCE,
    ),
    work=_work_out_longest,
    sources=("Ohm's law", TABLE_8, f"24 to 20 AWG: {DERIVED}", f"2 V of drop: {PRACTICE}"),
    assumption="warm solid copper, feet one way",
    caution="Voltage only: an actuator or contactor pulls several times as much when it starts.",
)


# ---------------------------------------------------------------- ohms of a pair


def loop_resistance(length: Quantity, cold: Quantity, warmer_by: Quantity) -> Quantity:
    """Return the resistance of a pair joined at its far end.

    Args:
        length: one way; both conductors are counted here.
        cold: resistance of one conductor at 20 °C, per length.
        warmer_by: how much warmer than 20 °C the copper is, a temperature difference.

    Source: NBS Handbook 100, from memory. Checked by tests/golden/sizing/loop-resistance.toml.
    """
    ohms: Quantity = (2 * length * cold * _warmed(warmer_by)).to("ohm")
    return ohms


def _warmed(warmer_by: Quantity) -> float:
    """Return the ratio of copper's resistance to that at 20 °C."""
    per_kelvin = float(figure("copper-temperature-coefficient"))
    return 1 + per_kelvin * float(warmer_by.to("delta_degC").magnitude)


def _warmer_by(given: Given) -> Quantity:
    difference: Quantity = given.quantity("temperature").to("degC") - quantity(Decimal(20), "degC")
    return difference


def _work_out_loop(given: Given) -> Result:
    gauge, length = given.pick("gauge"), given.quantity("length")
    ohms = magnitude(
        loop_resistance(length, resistance_of(gauge, "cold"), _warmer_by(given)), "ohm"
    )
    said = spoken(to_step(ohms, "0.1"), "ohm")
    return Result(
        lead=f"{_loop_verdict(given, ohms)}{said}",
        value=plain(ohms),
        unit="ohm",
        working=(
            _copper_account(given),
            (
                f"Loop: 2 × {plain(given.exact('length', 'ft'))} ft × that = {plain(ohms)} Ω, "
                "the meter's leads not counted"
            ),
        ),
        why="Twice the length, since you measure there and back, times the copper's ohms a foot.",
        metric=f"{said}, over {in_metric(length, 'meter', '0.1')} one way.",
    )


def _copper_account(given: Given) -> str:
    gauge, temperature = given.pick("gauge"), given.amount("temperature").written()
    per_kft = magnitude(
        resistance_of(gauge, "cold") * quantity(Decimal(1000), "ft") * _warmed(_warmer_by(given)),
        "ohm",
    )
    return f"{gauge} AWG solid copper at {temperature}: {plain(per_kft)} Ω per 1000 ft ({DERIVED})"


def _loop_verdict(given: Given, ohms: Decimal) -> str:
    """Judge what the meter showed: within ten percent or what a meter may be off."""
    if not given.has("reading"):
        return ""
    read = magnitude(given.quantity("reading"), "ohm")
    slack = max(ohms * exact(figure("loop-tolerance")) / 100, exact(figure("meter-tolerance")))
    words = given.amount("reading").spoken()
    if read > ohms + slack:
        return f"{words} is too high, look for a bad joint, it should be "
    if read < ohms - slack:
        return f"{words} is too low, look for a short, it should be "
    return f"{words} is right, it should be "


_TEMPERATURE = Input(
    name="temperature",
    spoken="wire temperature",
    ask="How warm is the wire?",
    ranges=(Range("-20", "140", "degF"), Range("-28", "60", "degC")),
    heard="at {}",
    default="68",
    assumed="wire at sixty eight degrees",
)
_LOOP_CAUTION = "Power off, and both ends free of everything else, before you measure ohms."

LOOP_RESISTANCE = Sizing(
    slug="loop-resistance",
    title="Ohms of a good pair, far end twisted",
    group=GROUP,
    example="how many ohms for fifty feet of eighteen gauge twisted at the end",
    formula="ohms = 2 · length · resistance at 20 °C · (1 + 0.00393 · (temperature − 20 °C))",
    inputs=(
        Input(
            name="length",
            spoken="one-way length",
            ask="How many feet, one way?",
            ranges=(Range("5", "1000", "ft"),),
            heard="{} one way",
        ),
        GAUGE,
        _TEMPERATURE,
        Input(
            name="reading",
            spoken="meter reading",
            ranges=(Range("0.1", "200", "ohm"),),
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_loop,
    sources=(
        f"resistance and temperature coefficient of copper: {DERIVED}",
        f"how far it may be off: {PRACTICE}",
    ),
    assumption="solid copper, meter leads zeroed",
    caution=_LOOP_CAUTION,
)


# ---------------------------------------------------------------- distance to a short


def distance_to_short(reading: Quantity, per_length: Quantity, conductors: int) -> Quantity:
    """Return the one-way length of copper behind a reading of ohms.

    Args:
        reading: ohms, the meter's leads subtracted.
        per_length: resistance of one conductor at its temperature, per length.
        conductors: 2 for a pair joined at the far end, 1 for a single wire end to end.

    Source: Ohm's law. Checked by tests/golden/sizing/distance-to-short.toml.
    """
    length: Quantity = (reading / (conductors * per_length)).to("foot")
    return length


def _work_out_distance(given: Given) -> Result:
    conductors = 1 if given.pick("path") == "single" else 2
    per_length = resistance_of(given.pick("gauge"), "cold") * _warmed(_warmer_by(given))
    away = distance_to_short(given.quantity("reading"), per_length, conductors)
    feet = magnitude(away, "ft")
    said = spoken(to_step(feet, str(_FEW_FEET)), "ft")
    times = "" if conductors == 1 else "2 × "
    return Result(
        lead=f"about {said}, give or take ten percent",
        value=plain(feet),
        unit="ft",
        working=(
            _copper_account(given),
            f"Length: {given.amount('reading').written()} / ({times}that) = {plain(feet)} ft",
        ),
        why="Your ohms over the copper's ohms a foot"
        + ("." if conductors == 1 else ", and half of that, since you measure there and back."),
        metric=f"About {in_metric(away, 'meter', '1')}.",
    )


DISTANCE_TO_SHORT = Sizing(
    slug="distance-to-short",
    title="Feet to a short, or left on a spool, from ohms",
    group=GROUP,
    example="i read one point three ohms on eighteen gauge how far is the short",
    formula="length = ohms / (2 · resistance at the wire's temperature); one wire alone: no 2",
    inputs=(
        Input(
            name="reading",
            spoken="meter reading",
            ask="How many ohms, leads taken off?",
            ranges=(Range("0.1", "50", "ohm"),),
        ),
        GAUGE,
        _TEMPERATURE,
        Input(
            name="path",
            spoken="what was measured",
            options=(Option("pair", "there and back"), Option("single", "one wire alone")),
            heard="{}",
            default="pair",
            assumed="there and back on a pair",
        ),
    ),
    work=_work_out_distance,
    sources=(f"resistance and temperature coefficient of copper: {DERIVED}",),
    assumption="a dead short; a bad joint looks farther away",
    caution=f"Rough only: corroded splices add ohms. {_LOOP_CAUTION}",
)


SIZINGS = (LONGEST_CONTROL_RUN, LOOP_RESISTANCE, DISTANCE_TO_SHORT)
