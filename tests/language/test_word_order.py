"""Which word follows which: chances that add up, and say what was counted."""

from __future__ import annotations

from dataclasses import replace
from math import exp, log
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_questions import model

from companion.language.question_model import packaged_model
from companion.language.word_order import FIGURES, WordOrder, packaged_word_order
from companion.language.wordings import packaged_wordings

if TYPE_CHECKING:
    from companion.language.question_model import QuestionModel

SOME_FIGURES = ("two", "twenty", "point", "half")
WORDS = st.sampled_from(("how", "far", "feet", "of", "a", *SOME_FIGURES))
SENTENCES = st.lists(st.lists(WORDS, min_size=1, max_size=6), max_size=6)
BEFORE = st.sampled_from(("", "how", "far", "feet", "of", "a", "sandwich", *SOME_FIGURES))


def all_chances(order: WordOrder, before: str) -> float:
    """What every word and the end are worth together, behind a word."""
    return sum(exp(order.log_prob(before, word)) for word in (*order.words, ""))


def without(whole: QuestionModel, first: int, second: int) -> QuestionModel:
    """The model as if a pair of places had not been seen."""
    pairs = whole.pairs
    return replace(whole, pairs=pairs[(pairs[:, 0] != first) | (pairs[:, 1] != second)])


@given(SENTENCES, BEFORE)
def test_all_that_may_follow_a_word_is_one(sentences: list[list[str]], before: str) -> None:
    assert all_chances(WordOrder(model(sentences)), before) == pytest.approx(1.0)


@given(st.sampled_from(("", "sandwich", *packaged_word_order().words)))
def test_all_that_may_follow_a_word_of_the_packaged_order_is_one(before: str) -> None:
    assert all_chances(packaged_word_order(), before) == pytest.approx(1.0)


def test_a_word_is_known_once() -> None:
    words = packaged_word_order().words
    assert len(set(words)) == len(words)
    assert set(words) >= FIGURES
    said = {word for wording in packaged_wordings() for word in wording.words}
    assert set(words) - FIGURES == said - FIGURES


@given(SENTENCES.filter(bool), st.data())
def test_a_pair_that_was_seen_is_likelier_than_if_it_had_not_been(
    sentences: list[list[str]], data: st.DataObject
) -> None:
    whole = model(sentences)
    said = data.draw(st.sampled_from(sentences))
    at = data.draw(st.integers(0, len(said)))
    before, word = ["", *said][at], [*said, ""][at]
    place = {each: at for at, each in enumerate(whole.words)}
    figure, end = len(whole.words), len(whole.words) + 1
    first = place.get(before, figure) if before else -1
    second = place.get(word, figure) if word else end
    seen, unseen = WordOrder(whole), WordOrder(without(whole, first, second))
    assert seen.log_prob(before, word) > unseen.log_prob(before, word)


@given(SENTENCES, BEFORE, st.sampled_from(sorted(FIGURES)), st.sampled_from(sorted(FIGURES)))
def test_figures_are_alike(
    sentences: list[list[str]], beside: str, figure: str, other: str
) -> None:
    order = WordOrder(model(sentences))
    assert order.log_prob(beside, figure) == order.log_prob(beside, other)
    known = beside if beside in order.words else ""
    assert order.log_prob(figure, known) == order.log_prob(other, known)


def test_a_chance_is_what_the_counts_say() -> None:
    # By hand, after Witten and Bell: (seen + kinds * alone) / (all behind it + kinds), where
    # 'alone' is the word's own share, half a count added to each of the six kinds.
    order = WordOrder(model([["how", "far"], ["how", "far"], ["how", "deep"], ["feet"]]))
    every = 4 + 3 + 2 + 1 + 1  # ends, how, far, deep, feet; no figure
    far, feet = (2 + 0.5) / (every + 3), (1 + 0.5) / (every + 3)
    assert order.log_prob("how", "far") == pytest.approx(log((2 + 2 * far) / (3 + 2)))
    assert order.log_prob("how", "feet") == pytest.approx(log(2 * feet / (3 + 2)))
    assert order.log_prob("", "feet") == pytest.approx(log((1 + 2 * feet) / (4 + 2)))
    assert order.log_prob("far", "") == pytest.approx(log((2 + (4 + 0.5) / 14) / (2 + 1)))
    assert order.log_prob("sandwich", "far") == pytest.approx(log(far))  # nothing is known of it
    figure = 0.5 / (every + 3) / len(FIGURES)
    assert order.log_prob("sandwich", "seventy") == pytest.approx(log(figure))


def test_the_packaged_order_knows_what_a_question_sounds_like() -> None:
    order = packaged_word_order()
    assert order.log_prob("", "how") > order.log_prob("", "feet")
    assert order.log_prob("how", "many") > order.log_prob("how", "volts")
    assert order.log_prob("c", "f") > order.log_prob("c", "m")
    assert order.log_prob("twenty", "gauge") > order.log_prob("the", "gauge")


def test_the_packaged_counts_have_not_run_out_of_their_range() -> None:
    kept = packaged_model()
    assert kept.pairs[:, 2].min() > 0
    assert kept.alone[:-2].min() > 0
    # each word is behind another as often as it occurs, and what ends had begun
    for at, times in enumerate(kept.alone):
        assert kept.pairs[kept.pairs[:, 1] == at, 2].sum() == times
