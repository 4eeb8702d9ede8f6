"""24 V runs and transformers: inverses, order, and libraries that know it independently."""

from __future__ import annotations

import cmath
import math
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from fluids.piping import t_from_gauge
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.interpolate import interp1d

from companion.errors import SizingError
from companion.quantities import convert
from companion.sizing import answer
from companion.sizing.model import Amount
from companion.sizing.tables import table

if TYPE_CHECKING:
    from companion.sizing import Answer
    from companion.sizing.model import Said

GAUGES = [row.text("gauge") for row in table("copper-solid").rows]  # thinnest first


def amounts(low: str, high: str, unit: str) -> st.SearchStrategy[Amount]:
    values = st.decimals(Decimal(low), Decimal(high), places=2, allow_nan=False)
    return values.map(lambda value: Amount(value, unit))


def _value(slug: str, **said: Said) -> float:
    return float(answer(slug, said).value)


# ---------------------------------------------------------------- runs


@given(st.sampled_from(GAUGES), amounts("0.02", "8", "A"), amounts("0.2", "6", "V"))
def test_the_longest_run_loses_what_was_allowed(gauge: str, load: Amount, drop: Amount) -> None:
    feet = _value("longest-control-run", gauge=gauge, load=load, allowed=drop)
    assume(1 <= feet <= 500)
    length = Amount(Decimal(str(feet)), "ft")
    lost = _value("voltage-drop", gauge=gauge, load=load, length=length)
    assert lost == pytest.approx(float(drop.value), rel=1e-4)


@given(amounts("0.02", "8", "A"), amounts("0.2", "6", "V"))
def test_a_thicker_wire_never_runs_shorter(load: Amount, drop: Amount) -> None:
    lengths = [
        _value("longest-control-run", gauge=gauge, load=load, allowed=drop) for gauge in GAUGES
    ]
    assert lengths == sorted(lengths)


@given(st.sampled_from(GAUGES), amounts("5", "1000", "ft"), amounts("-20", "140", "degF"))
def test_the_ohms_of_a_pair_tell_its_length(gauge: str, length: Amount, warm: Amount) -> None:
    ohms = answer("loop-resistance", {"gauge": gauge, "length": length, "temperature": warm}).value
    assume(Decimal("0.1") <= Decimal(ohms) <= 50)
    reading = Amount(Decimal(ohms), "ohm")
    back = _value("distance-to-short", gauge=gauge, reading=reading, temperature=warm)
    assert back == pytest.approx(float(length.value), rel=1e-4)


@given(amounts("-20", "139", "degF"))
def test_warmer_copper_reads_more_ohms(cold: Amount) -> None:
    warm = Amount(Decimal(str(cold.value)) + 1, "degF")
    pair: dict[str, Said] = {"gauge": "18", "length": Amount(Decimal(100), "ft")}
    assert _value("loop-resistance", **pair, temperature=cold) < _value(
        "loop-resistance", **pair, temperature=warm
    )


@given(amounts("10", "1000", "ft"), amounts("-17", "59", "degC"), amounts("0.02", "4", "A"))
def test_trade_units_and_metric_agree_on_a_run(length: Amount, warm: Amount, load: Amount) -> None:
    mm = Amount(convert(length.value, "ft", "mm"), "mm")
    fahrenheit = Amount(convert(warm.value, "degC", "degF"), "degF")
    assert _value("loop-resistance", gauge="18", length=length, temperature=fahrenheit) == (
        pytest.approx(_value("loop-resistance", gauge="18", length=mm, temperature=warm), rel=1e-5)
    )
    ma = Amount(convert(load.value, "A", "mA"), "mA")
    assert _value("longest-control-run", gauge="18", load=load) == pytest.approx(
        _value("longest-control-run", gauge="18", load=ma), rel=1e-5
    )


# ---------------------------------------------------------------- bench checks


@pytest.mark.parametrize("gauge", [str(n) for n in (24, 22, 20, 18, 16, 14, 12, 10, 8, 6, 4, 2, 1)])
def test_thickness_agrees_with_a_printed_gauge_table(gauge: str) -> None:
    """The American wire gauge table of the fluids library 1.3, in inches to four places."""
    expected = t_from_gauge(int(gauge), SI=False, schedule="AWG")
    assert _value("wire-thickness", gauge=gauge) == pytest.approx(expected, abs=0.0001)


