from __future__ import annotations

import sys
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from moments import CHOOSING, PRIMARY, STEP, SUPPLY, TEMPERATURE

from companion.language import pieces, sentences
from companion.language.compose import compose
from companion.language.meanings import (
    Change,
    Choice,
    Command,
    Correction,
    Emergency,
    Meaning,
    Measure,
    Reading,
    Talk,
    Value,
)
from companion.numbers import NUMBER_WORDS
from companion.ports import Alternative, ChoiceVocabulary, Hearing, PointVocabulary, Scope


def _meanings(scope: Scope, said: str) -> tuple[Meaning, ...]:
    return compose(scope).interpret(said.split())


def _reading(point: str, value: str, unit: str | None = None) -> Reading:
    return Reading(point, Measure(Decimal(value), unit))


# DESIGN.md section 5, 'Readings', and section 6: the phrases and what they are worth.
@pytest.mark.parametrize(
    ("said", "meaning"),
    [
        ("supply static point four five", _reading("supply-static", "0.45")),
        ("supply static is point four five inches", _reading("supply-static", "0.45", "inH2O")),
        ("supply at one hundred ten pascals", _reading("supply-static", "110", "Pa")),
        ("line voltage one nineteen", _reading("primary-voltage", "119")),
        ("primary reads two oh eight volts", _reading("primary-voltage", "208", "V")),
        ("supply static minus point three", _reading("supply-static", "-0.3")),
        ("point four five", _reading("", "0.45")),
        ("it's point four five inches of water", _reading("", "0.45", "inH2O")),
        ("supply static o l", Reading("supply-static", None, "over limit")),
        ("primary shows open", Reading("primary-voltage", None, "open")),
        ("o l", Reading("", None, "over limit")),
        ("make it one ninety", Correction(Measure(Decimal(190), None))),
        ("i meant one ninety volts", Correction(Measure(Decimal(190), "V"))),
        ("what about ninety feet", Change(Measure(Decimal(90), "ft"))),
        ("what about half an amp", Change(Measure(Fraction(1, 2), "A"))),
        ("what was the last supply static", Command("recall", "supply-static")),
        ("strike that", Command("strike-that")),
        ("skip this no access", Command("skip", "no access")),
        ("skip this", Command("skip")),
        ("i smell gas", Emergency("gas")),
        ("next step", Command("done")),
        ("what's the next step", Command("what-next")),
    ],
)
def test_a_sentence_means_what_the_design_says(said: str, meaning: Meaning) -> None:
    assert _meanings(STEP, said) == (meaning,)


@pytest.mark.parametrize(
    "said",
    [
        "",
        "gas",
        "next",
        "supply static",
        "supply static is",
        "return static point two",  # no such point in this scope
        "line voltage one nineteen inches",  # not that point's unit
        "one nineteen volts",  # the awaited point is no voltage
        "two forty",  # a bare value is a reading only for its awaited point: see the next test
        "make it",
        "toolbox listen up",
        "not a word of it",
    ],
)
def test_what_may_not_be_said_means_nothing(said: str) -> None:
    scope = STEP if said != "two forty" else replace(STEP, points=(PRIMARY,))
    assert _meanings(scope, said) == ()


def test_several_awaited_points_share_the_bare_value() -> None:
    both = replace(STEP, points=(SUPPLY, replace(PRIMARY, awaited=True)))
    assert _meanings(both, "one nineteen volts") == (_reading("", "119", "V"),)
    assert _meanings(both, "point four five inches") == (_reading("", "0.45", "inH2O"),)


def test_words_that_name_two_units_give_a_meaning_for_each() -> None:
    assert set(_meanings(STEP, "make it three inches")) == {
        Correction(Measure(Decimal(3), "inH2O")),
        Correction(Measure(Decimal(3), "in")),
    }


def test_units_of_the_live_points_come_first() -> None:
    first, *_ = _meanings(STEP, "make it three inches")
    assert first == Correction(Measure(Decimal(3), "inH2O"))
    tape = PointVocabulary("opening", ("opening",), "in")
    first, *_ = _meanings(replace(STEP, points=(tape,)), "make it three inches")
    assert first == Correction(Measure(Decimal(3), "in"))


