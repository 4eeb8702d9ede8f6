"""Humidity in the heating season: what a house needs, and what its windows stand."""

from __future__ import annotations

from decimal import ROUND_FLOOR, Decimal
from typing import TYPE_CHECKING

from companion import quantities
from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.heat_moved import air_weight, sea_level
from companion.sizing.humidity import by_relative_humidity, saturation_pressure
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.moist_air import GROUP, SOURCE
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

_STEP = Decimal(5)

_OUTDOOR = Input(
    name="outdoor",
    spoken="outdoor",
    ask="What is the outdoor temperature?",
    ranges=(Range("-40", "60", "degF"),),
    heard="outdoor {number}",
    from_log=("outdoor-temperature",),
)


def _room(low: str) -> Input:
    return Input(
        name="indoor",
        spoken="indoor",
        ranges=(Range(low, "75", "degF"),),
        heard="indoor {number}",
        default=str(figure("usual-room")),
        assumed="seventy degrees inside",
    )


def gallons(water: Quantity) -> Quantity:
    """Return a weight of water a time as a volume a time. Source: 8.34 lb to the gallon."""
    registry = quantities.registry()
    per_gallon = registry.Quantity(float(figure("water-weight")), registry.Unit("pound / gallon"))
    volume: Quantity = water / per_gallon
    return volume


# ---------------------------------------------------------------- humidifier


def infiltration(floor: Quantity, ceiling: Quantity, changes: float) -> Quantity:
    """Return the outdoor air that leaks in: the house's volume, so often an hour.

    Source: definition of an air change.
    """
    flow: Quantity = (floor * ceiling * changes).to("foot ** 3") / quantity(Decimal(60), "min")
    return flow


def _work_out_humidifier(given: Given) -> Result:
    flow = infiltration(
        given.quantity("floor"), given.quantity("ceiling"), float(given.exact("changes", "count"))
    )
    outdoor = by_relative_humidity(
        given.quantity("outdoor"), quantity(figure("infiltration-humidity"), "percent"), sea_level()
    )
    indoor = by_relative_humidity(given.quantity("indoor"), given.quantity("humidity"), sea_level())
    lacking = indoor.moisture - outdoor.moisture
    grains = magnitude(lacking, "gr_lb")
    if grains <= 0:
        raise refusal(
            "Outdoor air holds as much water as the room",
            "No humidifier is needed then.",
            "Outdoor air already holds that much. You need no humidifier.",
        )
    volume = gallons(air_weight(flow) * lacking)
    gallons_a_day = magnitude(volume, "gal_day")
    whole = to_step(gallons_a_day, "1")
    return Result(
        lead=f"{say(whole)} {'gallon' if whole == 1 else 'gallons'} a day",
        value=plain(gallons_a_day),
        unit="gal_day",
        working=(
            (
                f"Leaks: {given.amount('floor').written()} · {given.amount('ceiling').written()} · "
                f"{plain(given.exact('changes', 'count'))} an hour = "
                f"{plain(magnitude(flow, 'cfm'))} cfm"
            ),
            (
                f"4.5 · flow · {plain(to_step(grains, '0.1'))} gr/lb / 7000 · 24 / 8.34 = "
                f"{plain(gallons_a_day)} gal/day"
            ),
        ),
        why="The air that leaks in, times the grains it lacks.",
        metric=f"{in_metric(volume, 'liter / day', '1')}.",
        over=_too_small(given, gallons_a_day),
    )


def _too_small(given: Given, gallons_a_day: Decimal) -> str:
    if not given.has("capacity"):
        return ""
    capacity = exact(given.exact("capacity", "gal_day"))
    if capacity >= gallons_a_day:
        return ""
    return f"{say(capacity).capitalize()} gallons a day is not enough."


HUMIDIFIER_CAPACITY = Sizing(
    slug="humidifier-capacity",
    title="Humidifier capacity that a house needs",
    group=GROUP,
    example="two thousand square foot house, eight foot, half a change, "
    "zero out and forty in, gallons",
    formula="gal/day = volume · changes · 0.075 · 24 · (W inside - W outside) / 8.34",
    inputs=(
        Input(
            name="floor",
            spoken="floor area",
            ask="How many square feet?",
            ranges=(Range("300", "8000", "ft2"),),
        ),
        Input(
            name="ceiling",
            spoken="ceiling",
            ranges=(Range("7", "14", "ft"),),
            heard="{number} high",
            default=str(figure("usual-ceiling")),
            assumed="an eight foot ceiling",
        ),
        Input(
            name="changes",
            spoken="air changes",
            ask="How many air changes an hour, half being usual?",
            ranges=(Range("0.05", "1.5", "count"),),
            kind="count",
            heard="{} changes",
        ),
        _OUTDOOR,
        _room("60"),
        Input(
            name="humidity",
            spoken="indoor humidity",
            ask="What percent humidity inside?",
            ranges=(Range("20", "50", "percent"),),
            heard="{} inside",
        ),
        Input(
            name="capacity",
            spoken="humidifier",
            ranges=(Range("1", "100", "gal_day"),),
            heard="{number} gallon humidifier",
            needed=never,
        ),
    ),
    work=_work_out_humidifier,
    sources=(SOURCE, "mass balance; 80 % humidity outside: common practice, no source"),
    assumption="leaks alone, eighty percent humidity outside",
    caution="Cooking and bathing need less of it. Too much wets windows and walls.",
)


