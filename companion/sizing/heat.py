"""Heat and the air that carries it: rise, airflow by heat, heat from one unit into another."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion import quantities
from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.humidity import density_share
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.quantities import Quantity

GROUP = "Heat"
SENSIBLE_SOURCE = "sensible heat of standard air: 1.08 = 0.075 lb/ft³ · 60 min/h · 0.24 Btu/(lb·°F)"
ELEVATION = Input(
    name="elevation",
    spoken="elevation",
    ranges=(Range("0", "10000", "ft"),),
    heard="{} up",
    default="0",
    assumed="sea level",
)


def sensible_factor(elevation: Quantity) -> Quantity:
    """Return the heat for each unit of flow and degree: 1.08 at sea level, less higher up.

    Source: standard air's density and specific heat; density goes with the standard
    atmosphere's pressure. Checked by tests/golden/sizing/sensible-heat.toml.
    """
    per_flow_and_degree = quantities.registry().Unit("Btu / hour / (foot ** 3 / minute)")
    factor: Quantity = quantities.registry().Quantity(
        float(figure("sensible-factor")) * density_share(elevation),
        per_flow_and_degree / quantities.registry().Unit("delta_degF"),
    )
    return factor


def factor_written(elevation: Quantity) -> str:
    """Return the factor for the working: '1.08'."""
    return plain(to_step(Decimal(str(sensible_factor(elevation).magnitude)), "0.001"))


# ---------------------------------------------------------------- rise


def temperature_rise(supply: Quantity, return_: Quantity) -> Quantity:
    """Return how much warmer the supply is than the return.

    Source: definition. Checked by tests/golden/sizing/temperature-rise.toml.
    """
    rise: Quantity = (supply - return_).to("delta_degF")
    return rise


def _work_out_rise(given: Given) -> Result:
    if given.has("rise"):
        rise, line = given.quantity("rise"), "Rise"
    else:
        rise = temperature_rise(given.quantity("supply"), given.quantity("return"))
        if rise.magnitude <= 0:
            raise refusal(
                "Supply is no warmer than return",
                "Check the two temperatures.",
                "Supply must be warmer than return. Check both.",
            )
        line = f"{given.amount('supply').written()} − {given.amount('return').written()}"
    lowest, highest = (exact(given.exact(name, "delta_degF")) for name in ("lowest", "highest"))
    if lowest >= highest:
        raise refusal(
            f"The plate's range, {plain(lowest)} to {plain(highest)} °F, is none",
            "Check the plate.",
            "The plate's low figure must be under its high one.",
        )
    degrees = magnitude(rise, "delta_degF")
    middle = (lowest + highest) / 2
    over = _off_the_plate(degrees, lowest, highest)
    whole = to_step(degrees, "1")
    hides_it = _off_the_plate(whole, lowest, highest) != over
    said = spoken(to_step(degrees, "0.1") if hides_it else whole, "delta_degF")
    return Result(
        lead=f"{said} of rise" if over else f"{said} of rise, as the plate wants",
        value=plain(degrees),
        unit="delta_degF",
        working=(
            f"{line} = {plain(degrees)} °F",
            f"Plate: {plain(lowest)} to {plain(highest)} °F, middle {plain(middle)} °F",
        ),
        why=f"Supply less return; the plate's middle is {say(to_step(middle, '1'))}.",
        metric=f"{in_metric(rise, 'delta_degC', '0.5')} of rise.",
        over=over,
        caution="Too little air: add nothing that holds it back, find the cause."
        if degrees > highest
        else "",
    )


def _off_the_plate(degrees: Decimal, lowest: Decimal, highest: Decimal) -> str:
    if degrees > highest:
        return f"Over the plate's {say(to_step(highest, '0.1'))}: too hot."
    if degrees < lowest:
        return f"Under the plate's {say(to_step(lowest, '0.1'))}."
    return ""


def _no_rise_given(given: Mapping[str, object]) -> bool:
    return "rise" not in given


_PLATE_RISE = (Range("15", "100", "delta_degF"),)

TEMPERATURE_RISE = Sizing(
    slug="temperature-rise",
    title="Temperature rise against the rating plate",
    group=GROUP,
    example="supply's one eighteen, return's sixty eight, "
    "plate says thirty five to sixty five, good",
    formula="rise = supply - return, from the plate's lowest to its highest",
    inputs=(
        Input(
            name="supply",
            spoken="supply",
            ask="What is the supply temperature?",
            ranges=(Range("60", "220", "degF"),),
            heard="supply {number}",
            from_log=("supply-temperature",),
            needed=_no_rise_given,
        ),
        Input(
            name="return",
            spoken="return",
            ask="What is the return temperature?",
            ranges=(Range("40", "90", "degF"),),
            heard="return {number}",
            from_log=("return-temperature",),
            needed=_no_rise_given,
        ),
        Input(
            name="rise",
            spoken="rise",
            ranges=(Range("1", "180", "delta_degF"),),
            heard="rise {number}",
            needed=never,
        ),
        Input(
            name="lowest",
            spoken="lowest rise",
            ask="What is the lowest rise on the plate?",
            ranges=_PLATE_RISE,
            heard="plate {number}",
            from_log=("lowest-rise",),
        ),
        Input(
            name="highest",
            spoken="highest rise",
            ask="What is the highest rise on the plate?",
            ranges=_PLATE_RISE,
            heard="~to {number}",
            from_log=("highest-rise",),
        ),
    ),
    work=_work_out_rise,
    sources=("the rating plate", "ten minutes, out of sight: common practice, no source"),
    assumption="ten minutes of running, and a probe that does not see the heat exchanger",
    caution="The plate decides, no rule of thumb does.",
)


# ---------------------------------------------------------------- airflow by heat


def sensible_flow(heat: Quantity, difference: Quantity, elevation: Quantity) -> Quantity:
    """Return the flow that carries so much heat with so much difference in temperature.

    Source: sensible heat of standard air. Checked by tests/golden/sizing/gas-airflow.toml and
    electric-airflow.toml; the inverse of `companion.sizing.heat_moved.sensible_heat`.
    """
    flow: Quantity = (heat / (sensible_factor(elevation) * difference)).to("foot ** 3 / minute")
    return flow


def _flow_result(given: Given, heat: Quantity, line: str, why: str) -> Result:
    elevation = (
        given.quantity("elevation") if given.has("elevation") else quantity(Decimal(0), "ft")
    )
    flow = sensible_flow(heat, given.quantity("rise"), elevation)
    cfm = magnitude(flow, "cfm")
    return Result(
        lead=spoken(to_step(cfm, "10"), "cfm"),
        value=plain(cfm),
        unit="cfm",
        working=(
            line,
            (
                f"{plain(magnitude(heat, 'Btu_h'))} / ({factor_written(elevation)} · "
                f"{given.amount('rise').written()}) = {plain(cfm)} cfm"
            ),
        ),
        why=why,
        metric=f"{in_metric(flow, 'liter / second', '1')}.",
    )


def _work_out_gas(given: Given) -> Result:
    if given.has("output"):
        heat = given.quantity("output")
        line = f"Output: {given.amount('output').written()}"
    else:
        heat = given.quantity("input") * given.quantity("efficiency").to("dimensionless")
        line = f"Output: {given.amount('input').written()} · {given.amount('efficiency').written()}"
    why = "Output over one point oh eight times the rise, less in thin air."
    return _flow_result(given, heat, line, why)


def _no_output_given(given: Mapping[str, object]) -> bool:
    return "output" not in given


GAS_AIRFLOW = Sizing(
    slug="gas-airflow",
    title="Airflow from a gas furnace's heat and rise",
    group=GROUP,
    example="eighty thousand, eighty percent, fifty degree rise, c f m",
    formula="flow = input · efficiency / (1.08 · rise)",
    inputs=(
        Input(
            name="output",
            spoken="output",
            ranges=(Range("10000", "200000", "Btu_h"),),
            heard="{} output",
            needed=never,
        ),
        Input(
            name="input",
            spoken="input",
            ask="How many B T U an hour of input?",
            ranges=(Range("20000", "200000", "Btu_h"),),
            heard="{} input",
            needed=_no_output_given,
        ),
        Input(
            name="efficiency",
            spoken="efficiency",
            ask="What percent is its steady efficiency?",
            ranges=(Range("70", "99", "percent"),),
            needed=_no_output_given,
        ),
        Input(
            name="rise",
            spoken="rise",
            ask="How many degrees of rise?",
            ranges=(Range("15", "100", "delta_degF"),),
            heard="{} of rise",
            from_log=("temperature-rise",),
        ),
        ELEVATION,
    ),
    work=_work_out_gas,
    sources=(SENSIBLE_SOURCE, "thinner air: standard atmosphere, psychrolib"),
    assumption="the plate's efficiency, a clocked input",
    caution="Clock the meter first. The yearly efficiency is not the steady one.",
)


def _work_out_electric(given: Given) -> Result:
    if given.has("power"):
        heat, line = given.quantity("power"), f"Heat: {given.amount('power').written()}"
    else:
        heat = given.quantity("voltage") * given.quantity("amps")
        line = f"Heat: {given.amount('voltage').written()} · {given.amount('amps').written()}"
    watts = magnitude(heat.to("watt"), "W")
    why = "Watts times three point four one two, over one point oh eight times the rise."
    return _flow_result(given, heat, f"{line} = {plain(watts)} W", why)


def _no_power_given(given: Mapping[str, object]) -> bool:
    return "power" not in given


ELECTRIC_AIRFLOW = Sizing(
    slug="electric-airflow",
    title="Airflow from electric heat and its rise",
    group=GROUP,
    example="forty one amps at two forty, twenty eight degree rise, c f m",
    formula="flow = volts · amps · 3.412 / (1.08 · rise)",
    inputs=(
        Input(
            name="power",
            spoken="heat",
            ranges=(Range("0.9", "30", "kW"),),
            needed=never,
        ),
        Input(
            name="amps",
            spoken="heater's amps",
            ask="How many amps, without the blower?",
            ranges=(Range("5", "110", "A"),),
            needed=_no_power_given,
        ),
        Input(
            name="voltage",
            spoken="heater's voltage",
            ask="How many volts at the heater?",
            ranges=(Range("190", "264", "V"),),
            needed=_no_power_given,
        ),
        Input(
            name="rise",
            spoken="rise",
            ask="How many degrees of rise?",
            ranges=(Range("5", "60", "delta_degF"),),
            heard="{} of rise",
            from_log=("electric-rise",),
        ),
    ),
    work=_work_out_electric,
    sources=("3.412 Btu for each watt hour: definition", SENSIBLE_SOURCE),
    assumption="sea level, heating elements alone, one phase",
    caution="That is a live reading: gloves and glasses on. Keep the compressor off.",
)


# ---------------------------------------------------------------- units of heat, and what comes out

_STEPS = ((Decimal(10000), "100"), (Decimal(1000), "10"))
_TO = {"btu": "Btu_h", "tons": "ton", "kilowatts": "kW"}


def heat_output(heat_in: Quantity, efficiency: Quantity) -> Quantity:
    """Return what comes out of a furnace.

    Source: definition of efficiency. Checked by tests/golden/sizing/heat-conversion.toml.
    """
    out: Quantity = heat_in * efficiency.to("dimensionless")
    return out


def spoken_btu(btu: Decimal) -> str:
    """Return heat as the trade says it, to the hundred where it is large.

    >>> spoken_btu(Decimal("23328"))
    'twenty three thousand three hundred B T U an hour'
    """
    step = next((step for least, step in _STEPS if btu >= least), "1")
    return spoken(to_step(btu, step), "Btu_h")


def _work_out_conversion(given: Given) -> Result:
    power = given.amount("power")
    heat = given.quantity("power")
    unit = _TO[given.pick("to") or "btu"]
    line = power.written()
    if given.has("efficiency"):
        heat = heat_output(heat, given.quantity("efficiency"))
        line = f"{line} · {given.amount('efficiency').written()}"
    found = magnitude(heat, unit)
    said = spoken_btu(found) if unit == "Btu_h" else spoken(to_step(found, "0.1"), unit)
    kilowatts = in_metric(heat, "kilowatt", "0.1")
    return Result(
        lead=f"{said} of output" if given.has("efficiency") else said,
        value=plain(found),
        unit=unit,
        working=(f"{line} = {plain(found)} {quantities.trade_unit(unit).symbol}",),
        why="Input times efficiency."
        if given.has("efficiency")
        else "A kilowatt is thirty four twelve B T U an hour, a ton twelve thousand.",
        metric=f"{kilowatts}.",
    )


def _no_efficiency_given(given: Mapping[str, object]) -> bool:
    return "efficiency" not in given


HEAT_CONVERSION = Sizing(
    slug="heat-conversion",
    title="Kilowatts, B T U an hour and tons; output from input",
    group=GROUP,
    example="ten k w in b t u",
    formula="Btu/h = kW · 3412.14 = tons · 12000; output = input · efficiency",
    inputs=(
        Input(
            name="power",
            spoken="heat",
            ask="How many B T U an hour?",
            ranges=(
                Range("100", "600000", "Btu_h"),
                Range("0.01", "200", "kW"),
                Range("0.1", "50", "ton"),
            ),
        ),
        Input(
            name="efficiency",
            spoken="efficiency",
            ranges=(Range("50", "100", "percent"),),
            heard="at {}",
            needed=never,
        ),
        Input(
            name="to",
            spoken="unit wanted",
            options=(
                Option("btu", "B T U an hour"),
                Option("tons", "tons"),
                Option("kilowatts", "kilowatts"),
            ),
            heard="",
            default="btu",
            assumed="an answer in B T U",
            needed=_no_efficiency_given,
        ),
    ),
    work=_work_out_conversion,
    sources=("definitions: the international table B T U, twelve thousand of them to the ton",),
    assumption="the figures as rated",
    caution="Keep input and output apart. Airflow goes by output.",
)

SIZINGS = (TEMPERATURE_RISE, GAS_AIRFLOW, ELECTRIC_AIRFLOW, HEAT_CONVERSION)
