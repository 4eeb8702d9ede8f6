"""The line side of a control transformer: what it draws, and what may protect it."""

from __future__ import annotations

from decimal import Decimal

from companion.numbers import say
from companion.quantities import spoken
from companion.sizing.low_voltage import GROUP, current_of
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing
from companion.sizing.rounding import down_to_step, magnitude, plain, to_step
from companion.sizing.tables import figure, table

_VOLTAGE = Input(
    name="voltage",
    spoken="primary voltage",
    ask="What primary voltage?",
    ranges=(Range("110", "250", "V"),),
    heard="~at {}",
)


def _rating(high: str) -> Input:
    return Input(
        name="rating",
        spoken="transformer",
        ask="How many V A is the transformer?",
        ranges=(Range("10", high, "VA"),),
    )


def _primary_a(given: Given) -> Decimal:
    return magnitude(current_of(given.quantity("rating"), given.quantity("voltage")), "A")


def _account(given: Given, amps: Decimal) -> str:
    rating, volts = given.amount("rating").written(), given.amount("voltage").written()
    return f"Full load: {rating} / {volts} = {plain(amps)} A"


# ---------------------------------------------------------------- current


def _work_out_current(given: Given) -> Result:
    amps = _primary_a(given)
    said = spoken(to_step(amps, "0.01"), "A")
    return Result(
        lead=said,
        value=plain(amps),
        unit="A",
        working=(_account(given, amps), "Its own losses add 10 to 15 % (common practice)"),
        why=f"{given.amount('rating').spoken()} over {given.amount('voltage').spoken()}.",
        metric=f"{said}, the same in metric.",
    )


PRIMARY_CURRENT = Sizing(
    slug="primary-current",
    title="Primary amps of a control transformer",
    group=GROUP,
    example="what does a forty v a pull on the one twenty side",
    formula="amps = VA / primary volts",
    inputs=(_rating("500"), _VOLTAGE),
    work=_work_out_current,
    sources=("definition of the volt-ampere", "losses: common practice, no source"),
    assumption="full load; its own losses add a tenth or so",
    caution="The primary is line voltage: licensed hands only.",
)


# ---------------------------------------------------------------- protection


def protection_share(primary_a: Decimal) -> Decimal:
    """Return the largest protection on the primary alone, in percent of the primary current.

    Source: NFPA 70-2023 table 450.3(B). Checked by tests/golden/sizing/primary-protection.toml.
    """
    rows = table("transformer-protection").rows  # from the lowest current up
    shares = (
        row.exact("protection_percent") for row in rows if row.exact("least_current_a") <= primary_a
    )
    return Decimal(str(list(shares)[-1]))


def _work_out_protection(given: Given) -> Result:
    amps = _primary_a(given)
    if given.pick("class-two") == "yes":
        most = figure("class-2-supply-protection")
        return Result(
            lead=f"{spoken(most, 'A')} at most ahead of it",
            value=plain(most),
            unit="A",
            working=(
                _account(given, amps),
                f"Listed class 2 is outside article 450; {most} A ahead of it: {_SUPPLY}",
            ),
            why="A listed class two transformer goes by its marking and its circuit.",
            metric=f"{spoken(most, 'A')}, the same in metric.",
        )
    share = protection_share(amps)
    ceiling = Decimal(plain(amps * share / 100))
    allowed = down_to_step(ceiling, "0.01")
    fuse = max(
        (
            r.exact("rating_a")
            for r in table("primary-fuses").rows
            if r.exact("rating_a") <= ceiling
        ),
        default=None,
    )
    standard = f"a {say(fuse)} amp fuse" if fuse else "no standard fuse is that small"
    return Result(
        lead=f"{spoken(allowed, 'A')} at most, {standard}",
        value=plain(ceiling),
        unit="A",
        working=(
            _account(given, amps),
            f"At most {share} % of it: {plain(ceiling)} A ({_TABLE_450})",
            f"Standard fuse at or under it: {fuse or 'none'}{' A' if fuse else ''} (240.6(A))",
        ),
        why=f"{spoken(to_step(amps, '0.01'), 'A')} full load, at most {say(share)} percent of it.",
        metric=f"{spoken(allowed, 'A')}, the same in metric.",
        assumption="A listed class two one goes by its marking instead.",
    )


_TABLE_450 = "NFPA 70-2023 table 450.3(B), primary only"
_SUPPLY = "725.127, from memory"

PRIMARY_PROTECTION = Sizing(
    slug="primary-protection",
    title="Fuse or breaker ahead of a control transformer",
    group=GROUP,
    example="primary fuse for a forty v a at one twenty",
    formula="at most 300 % of VA / volts under 2 A, 167 % under 9 A, 125 % from there; "
    "the next standard fuse down",
    inputs=(
        _rating("1000"),
        _VOLTAGE,
        Input(
            name="class-two",
            spoken="listed class two",
            ask="Is it listed as class two?",
            options=(Option("no", "not class two"), Option("yes", "class two")),
            kind="yes or no",
            default="no",
            assumed="a transformer that is not listed class two",
        ),
    ),
    work=_work_out_protection,
    sources=(
        _TABLE_450,
        "NFPA 70-2023 240.6(A): 1, 3 and 6 A from memory",
        f"class 2: outside article 450; supply protection 20 A: NFPA 70-2023 {_SUPPLY}",
    ),
    caution="Listing and marking come before this figure.",
    defers=True,
    united_states_only=True,
)


SIZINGS = (PRIMARY_CURRENT, PRIMARY_PROTECTION)
