"""Motors: speed and pulleys, full-load current and its protection, what a blower draws."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Option, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import (
    down_to_step,
    magnitude,
    next_up,
    plain,
    to_step,
    up_to_step,
)
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from collections.abc import Mapping
    from fractions import Fraction

    from companion.quantities import Quantity

GROUP = "Motors"
_SAME = "the same in metric"


# ---------------------------------------------------------------- speed and slip


def synchronous_speed(poles: int, frequency_hz: Decimal) -> Quantity:
    """Return the speed of a motor's field.

    Args:
        poles: an even number.
        frequency_hz: of the supply, in hertz.

    Source: definition, 120 f / p. Checked by tests/golden/sizing/motor-speed.toml.
    """
    return quantity(120 * frequency_hz / poles, "rpm")


def slip(field: Quantity, actual: Quantity) -> Quantity:
    """Return by what share a motor runs behind its field. Source: definition."""
    share: Quantity = ((field - actual) / field).to("percent")
    return share


_POLES = {"2": "two", "4": "four", "6": "six", "8": "eight"}


def _work_out_speed(given: Given) -> Result:
    hertz = Decimal(given.pick("frequency"))
    poles = given.pick("poles") or _likely_poles(given, hertz)
    field = synchronous_speed(int(poles), hertz)
    rpm = magnitude(field, "rpm")
    line = f"120 × {plain(hertz)} Hz / {poles} poles = {plain(rpm)} rpm"
    why = f"One hundred twenty times {say(hertz)}, over {_POLES[poles]} poles."
    if not given.has("actual"):
        said = spoken(to_step(rpm, "5"), "rpm")
        return Result(said, plain(rpm), "rpm", (line,), why, f"{said}, {_SAME}.")
    actual = given.exact("actual", "rpm")
    if actual > rpm:
        raise refusal(
            f"{plain(actual)} rpm is over the {plain(rpm)} rpm of the field",
            "Check speed and poles.",
            "That is faster than its field. Check speed and poles.",
        )
    percent = magnitude(slip(field, given.quantity("actual")), "percent")
    said = f"{spoken(to_step(percent, '0.1'), 'percent')} slip"
    return Result(
        lead=f"{said}, behind {spoken(to_step(rpm, '5'), 'rpm')}",
        value=plain(percent),
        unit="percent",
        working=(line, f"({plain(rpm)} − {plain(actual)}) / {plain(rpm)} = {plain(percent)} %"),
        why=f"{why} The rest is slip.",
        metric=f"{said}, {_SAME}.",
        assumption="" if given.has("poles") else f"It must have {_POLES[poles]} poles.",
    )


def _likely_poles(given: Given, hertz: Decimal) -> str:
    """Return the poles whose field is the nearest above the actual speed."""
    actual = given.exact("actual", "rpm")
    fields = {poles: magnitude(synchronous_speed(int(poles), hertz), "rpm") for poles in _POLES}
    above = [poles for poles, rpm in fields.items() if rpm >= actual]
    return max(above, key=int) if above else "2"


def _no_speed(given: Mapping[str, object]) -> bool:
    return "actual" not in given


MOTOR_SPEED = Sizing(
    slug="motor-speed",
    title="Synchronous speed and slip of a motor",
    group=GROUP,
    example="what speed is a four pole motor",
    formula="field = 120 · frequency / poles; slip = (field - actual) / field",
    inputs=(
        Input(
            name="poles",
            spoken="poles",
            ask="How many poles?",
            options=tuple(Option(poles, words) for poles, words in _POLES.items()),
            kind="count",
            heard="{} poles",
            needed=_no_speed,
        ),
        Input(
            name="actual",
            spoken="speed",
            ranges=(Range("300", "3600", "rpm"),),
            needed=never,
        ),
        Input(
            name="frequency",
            spoken="frequency",
            options=(Option("60", "sixty hertz"), Option("50", "fifty hertz")),
            default=str(figure("line-frequency")),
            assumed="sixty hertz",
        ),
    ),
    work=_work_out_speed,
    sources=("definition",),
    caution="A motor with its own electronics keeps to no line frequency.",
)


# ---------------------------------------------------------------- pulleys


def driven_speed(motor: Quantity, motor_sheave: Quantity, blower_sheave: Quantity) -> Quantity:
    """Return the speed of a blower on a belt that does not slip.

    Source: kinematics. Checked by tests/golden/sizing/belt-speed.toml.
    """
    speed: Quantity = motor * (motor_sheave / blower_sheave).to("dimensionless")
    return speed


def motor_sheave_for(blower: Quantity, motor: Quantity, blower_sheave: Quantity) -> Quantity:
    """Return the motor sheave for a blower's speed: the inverse of `driven_speed`."""
    sheave: Quantity = (blower_sheave * (blower / motor).to("dimensionless")).to("inch")
    return sheave


