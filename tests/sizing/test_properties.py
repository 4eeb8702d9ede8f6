"""What must hold for any inputs: units agree, physics is monotonic, nothing breaks."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from companion.errors import OutOfRangeError, SizingError
from companion.quantities import convert
from companion.sizing import answer, missing, sizings
from companion.sizing.model import Amount, Answer, exact
from companion.sizing.tables import figure, table

if TYPE_CHECKING:
    from companion.sizing.model import Input, Range, Said

# Digits and signs are for the screen; a voice gets words.
SPOKEN = re.compile(r"[A-Za-z ,.;:'-]*")
GAUGES = [row.text("gauge") for row in table("copper-solid").rows]  # thinnest first
SIZES = [row.text("gauge") for row in table("ampacity").rows]


def decimals(low: str, high: str) -> st.SearchStrategy[Decimal]:
    return st.decimals(Decimal(low), Decimal(high), places=2, allow_nan=False)


def amounts(low: str, high: str, unit: str) -> st.SearchStrategy[Amount]:
    return decimals(low, high).map(lambda value: Amount(value, unit))


def _in_range(valid: Range) -> st.SearchStrategy[Amount]:
    return amounts(valid.low, valid.high, valid.unit)


def _any_value(wanted: Input) -> st.SearchStrategy[Said]:
    if wanted.options:
        return st.sampled_from([option.value for option in wanted.options])
    one: st.SearchStrategy[Amount] = st.one_of(*(_in_range(valid) for valid in wanted.ranges))
    return st.lists(one, min_size=1, max_size=4).map(tuple) if wanted.many else one


@st.composite
def questions(draw: st.DrawFn, slug: str = "") -> tuple[str, dict[str, Said]]:
    """A sizing, or any, with any inputs in range, some left out, what is then missing filled in."""
    sizing = sizings()[slug or draw(st.sampled_from(list(sizings())))]
    said = {
        wanted.name: draw(_any_value(wanted)) for wanted in sizing.inputs if draw(st.booleans())
    }
    while wanted := missing(sizing.slug, said):
        said[wanted.name] = draw(_any_value(wanted))
    return sizing.slug, said


def _outcome(slug: str, said: dict[str, Said]) -> tuple[Answer | None, SizingError | None]:
    try:
        return answer(slug, said), None
    except SizingError as refused:
        return None, refused


def answered(slug: str, said: dict[str, Said]) -> Answer | None:
    return _outcome(slug, said)[0]


@pytest.mark.parametrize("slug", list(sizings()))
@settings(max_examples=25)
@given(st.data())
def test_any_input_in_range_is_answered_or_refused_in_few_words(
    slug: str, data: st.DataObject
) -> None:
    _, said = data.draw(questions(slug))
    found, refused = _outcome(slug, said)
    if found is None:
        assert not isinstance(refused, OutOfRangeError)
        assert refused is not None
        assert 0 < len(refused.spoken.split()) <= 12
        assert SPOKEN.fullmatch(refused.spoken)
        return
    for words in (found.spoken, found.spoken_working, found.in_metric, found.caution):
        assert SPOKEN.fullmatch(words), words
        assert not words or words.endswith(".")
    assert found.value
    assert found.working
    assert found.sources
    assert set(found.inputs) <= {wanted.spoken for wanted in sizings()[slug].inputs}


@given(questions())
def test_every_default_is_spoken(question: tuple[str, dict[str, Said]]) -> None:
    slug, said = question
    found = answered(slug, said)
    assume(found is not None)
    assert found is not None
    for wanted in sizings()[slug].inputs:
        if wanted.default and wanted.name not in said and wanted.needed(said):
            assert wanted.assumed in found.assumptions[0]


def test_a_default_comes_with_words_for_it() -> None:
    for sizing in sizings().values():
        for wanted in sizing.inputs:
            assert bool(wanted.default) == bool(wanted.assumed), (sizing.slug, wanted.name)


@given(st.data())
def test_what_is_out_of_range_is_refused_with_the_range(data: st.DataObject) -> None:
    sizing = data.draw(st.sampled_from(list(sizings().values())))
    measured = [wanted for wanted in sizing.inputs if wanted.ranges and not wanted.many]
    assume(measured)
    wanted = data.draw(st.sampled_from(measured))
    valid = data.draw(st.sampled_from(wanted.ranges))
    past = data.draw(st.sampled_from((Decimal("0.01"), Decimal(1000))))
    low = data.draw(st.booleans())
    value = Decimal(valid.low) - past if low else Decimal(valid.high) + past
    said: dict[str, Said] = {wanted.name: Amount(value, valid.unit)}
    while missed := missing(sizing.slug, said):
        said[missed.name] = data.draw(_any_value(missed))
    with pytest.raises(OutOfRangeError) as refused:
        answer(sizing.slug, said)
    assert len(refused.value.spoken.split()) <= 12
    assert SPOKEN.fullmatch(refused.value.spoken)


# ---------------------------------------------------------------- units


@pytest.mark.parametrize(
    ("slug", "said", "other"),
    [
        ("voltage-drop", {"load": "A mA", "length": "ft mm"}, {"gauge": "18"}),
        ("low-voltage-gauge", {"load": "A mA", "length": "ft mm"}, {}),
        ("line-current", {"load": "W kW", "voltage": "V V"}, {}),
        ("centre-cutout", {"face-width": "in mm", "hole-width": "in mm"}, {}),
        ("nearest-sixteenth", {"length": "in mm"}, {}),
        ("duct-airflow", {"air": "fpm fpm", "diameter": "in mm"}, {}),
        ("total-external-static", {"supply": "inH2O Pa", "return": "inH2O Pa"}, {}),
        (
            "outside-air-fraction",
            {"return": "degF degC", "outdoor": "degF degC", "mixed": "degF degC"},
            {},
        ),
        (
            "mixed-air",
            {
                "return-flow": "cfm cfm",
                "return-temperature": "degF degC",
                "outside": "cfm cfm",
                "outside-temperature": "degF degC",
            },
            {},
        ),
    ],
)
@given(data=st.data())
def test_trade_units_and_metric_agree(
    slug: str, said: dict[str, str], other: dict[str, Said], data: st.DataObject
) -> None:
    trade, metric = dict(other), dict(other)
    for name, units in said.items():
        unit, same = units.split()
        valid = next(r for r in sizings()[slug].input(name).ranges if r.unit == unit)
        # Just inside the ends, where a rounded conversion still is in range.
        value = data.draw(st.decimals(Decimal(valid.low), Decimal(valid.high), places=1))
        assume(Decimal(valid.low) < value < Decimal(valid.high))
        trade[name] = Amount(value, unit)
        converted = Amount(convert(value, unit, same), same)
        metric[name] = converted
        own = [r for r in sizings()[slug].input(name).ranges if r.unit == same]
        assume(all(r.holds(converted) for r in own))
    one, two = answered(slug, trade), answered(slug, metric)
    assert (one is None) == (two is None)
    if one and two and one.unit not in {"gauge", "in"}:
        assert float(one.value) == pytest.approx(float(two.value), rel=1e-5, abs=1e-5)
    elif one and two:
        assert one.value == two.value


# ---------------------------------------------------------------- monotonic


def _thickness(order: list[str], found: Answer | None) -> int:
    """How thick a wire is; what no wire of the table carries is thicker than all."""
    return len(order) if found is None else order.index(found.value)


@given(decimals("0.02", "8"), decimals("0.02", "8"), decimals("1", "500"), decimals("1", "500"))
def test_a_longer_or_heavier_run_never_takes_a_thinner_wire(
    load: Decimal, more: Decimal, length: Decimal, longer: Decimal
) -> None:
    load, more = sorted((load, more))
    length, longer = sorted((length, longer))

    def gauge(amps: Decimal, feet: Decimal) -> int:
        said: dict[str, Said] = {"load": Amount(amps, "A"), "length": Amount(feet, "ft")}
        return _thickness(GAUGES, answered("low-voltage-gauge", said))

    assert gauge(load, length) <= gauge(load, longer)
    assert gauge(load, length) <= gauge(more, length)


@given(decimals("0.02", "8"), decimals("1", "500"), decimals("1", "10"))
def test_the_gauge_that_is_answered_keeps_the_drop(
    load: Decimal, length: Decimal, drop: Decimal
) -> None:
    """Gauge and drop are two sizings: one's answer put into the other is within the drop."""
    said: dict[str, Said] = {"load": Amount(load, "A"), "length": Amount(length, "ft")}
    found = answered("low-voltage-gauge", {**said, "drop": Amount(drop, "percent")})
    assume(found is not None)
    assert found is not None
    lost = Decimal(answer("voltage-drop", {**said, "gauge": found.value}).value)
    assert lost <= Decimal(24) * drop / 100 * Decimal("1.000001")


