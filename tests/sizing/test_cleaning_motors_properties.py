"""Air cleaning, motors and conversions: other libraries agree, inverses undo, rounding is safe."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

import pint
import pytest
from fluids.core import C2F, F2C
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from companion.errors import SizingError
from companion.quantities import UNITS
from companion.sizing import answer, sizings
from companion.sizing.model import Amount
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from companion.sizing.model import Said

OTHER: pint.UnitRegistry[Any] = pint.UnitRegistry()


def amounts(low: str, high: str, unit: str) -> st.SearchStrategy[Amount]:
    values = st.decimals(Decimal(low), Decimal(high), places=2, allow_nan=False)
    return values.map(lambda value: Amount(value, unit))


def value(slug: str, **said: Said) -> float:
    return float(answer(slug, {name.replace("_", "-"): each for name, each in said.items()}).value)


# ---------------------------------------------------------------- other libraries


@pytest.mark.parametrize(("changes", "percent"), [(2, 99), (6, 90), (12, 50), (20, 99.9)])
def test_clearing_follows_the_decay_that_scipy_solves(changes: float, percent: float) -> None:
    """dc/dt = -changes c, solved until the share is gone; scipy 1.17."""

    def left(_t: float, c: list[float]) -> float:
        return c[0] - (1 - percent / 100)

    left.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _t, c: [-changes * c[0]], (0, 50), [1.0], events=left, rtol=1e-9, atol=1e-12
    )
    found = value(
        "clearing-time",
        changes=Amount(Decimal(changes), "per_h"),
        removed=Amount(Decimal(str(percent)), "percent"),
    )
    assert found == pytest.approx(solved.t_events[0][0] * 60, rel=1e-4)


def test_ozone_settles_where_scipys_balance_does() -> None:
    """dc/dt = emission / volume - (changes + decay) c, until it stands; scipy 1.17."""
    volume_m3, losses = 5000 * 0.3048**3, 0.35 + 3
    solved = solve_ivp(lambda _t, c: [5 / volume_m3 - losses * c[0]], (0, 20), [0.0], rtol=1e-9)
    expected_ppb = solved.y[0][-1] * 24.45 / 48.00 * 1000
    found = value(
        "ozone-build-up",
        emission=Amount(Decimal(5), "mg_h"),
        volume=Amount(Decimal(5000), "ft3"),
        changes=Amount(Decimal("0.35"), "per_h"),
    )
    assert found == pytest.approx(expected_ppb, rel=1e-4)


@given(amounts("-60", "399", "degF"))
def test_celsius_agrees_with_fluids(reading: Amount) -> None:
    found = value("temperature-conversion", amount=reading, to="degC")
    assert found == pytest.approx(F2C(float(reading.value)), abs=1e-3)


@given(amounts("-50", "200", "degC"))
def test_fahrenheit_agrees_with_fluids(reading: Amount) -> None:
    found = value("temperature-conversion", amount=reading, to="degF")
    assert found == pytest.approx(C2F(float(reading.value)), abs=1e-3)


CONVERSIONS = ["pressure-conversion", "air-conversion", "energy-conversion", "weight-conversion"]


@pytest.mark.parametrize("slug", CONVERSIONS)
@given(data=st.data())
def test_conversions_agree_with_units_alone(slug: str, data: st.DataObject) -> None:
    """pint's own arithmetic, in a registry of its own."""
    sizing = sizings()[slug]
    valid = data.draw(st.sampled_from(sizing.input("amount").ranges))
    to = data.draw(st.sampled_from([option.value for option in sizing.input("to").options]))
    assume(UNITS[to].dimension == UNITS[valid.unit].dimension)
    amount = data.draw(amounts(valid.low, valid.high, valid.unit))
    expected = OTHER.Quantity(float(amount.value), UNITS[valid.unit].pint_name).to(
        UNITS[to].pint_name
    )
    found = value(slug, amount=amount, to=to)
    assert found == pytest.approx(expected.magnitude, rel=1e-5)


# ---------------------------------------------------------------- inverses


@given(amounts("50", "1500", "ft2"), amounts("7", "14", "ft"))
def test_a_rooms_cleaner_serves_that_room(area: Amount, ceiling: Amount) -> None:
    cfm = value("room-cleaner-size", area=area, ceiling=ceiling)
    assume(20 <= cfm <= 1000)
    clean = Amount(Decimal(str(cfm)), "cfm")
    back = value("room-cleaner-size", clean=clean, ceiling=ceiling)
    assert back == pytest.approx(float(area.value), rel=1e-5)


