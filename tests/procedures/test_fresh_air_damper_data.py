"""The fresh-air damper's data: limits with their sources, test points, spoken words.

Limits are compared with the trade's commissioning table and its corrections; spoken words with
the rules of speech (one breath, numbers as words, said twice where a tool meets them).
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest

from companion.procedures import procedure, walks
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from companion.procedures.model import Limit, ReadingRequest, Step

DAMPER = procedure("fresh-air-damper")

# Windows of ANSI C84.1 as the trade tables give them (T10, 'use 110-126 and 220-252').
WINDOWS = {"120": ("110", "126"), "208": ("197.6", "218.4"), "240": ("220", "252")}


def _requests() -> Iterator[tuple[Step, ReadingRequest]]:
    return ((step, request) for step in DAMPER.steps for request in step.readings)


def _asked(step: Step, answers: Mapping[str, str]) -> list[ReadingRequest]:
    return [request for request in step.readings if request.when.holds(answers)]


# ---------------------------------------------------------------- readings


def _limit(step_slug: str, point: str, answers: Mapping[str, str] | None = None) -> Limit:
    step = next(step for step in DAMPER.steps if step.slug == step_slug)
    request = next(one for one in _asked(step, answers or {}) if one.point == point)
    assert request.limit is not None
    return request.limit


@pytest.mark.parametrize("primary", sorted(WINDOWS))
@pytest.mark.parametrize("step", ["supply", "first-power"])
def test_supply_windows_by_voltage(step: str, primary: str) -> None:
    limit = _limit(step, "primary-voltage", {"primary": primary})
    assert (limit.low, limit.high) == tuple(Decimal(end) for end in WINDOWS[primary])
    assert "C84.1" in limit.source


# Rows of the trade's commissioning table (T10) and its corrections (stroke time plus 10 s).
@pytest.mark.parametrize(
    ("step", "point", "expected"),
    [
        ("first-power", "secondary-voltage", {"low": "24", "high": "29"}),
        ("loaded", "secondary-voltage", {"low": "21.6", "high": "26.4"}),
        ("loaded", "damper-current", {"high_of": "label-current"}),
        ("opening", "opening-time", {"high_of": "stroke-time", "high_plus": "10"}),
        ("closing", "closing-time", {"high_of": "stroke-time", "high_plus": "10"}),
        ("differential", "tube-differential", {"low_of": "switch-setting", "low_times": "1.5"}),
        ("accepted", "total-static", {"high_of": "plate-static"}),
        ("rise", "temperature-rise", {"low_of": "lowest-rise", "high_of": "highest-rise"}),
        ("cold-check", "ground-bond", {"high": "1"}),
        ("air-temperatures", "mixed-temperature", {"low": "55"}),
    ],
)
def test_commissioning_limits(step: str, point: str, expected: dict[str, str]) -> None:
    limit = _limit(step, point)
    for end in ("low", "high", "low_times", "high_plus"):
        wanted = Decimal(expected[end]) if end in expected else None
        assert getattr(limit, end) == wanted, end
    assert (limit.low_of, limit.high_of) == (
        expected.get("low_of", ""),
        expected.get("high_of", ""),
    )


def test_every_limit_has_its_source_and_says_what_to_do() -> None:
    for step, request in _requests():
        if request.limit:
            assert request.limit.source, step.slug
            assert request.limit.otherwise, step.slug


def test_every_reading_of_a_hold_point_decides() -> None:
    judged_by_a_check = {"secondary-to-ground"}  # a maker may want it grounded
    for step, request in _requests():
        decides = request.limit is not None or request.point in judged_by_a_check
        assert step.hold is None or decides, (step.slug, request.point)


def test_readings_without_a_limit_only_describe() -> None:
    describing = {
        "plate-static", "lowest-rise", "secondary-to-ground", "supply-static", "return-static",
        "outdoor-temperature", "return-temperature", "supply-temperature", "stroke-time",
        "switch-setting", "label-current", "target-flow", "intake-speed",
    }  # fmt: skip
    assert {request.point for _, request in _requests() if not request.limit} == describing


def test_points_that_sizings_fill_from_are_there_and_in_use() -> None:
    used = {request.point for _, request in _requests()}
    assert used == set(DAMPER.points)
    assert used >= {
        "supply-static", "return-static", "return-temperature", "outdoor-temperature",
        "mixed-temperature", "secondary-voltage", "primary-voltage",
    }  # fmt: skip


def test_return_static_owns_its_minus() -> None:
    point = DAMPER.points["return-static"]
    assert (point.sign, point.unit, point.decimals) == ("minus", "inH2O", 2)
    assert point.high == 0


def test_sizings_are_worked_out_after_their_readings() -> None:
    wanted = {
        "total-external-static": {"supply-static", "return-static"},
        "outside-air-fraction": {"outdoor-temperature", "return-temperature", "mixed-temperature"},
        "duct-airflow": {"intake-speed"},
        "house-ventilation": set(),
    }
    found = set()
    for walk in walks(DAMPER):
        read: set[str] = set()
        for step in walk.steps:
            if step.works_out:
                found.add(step.works_out)
                assert wanted[step.works_out] <= read, (walk.answers, step.slug)
            read |= {request.point for request in _asked(step, walk.answers)}
    assert found == set(wanted)


# ---------------------------------------------------------------- words


def _spoken() -> Iterator[tuple[str, str]]:
    for step in DAMPER.steps:
        yield step.slug, step.say
        yield step.slug, step.caution
        for request in step.readings:
            yield step.slug, request.ask
            yield step.slug, request.limit.otherwise if request.limit else ""
        yield step.slug, step.choice.ask if step.choice else ""
        if step.hold:
            yield step.slug, step.hold.confirm
            for check in step.hold.checks:
                yield step.slug, check.ask
                yield step.slug, check.if_no


def test_everything_spoken_is_one_breath() -> None:
    for slug, text in _spoken():
        assert len(text.split()) <= 20, (slug, text)


def test_details_come_in_sentences_of_one_breath() -> None:
    for step in DAMPER.steps:
        for sentence in step.more.replace(":", ".").replace(";", ".").split("."):
            assert len(sentence.split()) <= 20, (step.slug, sentence)


def test_spoken_words_hold_no_digits_and_no_abbreviation_a_voice_would_garble() -> None:
    for slug, text in (*_spoken(), *((step.slug, step.more) for step in DAMPER.steps)):
        assert not any(letter.isdigit() for letter in text), (slug, text)
        words = re.findall(r"[A-Za-z]+", text)
        assert not any(len(word) > 1 and word.isupper() for word in words), (slug, text)


def test_a_caution_is_one_sentence() -> None:
    for step in DAMPER.steps:
        assert step.caution.count(".") <= 1, step.slug


def test_work_that_can_hurt_has_its_caution() -> None:
    cautioned = {step.slug for step in DAMPER.steps if step.caution}
    assert cautioned >= {
        "arrival", "wrap", "supply", "lock-out", "other-feeds", "prove-dead", "behind",
        "cut-metal", "cut-board", "damper", "wire-120", "wire-208", "wire-240",
        "cap-and-ground", "first-power", "opening", "interlock-proved",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("slug", "number"),
    [
        ("low-limit", "fifty five"),
        ("mark", "one"),
        ("collar", "three"),
        ("other-feeds", "five"),
        ("wire-120", "one twenty"),
        ("wire-208", "two oh eight"),
        ("wire-240", "two forty"),
        ("differential", "ninety"),
    ],
)
def test_a_number_that_a_tool_or_meter_meets_is_said_twice(slug: str, number: str) -> None:
    step = next(step for step in DAMPER.steps if step.slug == slug)
    assert step.say.count(number) >= 2


def test_point_names_carry_no_unit_at_their_end() -> None:
    # 'label amps two' would swallow the unit that the reading needs
    for point in DAMPER.points.values():
        heard = set(UNITS[point.unit].heard)
        for name in point.names:
            assert (name.split()[-1],) not in heard, name


def test_tools_and_the_hand_over_are_there() -> None:
    assert 8 <= len(DAMPER.tools) <= 16
    slugs = [step.slug for step in DAMPER.steps]
    end = slugs.index("complete")
    assert slugs[end - 4 : end] == ["labels", "hand-over", "hand-over-care", "service-date"]
