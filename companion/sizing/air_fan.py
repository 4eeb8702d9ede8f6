"""The blower: air for each ton, its power, and how long it runs."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from companion.numbers import say
from companion.quantities import quantity, spoken
from companion.sizing.metric import in_metric
from companion.sizing.model import Given, Input, Range, Result, Sizing, exact, never
from companion.sizing.refusals import refusal
from companion.sizing.rounding import magnitude, plain, to_step
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from companion.quantities import Quantity

GROUP = "Air"
PRACTICE = "common practice, no source"
TONS = (Range("1", "5", "ton"),)
_HOURS_A_DAY = 24
_TENTH = "0.1"


# ---------------------------------------------------------------- air for each ton


def flow_per_ton(flow: Quantity, cooling: Quantity) -> Quantity:
    """Return the flow for each ton of cooling, as a flow.

    Source: definition, 12,000 Btu/h to the ton. Checked by tests/golden/sizing/cfm-per-ton.toml.
    """
    found: Quantity = flow / (cooling / quantity(Decimal(1), "ton")).to("dimensionless")
    return found


def _work_out_per_ton(given: Given) -> Result:
    each = flow_per_ton(given.quantity("flow"), given.quantity("tons"))
    cfm = magnitude(each, "cfm")
    low, high = figure("airflow-per-ton-humid"), figure("airflow-per-ton-dry")
    over = ""
    if cfm < low:
        over = f"Under {say(low)} a ton."
    elif cfm > high:
        over = f"Over {say(high)} a ton."
    tons = magnitude(given.quantity("tons"), "ton")
    return Result(
        lead=f"{spoken(to_step(cfm, '5'), 'cfm')} a ton",
        value=plain(cfm),
        unit="cfm",
        working=(f"{given.amount('flow').written()} / {plain(tons)} tons = {plain(cfm)} cfm",),
        why="The flow over the tons.",
        metric=f"{in_metric(each, 'liter / second', '1')} a ton.",
        over=over,
    )


_PER_TON_SOURCES = (f"350 to 450 cfm a ton, 400 nominal: {PRACTICE}",)

CFM_PER_TON = Sizing(
    slug="cfm-per-ton",
    title="Airflow for each ton",
    group=GROUP,
    example="three ton at twelve hundred c f m, what's that per ton",
    formula="cfm a ton = flow / tons",
    inputs=(
        Input(name="tons", spoken="cooling", ask="How many tons?", ranges=TONS),
        Input(
            name="flow",
            spoken="flow",
            ask="How many C F M?",
            ranges=(Range("100", "3000", "cfm"),),
        ),
    ),
    work=_work_out_per_ton,
    sources=_PER_TON_SOURCES,
    assumption="four hundred a ton as usual, unless the charging chart differs",
    caution="The equipment's own table comes first. Too little air freezes the coil.",
)


def _work_out_for_tons(given: Given) -> Result:
    tons = magnitude(given.quantity("tons"), "ton")
    usual, low, high = (
        exact(figure(name)) * tons
        for name in ("airflow-per-ton", "airflow-per-ton-humid", "airflow-per-ton-dry")
    )
    return Result(
        lead=(
            f"{spoken(to_step(usual, '5'), 'cfm')}, {say(to_step(low, '5'))} where it is humid, "
            f"{say(to_step(high, '5'))} where dry"
        ),
        value=plain(usual),
        unit="cfm",
        working=(
            f"{plain(tons)} tons × {figure('airflow-per-ton')} = {plain(usual)} cfm",
            f"The least, where humid: {plain(low)} cfm; the most, where dry: {plain(high)} cfm",
        ),
        why=f"{say(figure('airflow-per-ton'))} for each ton.",
        metric=f"{in_metric(quantity(usual, 'cfm'), 'liter / second', '1')}.",
    )


AIRFLOW_FOR_TONS = Sizing(
    slug="airflow-for-tons",
    title="Airflow that a cooling capacity wants",
    group=GROUP,
    example="what airflow do i want for two and a half ton",
    formula="flow = 400 · tons, in cfm; 350 humid, 450 dry",
    inputs=(Input(name="tons", spoken="cooling", ask="How many tons?", ranges=TONS),),
    work=_work_out_for_tons,
    sources=_PER_TON_SOURCES,
    assumption="four hundred a ton",
    caution="The equipment's own table comes first. Too little air freezes the coil.",
)


# ---------------------------------------------------------------- power


def power_ratio(flow_ratio: Decimal) -> Decimal:
    """Return how many times the power another flow takes: the flow's ratio cubed.

    Source: fan laws. Checked by tests/golden/sizing/fan-power.toml.
    """
    return flow_ratio**3


def _work_out_power(given: Given) -> Result:
    ratio = 1 + exact(given.exact("more", "percent")) / 100
    times = power_ratio(ratio)
    percent = (times - 1) * 100
    lead = f"{spoken(to_step(percent, '1'), 'percent')} more power"
    lines = [f"{plain(ratio)}³ = {plain(times)} times the power"]
    metric = f"{lead}, the same in metric."
    if given.has("power"):
        watts = exact(given.exact("power", "W")) * times
        lines.append(f"{given.amount('power').written()} × {plain(times)} = {plain(watts)} W")
        lead = f"{spoken(to_step(watts, '5'), 'W')}, {lead}"
    return Result(
        lead=lead,
        value=plain(percent),
        unit="percent",
        working=tuple(lines),
        why=f"{say(to_step(ratio, '0.01'))} times the flow, cubed.",
        metric=metric,
    )


FAN_POWER = Sizing(
    slug="fan-power",
    title="Blower power for more air",
    group=GROUP,
    example="power change for ten percent more air",
    formula="power = power now · (new flow / flow now)³",
    inputs=(
        Input(
            name="more",
            spoken="more air",
            ask="How many percent more air?",
            ranges=(Range("1", "100", "percent"),),
            heard="{} more air",
        ),
        Input(
            name="power",
            spoken="power",
            ranges=(Range("20", "2000", "W"),),
            heard="from {}",
            needed=never,
        ),
    ),
    work=_work_out_power,
    sources=("fan affinity laws",),
    assumption="the same duct, the same air, the same efficiency",
    caution="A motor that holds its flow does not follow it. Read the watts.",
)


# ---------------------------------------------------------------- duty


def _work_out_duty(given: Given) -> Result:
    run = exact(given.exact("hours", "h"))
    if given.has("minutes"):
        run += exact(given.exact("minutes", "min")) / 60
    period = exact(given.exact("period", "h"))
    if run > period:
        raise refusal(
            f"{plain(run)} h of running is more than the {plain(period)} h it was watched",
            "Check the two times.",
            "It can't run longer than the time. Check both.",
        )
    percent = run / period * 100
    a_day = run / period * _HOURS_A_DAY
    return Result(
        lead=(
            f"{spoken(to_step(percent, '1'), 'percent')}, "
            f"{spoken(to_step(a_day, _TENTH), 'h')} a day"
        ),
        value=plain(percent),
        unit="percent",
        working=(
            f"{plain(run)} h / {plain(period)} h = {plain(percent)} %",
            f"24 h × {plain(percent)} % = {plain(a_day)} h",
        ),
        why="The time it ran over the whole time.",
        metric=f"{spoken(to_step(percent, '1'), 'percent')}, the same in metric.",
    )


BLOWER_DUTY = Sizing(
    slug="blower-duty",
    title="Share of the time that the blower runs",
    group=GROUP,
    example="blower ran four hours twenty last night out of ten, what's my duty",
    formula="duty = run time / whole time; hours a day = 24 · duty",
    inputs=(
        Input(
            name="hours",
            spoken="run time",
            ask="How many hours did it run?",
            ranges=(Range("0", "24", "h"),),
        ),
        Input(
            name="minutes",
            spoken="minutes",
            ranges=(Range("0", "59", "min"),),
            heard="~{}",
            needed=never,
        ),
        Input(
            name="period",
            spoken="whole time",
            ask="Out of how many hours?",
            ranges=(Range("1", "168", "h"),),
            heard="out of {}",
        ),
    ),
    work=_work_out_duty,
    sources=("arithmetic",),
    assumption="weather like that of the hours you watched",
    caution="With the blower off an interlocked accessory does nothing. Say so at hand-over.",
)


def _work_out_hours(given: Given) -> Result:
    duty = given.amount("duty")
    if duty.unit == "percent":
        share, how = exact(duty.value) / 100, f"{duty.written()}"
    else:
        share, how = exact(duty.to("min")) / 60, f"{duty.written()} / 60 min"
    a_day = share * _HOURS_A_DAY
    return Result(
        lead=f"{spoken(to_step(a_day, _TENTH), 'h')} a day",
        value=plain(a_day),
        unit="h",
        working=(f"24 h × {how} = {plain(a_day)} h",),
        why="Twenty four hours times the share.",
        metric=f"{spoken(to_step(a_day, _TENTH), 'h')}, the same in metric.",
    )


BLOWER_HOURS = Sizing(
    slug="blower-hours",
    title="Hours a day that the blower runs",
    group=GROUP,
    example="how many hours a day will the accessory run at thirty five percent",
    formula="hours a day = 24 · duty",
    inputs=(
        Input(
            name="duty",
            spoken="duty",
            ask="How many percent, or minutes an hour?",
            ranges=(Range("1", "100", "percent"), Range("1", "60", "min")),
        ),
    ),
    work=_work_out_hours,
    sources=("arithmetic",),
    assumption="the same share all day",
    caution="With the blower off an interlocked accessory does nothing. Say so at hand-over.",
)

SIZINGS = (CFM_PER_TON, AIRFLOW_FOR_TONS, FAN_POWER, BLOWER_DUTY, BLOWER_HOURS)
