from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moments import CHOOSING, STEP

from companion.language.compose import compose
from companion.language.meanings import Choice, Measure, Reading
from companion.language.typed import repair
from companion.numbers import NUMBER_WORDS

if TYPE_CHECKING:
    from decimal import Decimal

    from companion.ports import Scope


def _repaired(typed: str, scope: Scope = STEP) -> str:
    return " ".join(repair(typed, compose(scope)))


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        # case, punctuation, hyphens, apostrophes
        ("Done.", "done"),
        ("  I'm   done!  ", "i'm done"),
        ("I\u2019m done", "i'm done"),
        ("supply static, twenty-six", "supply static twenty six"),
        ("skip this \u2013 already done", "skip this already done"),
        # figures, exactly as typed
        ("line voltage 119", "line voltage one nineteen"),
        ("line voltage 208", "line voltage two oh eight"),
        ("primary 26.2", "primary twenty six point two"),
        ("supply static -0.20", "supply static minus zero point two zero"),
        ("supply static .45", "supply static point four five"),
        ("supply static 3/8", "supply static three eighths"),
        ("supply static 1-3/8", "supply static one and three eighths"),
        ("supply static 1 3/8", "supply static one and three eighths"),
        ("supply 1,200 Pa", "supply twelve hundred pascals"),
        # units as written
        ("primary 119V", "primary one nineteen volts"),
        ("primary is 119 V", "primary is one nineteen volts"),
        ("supply 0.5 in. w.c.", "supply point five inches of water"),
        ('supply 0.5"', "supply point five inches"),
        ("return temperature 72 \u00b0F", "return temperature seventy two degrees"),
        ("return temperature 72F", "return temperature seventy two degrees"),
        ("make it 40 VA", "make it forty v a"),
        ("make it 400 CFM", "make it four hundred c f m"),
        ("make it 9 sq ft", "make it nine square feet"),
        ("what about 90 ft", "what about ninety feet"),
        ("what about 90'", "what about ninety feet"),
        ("what about 5%", "what about five percent"),
        # letters said singly
        ("supply reads OL", "supply reads o l"),
        ("CO alarm", "c o alarm"),
        # near misses
        ("straik that", "strike that"),
        ("whats next", "what's next"),
        ("cant get a reading", "can't get a reading"),
        ("suply static point four", "supply static point four"),
        ("next stpe", "next step"),
        ("I smel gas", "i smell gas"),
    ],
)
def test_a_typed_line_becomes_the_words_that_would_be_said(typed: str, words: str) -> None:
    assert _repaired(typed) == words
    assert compose(STEP).interpret(words.split())


@pytest.mark.parametrize(
    "typed",
    [
        "primary ninty",  # a number word misspelled is no other word either
        "primary fourty volts",
        "primary fiften",
        "supply static for",  # sounds like a number, and is none
        "primary 1/0",
        "primary 119119119",
        "banana",
        "",
        "...",
    ],
)
def test_what_cannot_be_repaired_stays_as_typed_and_means_nothing(typed: str) -> None:
    words = repair(typed, compose(STEP))
    assert compose(STEP).interpret(words) == ()
    assert [w for w in words if w in NUMBER_WORDS] == [
        w for w in typed.lower().split() if w in NUMBER_WORDS
    ] or any(character.isdigit() for character in typed)


def test_figures_take_the_form_that_an_open_choice_is_named_by() -> None:
    language = compose(CHOOSING)
    assert language.interpret(repair("240", language)) == (Choice("primary", "240"),)


@settings(max_examples=200)
@given(st.decimals(min_value=-999, max_value=9999, places=2))
def test_a_typed_value_is_the_value_that_is_understood(value: Decimal) -> None:
    language = compose(STEP)
    found = language.interpret(repair(f"primary {value} V", language))
    if found:  # numbers.jsgf has its own limits; within them the value is exact
        assert found == (Reading("primary-voltage", Measure(value, "V")),)
    else:
        assert value < 0 or value > 999


@given(st.integers(0, 40), st.sampled_from([2, 4, 8, 16]), st.data())
def test_a_typed_tape_measure_is_exact(whole: int, parts: int, data: st.DataObject) -> None:
    over = data.draw(st.integers(1, parts - 1).filter(lambda n: n % 2 == 1))
    typed = f"{whole}-{over}/{parts}" if whole else f"{over}/{parts}"
    language = compose(STEP)
    (found,) = language.interpret(repair(f"supply {typed}", language))
    want = Measure(whole + Fraction(over, parts), None)
    assert found == Reading("supply-static", want)


@given(st.text(max_size=60))
def test_no_line_breaks_it_and_none_gains_a_number_word(typed: str) -> None:
    words = repair(typed, compose(STEP))
    if not any(character.isdigit() for character in typed):
        gained = [word for word in words if word in NUMBER_WORDS]
        letters = "".join(character for character in typed.lower() if character.isalpha())
        assert all(word in letters for word in gained)