def test_standing_by_hears_the_attention_phrase_and_emergencies_only() -> None:
    asleep = replace(STEP, awake=False, attention="wake up please")
    assert _meanings(asleep, "wake up please") == (Command("wake"),)
    assert _meanings(asleep, "i got shocked") == (Emergency("shock"),)
    for said in ("done", "supply static point four five", "point four five", "what about ten feet"):
        assert _meanings(asleep, said) == ()
    assert len(compose(asleep).grammar.parts) == 2


@pytest.mark.parametrize("attention", ["", " - ", "?!"])
def test_an_attention_phrase_without_words_is_never_heard(attention: str) -> None:
    asleep = replace(STEP, awake=False, attention=attention)
    assert _meanings(asleep, "") == ()
    assert _meanings(asleep, "fire") == (Emergency("fire"),)


@pytest.mark.parametrize(
    "scope",
    [
        STEP,
        CHOOSING,
        Scope("bare", commands=False, questions=False),
        Scope("input", asking_kind="measure", asking_units=("ft",)),
        Scope("asleep", awake=False),
    ],
    ids=lambda scope: scope.name,
)
@pytest.mark.parametrize(
    ("said", "hazard"),
    [
        ("i smell gas", "gas"),
        ("i got shocked", "shock"),
        ("c o alarm", "co"),
        ("fire", "fire"),
        ("i'm hurt", "hurt"),
    ],
)
def test_words_that_drop_everything_are_in_every_scope(
    scope: Scope, said: str, hazard: str
) -> None:
    assert _meanings(scope, said) == (Emergency(hazard),)


def test_an_open_choice_takes_its_options_from_readings_and_plain_commands() -> None:
    assert _meanings(CHOOSING, "two forty") == (Choice("primary", "240"),)
    assert _meanings(CHOOSING, "no") == (Choice("primary", "none"),)
    assert _meanings(CHOOSING, "yes") == (Command("yes"),)
    assert _meanings(CHOOSING, "point four five") == (_reading("", "0.45"),)


def test_not_clear_is_heard_as_itself_where_only_clear_is_waited_for() -> None:
    clear = ChoiceVocabulary("clear", (("clear", ("i'm clear", "all clear")),))
    after = Scope("emergency", commands=False, questions=False, choice=clear)
    assert _meanings(after, "i'm clear") == (Choice("clear", "clear"),)
    assert _meanings(after, "i'm not clear") == (Command("no"),)
    assert _meanings(after, "done") == ()


def test_an_option_that_sounds_like_an_emergency_is_the_emergency() -> None:
    burner = ChoiceVocabulary("what", (("fire", ("fire",)),))
    assert _meanings(Scope("odd", choice=burner), "fire") == (Emergency("fire"),)


def test_an_option_may_be_written_with_hyphens_and_capitals() -> None:
    duct = ChoiceVocabulary("duct", (("board", ("Duct-board",)),))
    assert _meanings(Scope("odd", choice=duct), "duct board") == (Choice("duct", "board"),)


@pytest.mark.parametrize(
    ("kind", "units", "said", "value"),
    [
        ("measure", ("ft", "in"), "sixty feet", Value(Measure(Decimal(60), "ft"))),
        ("measure", ("ft", "in"), "it's sixty", Value(Measure(Decimal(60), None))),
        ("measure", ("A",), "half an amp", Value(Measure(Fraction(1, 2), "A"))),
        ("measure", ("ft",), "a hundred feet", Value(Measure(Decimal(100), "ft"))),
        ("count", (), "three", Value(Measure(Decimal(3), None))),
        ("count", ("count",), "three", Value(Measure(Decimal(3), None))),
        ("gauge", ("gauge",), "eighteen gauge", Value(Measure(Decimal(18), "gauge"))),
        ("gauge", (), "eighteen gauge", Value(Measure(Decimal(18), "gauge"))),
        ("trade size", (), "inch and a quarter", Value(None, "1-1/4")),
        ("trade size", ("in",), "a half inch", Value(None, "1/2")),
        ("yes or no", (), "yes", Value(None, "yes")),
        ("yes or no", (), "nope", Value(None, "no")),
        ("reason", (), "already done", Value(None, "already done")),
    ],
)
def test_what_was_asked_for_is_answered_bare(
    kind: str, units: tuple[str, ...], said: str, value: Value
) -> None:
    scope = Scope("input", asking_kind=kind, asking_units=units)
    assert _meanings(scope, said) == (value,)