@given(amounts("1.5", "14", "in"), amounts("1.5", "14", "in"), amounts("850", "3500", "rpm"))
def test_the_sheave_for_a_speed_gives_that_speed(
    motor: Amount, blower: Amount, speed: Amount
) -> None:
    rpm = value("belt-speed", motor_sheave=motor, blower_sheave=blower, motor_speed=speed)
    assume(200 <= rpm <= 3000)
    wanted = Amount(Decimal(str(rpm)), "rpm")
    try:
        back = value("belt-speed", wanted=wanted, blower_sheave=blower, motor_speed=speed)
    except SizingError:  # rounding may leave a sheave at the end of its range outside
        assert float(motor.value) == pytest.approx(1.5) or float(motor.value) == pytest.approx(14)
    else:
        assert back == pytest.approx(float(motor.value), rel=1e-4)


@given(amounts("0.2", "20", "ft"), amounts("100", "1500", "fpm"))
def test_the_path_for_a_time_takes_that_time(path: Amount, speed: Amount) -> None:
    seconds = value("residence-time", path=path, speed=speed)
    assume(0.01 <= seconds <= 10)
    time = Amount(Decimal(str(seconds)), "s")
    assert value("residence-time", time=time, speed=speed) == pytest.approx(
        float(path.value), rel=1e-4
    )


@given(amounts("1", "100", "uF"), amounts("1", "100", "uF"))
def test_in_series_is_less_and_in_parallel_more_than_either(one: Amount, other: Amount) -> None:
    either = sorted(float(each.value) for each in (one, other))
    less = value("capacitors-together", first=one, second=other, series="yes")
    more = value("capacitors-together", first=one, second=other, series="no")
    assert less < either[0] + 1e-6
    assert more > either[1]


# ---------------------------------------------------------------- monotonic, and the safe side


@given(st.lists(amounts("0", "99.97", "percent"), min_size=3, max_size=3))
def test_another_filter_never_lets_more_through(shares: list[Amount]) -> None:
    one, two, three = shares
    both = value("filters-in-series", first=one, second=two)
    assert both >= max(float(one.value), float(two.value)) - 1e-4
    assert value("filters-in-series", first=one, second=two, third=three) >= both - 1e-4


@given(amounts("0.5", "50", "A"), st.sampled_from(["yes", "no"]))
def test_a_motors_overload_is_below_its_wire_and_breaker(current: Amount, factor: str) -> None:
    said: dict[str, Said] = {"current": current, "service_factor": factor}
    overload, breaker, wire = (
        value("motor-protection", part=part, **said) for part in ("overload", "breaker", "wire")
    )
    assert overload <= wire + 1e-9
    ratings = [float(row.exact("rating_a")) for row in table("motor-breakers").rows]
    below = [rating for rating in ratings if rating < breaker]
    assert breaker in ratings
    assert breaker >= 2.5 * float(current.value)
    assert not below or below[-1] < 2.5 * float(current.value)


@given(amounts("0.25", "16", "mm2"), amounts("0.25", "16", "mm2"))
def test_metric_wire_never_gets_a_thinner_gauge(one: Amount, other: Amount) -> None:
    thin, thick = sorted((one, other), key=lambda amount: amount.value)

    def gauge(area: Amount) -> int:
        return int(answer("metric-wire", {"amount": area}).value)

    assert gauge(thick) <= gauge(thin)
    diameter_mm = 25.4 * 0.005 * 92 ** ((36 - gauge(thin)) / 39)  # ASTM B258
    assert 3.14159265 / 4 * diameter_mm**2 >= float(thin.value) * 0.995  # areas have three digits


@given(
    amounts("0.1", "1000", "mg_h"), amounts("500", "100000", "ft3"), amounts("0.1", "2", "per_h")
)
def test_ozone_over_the_limit_is_said_first(
    emission: Amount, volume: Amount, changes: Amount
) -> None:
    found = answer("ozone-build-up", {"emission": emission, "volume": volume, "changes": changes})
    assert found.over_limit == (Decimal(found.value) > figure("ozone-limit"))
    assert found.spoken.startswith("Over the limit") == found.over_limit


# ---------------------------------------------------------------- the declarations against tables


def test_what_may_be_chosen_is_what_the_motor_table_holds() -> None:
    options = [option.value for option in sizings()["motor-full-load"].input("horsepower").options]
    assert options == [row.text("horsepower") for row in table("motor-currents").rows]


def test_motor_currents_rise_with_power_and_fall_with_voltage() -> None:
    rows = table("motor-currents").rows
    for column in ("at_115_a", "at_208_a", "at_230_a"):
        amps = [row.exact(column) for row in rows]
        assert amps == sorted(set(amps))
    for row in rows:
        assert row.exact("at_115_a") == pytest.approx(
            2 * row.exact("at_230_a"), rel=Decimal("0.01")
        )


def test_gauges_asked_about_are_wires_of_the_tables() -> None:
    wires = {row.text("gauge") for name in ("copper-solid", "ampacity") for row in table(name).rows}
    assert {option.value for option in sizings()["metric-wire"].input("gauge").options} <= wires
