"""Line voltage for any inputs: monotonic, inverse, to the safe side; and its tables."""

from __future__ import annotations

import math
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from golden_cases import Bare, measure
from hypothesis import assume, given
from hypothesis import strategies as st

from companion.errors import SizingError
from companion.procedures import procedures
from companion.quantities import convert, quantity
from companion.sizing import answer, missing, sizings
from companion.sizing.line_voltage import smallest_conductor
from companion.sizing.line_voltage_circuits import condenser_breaker, standard_ratings
from companion.sizing.line_voltage_supply import heat_at
from companion.sizing.line_voltage_wire import ambient_factor
from companion.sizing.model import Amount, exact
from companion.sizing.rounding import magnitude
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from companion.sizing.model import Answer, Said

SIZES = [row.text("gauge") for row in table("line-wire-resistance").rows]  # thinnest first


def amounts(low: str, high: str, unit: str) -> st.SearchStrategy[Amount]:
    decimals = st.decimals(Decimal(low), Decimal(high), places=2, allow_nan=False)
    return decimals.map(lambda value: Amount(value, unit))


def figure_of(found: Answer) -> Decimal:
    return Decimal(found.value)


def answered(slug: str, said: dict[str, Said]) -> Answer | None:
    try:
        return answer(slug, said)
    except SizingError:
        return None


@pytest.fixture(autouse=True, scope="module")
def _units_are_built() -> None:
    """The first answer builds the registry of units, which no property shall be timed by."""
    answer("line-current", {"load": measure("60 W"), "voltage": measure("120 V")})


# ---------------------------------------------------------------- tables


def test_heat_factors_follow_their_equation() -> None:
    """√((insulation − hottest) / (insulation − 30)), the equation of NFPA 70-2023 310.15(B)."""
    for row in table("ambient-factors").rows:
        for insulation in (60, 75, 90):
            hottest = float(row.exact("most_c"))
            if not row.has(f"factor_{insulation}"):
                assert hottest >= insulation
                continue
            expected = math.sqrt((insulation - hottest) / (insulation - 30))
            assert float(row.exact(f"factor_{insulation}")) == pytest.approx(expected, abs=0.006)


def test_more_wires_take_a_smaller_factor() -> None:
    rows = table("bundle-factors").rows
    assert [row.exact("most_wires") for row in rows] == [3, 6, 9, 20, 30, 40]
    factors = [row.exact("factor") for row in rows]
    assert factors == sorted(set(factors), reverse=True)


def test_stranded_resistance_lies_two_percent_above_the_derived_solid() -> None:
    """10.371 Ω·cmil/ft at 20 °C and 0.00393 per kelvin (from memory); aluminum is 61 % IACS."""
    number = {"1/0": 0, "2/0": -1, "3/0": -2, "4/0": -3}
    for row in table("line-wire-resistance").rows:
        size = row.text("gauge")
        gauge = number[size] if size in number else int(size)
        cmil = (1000 * 0.005 * 92 ** ((36 - gauge) / 39)) ** 2
        warm = 10.371 / cmil * 1000 * (1 + 0.00393 * 55)
        copper = float(row.exact("copper_ohm_per_kft"))
        assert copper == pytest.approx(warm * 1.02, rel=0.012)
        if row.has("aluminum_ohm_per_kft"):
            ratio = float(row.exact("aluminum_ohm_per_kft")) / copper
            assert ratio == pytest.approx(1.645, rel=0.012)


def test_ninety_degree_wire_carries_more_than_seventy_five() -> None:
    for row in table("ampacity").rows:
        assert row.exact("copper_90_a") > row.exact("copper_75_a")


def test_standard_sizes_rise() -> None:
    ratings = standard_ratings()
    assert list(ratings) == sorted(set(ratings))
    assert ratings[0] == Decimal(15)
    assert ratings[-1] == Decimal(400)


def test_a_supply_passes_here_where_it_passes_in_a_procedure() -> None:
    """One answer to one question: a procedure's limit and the sizing's are the same."""
    supply = sizings()["supply-voltage"].input("measured")
    held = {
        (answers["primary"][0], request.limit.low, request.limit.high)
        for procedure in procedures().values()
        for step in procedure.steps
        for request in step.readings
        if request.limit and "C84.1" in request.limit.source
        if request.point in supply.from_log and "primary" in (answers := dict(request.when.answers))
    }
    own = {
        (row.text("nominal"), row.exact("low_v"), row.exact("high_v"))
        for row in table("supply-voltages").rows
    }
    assert held == own


@pytest.mark.parametrize(
    ("slug", "name", "rows", "column"),
    [
        ("line-voltage-drop", "gauge", "line-wire-resistance", "gauge"),
        ("line-run-length", "gauge", "line-wire-resistance", "gauge"),
        ("derated-ampacity", "gauge", "ampacity", "gauge"),
        ("supply-voltage", "nominal", "supply-voltages", "nominal"),
    ],
)
def test_what_may_be_chosen_is_in_the_table(slug: str, name: str, rows: str, column: str) -> None:
    options = {option.value for option in sizings()[slug].input(name).options}
    assert options == {row.text(column) for row in table(rows).rows}