@given(
    decimals("0.1", "200"),
    decimals("0.1", "200"),
    st.sampled_from(["copper", "aluminum"]),
    st.sampled_from(["60", "75"]),
)
def test_more_amps_never_take_a_thinner_conductor(
    load: Decimal, more: Decimal, metal: str, terminal: str
) -> None:
    load, more = sorted((load, more))

    def size(amps: Decimal, continuous: str) -> int:
        said: dict[str, Said] = {
            "load": Amount(amps, "A"),
            "continuous": continuous,
            "metal": metal,
            "terminal": terminal,
        }
        return _thickness(SIZES, answered("line-wire-size", said))

    assert size(load, "no") <= size(more, "no")
    assert size(load, "no") <= size(load, "yes")


@given(st.lists(amounts("0.5", "80", "VA"), min_size=1, max_size=5), amounts("0.5", "80", "VA"))
def test_another_load_never_takes_a_smaller_transformer(
    loads: list[Amount], another: Amount
) -> None:
    one = answered("transformer-size", {"loads": tuple(loads)})
    two = answered("transformer-size", {"loads": (*loads, another)})
    if one is None:
        assert two is None
    if one and two:
        assert Decimal(one.value) <= Decimal(two.value)
    if one:
        assert Decimal(one.value) >= sum(Decimal(str(load.value)) for load in loads)