def _work_out_belt(given: Given) -> Result:
    motor, driven = given.quantity("motor-speed"), given.quantity("blower-sheave")
    if not given.has("motor-sheave"):
        return _sheave(given, motor_sheave_for(given.quantity("wanted"), motor, driven))
    rpm = magnitude(driven_speed(motor, given.quantity("motor-sheave"), driven), "rpm")
    said = spoken(to_step(rpm, "5"), "rpm")
    verdict = ""
    if given.has("wanted"):
        wanted = exact(given.exact("wanted", "rpm"))
        verdict = "too slow, " if rpm < wanted else "fast enough, "
    return Result(
        lead=f"{verdict}{said} at the blower",
        value=plain(rpm),
        unit="rpm",
        working=(
            (
                f"{given.amount('motor-speed').written()} × "
                f"{given.amount('motor-sheave').written()} / "
                f"{given.amount('blower-sheave').written()} = {plain(rpm)} rpm"
            ),
        ),
        why="Motor speed, times motor sheave over blower sheave.",
        metric=f"{said}, {_SAME}.",
    )


def _sheave(given: Given, sheave: Quantity) -> Result:
    inches = magnitude(sheave, "in")
    valid = _SHEAVE[0]
    if not Decimal(valid.low) <= inches <= Decimal(valid.high):
        raise refusal(
            f"It would take a sheave of {plain(inches)} in, not {valid.low} to {valid.high} in",
            "Change the blower's sheave too.",
            "No such motor sheave. Change the blower's sheave too.",
        )
    return Result(
        lead=f"a {say(to_step(inches, '0.1'))} inch motor sheave",
        value=plain(inches),
        unit="in",
        working=(
            (
                f"{given.amount('blower-sheave').written()} × {given.amount('wanted').written()} / "
                f"{given.amount('motor-speed').written()} = {plain(inches)} in"
            ),
        ),
        why="Blower sheave, times wanted speed over motor speed.",
        metric=f"{in_metric(sheave, 'millimeter', '1')}.",
    )


def _no_wanted_speed(given: Mapping[str, object]) -> bool:
    return "wanted" not in given


_SHEAVE = (Range("1.5", "14", "in"),)

BELT_SPEED = Sizing(
    slug="belt-speed",
    title="Speed of a blower on a belt, or the sheave for it",
    group=GROUP,
    example="three inch motor sheave, eight inch blower, seventeen twenty five, what speed",
    formula="blower speed = motor speed · motor sheave / blower sheave",
    inputs=(
        Input(
            name="motor-sheave",
            spoken="motor sheave",
            ask="How many inches is the motor sheave?",
            ranges=_SHEAVE,
            heard="{} on the motor",
            needed=_no_wanted_speed,
        ),
        Input(
            name="blower-sheave",
            spoken="blower sheave",
            ask="How many inches is the blower sheave?",
            ranges=_SHEAVE,
            heard="{} on the blower",
        ),
        Input(
            name="motor-speed",
            spoken="motor",
            ask="What R P M does the motor turn?",
            ranges=(Range("800", "3600", "rpm"),),
            heard="motor at {}",
        ),
        Input(
            name="wanted",
            spoken="wanted speed",
            ranges=(Range("200", "3000", "rpm"),),
            heard="{} wanted",
            needed=never,
        ),
    ),
    work=_work_out_belt,
    sources=("kinematics",),
    assumption="pitch diameters and no slip",
    caution="Lock it out first. Guards back on, then read the motor amps.",
)


# ---------------------------------------------------------------- full-load current


_HORSEPOWER = {
    "1/6": "one sixth horse",
    "1/4": "quarter horse",
    "1/3": "third horse",
    "1/2": "half horse",
    "3/4": "three quarter horse",
    "1": "one horse",
    "1-1/2": "one and a half horse",
    "2": "two horse",
    "3": "three horse",
}
# Which column a supply is read in: the table names 110 to 120 and 220 to 240 V itself.
_COLUMNS = (("115", "110", "120"), ("208", "200", "215"), ("230", "220", "240"))


def _column(volts: Decimal) -> str:
    for column, low, high in _COLUMNS:
        if Decimal(low) <= volts <= Decimal(high):
            return column
    raise refusal(
        f"Table 430.248 has no column for {plain(volts)} V",
        "Give 115, 208 or 230 V.",
        "The table has one fifteen, two oh eight and two thirty volts.",
    )


