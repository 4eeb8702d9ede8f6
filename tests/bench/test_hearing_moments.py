from __future__ import annotations

from collections import Counter
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

from companion.bench.hearing import places
from companion.bench.hearing.drawing import is_awaited
from companion.bench.hearing.generated import generated, generated_rules
from companion.bench.hearing.labels import label, public_rules, rule_of
from companion.bench.hearing.moments import DEFAULT, meter_procedure, moment, moments
from companion.bench.hearing.saying import ways_to_say
from companion.dialogue.awaiting import awaiting
from companion.dialogue.scopes import expectation, scope_for
from companion.dialogue.session import Between, MissingInput
from companion.dialogue.values import ends
from companion.errors import InputError
from companion.language.compose import compose
from companion.language.library import packaged_library
from companion.language.meanings import Choice, Command, Reading, Value
from companion.numbers import parse
from companion.procedures import procedure
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.bench.hearing.case import Case
    from companion.language.meanings import Meaning

SPEAKERS = ["flite:slt", "espeak:en-us+m3", "festival:kal_diphone"]
MANY = 960


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    return generated(MANY, 7, SPEAKERS)


# The middle of every range is no answer to them: a supply as warm as the return is no rise.
MIDDLE_IS_REFUSED = {
    "temperature-rise", "condensate-flow", "wet-bulb-humidity", "standard-breaker", "box-fill",
    "fitting-length",
}  # fmt: skip


def meanings(case: Case) -> tuple[Meaning, ...]:
    return compose(moment(case.moment).scope).interpret(case.words)


# ---------------------------------------------------------------- moments


def test_each_moment_holds_the_scope_that_its_job_and_session_have() -> None:
    for name, each in moments().items():
        waits = awaiting(each.job, each.session)
        assert each.name == name
        assert each.scope == scope_for(each.job, each.session, waits)
        assert each.expect == expectation(each.job, waits)


def test_every_step_and_choice_of_the_damper_has_its_moment() -> None:
    damper = procedure("fresh-air-damper")
    steps = {m.job.step for m in moments().values()}
    # What is left out are the ends that only danger or a refusal leads to.
    unseen = {step.slug for step in damper.steps} - steps
    assert unseen <= {step.slug for step in damper.steps if step.ends == "left safe"}
    choices = {m.scope.choice.slug for m in moments().values() if m.scope.choice}
    assert {step.choice.slug for step in damper.steps if step.choice} <= choices


def test_beside_the_way_lie_the_moments_that_the_benchmark_asks_about() -> None:
    assert not moment("standing-by").scope.awake
    assert moment("emergency").job.emergency == "gas"
    between = moment("between").session.pending
    assert isinstance(between, Between)
    assert (between.first.words, between.second.words) == (("fifteen",), ("fifty",))
    missing = moment("asking.low-voltage-gauge.length").session.pending
    assert isinstance(missing, MissingInput)
    assert missing.name == "length"
    asked = {m.session.asked.sizing for m in moments().values() if m.session.asked}
    assert asked | MIDDLE_IS_REFUSED == set(sizings())
    assert not asked & MIDDLE_IS_REFUSED


def test_the_meter_procedure_takes_bare_readings_and_knows_all_of_its_points_at_once() -> None:
    every = moment(DEFAULT)
    assert {point.slug for point in every.scope.points} == meter_procedure().points.keys() - {
        "figure"
    }
    for name, words in (("amps", "sixty four point eight amps"), ("figure", "nineteen")):
        found = compose(moment(name).scope).interpret(words.split())
        assert [m for m in found if isinstance(m, Reading)]


def test_an_unknown_moment_is_told_with_those_there_are() -> None:
    with pytest.raises(InputError, match=r"No moment 'tomorrow'.*standing-by"):
        moment("tomorrow")


# ---------------------------------------------------------------- generated sentences


def test_every_public_rule_of_the_packaged_grammars_is_covered(cases: list[Case]) -> None:
    library = packaged_library()
    public = {
        f"{name.removeprefix('companion.').partition('-')[0]}.{rule}"
        for name in library.files
        for rule in library.public(name)
        if name != "companion.everyday"  # what nobody says to the companion
    }
    assert public == set(public_rules())
    heard = {rule for rule in public if not rule.startswith("units.") or is_awaited(rule[6:])}
    assert heard <= {case.rule for case in generated(0, 7, SPEAKERS)}
    assert {f"units.{unit}" for unit in ("V", "A", "inH2O", "degF", "ohm", "ft")} <= heard
    assert {case.rule for case in cases} == set(generated_rules())


def test_every_option_of_every_moment_is_covered(cases: list[Case]) -> None:
    said = {m for case in cases for m in meanings(case) if isinstance(m, Choice)}
    for each in moments().values():
        if each.scope.choice and each.scope.choice.slug != "region":
            for option, _ in each.scope.choice.options:
                assert Choice(each.scope.choice.slug, option) in said