@given(amounts("10", "100", "VA"), amounts("20", "30", "V"))
def test_a_fuse_is_never_over_the_class_two_ceiling(rating: Amount, highest: Amount) -> None:
    found = answer("secondary-fuse", {"rating": rating, "highest": highest})
    assert Decimal(found.value) * Decimal(str(highest.value)) <= Decimal(100)


@given(amounts("3", "72", "in"), amounts("0.25", "72", "in"))
def test_marks_and_hole_add_up_to_the_face(face: Amount, hole: Amount) -> None:
    said: dict[str, Said] = {"face-width": face, "hole-width": hole}
    found = answered("centre-cutout", said)
    if found is None:
        assert hole.value > face.value
        return
    left = Decimal(found.value)
    assert (left * 16) % 1 == 0
    assert abs(2 * left + Decimal(str(hole.value)) - Decimal(str(face.value))) <= Decimal("0.1")
    assert found.over_limit == (left < figure("least-metal-at-hole"))


# ---------------------------------------------------------------- inverse pairs


@given(amounts("1", "100", "VA"), amounts("20", "30", "V"))
def test_amps_of_va_and_va_of_amps_undo_each_other(load: Amount, voltage: Amount) -> None:
    amps = answer("low-voltage-current", {"load": load, "voltage": voltage})
    back = answer(
        "low-voltage-current",
        {"load": Amount(Decimal(amps.value), "A"), "voltage": voltage},
    )
    assert Decimal(back.value) == pytest.approx(Decimal(str(load.value)), rel=Decimal("1e-4"))


@given(amounts("10", "25000", "W"), amounts("100", "250", "V"), amounts("0.3", "1", "count"))
def test_amps_of_watts_and_watts_of_amps_undo_each_other(
    load: Amount, voltage: Amount, factor: Amount
) -> None:
    said: dict[str, Said] = {"voltage": voltage, "power-factor": factor}
    amps = Decimal(answer("line-current", {"load": load, **said}).value)
    assume(Decimal("0.01") <= amps <= Decimal(250))
    back = answer("line-current", {"load": Amount(amps, "A"), **said})
    assert float(back.value) == pytest.approx(float(load.value), rel=1e-4)


@given(amounts("10", "4000", "fpm"), amounts("3", "60", "in"))
def test_flow_of_a_speed_and_speed_of_a_flow_undo_each_other(
    speed: Amount, diameter: Amount
) -> None:
    flow = Decimal(answer("duct-airflow", {"air": speed, "diameter": diameter}).value)
    assume(Decimal(5) <= flow <= Decimal(20000))
    said: dict[str, Said] = {"air": Amount(flow, "cfm"), "diameter": diameter}
    back = answered("duct-airflow", said)
    if back is not None:  # rounding may lift 4000 fpm over the limit
        assert float(back.value) == pytest.approx(float(speed.value), rel=1e-4)


@given(amounts("1", "99", "percent"), amounts("55", "85", "degF"), amounts("-40", "120", "degF"))
def test_the_mix_of_a_share_has_that_share(share: Amount, inside: Amount, outdoor: Amount) -> None:
    apart = abs(exact(inside.value) - exact(outdoor.value))
    assume(apart >= figure("least-temperature-difference"))
    mix = answer(
        "mixed-air",
        {"outside": share, "return-temperature": inside, "outside-temperature": outdoor},
    )
    back = answer(
        "outside-air-fraction",
        {"return": inside, "outdoor": outdoor, "mixed": Amount(Decimal(mix.value), "degF")},
    )
    rounding = 100 * 0.0005 / float(apart)  # the mix is given to a thousandth of a degree
    assert float(back.value) == pytest.approx(float(share.value), abs=1e-3 + rounding)