def _work_out_full_load(given: Given) -> Result:
    horsepower, volts = given.pick("horsepower"), exact(given.exact("voltage", "V"))
    column = _column(volts)
    amps = table("motor-currents").row("horsepower", horsepower).exact(f"at_{column}_a")
    said = spoken(amps, "A")
    return Result(
        lead=f"{said} full load",
        value=plain(amps),
        unit="A",
        working=(f"{horsepower} hp, {column} V: {amps} A (NFPA 70-2023 table 430.248)",),
        why="It is a figure of the code's table, no sum.",
        metric=f"{said}, {_SAME}.",
    )


MOTOR_FULL_LOAD = Sizing(
    slug="motor-full-load",
    title="Full-load current of a single-phase motor",
    group=GROUP,
    example="half horse at one fifteen, full load amps",
    formula="looked up by horsepower and voltage",
    inputs=(
        Input(
            name="horsepower",
            spoken="horsepower",
            ask="What horsepower is it?",
            options=tuple(Option(size, words) for size, words in _HORSEPOWER.items()),
        ),
        Input(
            name="voltage",
            spoken="voltage",
            ask="How many volts?",
            ranges=(Range("110", "240", "V"),),
        ),
    ),
    work=_work_out_full_load,
    sources=("NFPA 70-2023 table 430.248",),
    assumption="the table's motor, single phase",
    caution="The plate's amps set the overload, not these.",
    defers=True,
    united_states_only=True,
)


# ---------------------------------------------------------------- protection


def share_of(current: Quantity, factor: Decimal) -> Quantity:
    """Return a current times a factor of article 430.

    Source: NFPA 70-2023 430.22, 430.32, 430.52.
    Checked by tests/golden/sizing/motor-protection.toml.
    """
    share: Quantity = current * float(factor)
    return share


def _work_out_protection(given: Given) -> Result:
    motor = given.quantity("current")
    strong = given.pick("service-factor") == "yes"

    def amps(name: str) -> Decimal:
        return magnitude(share_of(motor, exact(figure(name))), "A")

    overload = amps("motor-overload" if strong else "motor-overload-other")
    wire, breaker, fuse = (
        amps(name) for name in ("motor-conductor", "motor-breaker", "motor-time-delay-fuse")
    )
    ratings = [row.exact("rating_a") for row in table("motor-breakers").rows]
    standard, delay = (_standard(ratings, most) for most in (breaker, fuse))
    parts = {
        "overload": (f"overload {spoken(down_to_step(overload, '0.1'), 'A')}", overload),
        "breaker": (f"breaker {spoken(standard, 'A')} at most", exact(standard)),
        "wire": (f"wire for {spoken(up_to_step(wire, '0.1'), 'A')}", wire),
    }
    asked = given.pick("part") or "overload"
    order = [asked, *(part for part in parts if part != asked)]
    written = given.amount("current").written()
    return Result(
        lead=", ".join(parts[part][0] for part in order),
        value=plain(parts[asked][1]),
        unit="A",
        working=(
            f"Overload: {written} × {'1.25' if strong else '1.15'} = {plain(overload)} A (430.32)",
            (
                f"Inverse time breaker: {written} × 2.5 = {plain(breaker)} A, next standard "
                f"{plain(standard)} A (430.52)"
            ),
            (
                f"Time delay fuse: {written} × 1.75 = {plain(fuse)} A, next standard "
                f"{plain(delay)} A (430.52)"
            ),
            f"Conductor: {written} × 1.25 = {plain(wire)} A (430.22)",
        ),
        why="Overload and wire at a quarter more, breaker at two and a half times."
        if strong
        else "Overload at fifteen percent more, wire at a quarter, breaker two and a half times.",
        metric=f"{parts[asked][0]}, {_SAME}.",
    )


def _standard(ratings: list[Decimal | Fraction], most: Decimal) -> Decimal | Fraction:
    """Return the standard size at or next above: 430.52(C)(1) lets it go up."""
    return next_up(ratings, most) or max(ratings)


