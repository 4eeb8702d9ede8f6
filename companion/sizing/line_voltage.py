"""Line voltage: current of a load, and the smallest conductor for it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import UNITS, quantity, spoken
from companion.sizing.metric import copper_area
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity
    from companion.sizing.tables import Row

GROUP = "Line voltage"
TABLE_310 = "NFPA 70-2023 table 310.16"


# ---------------------------------------------------------------- current


def line_current(power: Quantity, voltage: Quantity, power_factor: Quantity) -> Quantity:
    """Return the current of a single-phase load.

    Args:
        power: real power; apparent power with a power factor of one.
        voltage: at the load.
        power_factor: 0.3 to 1.

    Source: definition. Checked by tests/golden/sizing/line-current.toml.
    """
    current: Quantity = (power / (voltage * power_factor)).to("ampere")
    return current


def line_power(current: Quantity, voltage: Quantity, power_factor: Quantity) -> Quantity:
    """Return the real power of a single-phase load: the inverse of `line_current`."""
    power: Quantity = (current * voltage * power_factor).to("watt")
    return power


def _work_out_line_current(given: Given) -> Result:
    load, volts = given.amount("load"), given.amount("voltage")
    factor = given.quantity("power-factor") if given.has("power-factor") else _one()
    share = plain(magnitude(factor, "count"))
    divisor = f"({volts.written()} × {share})" if share != "1" else volts.written()
    if UNITS[load.unit].dimension == UNITS["A"].dimension:
        watts = magnitude(
            line_power(given.quantity("load"), given.quantity("voltage"), factor), "W"
        )
        said = spoken(to_step(watts, "1"), "W")
        times = f" × {share}" if share != "1" else ""
        working = f"{load.written()} × {volts.written()}{times} = {plain(watts)} W"
        why = f"{load.spoken()} times {volts.spoken()}, power factor {say(Decimal(share))}."
        return Result(said, plain(watts), "W", (working,), why, f"{said}, the same in metric.")
    amps = magnitude(line_current(given.quantity("load"), given.quantity("voltage"), factor), "A")
    said = spoken(to_step(amps, "0.1"), "A")
    working = f"{load.written()} / {divisor} = {plain(amps)} A"
    why = f"{load.spoken()} over {volts.spoken()}, power factor {say(Decimal(share))}."
    return Result(said, plain(amps), "A", (working,), why, f"{said}, the same in metric.")


def _one() -> Quantity:
    return quantity(Decimal(1), "count")


def _is_real_power_or_current(given: Mapping[str, object]) -> bool:
    """A load in VA has its power factor in it."""
    return getattr(given.get("load"), "unit", None) != "VA"


LINE_CURRENT = Sizing(
    slug="line-current",
    title="Amps, volts and watts of a single-phase load",
    group=GROUP,
    example="what does a fifteen hundred watt load draw at one twenty",
    formula="amps = watts / (volts · power factor); watts = amps · volts · power factor",
    inputs=(
        Input(
            name="load",
            spoken="load",
            ask="How many watts, or how many amps?",
            ranges=(
                Range("1", "30000", "W"),
                Range("1", "30000", "VA"),
                Range("0.01", "250", "A"),
            ),
        ),
        Input(
            name="voltage",
            spoken="voltage",
            ask="At what voltage?",
            ranges=(Range("100", "250", "V"),),
            heard="~at {}",
        ),
        Input(
            name="power-factor",
            spoken="power factor",
            ask="What power factor?",
            ranges=(Range("0.3", "1", "count"), Range("30", "100", "percent")),
            heard="power factor {}",
            default="1",
            assumed="power factor one; a motor draws more",
            needed=_is_real_power_or_current,
        ),
    ),
    work=_work_out_line_current,
    sources=("definitions of power, apparent power and power factor",),
    caution="Live readings only where you may: clamp meter, gloves, one hand clear.",
)


# ---------------------------------------------------------------- wire

SIZES = (
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
SAID = dict(SIZES)


def needed_ampacity(load: Quantity, *, continuous: bool) -> Quantity:
    """Return what the conductor must carry: a continuous load (three hours or more) and a quarter.

    Source: NFPA 70-2023 210.19(A). Checked by tests/golden/sizing/line-wire-size.toml.
    """
    needed: Quantity = load * float(figure("continuous-load-factor")) if continuous else load
    return needed


def smallest_conductor(needed_a: Decimal, metal: str, terminal_c: str) -> Row | None:
    """Return the row of the smallest conductor, None where the table ends below the need.

    Its ampacity and, where 240.4(D) sets one, its largest breaker must both reach the need.

    Args:
        needed_a: from `needed_ampacity`, in amperes.
        metal: 'copper' or 'aluminum'.
        terminal_c: '60' or '75', the column.
    """
    ampacity, breaker = f"{metal}_{terminal_c}_a", f"{metal}_breaker_a"
    for row in table("ampacity").rows:  # thinnest first
        if not row.has(ampacity) or row.exact(ampacity) < needed_a:
            continue
        if not row.has(breaker) or row.exact(breaker) >= needed_a:
            return row
    return None


def _work_out_wire(given: Given) -> Result:
    metal, terminal = given.pick("metal"), given.pick("terminal")
    continuous = given.pick("continuous") == "yes"
    needed = magnitude(needed_ampacity(given.quantity("load"), continuous=continuous), "A")
    row = smallest_conductor(needed, metal, terminal)
    if row is None:
        raise refusal(
            f"{plain(needed)} A is more than 4/0 {metal} carries at {terminal} °C",
            "Leave it to a licensed electrician.",
            f"Four aught {metal} won't carry it. Ask a licensed electrician.",
        )
    size, breaker = row.text("gauge"), f"{metal}_breaker_a"
    most = f", {say(row.exact(breaker))} amp breaker at most" if row.has(breaker) else ""
    return Result(
        lead=f"{_verdict(given.pick('gauge'), size)}{SAID[size]} {metal}{most}",
        value=size,
        unit="gauge",
        working=_wire_account(given, needed, row),
        why=f"It must carry {say(to_step(needed, '0.1'))} amps; {SAID[size]} {metal} carries "
        f"{say(row.exact(f'{metal}_{terminal}_a'))}.",
        metric=f"at least {copper_area(row.exact('area_mm2'))} of {metal}.",
    )


def _wire_account(given: Given, needed: Decimal, row: Row) -> tuple[str, ...]:
    metal, terminal, load = given.pick("metal"), given.pick("terminal"), given.amount("load")
    factor = figure("continuous-load-factor")
    need = (
        f"Need: {load.written()} × {factor}, continuous, = {plain(needed)} A "
        "(NFPA 70-2023 210.19(A))"
        if given.pick("continuous") == "yes"
        else f"Need: {plain(needed)} A (not continuous)"
    )
    carries = row.exact(f"{metal}_{terminal}_a")
    lines = [
        need,
        f"Column: {terminal} °C (NFPA 70-2023 110.14(C))",
        f"Smallest that carries it: {row.text('gauge')} AWG {metal}, {carries} A ({TABLE_310})",
    ]
    if row.has(f"{metal}_breaker_a"):
        lines.append(f"Breaker at most {row.exact(f'{metal}_breaker_a')} A (NFPA 70-2023 240.4(D))")
    return tuple(lines)


def _verdict(proposed: str, needed: str) -> str:
    """Say whether the size that was asked about does."""
    if not proposed:
        return ""
    order = list(SAID)  # thinnest first
    if order.index(proposed) < order.index(needed):
        return f"{SAID[proposed]} is too thin, take "
    return f"{SAID[proposed]} will do, it takes at least "


LINE_WIRE_SIZE = Sizing(
    slug="line-wire-size",
    title="Smallest conductor for a line-voltage load",
    group=GROUP,
    example="what size wire for a sixteen amp continuous load",
    formula="ampacity >= load · 1.25 if continuous; breaker limit of small conductors kept",
    inputs=(
        Input(
            name="load",
            spoken="load",
            ask="How many amps?",
            ranges=(Range("0.1", "200", "A"),),
        ),
        Input(
            name="continuous",
            spoken="continuous",
            ask="Does it run three hours or more?",
            options=(Option("yes", "continuous"), Option("no", "not continuous")),
            kind="yes or no",
        ),
        Input(
            name="metal",
            spoken="metal",
            options=(Option("copper", "copper"), Option("aluminum", "aluminum")),
            heard="",
            default="copper",
            assumed="copper",
        ),
        Input(
            name="terminal",
            spoken="terminal rating",
            options=(Option("60", "sixty"), Option("75", "seventy five")),
            heard="{} degree terminals",
            default="60",
            assumed="sixty degree terminals",
        ),
        Input(
            name="gauge",
            spoken="gauge",
            options=tuple(Option(size, words) for size, words in SIZES),
            kind="gauge",
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_wire,
    sources=(
        f"{TABLE_310} (310.15(B)(16) in the 2011 to 2017 editions)",
        "NFPA 70-2023 110.14(C), 210.19(A), 240.4(D)",
    ),
    assumption="thirty Celsius around it, three live conductors at most",
    caution="Heaters, motors and cooling have rules of their own. Check the drop on a long run.",
    defers=True,
    united_states_only=True,
)

SIZINGS = (LINE_CURRENT, LINE_WIRE_SIZE)
