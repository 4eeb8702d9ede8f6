"""24 V transformers as found: the room left, the tap, how far they sag, how two are phased."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import UNITS, quantity, spoken
from companion.sizing.low_voltage import GROUP, PRACTICE, TABLE_11, apparent_power
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import down_to_step, magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

_NOMINAL = str(figure("control-voltage"))
_CLASS_2_POWER = str(figure("class-2-power-limit"))
_LEAST = figure("least-device-voltage")

# ---------------------------------------------------------------- room left


def room_left(rating: Quantity, used: Quantity, fill: Quantity) -> Quantity:
    """Return the apparent power that may still be added to a transformer; below zero, too much.

    Args:
        rating: of the transformer.
        used: what it delivers at the heaviest call.
        fill: how far it may be loaded, a share.

    Source: common practice, no source. Checked by tests/golden/sizing/transformer-room.toml.
    """
    left: Quantity = rating * fill.to("dimensionless") - used
    return left


def _work_out_room(given: Given) -> Result:
    load, fill = given.amount("load"), quantity(figure("transformer-fill"), "percent")
    used, account = given.quantity("load"), load.written()
    if UNITS[load.unit].dimension == UNITS["A"].dimension:
        used = apparent_power(used, given.quantity("voltage"))
        account = f"{account} × {given.amount('voltage').written()}"
    left = magnitude(room_left(given.quantity("rating"), used, fill), "VA")
    used_va = plain(magnitude(used, "VA"))
    room = f"{say(down_to_step(max(left, Decimal(0)), '1'))} V A left"
    added = magnitude(given.quantity("added"), "VA") if given.has("added") else None
    fits = left >= (added or 0)
    return Result(
        lead=f"{room}{_fits(given, fits=fits)}",
        value=plain(left),
        unit="VA",
        working=(
            f"Used: {account} = {used_va} VA",
            (
                f"Left: {figure('transformer-fill')} % of {given.amount('rating').written()} − "
                f"{used_va} VA = {plain(left)} VA ({PRACTICE})"
            ),
        ),
        why=f"{say(figure('transformer-fill'))} percent of its rating, less the "
        f"{say(to_step(Decimal(used_va), '0.1'))} V A in use.",
        metric=f"{room}, the same in metric.",
        over="" if fits else f"Over {say(figure('transformer-fill'))} percent of it.",
        caution="" if fits else "Give it its own class two transformer and a relay between.",
    )


def _fits(given: Given, *, fits: bool) -> str:
    if not given.has("added"):
        return ""
    return f", {given.amount('added').number()} more {'fits' if fits else 'does not fit'}"


def _in_amps(given: Mapping[str, object]) -> bool:
    """A load in VA has its volts in it."""
    return getattr(given.get("load"), "unit", None) != "VA"


TRANSFORMER_ROOM = Sizing(
    slug="transformer-room",
    title="Room left on a 24 V transformer",
    group=GROUP,
    example="forty v a transformer pulling point nine amps can i hang eighteen more on it",
    formula="left = 80 % · VA − volts · amps",
    inputs=(
        Input(
            name="rating",
            spoken="transformer",
            ask="How many V A is the transformer?",
            ranges=(Range("20", _CLASS_2_POWER, "VA"),),
        ),
        Input(
            name="load",
            spoken="present load",
            ask="How many amps does it give at the heaviest call?",
            ranges=(Range("0", "5", "A"), Range("0", "120", "VA")),
            heard="{} in use",
            from_log=("secondary-current",),
        ),
        Input(
            name="added",
            spoken="added load",
            ranges=(Range("1", "80", "VA"),),
            heard="",
            needed=never,
        ),
        Input(
            name="voltage",
            spoken="secondary voltage",
            ask="What does the secondary read?",
            ranges=(Range("20", "30", "V"),),
            heard="~at {}",
            default=_NOMINAL,
            assumed="twenty four volts",
            needed=_in_amps,
        ),
    ),
    work=_work_out_room,
    sources=(f"80 percent: {PRACTICE}", "definition of the volt-ampere", TABLE_11),
    assumption="everything calling at once, eighty percent its limit",
    caution="A board fuse can still blow at start. Keep two secondaries' commons apart.",
)


# ---------------------------------------------------------------- tap


def secondary_of(supply: Quantity, tap: Quantity) -> Quantity:
    """Return what a 24 V transformer gives on a tap, loaded near its rating.

    Args:
        supply: measured at the primary.
        tap: the voltage for which the tap is made.

    Source: turns ratio. Checked by tests/golden/sizing/transformer-tap.toml.
    """
    secondary: Quantity = quantity(figure("control-voltage"), "V") * supply / tap
    return secondary


_TAPS = (
    Option("120", "one twenty tap"),
    Option("208", "two oh eight tap"),
    Option("240", "two forty tap"),
)


def _work_out_tap(given: Given) -> Result:
    tap, supply = given.pick("tap"), given.quantity("supply")
    secondary = magnitude(secondary_of(supply, quantity(Decimal(tap), "V")), "V")
    said = spoken(to_step(secondary, "0.1"), "V")
    supply_v = magnitude(supply, "V")
    right = min(_TAPS, key=lambda option: abs(Decimal(option.value) - supply_v))
    verdict = "the right tap" if right.value == tap else f"use the {right.spoken}"
    return Result(
        lead=f"{said}{_seen(given, secondary)}, {verdict}",
        value=plain(secondary),
        unit="V",
        working=(
            f"{_NOMINAL} V × {given.amount('supply').written()} / {tap} V = {plain(secondary)} V",
            f"Nearest tap to the supply: {right.value} V",
        ),
        why=f"Twenty four times {given.amount('supply').spoken()}, over the tap's "
        f"{spoken(Decimal(tap), 'V')}.",
        metric=f"{said}, the same in metric.",
        over=_out_of_band(secondary),
    )


def _out_of_band(secondary: Decimal) -> str:
    most = figure("greatest-control-voltage")
    if secondary > most:
        return f"Over {spoken(most, 'V')}, it destroys what hangs on it."
    return f"Under {spoken(_LEAST, 'V')}." if secondary < _LEAST else ""


def _seen(given: Given, secondary: Decimal) -> str:
    """Tell whether a secondary that was read is what the tap makes of the supply.

    Loaded it is at the figure; with nothing on it up to fifteen percent higher.
    """
    if not given.has("secondary"):
        return ""
    read = magnitude(given.quantity("secondary"), "V")
    slack = exact(figure("phase-tolerance"))
    high = secondary * (1 + exact(figure("greatest-regulation")) / 100)
    if secondary - slack <= read <= max(high, secondary + slack):
        return ", as you read"
    return ", not what you read"


TRANSFORMER_TAP = Sizing(
    slug="transformer-tap",
    title="Secondary voltage on a primary tap",
    group=GROUP,
    example="what do i get if two oh eight feeds the two forty tap",
    formula="secondary = 24 V · supply / tap",
    inputs=(
        Input(
            name="supply",
            spoken="supply voltage",
            ask="What voltage feeds the primary?",
            ranges=(Range("100", "264", "V"),),
            heard="{} supply",
        ),
        Input(
            name="tap",
            spoken="tap",
            ask="Which tap: one twenty, two oh eight or two forty?",
            options=_TAPS,
            heard="~on the {}",
        ),
        Input(
            name="secondary",
            spoken="secondary voltage",
            ranges=(Range("5", "60", "V"),),
            heard="{} read",
            needed=never,
        ),
    ),
    work=_work_out_tap,
    sources=("turns ratio", f"5 to 15 percent higher with nothing on it: {PRACTICE}"),
    assumption="loaded near its rating; unloaded it reads up to fifteen percent more",
    caution="Lock out before you move a tap. Cap each unused lead on its own.",
)


# ---------------------------------------------------------------- regulation


def regulation(unloaded: Quantity, loaded: Quantity) -> Quantity:
    """Return how far a secondary sags, as a share of its loaded voltage.

    Source: definition. Checked by tests/golden/sizing/transformer-sag.toml.
    """
    share: Quantity = ((unloaded - loaded) / loaded).to("percent")
    return share


def _work_out_sag(given: Given) -> Result:
    unloaded, loaded = given.amount("unloaded"), given.amount("loaded")
    loaded_v = magnitude(given.quantity("loaded"), "V")
    if magnitude(given.quantity("unloaded"), "V") <= loaded_v:
        raise refusal(
            f"{unloaded.written()} unloaded is not above {loaded.written()} loaded",
            "Read both again, the primary steady.",
            "Unloaded must be the higher one. Read both again.",
        )
    share = magnitude(regulation(given.quantity("unloaded"), given.quantity("loaded")), "percent")
    greatest, said = figure("greatest-regulation"), spoken(to_step(share, "1"), "percent")
    low, soft = loaded_v < _LEAST, share > greatest
    over = f"Under {spoken(_LEAST, 'V')} loaded." if low else ""
    return Result(
        lead=f"{said} sag, {'too much' if soft else 'normal'}",
        value=plain(share),
        unit="percent",
        working=(
            (
                f"({unloaded.written()} − {loaded.written()}) / {loaded.written()} = "
                f"{plain(share)} %"
            ),
            f"Up to {greatest} % is normal ({PRACTICE})",
        ),
        why="What it loses under load, over its loaded voltage.",
        metric=f"{said}, the same in metric.",
        over=over or (f"Over {spoken(greatest, 'percent')}." if soft else ""),
        caution="It is overloaded, or the primary is low." if low or soft else "",
    )


TRANSFORMER_SAG = Sizing(
    slug="transformer-sag",
    title="Regulation: how far a transformer sags under load",
    group=GROUP,
    example="twenty seven no load twenty four and a half loaded is that okay",
    formula="percent = 100 · (unloaded − loaded) / loaded",
    inputs=(
        Input(
            name="unloaded",
            spoken="unloaded voltage",
            ask="What does it read with nothing on it?",
            ranges=(Range("20", "35", "V"),),
            heard="{} unloaded",
            from_log=("idle-voltage",),
        ),
        Input(
            name="loaded",
            spoken="loaded voltage",
            ask="What does it read at full call?",
            ranges=(Range("15", "30", "V"),),
            heard="{} loaded",
            from_log=("secondary-voltage",),
        ),
    ),
    work=_work_out_sag,
    sources=("definition of regulation", f"10 to 15 percent is normal: {PRACTICE}"),
    assumption="a steady primary, and everything calling for the loaded reading",
    caution="A reading with nothing on it proves nothing alone.",
)


# ---------------------------------------------------------------- phasing


def in_phase(first: Quantity, second: Quantity) -> Quantity:
    """Return hot to hot, commons joined, of two secondaries in phase. Source: circuit theory.

    Checked by tests/golden/sizing/transformer-phasing.toml.
    """
    apart: Quantity = abs(first - second)
    return apart


def out_of_phase(first: Quantity, second: Quantity) -> Quantity:
    """Return hot to hot, commons joined, of two secondaries out of phase: they add up."""
    together: Quantity = first + second
    return together


_LOW, _HIGH = Decimal(20), Decimal(30)


def _work_out_phasing(given: Given) -> Result:
    if given.has("first") and given.has("second"):
        return _phasing_of_two(given)
    if given.has("between"):
        return _phasing_by_the_reading(given)
    return Result(
        lead="keep the commons apart unless both are listed for joining",
        value="apart",
        unit="",
        working=(f"{_INTERCONNECTION}: class 2 outputs stay apart unless listed for it",),
        why="Two class two outputs may be joined only where they are listed for it.",
        metric="The same in metric.",
    )


def _phasing_of_two(given: Given) -> Result:
    first, second = given.quantity("first"), given.quantity("second")
    same = magnitude(in_phase(first, second), "V")
    opposed = magnitude(out_of_phase(first, second), "V")
    same_said, opposed_said = (spoken(to_step(v, "0.1"), "V") for v in (same, opposed))
    one, other = given.amount("first").written(), given.amount("second").written()
    working = (
        f"In phase: {one} and {other} differ by {plain(same)} V",
        f"Out of phase: {one} + {other} = {plain(opposed)} V",
    )
    why = "In phase the two take away from each other, out of phase they add up."
    lead = f"{same_said} in phase, {opposed_said} out of phase"
    value = same
    if given.has("between"):
        read, slack = magnitude(given.quantity("between"), "V"), figure("phase-tolerance")
        if abs(read - opposed) <= slack:
            lead, value = f"{_SWAP}, in phase it would be {same_said}", opposed
        elif abs(read - same) <= slack:
            lead = f"in phase, {same_said} expected"
        else:
            lead = f"neither, {same_said} in phase, {opposed_said} out, check the commons"
    return Result(lead, plain(value), "V", working, why, f"{lead}, the same in metric.")


def _phasing_by_the_reading(given: Given) -> Result:
    """Judge by the reading alone: any two from 20 to 30 V differ by 10 or add up to 40 V."""
    read = magnitude(given.quantity("between"), "V")
    if read >= 2 * _LOW:
        lead = _SWAP
    elif read <= _HIGH - _LOW:
        lead = "in phase"
    else:
        lead = "neither in phase nor out of phase, check that the commons are joined"
    return Result(
        lead=lead,
        value=plain(read),
        unit="V",
        working=(
            (
                f"Any two of {_LOW} to {_HIGH} V: at most {_HIGH - _LOW} V in phase, "
                f"at least {2 * _LOW} V out of phase"
            ),
        ),
        why="In phase the two take away from each other, out of phase they add up.",
        metric=f"{lead}, the same in metric.",
    )


_SWAP = "out of phase, swap one secondary's leads"
_INTERCONNECTION = "NFPA 70-2023 725.121(B)"


def _readings_tell(given: Mapping[str, object]) -> bool:
    """Each secondary matters unless hot to hot was read, or only the commons were asked about."""
    return "between" not in given and "commons" not in given


TRANSFORMER_PHASING = Sizing(
    slug="transformer-phasing",
    title="Phase of two 24 V transformers",
    group=GROUP,
    example="what should i read r to r with twenty six point four on one and "
    "twenty five point nine on the other",
    formula="in phase: the difference of the two; out of phase: their sum",
    inputs=(
        Input(
            name="first",
            spoken="first secondary",
            ask="What does the first secondary read?",
            ranges=(Range(str(_LOW), str(_HIGH), "V"),),
            heard="{}",
            needed=_readings_tell,
        ),
        Input(
            name="second",
            spoken="second secondary",
            ask="What does the second secondary read?",
            ranges=(Range(str(_LOW), str(_HIGH), "V"),),
            heard="~and {}",
            needed=_readings_tell,
        ),
        Input(
            name="between",
            spoken="hot to hot",
            ranges=(Range("0", "62", "V"),),
            heard="{} hot to hot",
            needed=never,
        ),
        Input(
            name="commons",
            spoken="commons",
            options=(Option("joined", "joined"),),
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_phasing,
    sources=("circuit theory", f"{_INTERCONNECTION}: outputs stay apart unless listed"),
    assumption="commons joined, both powered, meter hot to hot",
    caution="Better is a relay with dry contacts, so that the two stay apart.",
)


SIZINGS = (TRANSFORMER_ROOM, TRANSFORMER_TAP, TRANSFORMER_SAG, TRANSFORMER_PHASING)