@given(st.floats(5, 500), st.floats(0.3, 5))
def test_a_coil_made_of_resistance_and_reactance_is_plausible_or_shorted(
    ohms: float, ratio: float
) -> None:
    """The rating follows from the whole impedance; the meter sees the resistance alone."""
    impedance = abs(complex(ohms, ratio * ohms))
    rating = Decimal(f"{24**2 / impedance:.6f}")
    assume(1 <= rating <= 100)
    reading = Amount(Decimal(f"{ohms:.6f}"), "ohm")
    found = answer("coil-ohms", {"rating": Amount(rating, "VA"), "reading": reading})
    assert float(found.value) == pytest.approx(impedance, rel=1e-4)
    assert "open" not in found.spoken


@given(amounts("0", "100", "percent"), st.sampled_from(["0", "2"]))
def test_a_signal_interpolates_between_closed_and_open(position: Amount, closed: str) -> None:
    """scipy 1.17, linear interpolation."""
    expected = float(interp1d([0, 100], [float(closed), 10])(float(position.value)))
    low = Amount(Decimal(closed), "V")
    signal = answer("signal-position", {"position": position, "closed": low})
    assert float(signal.value) == pytest.approx(expected, abs=1e-4)
    back = _value("signal-position", signal=Amount(Decimal(signal.value), "V"), closed=low)
    assert back == pytest.approx(float(position.value), abs=1e-3)


# ---------------------------------------------------------------- transformers


@given(amounts("20", "100", "VA"), amounts("0", "5", "A"), amounts("1", "80", "VA"))
def test_what_fits_keeps_a_fifth_of_the_rating(rating: Amount, load: Amount, added: Amount) -> None:
    found = answer("transformer-room", {"rating": rating, "load": load, "added": added})
    total = 24 * Decimal(str(load.value)) + Decimal(str(added.value))
    fits = total <= Decimal(str(rating.value)) * Decimal("0.8")
    assert found.over_limit is not fits
    assert ("does not fit" in found.spoken) is not fits


@given(amounts("20", "30", "V"), amounts("20", "30", "V"))
def test_hot_to_hot_is_the_difference_of_two_phasors(first: Amount, second: Amount) -> None:
    one, other = float(first.value), float(second.value)

    def judged(between: float) -> Answer:
        reading = Amount(Decimal(f"{between:.3f}"), "V")
        return answer("transformer-phasing", {"first": first, "second": second, "between": reading})

    assert judged(abs(one - other * cmath.exp(0j))).spoken.startswith("In phase")
    opposed = judged(abs(one - other * cmath.exp(1j * math.pi)))
    assert opposed.spoken.startswith("Out of phase")
    assert float(opposed.value) == pytest.approx(one + other)


@given(amounts("100", "264", "V"), st.sampled_from(["120", "208", "240"]))
def test_the_tap_and_its_turns_agree(supply: Amount, tap: str) -> None:
    """Volts a turn are the same on both windings: 24 turns, and as many as the tap's volts."""
    volts_a_turn = float(supply.value) / int(tap)
    found = answer("transformer-tap", {"supply": supply, "tap": tap})
    assert float(found.value) == pytest.approx(24 * volts_a_turn, rel=1e-5)
    assert found.over_limit == (not 21 <= 24 * volts_a_turn <= 30)


@given(amounts("20", "30", "V"), st.integers(1, 15))
def test_a_sag_put_back_on_the_loaded_voltage_is_the_unloaded(loaded: Amount, sag: int) -> None:
    unloaded = Decimal(str(loaded.value)) * (100 + sag) / 100
    found = answer(
        "transformer-sag",
        {"unloaded": Amount(unloaded, "V"), "loaded": loaded},
    )
    assert float(found.value) == pytest.approx(sag, rel=1e-5)


@given(amounts("10", "1000", "VA"), amounts("110", "250", "V"))
def test_protection_carries_the_transformer_and_keeps_under_three_times(
    rating: Amount, voltage: Amount
) -> None:
    full = float(rating.value) / float(voltage.value)
    ceiling = _value("primary-protection", rating=rating, voltage=voltage)
    assert full * 1.25 * 0.9999 <= ceiling <= full * 3 * 1.0001
    assert ceiling <= 9 * 1.67 or full >= 9


def test_protection_of_transformers_is_of_united_states_tables() -> None:
    said: dict[str, Said] = {
        "rating": Amount(Decimal(75), "VA"),
        "voltage": Amount(Decimal(120), "V"),
    }
    assert answer("primary-protection", said).defers
    with pytest.raises(SizingError):
        answer("primary-protection", said, region="ON")