# ---------------------------------------------------------------- runs


@given(
    amounts("0.1", "100", "A"),
    st.sampled_from(["120", "208", "240"]),
    st.sampled_from(SIZES),
    amounts("1", "5", "percent"),
)
def test_the_longest_run_just_keeps_its_drop(
    load: Amount, volts: str, gauge: str, drop: Amount
) -> None:
    said: dict[str, Said] = {"load": load, "voltage": Bare(Decimal(volts)), "gauge": gauge}
    found = answered("line-run-length", {**said, "drop": drop})
    assume(found is not None)
    assert found is not None
    feet = Decimal(int(figure_of(found)))  # as it is said: down
    assume(1 <= feet <= 500)
    kept = answer("line-voltage-drop", {**said, "length": Amount(feet, "ft"), "drop": drop})
    assert not kept.over_limit
    if feet + 1 <= 500:
        longer = Amount(feet + 1, "ft")
        assert figure_of(answer("line-voltage-drop", {**said, "length": longer})) >= exact(
            drop.value
        ) * Decimal("0.99999")


@given(
    amounts("0.1", "100", "A"),
    amounts("1", "500", "ft"),
    amounts("0", "300", "ft"),
    st.sampled_from(SIZES),
    st.sampled_from(["copper", "aluminum"]),
)
def test_longer_loses_more_and_thicker_less(
    load: Amount, length: Amount, more: Amount, gauge: str, metal: str
) -> None:
    said: dict[str, Said] = {"load": load, "voltage": measure("240 V"), "metal": metal}
    longer = Amount(min(exact(length.value) + exact(more.value), Decimal(500)), "ft")
    here = answered("line-voltage-drop", {**said, "length": length, "gauge": gauge})
    there = answered("line-voltage-drop", {**said, "length": longer, "gauge": gauge})
    if here and there:
        assert figure_of(here) <= figure_of(there)
    thicker = SIZES[min(SIZES.index(gauge) + 1, len(SIZES) - 1)]
    thick = answered("line-voltage-drop", {**said, "length": length, "gauge": thicker})
    if here and thick:
        assert figure_of(thick) <= figure_of(here)


# ---------------------------------------------------------------- wire


@given(
    st.sampled_from(SIZES),
    st.sampled_from(["60", "75", "90"]),
    amounts("0", "70", "degC"),
    amounts("0", "30", "delta_degF"),
    st.integers(1, 40),
    st.sampled_from(["60", "75"]),
)
def test_heat_and_company_never_help_and_terminals_hold(
    gauge: str, insulation: str, ambient: Amount, hotter: Amount, wires: int, terminal: str
) -> None:
    said: dict[str, Said] = {
        "gauge": gauge,
        "insulation": insulation,
        "terminal": terminal,
        "count": Bare(Decimal(wires)),
    }
    warm = Amount(min(exact(ambient.value) + exact(hotter.value), Decimal(85)), "degC")
    cool, hot = (
        answered("derated-ampacity", {**said, "ambient": around}) for around in (ambient, warm)
    )
    assume(cool is not None)
    assert cool is not None
    row = table("ampacity").row("gauge", gauge)
    assert figure_of(cool) <= row.exact(f"copper_{terminal}_a")
    if row.has("copper_breaker_a"):
        assert figure_of(cool) <= row.exact("copper_breaker_a")
    if hot:
        assert figure_of(hot) <= figure_of(cool)
    alone = answer("derated-ampacity", {**said, "ambient": ambient, "count": Bare(Decimal(1))})
    assert figure_of(cool) <= figure_of(alone)
    fahrenheit = Amount(convert(ambient.value, "degC", "degF"), "degF")
    assert answer("derated-ampacity", {**said, "ambient": fahrenheit}).value == cool.value


def test_a_temperature_between_two_rows_takes_the_hotter_one() -> None:
    assert ambient_factor(Decimal("50.1"), "90") == ambient_factor(Decimal(55), "90")
    assert ambient_factor(Decimal("70.1"), "90") is None


@given(amounts("15", "200", "A"), amounts("15", "200", "A"))
def test_a_bigger_breaker_never_takes_a_thinner_ground(one: Amount, other: Amount) -> None:
    small, large = sorted((one, other), key=lambda amount: exact(amount.value))
    grounds = [
        SIZES.index(answer("equipment-ground", {"breaker": breaker}).value)
        for breaker in (small, large)
    ]
    assert grounds == sorted(grounds)


# ---------------------------------------------------------------- what protects


@given(amounts("1", "400", "A"))
def test_a_need_goes_up_and_a_marked_maximum_never_does(amps: Amount) -> None:
    up = answer("standard-breaker", {"rating": amps, "maximum": "no"})
    assert figure_of(up) >= exact(amps.value)
    down = answered("standard-breaker", {"rating": amps, "maximum": "yes"})
    if down is None:
        assert exact(amps.value) < standard_ratings()[0]
    else:
        assert figure_of(down) <= exact(amps.value)