MOTOR_PROTECTION = Sizing(
    slug="motor-protection",
    title="Overload, breaker and wire of a motor",
    group=GROUP,
    example="nine point eight amp motor, one fifteen service factor, what overload",
    formula="overload <= 1.25 or 1.15 · amps; breaker <= 2.5 · amps, next standard; "
    "wire >= 1.25 · amps",
    inputs=(
        Input(
            name="current",
            spoken="motor current",
            ask="How many amps is the motor?",
            ranges=(Range("0.5", "50", "A"),),
            heard="a motor of {}",
            from_log=("full-load-current",),
        ),
        Input(
            name="service-factor",
            spoken="service factor one fifteen",
            ask="Service factor one fifteen or more, or forty degree rise?",
            options=(
                Option("yes", "service factor one fifteen"),
                Option("no", "lower service factor"),
            ),
            kind="yes or no",
        ),
        Input(
            name="part",
            spoken="part",
            options=(Option("overload", ""), Option("breaker", ""), Option("wire", "")),
            needed=never,
        ),
    ),
    work=_work_out_protection,
    sources=(
        "NFPA 70-2023 430.22, 430.32(A)(1), 430.52; standard sizes 240.6(A)",
        "wire and breaker go by table 430.248, the overload by the plate: 430.6(A)",
    ),
    assumption="one motor over one horse, continuous, table and plate amps alike",
    caution="The maker's overload rules. Wire and breaker go by the code's table amps.",
    defers=True,
    united_states_only=True,
)


# ---------------------------------------------------------------- what a blower draws


def blower_efficacy(power: Quantity, flow: Quantity) -> Quantity:
    """Return a blower's watts for each unit of flow.

    Source: definition. Checked by tests/golden/sizing/fan-watts.toml.
    """
    efficacy: Quantity = (power / flow).to("watt * minute / foot ** 3")
    return efficacy


def _work_out_fan(given: Given) -> Result:
    power = given.quantity("power")
    heat = magnitude(power.to("Btu / hour"), "Btu_h")
    heat_line = f"{given.amount('power').written()} × 3.412 = {plain(heat)} Btu/h of heat"
    if given.pick("result") == "heat":
        return Result(
            lead=f"{spoken(to_step(heat, '10'), 'Btu_h')} of heat",
            value=plain(heat),
            unit="Btu_h",
            working=(heat_line,),
            why="Every watt ends as heat, three point four B T U an hour.",
            metric=f"{spoken(to_step(magnitude(power, 'W'), '1'), 'W')}.",
        )
    each = magnitude(blower_efficacy(power, given.quantity("air")), "W_cfm")
    limit, furnace = exact(figure("blower-limit")), exact(figure("furnace-blower-limit"))
    moderate = f", not over {say(furnace)}" if each <= furnace else ""
    per_liter = say(to_step(each / Decimal("0.4719474"), "0.01"))
    return Result(
        lead=f"{spoken(to_step(each, '0.01'), 'W_cfm')}{moderate}",
        value=plain(each),
        unit="W_cfm",
        working=(
            (
                f"{given.amount('power').written()} / {given.amount('air').written()} = "
                f"{plain(each)} W/cfm"
            ),
            heat_line,
            f"California: {furnace} with a gas furnace, {limit} otherwise (from memory)",
        ),
        why=f"Watts over C F M. Some codes stop at {say(furnace)} or {say(limit)}.",
        metric=f"{per_liter} watts for each liter a second.",
        over=f"Over {say(limit)}, the most that some codes allow." if each > limit else "",
        caution=f"Over {say(furnace)}, a gas furnace's limit in some codes."
        if furnace < each <= limit
        else "",
    )


def _wants_flow(given: Mapping[str, object]) -> bool:
    return given.get("result") != "heat"


FAN_WATTS = Sizing(
    slug="fan-watts",
    title="Watts per cfm of a blower, and its heat",
    group=GROUP,
    example="blower's pulling four ten watts at eleven hundred c f m, is that high",
    formula="watts / cfm; heat = 3.412 · watts, in Btu/h",
    inputs=(
        Input(
            name="power",
            spoken="blower power",
            ask="How many watts does the blower draw?",
            ranges=(Range("20", "1500", "W"),),
        ),
        Input(
            name="air",
            spoken="airflow",
            ask="How many C F M?",
            ranges=(Range("200", "2500", "cfm"),),
            needed=_wants_flow,
        ),
        Input(
            name="result",
            spoken="result",
            options=(Option("heat", ""), Option("efficacy", "")),
            needed=never,
        ),
    ),
    work=_work_out_fan,
    sources=(
        "definition; 1 W = 3.412 Btu/h (NIST SP 811)",
        "0.45 and 0.58 W/cfm: California Title 24 part 6 (from memory)",
    ),
    assumption="true watts, not volt amps",
)

SIZINGS = (
    MOTOR_SPEED,
    BELT_SPEED,
    MOTOR_FULL_LOAD,
    MOTOR_PROTECTION,
    FAN_WATTS,
)
