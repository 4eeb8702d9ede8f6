"""What a conductor carries in heat and company, and the ground wire beside it."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.sizing.line_voltage import GROUP, SAID, SIZES, TABLE_310
from companion.sizing.metric import copper_area
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing
from companion.sizing.refusals import refusal
from companion.sizing.rounding import plain
from companion.sizing.tables import table

if TYPE_CHECKING:
    from companion.ports import Exact

AMBIENT = "NFPA 70-2023 table 310.15(B)(1)(1)"
BUNDLE = "NFPA 70-2023 table 310.15(C)(1)"
GROUND = "NFPA 70-2023 table 250.122"
_WORDS = {"60": "sixty", "75": "seventy five", "90": "ninety"}


# ---------------------------------------------------------------- derating


def ambient_factor(ambient_c: Exact, insulation: str) -> Exact | None:
    """Return the ampacity factor of warm surroundings, None where the insulation takes none.

    Args:
        ambient_c: degrees Celsius; below 30 the factor stays one.
        insulation: '60', '75' or '90', its rating in degrees Celsius.

    Source: NFPA 70-2023 table 310.15(B)(1)(1). Checked by tests/sizing/test_line_voltage.py.
    """
    column = f"factor_{insulation}"
    for row in table("ambient-factors").rows:  # coolest first
        if ambient_c <= row.exact("most_c"):
            return row.exact(column) if row.has(column) else None
    return None


def bundle_factor(wires: Exact) -> Exact:
    """Return the ampacity factor of so many current-carrying conductors together, 1 to 40.

    Source: NFPA 70-2023 table 310.15(C)(1). Checked by tests/golden/sizing/derated-ampacity.toml.
    """
    rows = table("bundle-factors").rows  # fewest first
    return next(row.exact("factor") for row in rows if wires <= row.exact("most_wires"))


def _work_out_derating(given: Given) -> Result:
    gauge, insulation = given.pick("gauge"), given.pick("insulation")
    terminal, ambient = given.pick("terminal"), given.amount("ambient")
    wires = given.amount("count")
    heat = ambient_factor(given.exact("ambient", "degC"), insulation)
    if heat is None:
        raise refusal(
            f"{insulation} °C insulation has no factor at {ambient.written()}",
            "Keep it out of that heat, or take better insulation.",
            f"Too hot for {_WORDS[insulation]} degree insulation.",
        )
    crowd = bundle_factor(wires.value)
    row = table("ampacity").row("gauge", gauge)
    full = row.exact(f"copper_{insulation}_a")
    derated = Decimal(str(full)) * Decimal(str(heat)) * Decimal(str(crowd))
    caps = {f"the {_WORDS[terminal]} degree terminals": row.exact(f"copper_{terminal}_a")}
    if row.has("copper_breaker_a"):
        caps["the largest breaker for the gauge"] = row.exact("copper_breaker_a")
    cap = min(caps.values())
    final = min(derated, Decimal(str(cap)))
    capped = derated > final
    by = next(words for words, amps in caps.items() if amps == cap)
    amps = f"{say(Decimal(int(final)))} amps at most"
    return Result(
        lead=f"{amps}, held there by {by}" if capped else amps,
        value=plain(final),
        unit="A",
        working=(
            f"{gauge} AWG copper, {insulation} °C column: {full} A ({TABLE_310})",
            f"Surroundings of {ambient.written()}: × {heat} ({AMBIENT})",
            f"{wires.written()} current-carrying conductors: × {crowd} ({BUNDLE})",
            f"{full} × {heat} × {crowd} = {plain(derated)} A",
            (
                f"At most {row.exact(f'copper_{terminal}_a')} A at {terminal} °C terminals "
                "(NFPA 70-2023 110.14(C))"
            ),
            *(
                (f"Breaker at most {row.exact('copper_breaker_a')} A (NFPA 70-2023 240.4(D))",)
                if row.has("copper_breaker_a")
                else ()
            ),
        ),
        why=f"{say(full)} amps, times {say(heat)} for heat, times {say(crowd)} for company, "
        f"is {say(_short(derated))}.",
        metric=f"{amps}, through {copper_area(row.exact('area_mm2'))} of copper.",
    )


def _short(amps: Decimal) -> Decimal:
    return Decimal(plain(Decimal(int(amps * 10)) / 10))  # down, like the result


DERATED_AMPACITY = Sizing(
    slug="derated-ampacity",
    title="Ampacity in a hot attic or a crowded pipe",
    group=GROUP,
    example="what's ten gauge t h h n good for in a hundred and twenty degree attic",
    formula="amps = column · heat factor · bundle factor, never above terminals or 240.4(D)",
    inputs=(
        Input(
            name="gauge",
            spoken="gauge",
            ask="What gauge?",
            options=tuple(Option(size, words) for size, words in SIZES),
            kind="gauge",
        ),
        Input(
            name="ambient",
            spoken="heat",
            ask="How many degrees around the wire?",
            ranges=(Range("32", "185", "degF"), Range("0", "85", "degC")),
        ),
        Input(
            name="insulation",
            spoken="insulation",
            ask="Insulation of sixty, seventy five or ninety degrees?",
            options=tuple(Option(value, f"{words} degree") for value, words in _WORDS.items()),
            heard="{} insulation",
        ),
        Input(
            name="count",
            spoken="live wires",
            ranges=(Range("1", "40", "count"),),
            kind="count",
            heard="{} live wires",
            default="3",
            assumed="three live wires at most",
        ),
        Input(
            name="terminal",
            spoken="terminal rating",
            options=(Option("60", "sixty"), Option("75", "seventy five")),
            heard="{} degree terminals",
            default="60",
            assumed="sixty degree terminals",
        ),
    ),
    work=_work_out_derating,
    sources=(f"{TABLE_310}, {AMBIENT}, {BUNDLE}", "NFPA 70-2023 110.14(C), 240.4(D)"),
    assumption="copper",
    caution="Wet places take the wet rating, which may be lower. A continuous load takes a quarter "
    "more.",
    defers=True,
    united_states_only=True,
)


# ---------------------------------------------------------------- ground


def _work_out_ground(given: Given) -> Result:
    metal, breaker = given.pick("metal"), given.amount("breaker")
    rows = table("equipment-grounds").rows  # smallest breaker first
    row = next(row for row in rows if breaker.to("A") <= row.exact("breaker_a"))
    size, rating = row.text(metal), row.exact("breaker_a")
    area = table("ampacity").row("gauge", size).exact("area_mm2")
    return Result(
        lead=f"{SAID[size]} {metal}",
        value=size,
        unit="gauge",
        working=(
            f"{breaker.written()} falls in the row of {rating} A: {size} AWG {metal} ({GROUND})",
        ),
        why=f"Up to {say(rating)} amps the table gives {SAID[size]} {metal}.",
        metric=f"at least {copper_area(area)} of {metal}.",
    )


EQUIPMENT_GROUND = Sizing(
    slug="equipment-ground",
    title="Equipment ground wire for a breaker",
    group=GROUP,
    example="ground wire for a thirty amp circuit",
    formula="looked up by the breaker's rating, never the load",
    inputs=(
        Input(
            name="breaker",
            spoken="breaker",
            ask="What size breaker?",
            ranges=(Range("15", "200", "A"),),
            heard="a {number} amp breaker",
        ),
        Input(
            name="metal",
            spoken="metal",
            options=(Option("copper", "copper"), Option("aluminum", "aluminum")),
            heard="",
            default="copper",
            assumed="copper",
        ),
    ),
    work=_work_out_ground,
    sources=(GROUND, "NFPA 70-2023 250.122(B) for upsized conductors"),
    caution="Go by the breaker, not the load. Hot wires upsized for drop take a bigger ground too.",
    defers=True,
    united_states_only=True,
)

SIZINGS = (DERATED_AMPACITY, EQUIPMENT_GROUND)
