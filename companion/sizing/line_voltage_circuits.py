"""Breakers: the next standard one, strip heat, a condenser, and what a circuit still takes."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import UNITS, quantity
from companion.sizing.line_voltage import GROUP, SAID, TABLE_310, smallest_conductor
from companion.sizing.metric import copper_area
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import capital, refusal
from companion.sizing.rounding import magnitude, next_down, next_up, plain, to_step, up_to_step
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal

    from companion.ports import Exact
    from companion.quantities import Quantity

RATINGS = "NFPA 70-2023 table 240.6(A)"
HEAT = "NFPA 70-2023 424.4 and 424.22(B)"
COMPRESSOR = "NFPA 70-2023 440.22(A), 440.32 and 440.33"


def standard_ratings() -> tuple[Exact, ...]:
    """Return the standard ratings of breakers and fuses, 15 to 400 A, in amperes.

    Source: NFPA 70-2023 table 240.6(A). Checked by tests/golden/sizing/standard-breaker.toml.
    """
    return tuple(row.exact("rating_a") for row in table("standard-breakers").rows)


# ---------------------------------------------------------------- the next standard size


def _work_out_breaker(given: Given) -> Result:
    amps, marked = given.exact("rating", "A"), given.pick("maximum") == "yes"
    ratings = standard_ratings()
    found = next_down(ratings, amps) if marked else next_up(ratings, amps)
    if found is None:
        raise refusal(
            f"no standard size is at most {plain(amps)} A",
            "Use a fuse of the marked size.",
            "Nothing standard under fifteen amps. Follow the plate.",
        )
    how = "the next down" if marked else "the next up"
    words = "a standard size" if found == amps else how
    article = "" if marked else ", 240.4(B)"
    written = given.amount("rating").written()
    return Result(
        lead=f"{say(found)} amps, {words}",
        value=plain(found),
        unit="A",
        working=(
            f"Standard ratings run 15 to 400 A ({RATINGS}{article})",
            f"{'Largest at most' if marked else 'Smallest at least'} {written}: {found} A",
        ),
        why=f"A marked maximum goes down to {say(found)}."
        if marked
        else f"A conductor's need goes up to {say(found)}.",
        metric=f"{say(found)} amps, the same in metric.",
    )


STANDARD_BREAKER = Sizing(
    slug="standard-breaker",
    title="Next standard breaker or fuse",
    group=GROUP,
    example="what's the next breaker up from twenty two amps",
    formula="smallest standard rating >= amps; of a marked maximum the largest <= amps",
    inputs=(
        Input(
            name="rating",
            spoken="amps",
            ask="How many amps?",
            ranges=(Range("1", "400", "A"),),
        ),
        Input(
            name="maximum",
            spoken="marked maximum",
            ask="Is that a maximum marked on the plate?",
            options=(Option("yes", "a marked maximum"), Option("no", "")),
            kind="yes or no",
        ),
    ),
    work=_work_out_breaker,
    sources=(RATINGS, "NFPA 70-2023 240.4(B) and 240.4(D)"),
    caution="Never above a marked maximum. "
    "Fourteen, twelve and ten gauge copper stop at fifteen, twenty and thirty.",
    defers=True,
    united_states_only=True,
)


# ---------------------------------------------------------------- strip heat


def heat_current(heat: Quantity, voltage: Quantity) -> Quantity:
    """Return the current of resistance heat, single phase.

    Source: definition of power. Checked by tests/golden/sizing/strip-heat-circuit.toml.
    """
    current: Quantity = (heat / voltage).to("ampere")
    return current


def _work_out_heat(given: Given) -> Result:
    heat = magnitude(heat_current(given.quantity("heat"), given.quantity("voltage")), "A")
    blower = exact(given.exact("blower", "A"))
    factor = exact(figure("heat-circuit-factor"))
    _check_heat(heat)
    needed = (heat + blower) * factor
    breaker = next_up(standard_ratings(), needed)
    row = smallest_conductor(needed, "copper", "60")
    if breaker is None or row is None or breaker > figure("greatest-heat-breaker"):
        raise refusal(
            f"{plain(needed)} A wants more than {figure('greatest-heat-breaker')} A ({HEAT})",
            "Follow the circuits on the plate.",
            "That takes over sixty amps. Follow the plate's circuits.",
        )
    size = row.text("gauge")
    least = say(up_to_step(needed, "0.1"))
    return Result(
        lead=f"{SAID[size]} copper, {say(breaker)} amp breaker, {least} amps to carry",
        value=plain(breaker),
        unit="A",
        working=(
            (
                f"{given.amount('heat').written()} / {given.amount('voltage').written()} "
                f"= {plain(heat)} A"
            ),
            f"({plain(heat)} + {plain(blower)}) × {factor} = {plain(needed)} A ({HEAT})",
            f"Next standard size up: {breaker} A ({RATINGS})",
            (
                f"Smallest wire: {size} AWG copper, {row.exact('copper_60_a')} A at 60 °C "
                f"({TABLE_310})"
            ),
        ),
        why=f"{say(to_step(heat, '0.1'))} amps of heat, plus {say(blower)}, and a quarter more: "
        f"the circuit must carry {least}.",
        metric=f"at least {copper_area(row.exact('area_mm2'))} of copper.",
    )


def _check_heat(heat: Decimal) -> None:
    """Refuse heat that one circuit may not feed."""
    if heat > figure("greatest-heat-current"):
        raise refusal(
            f"{plain(heat)} A of elements is more than {figure('greatest-heat-current')} A, "
            f"which must be split ({HEAT})",
            "Follow the circuits on the plate.",
            "Over forty eight amps must be split. Follow the plate's circuits.",
        )


STRIP_HEAT_CIRCUIT = Sizing(
    slug="strip-heat-circuit",
    title="Wire and breaker for electric strip heat",
    group=GROUP,
    example="ten k w strip heat plus a three amp blower at two forty, what wire and breaker",
    formula="circuit >= 1.25 · (watts / volts + blower); next standard breaker up",
    inputs=(
        Input(
            name="heat",
            spoken="heat",
            ask="How many kilowatts?",
            ranges=(Range("1", "25", "kW"), Range("1000", "25000", "W")),
        ),
        Input(
            name="voltage",
            spoken="voltage",
            ask="At what voltage?",
            ranges=(Range("100", "250", "V"),),
            heard="~at {}",
        ),
        Input(
            name="blower",
            spoken="blower",
            ask="How many blower amps on it, or zero?",
            ranges=(Range("0", "10", "A"),),
            heard="blower {}",
        ),
    ),
    work=_work_out_heat,
    sources=(HEAT, RATINGS, f"{TABLE_310}; NFPA 70-2023 110.14(C), 240.4(D)"),
    assumption="copper, sixty degree terminals, heat and blower continuous",
    caution="The heat kit's own plate wins: its minimum circuit and its maximum breaker.",
    defers=True,
    united_states_only=True,
)


# ---------------------------------------------------------------- condenser


def minimum_circuit(compressor: Quantity, others: Quantity) -> Quantity:
    """Return the minimum circuit ampacity of one compressor with other loads.

    Args:
        compressor: rated-load current.
        others: fan and all else on the circuit.

    Source: NFPA 70-2023 440.32 and 440.33. Checked by tests/golden/sizing/condenser-circuit.toml.
    """
    least: Quantity = compressor * float(figure("compressor-circuit-factor")) + others
    return least


def greatest_protection(compressor: Quantity, others: Quantity) -> Quantity:
    """Return the largest protection before it goes to a standard size.

    Source: NFPA 70-2023 440.22(A). Checked by tests/golden/sizing/condenser-circuit.toml.
    """
    most: Quantity = compressor * float(figure("compressor-breaker-factor")) + others
    return most


def condenser_breaker(least_a: Decimal, most_a: Decimal) -> tuple[Exact, bool]:
    """Return the breaker of a condenser, and whether it went up.

    Down to a standard size, as plates do; up only where down would not carry the circuit.

    Args:
        least_a: minimum circuit ampacity, in amperes.
        most_a: largest protection, in amperes, at least `least_a`.

    Source: NFPA 70-2023 440.22(A) and its exception 1.
    """
    down = next_down(standard_ratings(), most_a)
    if down is not None and down >= least_a:
        return down, False
    return min(rating for rating in standard_ratings() if rating >= most_a), True


def _work_out_condenser(given: Given) -> Result:
    both = given.quantity("compressor"), given.quantity("others")
    least = magnitude(minimum_circuit(*both), "A")
    most = magnitude(greatest_protection(*both), "A")
    breaker, went_up = condenser_breaker(least, most)
    compressor, others = given.amount("compressor").written(), given.amount("others").written()
    least_words = say(up_to_step(least, "0.1"))
    circuit, limit = figure("compressor-circuit-factor"), figure("compressor-breaker-factor")
    return Result(
        lead=f"{least_words} amps M C A, {say(breaker)} amps M O C P",
        value=plain(least),
        unit="A",
        working=(
            f"MCA: {circuit} × {compressor} + {others} = {plain(least)} A ({COMPRESSOR})",
            f"MOCP: {limit} × {compressor} + {others} = {plain(most)} A ({COMPRESSOR})",
            f"Standard size {'up, exception 1' if went_up else 'down'}: {breaker} A ({RATINGS})",
        ),
        why=f"One and a quarter times the compressor plus the fan; "
        f"for the breaker one point seven five times, {say(to_step(most, '0.1'))}.",
        metric=f"{least_words} and {say(breaker)} amps, the same in metric.",
        over=_breaker_fault(given, least, breaker),
        assumption="No standard size lay below, so it went up." if went_up else "",
    )


def _breaker_fault(given: Given, least: Decimal, most: Exact) -> str:
    """Say what is wrong with the breaker that was asked about, '' where nothing is."""
    if not given.has("breaker"):
        return ""
    proposed = given.amount("breaker")
    if proposed.to("A") > most:
        return f"{capital(proposed.spoken())} is more than it works out to."
    if proposed.to("A") < least:
        return f"{capital(proposed.spoken())} is less than the circuit needs."
    return ""


CONDENSER_CIRCUIT = Sizing(
    slug="condenser-circuit",
    title="Minimum circuit and maximum breaker of a condenser",
    group=GROUP,
    example="compressor's fourteen point one, fan's one point two, what's the m c a",
    formula="MCA = 1.25 · compressor + fan; MOCP = 1.75 · compressor + fan, down to standard",
    inputs=(
        Input(
            name="compressor",
            spoken="compressor",
            ask="How many compressor amps?",
            ranges=(Range("2", "40", "A"),),
            heard="compressor {number}",
        ),
        Input(
            name="others",
            spoken="fan",
            ask="How many fan amps?",
            ranges=(Range("0", "10", "A"),),
            heard="fan {number}",
        ),
        Input(
            name="breaker",
            spoken="breaker",
            ranges=(Range("10", "100", "A"),),
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_condenser,
    sources=(COMPRESSOR, RATINGS),
    assumption="one compressor and one fan",
    caution="The plate's minimum circuit and maximum breaker rule. Never exceed a marked maximum.",
    defers=True,
    united_states_only=True,
)


# ---------------------------------------------------------------- room on a circuit


def _work_out_room(given: Given) -> Result:
    load, breaker, added = (given.amount(name) for name in ("present", "breaker", "added"))
    more, account = _added_amps(given)
    total = exact(load.to("A")) + more
    rating = exact(breaker.to("A"))
    usable = rating / exact(figure("continuous-load-factor"))
    percent = total / rating * 100
    share = say(to_step(percent, "1"))
    words = f"{say(up_to_step(total, '0.1'))} amps of {say(to_step(usable, '0.1'))} usable"
    return Result(
        lead=f"{words}, {share} percent of the breaker",
        value=plain(percent),
        unit="percent",
        working=(
            *account,
            f"{load.written()} + {plain(more)} A = {plain(total)} A",
            f"{plain(total)} / {breaker.written()} = {plain(percent)}%",
            (
                f"Usable: {breaker.written()} / {figure('continuous-load-factor')} = "
                f"{plain(usable)} A (NFPA 70-2023 210.20(A), from memory)"
            ),
        ),
        why=f"{load.spoken()} plus {added.spoken()}, over {breaker.spoken()}. "
        "A continuous load may take eighty percent.",
        metric=f"{words}, the same in metric.",
        over="Over eighty percent of the breaker." if total > usable else "",
    )


def _added_amps(given: Given) -> tuple[Decimal, tuple[str, ...]]:
    """Return what is added, in amperes, and how it came from a power."""
    added = given.amount("added")
    if _measures_power(added.unit):
        power = quantity(added.value, added.unit) / given.quantity("voltage")
        amps = magnitude(power.to("ampere"), "A")
        line = f"{added.written()} / {given.amount('voltage').written()} = {plain(amps)} A"
        return amps, (line,)
    return exact(added.to("A")), ()


def _is_power(given: Mapping[str, object]) -> bool:
    """Only a power needs a voltage to become amperes."""
    return _measures_power(getattr(given.get("added"), "unit", None))


def _measures_power(unit: str | None) -> bool:
    return unit is not None and UNITS[unit].dimension in {"power", "apparent power"}


CIRCUIT_ROOM = Sizing(
    slug="circuit-room",
    title="Room for an accessory on a circuit",
    group=GROUP,
    example="furnace pulls nine amps on a fifteen, can i add a forty v a transformer",
    formula="(present + added amps) / breaker <= 80 percent",
    inputs=(
        Input(
            name="present",
            spoken="present load",
            ask="How many amps at most now?",
            ranges=(Range("0", "40", "A"),),
            heard="{} now",
        ),
        Input(
            name="breaker",
            spoken="breaker",
            ask="What size breaker?",
            ranges=(Range("15", "60", "A"),),
            heard="a {number} amp breaker",
        ),
        Input(
            name="added",
            spoken="added load",
            ranges=(Range("0", "15", "A"), Range("1", "1800", "VA"), Range("1", "1800", "W")),
            heard="{} more",
            default="0",
            assumed="nothing added",
        ),
        Input(
            name="voltage",
            spoken="voltage",
            ranges=(Range("100", "250", "V"),),
            heard="~at {}",
            default="120",
            assumed="one hundred twenty volts",
            needed=_is_power,
        ),
    ),
    work=_work_out_room,
    sources=("NFPA 70-2023 210.20(A) (from memory)", "NFPA 70-2023 422.12 and its exception 1"),
    assumption="a continuous load",
    caution="Furnace circuits take only what serves the furnace; all else needs its own circuit.",
    defers=True,
)

SIZINGS = (STANDARD_BREAKER, STRIP_HEAT_CIRCUIT, CONDENSER_CIRCUIT, CIRCUIT_ROOM)
