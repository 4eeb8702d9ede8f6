"""The supply itself: whether it is in its window, what an element makes on it, what it costs."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.line_voltage import GROUP
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

WINDOW = "ANSI C84.1, from memory"
_NOMINALS = (("120", "one twenty"), ("208", "two oh eight"), ("240", "two forty"))


# ---------------------------------------------------------------- element on another voltage


def heat_at(heat: Quantity, rated: Quantity, voltage: Quantity) -> Quantity:
    """Return what a resistance element makes on another voltage.

    Args:
        heat: at the rated voltage.
        rated: voltage on its plate.
        voltage: that it gets.

    Source: Ohm's law, the resistance taken as fixed.
    Checked by tests/golden/sizing/heater-at-voltage.toml.
    """
    made: Quantity = heat * (voltage / rated) ** 2
    return made


def _work_out_heater(given: Given) -> Result:
    heat, volts, rated = (given.amount(name) for name in ("heat", "voltage", "rated"))
    made = heat_at(given.quantity("heat"), given.quantity("rated"), given.quantity("voltage"))
    kilowatts = magnitude(made, "kW")
    amps = magnitude((made / given.quantity("voltage")).to("ampere"), "A")
    power = (
        spoken(to_step(kilowatts, "0.05"), "kW")
        if kilowatts >= 1
        else spoken(to_step(kilowatts * 1000, "1"), "W")
    )
    said = f"{power}, {spoken(to_step(amps, '0.1'), 'A')}"
    most = figure("greatest-element-voltage")
    percent = exact(volts.to("V")) / exact(rated.to("V")) * 100
    return Result(
        lead=said,
        value=plain(kilowatts),
        unit="kW",
        working=(
            f"{heat.written()} × ({volts.written()} / {rated.written()})² = {plain(kilowatts)} kW",
            f"{plain(kilowatts)} kW / {volts.written()} = {plain(amps)} A",
        ),
        why=f"Power goes with the square of the volts: {volts.spoken()} over {rated.spoken()}, "
        "squared.",
        metric=f"{said}, the same in metric.",
        over="More than ten percent over its rating." if percent > most else "",
    )


HEATER_AT_VOLTAGE = Sizing(
    slug="heater-at-voltage",
    title="An electric element on another voltage",
    group=GROUP,
    example="this five kilowatt strip is on two oh eight, what do i get",
    formula="watts = rated watts · (volts / rated volts)²; amps = watts / volts",
    inputs=(
        Input(
            name="heat",
            spoken="rated heat",
            ask="How many kilowatts is it rated?",
            ranges=(Range("0.1", "25", "kW"), Range("100", "25000", "W")),
            heard="{} rated",
        ),
        Input(
            name="voltage",
            spoken="voltage",
            ask="What voltage is it on?",
            ranges=(Range("100", "264", "V"),),
            heard="on {}",
        ),
        Input(
            name="rated",
            spoken="rated voltage",
            ranges=(Range("208", "240", "V"),),
            heard="rated at {}",
            default="240",
            assumed="an element rated at two hundred forty volts",
        ),
    ),
    work=_work_out_heater,
    sources=("Ohm's law", "ten percent over a rating as the most: common practice, no source"),
    assumption="plain resistance",
    caution="The airflow must suit the heat you really get. Check the temperature rise again.",
)


# ---------------------------------------------------------------- supply in its window


def deviation(measured: Quantity, nominal: Quantity) -> Quantity:
    """Return how far a voltage lies from its nominal one, in percent, minus where it is low.

    Source: definition. Checked by tests/golden/sizing/supply-voltage.toml.
    """
    off: Quantity = ((measured - nominal) / nominal).to("percent")
    return off


def _work_out_supply(given: Given) -> Result:
    row = table("supply-voltages").row("nominal", given.pick("nominal"))
    nominal = quantity(Decimal(row.text("nominal")), "V")
    percent = magnitude(deviation(given.quantity("measured"), nominal), "percent")
    volts = given.exact("measured", "V")
    low, high = row.exact("low_v"), row.exact("high_v")
    inside = low <= volts <= high
    over = ""
    if not inside:
        below = volts < low
        end = low if below else high
        over = f"{'Below' if below else 'Above'} the {say(end)} volts allowed."
    off = f"{say(to_step(abs(percent), '0.1'))} percent {'low' if percent < 0 else 'high'}"
    said = off if percent else "right on it"
    return Result(
        lead=f"{said}, inside the limits" if inside else said,
        value=plain(percent),
        unit="percent",
        working=(
            (
                f"100 × ({plain(volts)} − {row.text('nominal')}) / {row.text('nominal')} "
                f"= {plain(percent)}%"
            ),
            f"Let pass: {low} to {high} V ({WINDOW})",
        ),
        why=f"{say(low)} to {say(high)} volts pass.",
        metric=f"{said}, the same in metric.",
        over=over,
    )


SUPPLY_VOLTAGE = Sizing(
    slug="supply-voltage",
    title="Supply voltage against its limits",
    group=GROUP,
    example="two twenty six on a two forty unit, good",
    formula="percent = 100 · (volts − nominal) / nominal",
    inputs=(
        Input(
            name="measured",
            spoken="voltage",
            ask="How many volts?",
            ranges=(Range("90", "270", "V"),),
            from_log=("primary-voltage", "transformer-primary"),
        ),
        Input(
            name="nominal",
            spoken="nominal voltage",
            ask="Should it be one twenty, two oh eight or two forty?",
            options=tuple(Option(volts, words) for volts, words in _NOMINALS),
            heard="~on {}",
        ),
    ),
    work=_work_out_supply,
    sources=(f"{WINDOW}: about 8 percent under to 5 percent over; 5 percent under at 208 V",),
    assumption="a reading at the equipment, under load",
    caution="One leg high and the other low is a bad neutral. Stop and call it in.",
)


# ---------------------------------------------------------------- running cost


def energy(load: Quantity, hours: Quantity, days: Quantity) -> Quantity:
    """Return the energy of a load that runs so many hours on each of so many days.

    Apparent power is taken as real, the worst case: to pint the two are one dimension.

    Source: definition. Checked by tests/golden/sizing/running-cost.toml.
    """
    used: Quantity = (load * hours * days).to("kilowatt_hour")
    return used


_ROUND_THE_CLOCK = Decimal(24)
_WHOLE_DOLLARS_FROM = Decimal(5)


def _work_out_cost(given: Given) -> Result:
    load, price, period = given.amount("load"), given.amount("price"), given.pick("period")
    hours = _ROUND_THE_CLOCK if given.has("clock") else exact(given.exact("hours", "h"))
    days = figure(f"{period}-days")
    used = energy(given.quantity("load"), quantity(hours, "h"), quantity(days, "count"))
    kilowatt_hours = Decimal(f"{used.magnitude:.12g}")
    cents = kilowatt_hours * exact(price.to("cent"))
    said = f"{_money(cents)} a {period}"
    return Result(
        lead=said,
        value=plain(cents),
        unit="cent",
        working=(
            (
                f"{load.written()} × {plain(hours)} h × {plain(days)} days / 1000 "
                f"= {plain(kilowatt_hours)} kWh"
            ),
            f"{plain(kilowatt_hours)} kWh × {price.written()} = {plain(cents)} ¢",
        ),
        why=f"{load.spoken()}, {say(hours)} hours, {say(days)} days "
        f"is {say(to_step(kilowatt_hours, '0.1'))} kilowatt hours, at {price.spoken()}.",
        metric=f"{said}, the same in metric.",
    )


def _money(cents: Decimal) -> str:
    """Say an amount: whole dollars, below five with the cents."""
    if cents / 100 >= _WHOLE_DOLLARS_FROM:
        return f"{say(to_step(cents / 100, '1'))} dollars"
    dollars, over = divmod(to_step(cents, "1"), 100)
    parts = [(dollars, "dollar"), (over, "cent")]
    told = [f"{say(count)} {one if count == 1 else f'{one}s'}" for count, one in parts if count]
    return " ".join(told)


def _is_not_round_the_clock(given: Mapping[str, object]) -> bool:
    return "clock" not in given


RUNNING_COST = Sizing(
    slug="running-cost",
    title="Running cost of an accessory",
    group=GROUP,
    example="eighteen watts round the clock at fifteen cents, how much a year",
    formula="dollars = watts / 1000 · hours a day · days · dollars a kWh",
    inputs=(
        Input(
            name="load",
            spoken="load",
            ask="How many watts, or V A?",
            ranges=(Range("0.1", "10000", "W"), Range("0.1", "10000", "VA")),
        ),
        Input(
            name="clock",
            spoken="round the clock",
            options=(Option("yes", "round the clock"),),
            needed=never,
        ),
        Input(
            name="hours",
            spoken="hours a day",
            ask="How many hours a day?",
            ranges=(Range("0.1", "24", "h"),),
            heard="{} a day",
            needed=_is_not_round_the_clock,
        ),
        Input(
            name="price",
            spoken="price",
            ask="How many cents a kilowatt hour?",
            ranges=(Range("5", "60", "cent"),),
            heard="~at {}",
        ),
        Input(
            name="period",
            spoken="period",
            options=(Option("month", "a month"), Option("year", "a year")),
            heard="",
            default="month",
            assumed="a month of thirty days",
        ),
    ),
    work=_work_out_cost,
    sources=("arithmetic; a month of 30 days",),
    assumption="V A as watts, the worst case",
    caution="A blower that runs along costs far more. Work out its watts too, and quote both.",
)

SIZINGS = (HEATER_AT_VOLTAGE, SUPPLY_VOLTAGE, RUNNING_COST)