def test_a_hearing_gives_its_candidates_best_first() -> None:
    words = [("fifteen",), ("make", "it", "three", "inches"), ("no", "sentence"), ("done",)]
    hearing = Hearing(
        tuple(Alternative(said, 0.9 - n / 10, -float(n)) for n, said in enumerate(words))
    )
    found = compose(STEP).candidates(hearing)
    assert [(c.words, c.match, c.log_prob) for c in found] == [
        (words[0], 0.9, 0.0),
        (words[1], 0.8, -1.0),
        (words[1], 0.8, -1.0),
        (words[3], pytest.approx(0.6), -3.0),
    ]
    assert found[0].meaning == _reading("", "15")


def test_the_grammar_accepts_what_is_understood_and_its_digest_follows_the_sentences() -> None:
    language = compose(STEP)
    for said in ("done", "supply static o l", "make it one ninety", "fire"):
        assert any(sentences.accepts(part, said.split()) for part in language.grammar.parts)
    assert compose(replace(STEP, name="other")).grammar.digest == language.grammar.digest
    fewer = replace(STEP, points=(SUPPLY, PRIMARY))
    assert compose(fewer).grammar.digest != language.grammar.digest
    assert language.vocabulary >= {"supply", "done", "smell"} | (NUMBER_WORDS & {"one", "point"})


def test_scopes_may_leave_out_commands_and_questions() -> None:
    only = Scope("readings", commands=False, questions=False, points=(SUPPLY,))
    assert _meanings(only, "supply static point four") == (_reading("supply-static", "0.4"),)
    assert _meanings(only, "done") == _meanings(only, "make it ten") == ()
    assert _meanings(only, "what about ten feet") == ()


def calls_to_compose(scope: Scope) -> int:
    """Return how many calls it takes to compose a scope: its work, the same on any machine."""
    counted = 0

    def count(_frame: object, event: str, _value: object) -> None:
        nonlocal counted
        counted += event == "call"

    pieces.readings.cache_clear()
    before = sys.getprofile()
    sys.setprofile(count)
    try:
        compose(scope)
    finally:
        sys.setprofile(before)
    return counted


def test_a_step_with_twice_the_points_is_composed_with_about_twice_the_work() -> None:
    compose(STEP)  # the large parts are compiled once a process
    points = tuple(
        replace(point, slug=f"{point.slug}-{n}", names=(f"{point.names[0]} {word}",))
        for n, word in enumerate(("front", "left", "right", "outer"))
        for point in (SUPPLY, PRIMARY, TEMPERATURE)
    )
    half = calls_to_compose(Scope("half", points=points[:6]))
    assert half < calls_to_compose(Scope("whole", points=points)) < 4 * half


def test_a_word_of_everyday_talk_is_heard_as_itself_and_means_nothing() -> None:
    language = compose(STEP)
    assert language.interpret(("go",)) == ()
    heard = language.candidates(Hearing((Alternative(("go",), 0.9, -1.0),)))
    assert [each.meaning for each in heard] == [Talk()]


@pytest.mark.parametrize("scope", [STEP, CHOOSING])
def test_no_word_of_everyday_talk_is_a_sentence_of_its_own(scope: Scope) -> None:
    automaton = pieces.everyday().automaton
    words = [word for word, end in automaton.arcs[0].items() if end in automaton.accepting]
    assert len(words) > 40
    assert [word for word in words if compose(scope).interpret((word,))] == []
