"""The figures are this project's own table (companion/language/patience.py); what is tested is its
order, its bounds, and that it goes by what may follow."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from moments import STEP

from companion.language.compose import compose
from companion.language.patience import completeness, patience
from companion.numbers import NUMBER_WORDS
from companion.ports import Completeness, Partial

partials = st.builds(
    Partial,
    st.lists(st.sampled_from(["what", "done", "point", "four", "volts", "supply"])).map(tuple),
    st.sampled_from(Completeness),
    st.none() | st.floats(0, 1),
)


def _after(said: str, noise_dbfs: float | None = None) -> float:
    words = tuple(said.split())
    how = completeness(compose(STEP).grammar, words)
    return patience(Partial(words, how, 0.9), noise_dbfs)


@pytest.mark.parametrize(
    ("said", "how"),
    [
        ("i'm done", Completeness.CLOSED),
        ("done", Completeness.MAY_GO_ON),  # 'done next step'
        ("supply static point four", Completeness.MAY_GO_ON),
        ("supply static", Completeness.INCOMPLETE),
        ("supply static minus", Completeness.INCOMPLETE),
        ("", Completeness.INCOMPLETE),
        ("not a word", Completeness.INCOMPLETE),
    ],
)
def test_completeness_is_read_off_the_grammar(said: str, how: Completeness) -> None:
    assert completeness(compose(STEP).grammar, tuple(said.split())) is how


def test_what_is_complete_is_answered_sooner_than_what_is_not() -> None:
    closed = _after("i'm done")
    hardly = _after("done")
    number = _after("supply static point four")
    incomplete = _after("supply static")
    assert closed < hardly < number < incomplete


@pytest.mark.parametrize(
    ("said", "match", "is_doubtful"),
    [
        ("i'm done with it", 0.69, True),
        ("i'm done with it", 0.71, False),
        ("i'm done", 0.83, True),  # few words need more, as the judge has it
        ("i'm done", 0.85, False),
        ("i'm done", None, False),  # the engine can't tell
        ("", None, True),
    ],
)
def test_what_would_not_be_taken_anyway_waits_for_what_may_follow(
    said: str, match: float | None, *, is_doubtful: bool
) -> None:
    waited_s = patience(Partial(tuple(said.split()), Completeness.CLOSED, match), None)
    assert (waited_s == _after("supply static")) is is_doubtful


@pytest.mark.parametrize("said", ["gas leak", "fire", "stop", "strike that"])
def test_an_emergency_and_what_takes_back_are_not_waited_with_for_being_doubtful(said: str) -> None:
    words = tuple(said.split())
    language = compose(STEP)
    doubtful = Partial(words, completeness(language.grammar, words), 0.3)
    sure = replace(doubtful, match=0.99)
    urgent = language.may_not_wait(words)
    assert urgent
    assert patience(doubtful, None, may_not_wait=urgent) == patience(sure, None)
    assert patience(doubtful, None) > patience(sure, None)
    assert not language.may_not_wait(("done",))


# The brief of this part: a closed sentence waits 0.30 to 0.35 s, so that the median response, of
# which patience is the largest part, can stay under 450 ms.
@pytest.mark.parametrize(
    "said", ["done", "i'm done", "repeat", "supply static is point four five inches", "stop"]
)
def test_everyday_commands_leave_time_for_the_rest_of_the_response(said: str) -> None:
    assert 0.30 <= _after(said) <= 0.40


@pytest.mark.parametrize(
    ("said", "longer_than"),
    [("primary one nineteen", "primary one nineteen volts"), ("supply point four", "done")],
)
def test_a_number_waits_for_the_figure_that_may_follow(said: str, longer_than: str) -> None:
    assert _after(said) > _after(longer_than) + 0.1


def test_a_question_waits_for_the_input_that_may_follow() -> None:
    half = Partial(("what", "gauge", "for", "half", "an", "amp"), Completeness.MAY_GO_ON, 0.9)
    assert patience(half, None) > _after("what comes after") + 0.1


@given(partials, st.floats(-90, 0), st.floats(-90, 0))
def test_noise_never_shortens_it_and_never_by_more_than_a_quarter(
    partial: Partial, one_dbfs: float, other_dbfs: float
) -> None:
    quiet, loud = sorted((one_dbfs, other_dbfs))
    assert patience(partial, None) <= patience(partial, quiet) <= patience(partial, loud)
    assert patience(partial, loud) <= 1.25 * patience(partial, None) + 1e-3


@given(st.one_of(st.none(), partials), st.one_of(st.none(), st.floats(-200, 50)))
def test_it_always_decides_within_a_second_and_a_half(
    partial: Partial | None, noise_dbfs: float | None
) -> None:
    assert 0.3 <= patience(partial, noise_dbfs) <= 1.5


def test_numbers_are_told_by_the_numbers_own_words() -> None:
    for word in sorted(NUMBER_WORDS):
        ending = Partial(("primary", word), Completeness.MAY_GO_ON, 0.9)
        assert patience(ending, None) == _after("supply static point four")


# Seen in the bench's talk: a breath of 0.45 s behind "why", of 0.61 s behind "no".
@pytest.mark.parametrize("said", ["no", "yes", "yeah", "nope", "yep", "why"])
def test_a_word_that_opens_many_a_remark_waits_for_the_rest_of_it(said: str) -> None:
    assert _after(said) >= 0.6


def test_what_says_more_than_yes_is_not_waited_on() -> None:
    assert _after("yes it is") < _after("yes")
    assert _after("confirmed") < _after("yes")
