"""24 V power: the transformer for a list of loads, and its fuse."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity
from companion.sizing.low_voltage import GROUP, PRACTICE, TABLE_11, apparent_power, current_of
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, next_up, plain, to_step
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from companion.ports import Exact
    from companion.quantities import Quantity

_CLASS_2_POWER = str(figure("class-2-power-limit"))
_NOMINAL = str(figure("control-voltage"))

# ---------------------------------------------------------------- transformer


def rated_power(loads: tuple[Quantity, ...], margin: Quantity) -> Quantity:
    """Return the apparent power to look for: the loads added, with a margin.

    Source: common practice, no source. Checked by tests/golden/sizing/transformer-size.toml.
    """
    total = loads[0]
    for load in loads[1:]:
        total = total + load
    power: Quantity = total * (1 + margin.to("dimensionless"))
    return power


def _work_out_transformer(given: Given) -> Result:
    loads = given.amounts["loads"]
    total = sum((exact(load.to("VA")) for load in loads), Decimal(0))
    wanted = magnitude(rated_power(given.listed("loads"), given.quantity("margin")), "VA")
    rating = next_up((row.exact("rating_va") for row in table("control-transformers").rows), wanted)
    if rating is None:
        raise refusal(
            f"{plain(wanted)} VA with its margin is over the {_CLASS_2_POWER} VA of class 2",
            "Split the loads between transformers; never parallel their secondaries.",
            f"Over {say(figure('class-2-power-limit'))} V A. Split the loads between transformers.",
        )
    margin = given.amount("margin")
    return Result(
        lead=f"{_rating_verdict(given.pick('rating'), rating)}a {say(rating)} V A transformer",
        value=plain(rating),
        unit="VA",
        working=(
            f"Loads: {' + '.join(load.written() for load in loads)} = {plain(total)} VA",
            f"With {margin.written()} margin: {plain(wanted)} VA ({PRACTICE})",
            f"Next rating up: {plain(rating)} VA (ratings from memory)",
        ),
        why=f"{say(total)} V A, {say(to_step(wanted, '0.1'))} with margin, next size up.",
        metric=f"{say(rating)} V A, the same in metric.",
    )


def _rating_verdict(proposed: str, needed: Exact) -> str:
    """Say whether the transformer that was asked about does."""
    if not proposed:
        return ""
    words = say(Decimal(proposed))
    return (
        f"{words} is too small, take "
        if Decimal(proposed) < needed
        else f"{words} will do, it takes "
    )


TRANSFORMER_SIZE = Sizing(
    slug="transformer-size",
    title="24 V transformer for a list of loads",
    group=GROUP,
    example="what transformer for eighteen v a plus nine v a",
    formula="VA >= sum of loads · (1 + margin); the next rating up",
    inputs=(
        Input(
            name="loads",
            spoken="load",
            ask="How many V A, one load or all together?",
            ranges=(Range("0.5", "80", "VA"),),
            many=True,
        ),
        Input(
            name="margin",
            spoken="margin",
            ask="What margin, in percent?",
            ranges=(Range("20", "25", "percent"),),
            heard="{} margin",
            default=str(figure("transformer-margin")),
            assumed="a quarter more for margin",
        ),
        Input(
            name="rating",
            spoken="transformer",
            options=tuple(
                Option(rating, f"{words} V A")
                for rating, words in (
                    ("20", "twenty"),
                    ("40", "forty"),
                    ("50", "fifty"),
                    ("75", "seventy five"),
                    ("100", "one hundred"),
                )
            ),
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_transformer,
    sources=(f"margin: {PRACTICE}", "ratings: common practice (from memory)", TABLE_11),
    caution="Never parallel two secondaries.",
)


# ---------------------------------------------------------------- fuse


def fuse_ceiling(highest: Quantity) -> Quantity:
    """Return the largest fuse on a class 2 source that is not inherently limited.

    Source: NFPA 70-2023 chapter 9 table 11(A), from memory.
    Checked by tests/golden/sizing/secondary-fuse.toml.
    """
    ceiling: Quantity = (quantity(figure("class-2-fuse-power"), "VA") / highest).to("ampere")
    return ceiling


def _work_out_fuse(given: Given) -> Result:
    rating, nominal = given.amount("rating"), quantity(figure("control-voltage"), "V")
    full = magnitude(current_of(given.quantity("rating"), nominal), "A")
    ceiling = magnitude(fuse_ceiling(given.quantity("highest")), "A")
    allowed = [r.exact("rating_a") for r in table("control-fuses").rows]
    allowed = [size for size in allowed if size <= ceiling]
    fuse = next_up(allowed, full) or max(allowed)
    usable = magnitude(apparent_power(quantity(fuse, "A"), nominal), "VA")
    short = fuse < full
    return Result(
        lead=f"{_fuse_verdict(given, full, ceiling)}a {say(fuse)} amp fuse",
        value=plain(fuse),
        unit="A",
        working=(
            f"Full load: {rating.written()} / {_NOMINAL} V = {plain(full)} A",
            (
                f"Class 2 ceiling: {figure('class-2-fuse-power')} / "
                f"{given.exact('highest', 'V')} V = {plain(ceiling)} A ({TABLE_11})"
            ),
            f"Standard fuse under the ceiling: {plain(fuse)} A (sizes from memory)",
            *([f"It carries {plain(usable)} of {rating.written()}"] if short else []),
        ),
        why=f"{say(to_step(full, '0.01'))} amps full load; class two stops at "
        f"{say(to_step(ceiling, '0.01'))}.",
        metric=f"A {say(fuse)} amp fuse, the same in metric.",
        caution=f"It carries {say(to_step(usable, '1'))} of the {rating.spoken()}."
        if short
        else "",
    )


def _fuse_verdict(given: Given, full: Decimal, ceiling: Decimal) -> str:
    """Say whether the fuse that was asked about does."""
    if not given.has("fuse"):
        return ""
    proposed = given.exact("fuse", "A")
    words = f"{say(proposed)} amps"
    if proposed > ceiling:
        return f"{words} is too big, take "
    return (
        f"{words} is too small, take " if proposed < full else f"{words} will do, the nearest is "
    )


SECONDARY_FUSE = Sizing(
    slug="secondary-fuse",
    title="Fuse for a 24 V transformer's secondary",
    group=GROUP,
    example="what fuse for a forty v a transformer",
    formula="VA / 24 V <= fuse <= 100 / highest voltage; a standard fuse, never over the ceiling",
    inputs=(
        Input(
            name="rating",
            spoken="transformer",
            ask="How many V A is the transformer?",
            ranges=(Range("10", _CLASS_2_POWER, "VA"),),
        ),
        Input(
            name="highest",
            spoken="highest secondary voltage",
            ask="What voltage with nothing connected?",
            ranges=(Range("20", "30", "V"),),
            heard="{} unloaded",
            default=str(figure("unloaded-control-voltage")),
            assumed="twenty seven volts unloaded",
        ),
        Input(
            name="fuse",
            spoken="fuse",
            ranges=(Range("0.5", "20", "A"),),
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_fuse,
    sources=(TABLE_11, "fuse sizes: common practice (from memory)"),
    assumption="a transformer not limited inside",
    caution="The marking decides. Replace a board fuse like for like.",
)


SIZINGS = (TRANSFORMER_SIZE, SECONDARY_FUSE)