# ---------------------------------------------------------------- windows


def glass_temperature(indoor: Quantity, outdoor: Quantity, resistance: float) -> Quantity:
    """Return the temperature of a window's inside, by its share of still air in the resistance.

    Args:
        indoor: of the room.
        outdoor: outside.
        resistance: the glass's, in h·ft²·°F/Btu, the air films in it.

    Source: one-dimensional conduction, still air 0.68 h·ft²·°F/Btu (ASHRAE Fundamentals, from
    memory). Checked by tests/golden/sizing/window-humidity.toml.
    """
    share = float(figure("room-air-film")) / resistance
    inside: Quantity = indoor - share * (indoor - outdoor)
    return inside


def greatest_humidity(indoor: Quantity, glass: Quantity) -> Quantity:
    """Return the relative humidity of the room at which its glass fogs or frosts.

    Source: definition of the dew point; saturation by psychrolib.
    """
    share: Quantity = (saturation_pressure(glass) / saturation_pressure(indoor)).to("percent")
    return share


def _work_out_window(given: Given) -> Result:
    if given.has("panes"):
        resistance = exact(figure(f"glass-{given.pick('panes')}"))
    else:
        resistance = exact(given.exact("r-value", "count"))
    indoor = given.quantity("indoor")
    glass = glass_temperature(indoor, given.quantity("outdoor"), float(resistance))
    percent = magnitude(greatest_humidity(indoor, glass), "percent")
    down = (percent / _STEP).to_integral_value(ROUND_FLOOR) * _STEP
    degrees = magnitude(glass, "degF")
    said = f"{spoken(down, 'percent')} at most" if down else f"under {spoken(_STEP, 'percent')}"
    return Result(
        lead=said,
        value=plain(percent),
        unit="percent",
        working=(
            (
                f"Glass: {plain(magnitude(indoor, 'degF'))} − 0.68 / {plain(resistance)} · "
                f"difference = {plain(degrees)} °F"
            ),
            f"Saturation there over saturation in the room = {plain(percent)} %",
        ),
        why=f"The glass is at {say(to_step(degrees, '1'))}; over that humidity it fogs.",
        metric=f"{said}; glass at {in_metric(glass, 'degC', '1')}.",
        over=_too_humid(given, percent),
    )


def _too_humid(given: Given, percent: Decimal) -> str:
    if not given.has("humidity"):
        return ""
    humidity = exact(given.exact("humidity", "percent"))
    return f"{spoken(humidity, 'percent').capitalize()} is too much." if humidity > percent else ""


def _no_panes_given(given: Mapping[str, object]) -> bool:
    return "panes" not in given


WINDOW_HUMIDITY = Sizing(
    slug="window-humidity",
    title="Indoor humidity that windows stand",
    group=GROUP,
    example="it's ten outside, what humidity can i set with double glazing",
    formula="glass = indoor - 0.68 / R · (indoor - outdoor); humidity = p(glass) / p(indoor)",
    inputs=(
        _OUTDOOR,
        _room("65"),
        Input(
            name="panes",
            spoken="glass",
            options=(
                Option("single", "single glass"),
                Option("double", "double glass"),
                Option("triple", "triple glass"),
            ),
            needed=never,
        ),
        Input(
            name="r-value",
            spoken="R value",
            ask="What's the glass's R: single one, double two, triple three?",
            ranges=(Range("0.9", "5", "count"),),
            kind="count",
            heard="R {number}",
            needed=_no_panes_given,
        ),
        Input(
            name="humidity",
            spoken="humidity now",
            ranges=(Range("5", "100", "percent"),),
            heard="{} now",
            needed=never,
        ),
    ),
    work=_work_out_window,
    sources=(
        SOURCE,
        "still air 0.68 h·ft²·°F/Btu: ASHRAE Fundamentals, from memory",
        "R 1, 2 and 3 for single, double and triple glass: common practice, no source",
    ),
    assumption="the middle of the glass, its edge is colder",
    caution="Stay five to ten percent under it.",
)

SIZINGS = (HUMIDIFIER_CAPACITY, WINDOW_HUMIDITY)
