"""One unit into another, one sizing for each dimension; and metric wire into gauge."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import UNITS, quantity, spoken
from companion.sizing.model import (
    Amount,
    Given,
    Input,
    Option,
    Range,
    Result,
    Sizing,
    exact,
    never,
)
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_digits, to_step, to_tape
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from companion.quantities import Quantity
    from companion.sizing.tables import Row

GROUP = "Conversions"
_LARGEST_SAID = Decimal(999_999)
_MILLION = Decimal(1_000_000)
_HUNDRED = Decimal(100)


def converted(value: Quantity, unit: str) -> Quantity:
    """Return a quantity in another trade unit.

    Source: pint's definitions, which are those of NIST SP 811.
    Checked by the golden files of the conversions.
    """
    found: Quantity = quantity(magnitude(value, unit), unit)
    return found


@dataclass(frozen=True, slots=True)
class _Conversion:
    """What one amount is turned into.

    `usual` is the unit to turn into where none was said, by the unit that it comes in; `round_`
    makes of a figure in a unit what is said.
    """

    usual: Mapping[str, str]
    round_: Callable[[Decimal, str], Decimal]

    def work(self, given: Given) -> Result:
        """Return the amount in the unit that was asked for."""
        amount = given.amount("amount")
        to = given.pick("to") or self.usual[amount.unit]
        return _turned(amount, to, self.round_)


def _turned(amount: Amount, to: str, round_: Callable[[Decimal, str], Decimal]) -> Result:
    """Return the result of turning an amount into a unit of its dimension."""
    if UNITS[amount.unit].dimension != UNITS[to].dimension:
        raise refusal(
            f"{amount.written()} is {UNITS[amount.unit].dimension}, "
            f"{UNITS[to].many} are {UNITS[to].dimension}",
            "Ask for a unit that measures the same.",
            f"That can't be turned into {UNITS[to].many}.",
        )
    value = magnitude(converted(quantity(amount.value, amount.unit), to), to)
    said = _said(round_(value, to), to)
    one = magnitude(quantity(Decimal(1), amount.unit), to) if _is_scale(amount.unit) else None
    how = f" (× {plain(one)})" if one is not None else ""
    return Result(
        lead=said,
        value=plain(value),
        unit=to,
        working=(f"{amount.written()} = {plain(value)} {UNITS[to].symbol}{how}",),
        why=f"{_factor(one, to)} to each {UNITS[amount.unit].one}."
        if one is not None
        else f"Turned into {UNITS[to].many}.",
        metric=f"{said}.",
    )


def _is_scale(unit: str) -> bool:
    """Return whether zero of the unit is nothing: not so for a temperature."""
    return UNITS[unit].dimension != "temperature"


def _factor(one: Decimal, to: str) -> str:
    return _said(to_digits(one, 4), to)


def _said(value: Decimal, unit: str) -> str:
    """Return a figure in words; past what has words, in millions."""
    if abs(value) > _LARGEST_SAID:
        return f"{say(to_digits(value, 4) / _MILLION)} million {UNITS[unit].many}"
    return spoken(value, unit)


def _figures(digits: int) -> Callable[[Decimal, str], Decimal]:
    return lambda value, _unit: Decimal(f"{to_digits(value, digits):f}")


def _options(*units: str) -> tuple[Option, ...]:
    return tuple(Option(unit, UNITS[unit].many) for unit in units)


def _to(*units: str) -> Input:
    return Input(
        name="to",
        spoken="unit wanted",
        options=_options(*units),
        heard="",
        needed=never,
    )


_SI = "NIST SP 811 (2008), appendix B.8"


# ---------------------------------------------------------------- pressure


PRESSURE_CONVERSION = Sizing(
    slug="pressure-conversion",
    title="Pressure in another unit",
    group=GROUP,
    example="point five inches in pascals",
    formula="1 in. w.c. = 249.0889 Pa; 1 psi = 6894.757 Pa; 1 in. Hg = 3386.389 Pa",
    inputs=(
        Input(
            name="amount",
            spoken="pressure",
            ask="How much pressure, and in what unit?",
            ranges=(
                Range("0", "400", "inH2O"),
                Range("0", "100000", "Pa"),
                Range("0", "15", "psi"),
                Range("0", "30", "inHg"),
            ),
        ),
        _to("Pa", "inH2O", "psi", "inHg"),
    ),
    work=_Conversion(
        {"inH2O": "Pa", "Pa": "inH2O", "psi": "inH2O", "inHg": "inH2O"}, _figures(3)
    ).work,
    sources=(_SI,),
    assumption="the conventional inch of water; at sixty degrees it is a tenth of a percent less",
)


# ---------------------------------------------------------------- temperature


_CELSIUS = {"degF": "degC", "degC": "degF"}
_AS_DIFFERENCE = {"degF": "delta_degF", "degC": "delta_degC"}
_LARGEST_DIFFERENCE = Decimal(200)


def _work_out_temperature(given: Given) -> Result:
    amount = given.amount("amount")
    to = given.pick("to") or _CELSIUS[amount.unit]
    if to == amount.unit:
        raise refusal(
            f"{amount.written()} is in that scale already",
            "Name the scale that it comes in.",
            "It is in that scale already. Say which scale it's in.",
        )
    if given.pick("difference") == "yes":
        return _difference(Amount(amount.value, _AS_DIFFERENCE[amount.unit]), _AS_DIFFERENCE[to])
    found = _turned(amount, to, _to_half)
    sum_ = "Less thirty two, over one point eight." if to == "degC" else _UP
    scale = "Celsius" if to == "degC" else "Fahrenheit"
    said = f"{say(_to_half(Decimal(found.value), to))} degrees {scale}"
    return Result(
        lead=said,
        value=found.value,
        unit=to,
        working=found.working,
        why=sum_,
        metric=f"{said}.",
    )


_UP = "Times one point eight, plus thirty two."


def _difference(amount: Amount, to: str) -> Result:
    if not 0 <= exact(amount.value) <= _LARGEST_DIFFERENCE:
        raise refusal(
            f"A difference of {amount.written()} is not 0 to {_LARGEST_DIFFERENCE}",
            "Check the figure.",
            f"A difference must be zero to {say(_LARGEST_DIFFERENCE)} degrees.",
        )
    found = _turned(amount, to, _to_half)
    scale = "Celsius" if to == "delta_degC" else "Fahrenheit"
    said = f"{say(_to_half(Decimal(found.value), to))} degrees {scale} of difference"
    return Result(
        lead=said,
        value=found.value,
        unit=to,
        working=found.working,
        why="A difference has no thirty two in it, only the one point eight.",
        metric=f"{said}.",
    )


def _to_half(value: Decimal, _unit: str) -> Decimal:
    return to_step(value, "0.5")


TEMPERATURE_CONVERSION = Sizing(
    slug="temperature-conversion",
    title="Temperature or difference in the other scale",
    group=GROUP,
    example="ninety fahrenheit in celsius",
    formula="°C = (°F - 32) / 1.8; a difference: °C = °F / 1.8",
    inputs=(
        Input(
            name="amount",
            spoken="temperature",
            ask="How many degrees?",
            ranges=(Range("-60", "400", "degF"), Range("-51", "204", "degC")),
        ),
        _to("degC", "degF"),
        Input(
            name="difference",
            spoken="difference",
            options=(Option("no", ""), Option("yes", "")),
            heard="",
            default="no",
            assumed="a reading, not a difference",
        ),
    ),
    work=_work_out_temperature,
    sources=("definition",),
)


# ---------------------------------------------------------------- air


def _air_figure(value: Decimal, _unit: str) -> Decimal:
    """Whole figures from a hundred up, three digits below."""
    if abs(value) >= _HUNDRED:
        return to_step(value, "1")
    return Decimal(f"{to_digits(value, 3):f}")


AIR_CONVERSION = Sizing(
    slug="air-conversion",
    title="Airflow or air speed in another unit",
    group=GROUP,
    example="twelve hundred c f m in liters a second",
    formula="1 cfm = 0.4719474 L/s = 1.699011 m³/h; 1 fpm = 0.00508 m/s",
    inputs=(
        Input(
            name="amount",
            spoken="air",
            ask="How much, and in what unit?",
            ranges=(
                Range("0", "10000", "cfm"),
                Range("0", "5000", "L_s"),
                Range("0", "20000", "m3_h"),
                Range("0", "5000", "fpm"),
                Range("0", "25", "m_s"),
            ),
        ),
        _to("L_s", "cfm", "m3_h", "fpm", "m_s"),
    ),
    work=_Conversion(
        {"cfm": "L_s", "L_s": "cfm", "m3_h": "cfm", "fpm": "m_s", "m_s": "fpm"}, _air_figure
    ).work,
    sources=(_SI,),
    assumption="actual cubic feet",
    caution="Standard and actual C F M differ with altitude and heat.",
)


# ---------------------------------------------------------------- energy and power


_ENERGY = frozenset({"Btu", "therm", "MJ", "kWh"})


def _work_out_energy(given: Given) -> Result:
    amount, to = given.amount("amount"), given.pick("to")
    to = to or _USUAL_ENERGY[amount.unit]
    # "B T U" is said of heat and of heat an hour alike: the other unit tells which.
    if to == "Btu_h" and amount.unit in _ENERGY:
        to = "Btu"
    if amount.unit == "Btu_h" and to in _ENERGY:
        amount = Amount(amount.value, "Btu")
    found = _turned(amount, to, _figures(4))
    if to != "Btu":
        return found
    value = to_digits(Decimal(found.value), 4)
    large = abs(value) > _LARGEST_SAID
    said = f"{say(value / _MILLION)} million B T U" if large else f"{say(value)} B T U"
    return Result(said, found.value, to, found.working, found.why, f"{said}.")


_USUAL_ENERGY = {
    "ton": "kW",
    "kW": "Btu_h",
    "W": "Btu_h",
    "Btu_h": "kW",
    "therm": "Btu_h",
    "MJ": "kWh",
    "kWh": "MJ",
    "Btu": "kWh",
}

ENERGY_CONVERSION = Sizing(
    slug="energy-conversion",
    title="Heat, power or cooling in another unit",
    group=GROUP,
    example="three tons in kilowatts",
    formula="1 ton = 12 000 Btu/h = 3.516853 kW; 1 therm = 100 000 Btu; 1 kWh = 3.6 MJ",
    inputs=(
        Input(
            name="amount",
            spoken="amount",
            ask="How much, and in what unit?",
            ranges=(
                Range("0", "60000", "Btu_h"),
                Range("0", "50", "ton"),
                Range("0", "200", "kW"),
                Range("0", "1000", "therm"),
                Range("0", "100000", "MJ"),
                Range("0", "30000", "kWh"),
                Range("0", "60000", "Btu"),
            ),
        ),
        _to("Btu_h", "ton", "kW", "therm", "MJ", "kWh"),
    ),
    work=_work_out_energy,
    sources=(f"{_SI}: International Table Btu; a ton of cooling is 12 000 Btu/h",),
    assumption="international table B T U",
    caution="Kilowatts of cooling are not kilowatts of electricity.",
)


# ---------------------------------------------------------------- length


def _work_out_length(given: Given) -> Result:
    amount = given.amount("amount")
    inches = magnitude(given.quantity("amount"), "in")
    mm = magnitude(given.quantity("amount"), "mm")
    mark = to_tape(inches, _SIXTY_FOURTHS)
    decimal = say(to_step(inches, "0.0001"))
    to = given.pick("to") or ("in" if amount.unit == "mm" else "mm")
    if to == "in":
        said, value = f"{spoken(mark, 'in')}, {decimal} decimal", inches
    else:
        said, value = f"{spoken(to_step(mm, '0.5'), 'mm')}, {decimal} inches decimal", mm
    return Result(
        lead=said,
        value=plain(value),
        unit=to,
        working=(
            f"{amount.written()} = {plain(inches)} in = {plain(mm)} mm (1 in = 25.4 mm)",
            f"Nearest sixty-fourth: {mark} in",
        ),
        why="Twenty five point four millimeters to the inch, exactly.",
        metric=f"{spoken(to_step(mm, '0.5'), 'mm')}.",
    )


_SIXTY_FOURTHS = 64

LENGTH_CONVERSION = Sizing(
    slug="length-conversion",
    title="Inches in millimeters",
    group=GROUP,
    example="seven sixteenths in millimeters",
    formula="1 in = 25.4 mm",
    inputs=(
        Input(
            name="amount",
            spoken="length",
            ask="How many inches?",
            ranges=(Range("0", "120", "in"), Range("0", "3000", "mm")),
        ),
        _to("mm", "in"),
    ),
    work=_work_out_length,
    sources=(f"definition, {_SI}",),
    caution="Check it on the tape before you cut.",
)


# ---------------------------------------------------------------- weight and volume


_WEIGHTS = frozenset({"lb", "kg"})
_USUAL_WEIGHT = {"lb": "kg", "kg": "lb", "gal": "L", "imperial_gal": "L", "L": "gal"}


def water_weight(volume: Quantity) -> Quantity:
    """Return the weight of so much water at its densest.

    Source: IAPWS-95, 999.97 kg/m³ at 4 °C. Checked by tests/golden/sizing/weight-conversion.toml.
    """
    per_liter = quantity(exact(figure("water-density")) / 1000, "kg") / quantity(Decimal(1), "L")
    weight: Quantity = (volume * per_liter).to("kilogram")
    return weight


def _work_out_weight(given: Given) -> Result:
    one = given.pick("one")
    amount = Amount(Decimal(1), one) if one else given.amount("amount")
    to = given.pick("to") or _USUAL_WEIGHT[amount.unit]
    if to in _WEIGHTS and amount.unit not in _WEIGHTS:
        return _of_water(amount, to)
    found = _turned(amount, to, _to_tenth)
    if "gal" not in {amount.unit, to}:
        return found
    return Result(
        found.lead,
        found.value,
        found.unit,
        found.working,
        found.why,
        found.metric,
        assumption="A U S gallon; the imperial one is a fifth larger.",
    )


def _of_water(amount: Amount, to: str) -> Result:
    weight = water_weight(quantity(amount.value, amount.unit))
    value = magnitude(weight, to)
    said = spoken(to_step(value, "0.1"), to)
    return Result(
        lead=said,
        value=plain(value),
        unit=to,
        working=(
            (
                f"{amount.written()} of water at {figure('water-density')} kg/m³ = "
                f"{plain(value)} {UNITS[to].symbol}"
            ),
        ),
        why="Water weighs a kilogram to the liter.",
        metric=f"{spoken(to_step(magnitude(weight, 'kg'), '0.1'), 'kg')}.",
        assumption="It is water; condensate is mostly that.",
    )


def _to_tenth(value: Decimal, _unit: str) -> Decimal:
    return to_step(value, "0.1")


def _no_single(given: Mapping[str, object]) -> bool:
    return "one" not in given


WEIGHT_CONVERSION = Sizing(
    slug="weight-conversion",
    title="Weight or volume in another unit, and the weight of water",
    group=GROUP,
    example="how heavy is a gallon of water",
    formula="1 lb = 0.45359237 kg; 1 gal = 3.785412 L; 1 imperial gallon = 4.54609 L",
    inputs=(
        Input(
            name="amount",
            spoken="amount",
            ask="How much, and in what unit?",
            ranges=(
                Range("0", "1000", "lb"),
                Range("0", "1000", "kg"),
                Range("0", "500", "gal"),
                Range("0", "500", "imperial_gal"),
                Range("0", "2000", "L"),
            ),
            needed=_no_single,
        ),
        Input(
            name="one",
            spoken="one of",
            options=tuple(
                Option(unit, f"one {UNITS[unit].one}")
                for unit in ("gal", "imperial_gal", "L", "lb", "kg")
            ),
            needed=never,
        ),
        _to("kg", "lb", "L", "gal", "imperial_gal"),
    ),
    work=_work_out_weight,
    sources=(_SI, "water: IAPWS-95, 999.97 kg/m³ at 4 °C"),
)


# ---------------------------------------------------------------- metric wire


def _wires() -> tuple[Row, ...]:
    """Return the wires of both tables, thinnest first."""
    thin = table("copper-solid").rows
    known = {row.text("gauge") for row in thin}
    return (*thin, *(row for row in table("ampacity").rows if row.text("gauge") not in known))


def not_thinner(area_mm2: Decimal) -> str:
    """Return the thinnest AWG size that has at least that cross-section.

    Source: ASTM B258 areas. Checked by tests/golden/sizing/metric-wire.toml.
    """
    return next(row.text("gauge") for row in _wires() if row.exact("area_mm2") >= area_mm2)


def _nearest(area_mm2: Decimal) -> str:
    """Return the AWG size nearest in cross-section, by ratio."""

    def off(row: Row) -> Decimal:
        ratio = exact(row.exact("area_mm2")) / area_mm2
        return max(ratio, 1 / ratio)

    return min(_wires(), key=off).text("gauge")


def _work_out_metric_wire(given: Given) -> Result:
    area = exact(given.exact("amount", "mm2"))
    gauge, nearest = not_thinner(area), _nearest(area)
    areas = {row.text("gauge"): row.exact("area_mm2") for row in _wires()}
    asked = given.pick("gauge")
    verdict = ""
    if asked:
        thin = areas[asked] < area
        verdict = f"{say(Decimal(asked))} {'is thinner' if thin else 'is not thinner'}, take "
    flag = "" if nearest == gauge else f"; {say(Decimal(nearest))} is nearer but thinner"
    line = f"{plain(area)} mm² ≤ {areas[gauge]} mm² of {gauge} AWG"
    if nearest != gauge:
        line += f"; nearest {nearest} AWG, {areas[nearest]} mm²"
    return Result(
        lead=f"{verdict}{say(Decimal(gauge))} gauge{flag}",
        value=gauge,
        unit="gauge",
        working=(line,),
        why=f"{say(Decimal(gauge))} gauge has {say(exact(areas[gauge]))} square millimeters.",
        metric=f"{spoken(area, 'mm2')}.",
    )


METRIC_WIRE = Sizing(
    slug="metric-wire",
    title="Gauge for a metric wire",
    group=GROUP,
    example="one and a half square, nearest a w g",
    formula="thinnest AWG size with at least that cross-section",
    inputs=(
        Input(
            name="amount",
            spoken="cross-section",
            ask="How many square millimeters?",
            ranges=(Range("0.25", "16", "mm2"),),
        ),
        Input(
            name="gauge",
            spoken="gauge asked about",
            options=tuple(
                Option(gauge, f"{say(Decimal(gauge))} gauge")
                for gauge in ("24", "22", "20", "18", "16", "14", "12", "10", "8", "6", "4")
            ),
            kind="gauge",
            heard="",
            needed=never,
        ),
    ),
    work=_work_out_metric_wire,
    sources=("areas: ASTM B258",),
    assumption="the gauge that is not thinner",
    caution="It matches copper, not ratings. The device's label decides.",
)

SIZINGS = (
    PRESSURE_CONVERSION,
    TEMPERATURE_CONVERSION,
    AIR_CONVERSION,
    ENERGY_CONVERSION,
    LENGTH_CONVERSION,
    WEIGHT_CONVERSION,
    METRIC_WIRE,
)