def test_each_sentence_means_its_rule_at_its_moment(cases: list[Case]) -> None:
    for case in cases:
        found = meanings(case)
        assert found, case
        assert any(map(_is_of(case.rule), found)), (case, found)


def _is_of(rule: str) -> Callable[[Meaning], bool]:
    kind, _, name = rule.partition(".")

    def check(meaning: Meaning) -> bool:  # noqa: PLR0911 - one return a kind
        match kind:
            case "moves":
                meant = {"complaint": "find-fault", "recall-earlier": "recall"}
                wanted = meant.get(name, name)
                return isinstance(meaning, Command) and meaning.name == wanted
            case "numbers":
                return isinstance(meaning, Reading) and meaning.measure is not None
            case "units":
                measure = getattr(meaning, "measure", None)
                return measure is not None and measure.unit == name
            case "attention":
                return meaning == Command("wake")
            case "choices":
                return isinstance(meaning, Choice) and f"{name}.".startswith(f"{meaning.choice}.")
            case _ if rule == "commands.all-clear":
                return meaning == Choice("clear", "clear")
            case _:
                return rule_of(meaning) == rule

    return check


def test_readings_are_plausible_and_few_lie_outside_their_limit() -> None:
    limited, outside = 0, 0
    for case in generated(4 * MANY, 3, SPEAKERS):
        if case.rule not in {"readings.reading", "readings.bare"}:
            continue
        at = moment(case.moment)
        reading = next(m for m in meanings(case) if isinstance(m, Reading))
        slug = reading.point or (at.expect.point if at.expect else "")
        span = places.span_of(at, slug)
        if reading.measure is None or reading.measure.unit not in {None, span.unit}:
            continue
        value = Fraction(reading.measure.value)
        assert span.low <= value <= span.high, case
        limited += span.limit != ends(at.job, None)
        outside += not (span.within()[0] <= value <= span.within()[1])
    assert limited > 100
    assert 0.03 < outside / limited < 0.25  # one in ten is aimed at; whole numbers round outward


def test_what_is_easily_misheard_is_well_covered() -> None:
    words = Counter(word for case in generated(MANY, 1, SPEAKERS) for word in set(case.words))
    for word in ("fifteen", "fifty", "thirteen", "thirty", "oh", "zero", "half"):
        assert words[word] >= 5, word
    for word in ("point", "minus"):
        assert words[word] + words[{"minus": "negative"}.get(word, "")] >= 15, word


def test_a_seed_gives_the_same_cases_and_a_longer_list_begins_like_a_shorter_one() -> None:
    longer = generated(500, 5, SPEAKERS)
    assert generated(500, 5, SPEAKERS) == longer
    assert generated(400, 5, SPEAKERS) == longer[:400]
    assert [c.words for c in generated(400, 6, SPEAKERS)] != [c.words for c in longer[:400]]
    assert len({case.id for case in longer}) == 500
    assert [case.speaker for case in longer[:4]] == [*SPEAKERS, SPEAKERS[0]]


def test_each_rule_goes_through_all_speakers_whatever_their_number() -> None:
    for number in (2, 3, 7):
        speakers = [f"flite:{letter}" for letter in "abcdefg"[:number]]
        said = {
            case.speaker for case in generated(600, 1, speakers) if case.rule == "readings.bare"
        }
        assert said == set(speakers)


def test_fewer_cases_than_rules_are_never_given() -> None:
    assert len(generated(1, 1, SPEAKERS)) == len(generated_rules())


# ---------------------------------------------------------------- values and labels


@pytest.mark.parametrize(
    ("value", "ways"),
    [  # common practice, no source: how the trade says them
        ("119", {"one nineteen", "one one nine", "one hundred nineteen", "a hundred and nineteen"}),
        ("208", {"two oh eight", "two zero eight"}),
        ("0.45", {"point four five", "point forty five", "zero point four five"}),
        ("0.05", {"point oh five", "zero point zero five"}),
        ("26.5", {"twenty six and a half", "two six point five", "twenty six point five oh"}),
        ("-12", {"minus twelve", "negative twelve"}),
    ],
)
def test_a_value_is_said_in_the_ways_of_the_trade(value: str, ways: set[str]) -> None:
    said = ways_to_say(Decimal(value))
    assert ways <= {" ".join(words) for words in said}
    assert all(Fraction(parse(words)) == Fraction(Decimal(value)) for words in said)


def test_labels_tell_meanings_apart() -> None:
    at = compose(moment("found-static.return-static").scope)
    assert [label(m) for m in at.interpret(("return", "point", "two"))] == [
        "readings.reading return-static 0.2"
    ]
    assert label(at.interpret(("what's", "next"))[0]) == "commands.what-next"
    assert label(Value(None, "3/4")) == "readings.size-answer 3/4"
    assert label(Value(None, "yes")) == "commands.yes"


def test_no_moment_follows_right_upon_what_was_said_before() -> None:
    for each in moments().values():
        assert each.session.slight_ended_s is None
        assert each.session.talk_ended_s is None