def test_which_way_to_round_is_asked_and_never_guessed() -> None:
    wanted = missing("standard-breaker", {"rating": measure("46 A")})
    assert wanted is not None
    assert (wanted.name, wanted.kind) == ("maximum", "yes or no")


@given(amounts("1", "25", "kW"), st.sampled_from(["120", "208", "240"]), amounts("0", "10", "A"))
def test_strip_heat_has_a_wire_that_its_breaker_may_guard(
    heat: Amount, volts: str, blower: Amount
) -> None:
    """The breaker is at most the next size above the wire (240.4(B)) and keeps 240.4(D)."""
    said: dict[str, Said] = {"heat": heat, "voltage": Bare(Decimal(volts)), "blower": blower}
    found = answered("strip-heat-circuit", said)
    assume(found is not None)
    assert found is not None
    breaker = figure_of(found)
    needed = (exact(heat.value) * 1000 / int(volts) + exact(blower.value)) * Decimal("1.25")
    assert needed <= breaker * Decimal("1.0000001")
    assert breaker <= figure("greatest-heat-breaker")
    row = smallest_conductor(needed, "copper", "60")
    assert row is not None
    carries = row.exact("copper_60_a")
    assert breaker <= min(rating for rating in standard_ratings() if rating >= carries)
    if row.has("copper_breaker_a"):
        assert breaker <= row.exact("copper_breaker_a")


@given(amounts("2", "40", "A"), amounts("0", "10", "A"))
def test_a_condensers_breaker_carries_its_circuit(compressor: Amount, others: Amount) -> None:
    least = Decimal("1.25") * exact(compressor.value) + exact(others.value)
    most = Decimal("1.75") * exact(compressor.value) + exact(others.value)
    breaker, went_up = condenser_breaker(least, most)
    assert breaker >= least
    assert (breaker > most) == went_up
    found = answer("condenser-circuit", {"compressor": compressor, "others": others})
    assert float(found.value) == pytest.approx(float(least), rel=1e-5)


@given(amounts("0", "40", "A"), amounts("15", "60", "A"), amounts("0", "15", "A"))
def test_a_circuit_is_over_where_more_than_eighty_percent_is_taken(
    present: Amount, breaker: Amount, added: Amount
) -> None:
    said: dict[str, Said] = {"present": present, "breaker": breaker, "added": added}
    total = exact(present.value) + exact(added.value)
    assert answer("circuit-room", said).over_limit == (total * 5 > exact(breaker.value) * 4)


def test_a_heater_is_not_given_a_circuit_without_its_blower() -> None:
    wanted = missing("strip-heat-circuit", {"heat": measure("5 kW"), "voltage": measure("240 V")})
    assert wanted is not None
    assert wanted.name == "blower"


@pytest.mark.parametrize(
    ("slug", "said"),
    [
        ("standard-breaker", {"rating": measure("22 A"), "maximum": "no"}),
        ("equipment-ground", {"breaker": measure("30 A")}),
        (
            "derated-ampacity",
            {"gauge": "12", "ambient": measure("50 degC"), "insulation": "90"},
        ),
    ],
)
def test_canada_is_left_to_its_own_tables(slug: str, said: dict[str, Said]) -> None:
    with pytest.raises(SizingError):
        answer(slug, said, region="ON")
    assert answer(slug, said, region="OH").defers


# ---------------------------------------------------------------- supply


@given(amounts("0.1", "25", "kW"), amounts("208", "240", "V"), amounts("100", "264", "V"))
def test_an_element_put_back_on_its_voltage_makes_what_it_made(
    heat: Amount, rated: Amount, volts: Amount
) -> None:
    plate, supply = quantity(rated.value, "V"), quantity(volts.value, "V")
    there = heat_at(quantity(heat.value, "kW"), plate, supply)
    back = heat_at(there, supply, plate)
    assert float(magnitude(back, "kW")) == pytest.approx(float(heat.value), rel=1e-9)


def test_the_supply_is_answered_from_the_log() -> None:
    log = {"transformer-primary": measure("226 V")}
    found = answer("supply-voltage", {"nominal": "240"}, log)
    assert found.from_log == ("transformer-primary",)
    assert found.spoken.endswith("from the log on two forty.")


@given(amounts("0.1", "10000", "W"), amounts("0.1", "24", "h"), amounts("5", "60", "cent"))
def test_a_year_costs_what_its_days_cost(load: Amount, hours: Amount, price: Amount) -> None:
    said: dict[str, Said] = {"load": load, "hours": hours, "price": price}
    month = answer("running-cost", {**said, "period": "month"})
    year = answer("running-cost", {**said, "period": "year"})
    assert float(year.value) / 365 == pytest.approx(float(month.value) / 30, rel=1e-4)
    by_hand = float(load.value) / 1000 * float(hours.value) * 365 * float(price.value)
    assert float(year.value) == pytest.approx(by_hand, rel=1e-4)


def test_round_the_clock_is_twenty_four_hours() -> None:
    said: dict[str, Said] = {"load": measure("18 W"), "price": measure("15 cent")}
    clock = answer("running-cost", {**said, "clock": "yes"})
    assert clock.value == answer("running-cost", {**said, "hours": measure("24 h")}).value
