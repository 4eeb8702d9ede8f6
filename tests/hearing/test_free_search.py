"""The search by letters and the order of words, against every sentence weighed by itself."""

from __future__ import annotations

from itertools import pairwise, product
from math import log
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from saying import any_letters, letters

from companion.hearing.free_search import FreeSearch
from companion.hearing.speller import Letters
from companion.language.word_order import packaged_word_order

if TYPE_CHECKING:
    from collections.abc import Iterable


LEAST_CHANCE = 2e-4  # below which the search counts no letter
WORD_NATS = 2.5  # what a word gains
SEEDS = st.integers(0, 100_000)


class SmallOrder:
    """An order of words made of a few sentences: what they hold is ten times likelier."""

    def __init__(self, *sentences: str) -> None:
        said = [sentence.split() for sentence in sentences]
        self.words: tuple[str, ...] = tuple(sorted({word for each in said for word in each}))
        self._seen = {pair for each in said for pair in pairwise(["", *each, ""])}

    def log_prob(self, before: str, word: str) -> float:
        kinds = (*self.words, "")
        weights = [10.0 if (before, each) in self._seen else 1.0 for each in kinds]
        return log(weights[kinds.index(word)] / sum(weights))


def search(heard: Letters, order: SmallOrder, most: int = 8) -> list[str]:
    return [" ".join(words) for words in FreeSearch(order).heard(heard, most)]


# ------------------------------------------------------------ by definition


def weight(heard: Letters, order: SmallOrder, words: tuple[str, ...]) -> float:
    """How likely a sentence is: its letters, with a closing space or none, and its order.

    `test_speller` holds the letters' part against its definition.
    """
    floored = Letters(np.maximum(heard.log_probs, np.float32(log(LEAST_CHANCE))))
    text = " ".join(words)
    sound = max(floored.log_probs_of([text, text + " "]).tolist())
    ordered = sum(order.log_prob(*pair) for pair in pairwise(["", *words, ""]))
    return float(sound + ordered + WORD_NATS * len(words))


def possible(order: SmallOrder, states: int) -> Iterable[tuple[str, ...]]:
    """Every sentence that has no more letters than there are states."""
    for count in range(1, states // 2 + 2):
        for words in product(order.words, repeat=count):
            if len(" ".join(words)) <= states:
                yield words


SMALL = SmallOrder("a to two", "to a", "two to")


@settings(max_examples=60)
@given(st.integers(1, 5), SEEDS, st.floats(0.1, 1.5))
def test_the_best_is_the_likeliest_of_all_sentences(states: int, seed: int, spread: float) -> None:
    heard = any_letters(states, seed, spread=spread)
    found = FreeSearch(SMALL).heard(heard, 1)
    weights = {words: weight(heard, SMALL, words) for words in possible(SMALL, states)}
    assert weights[found[0]] == pytest.approx(max(weights.values()), abs=1e-4)


@settings(max_examples=60)
@given(st.integers(1, 5), SEEDS, st.floats(0.1, 1.5))
def test_sentences_come_likeliest_first_and_each_once(
    states: int, seed: int, spread: float
) -> None:
    heard = any_letters(states, seed, spread=spread)
    found = FreeSearch(SMALL).heard(heard, 50)
    assert len(set(found)) == len(found)
    nats = [weight(heard, SMALL, words) for words in found]
    assert nats == pytest.approx(sorted(nats, reverse=True), abs=1e-4)


# ------------------------------------------------------------ what is heard


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ("hh-ow- -ff-aarr", "how far"),
        ("--h-ow-  -f-ee-e-l--", "how feel"),
        ("f-e-el", "feel"),
        ("f-el-l", "fell"),
        ("h-o-w--f-ar", "how far"),  # the gap between two words may be lost
    ],
)
def test_letters_heard_well_are_the_words(states: str, said: str) -> None:
    order = SmallOrder("how far", "how feel", "feel", "fell")
    assert search(letters(states), order)[0] == said


QUESTION = "what gauge for half an amp at sixty feet"


def packaged(heard: Letters) -> str:
    return " ".join(FreeSearch(packaged_word_order()).heard(heard, 8)[0])


@pytest.mark.parametrize("sure", [0.9, 0.6, 0.4])
def test_a_question_spelled_with_some_doubt_comes_back(sure: float) -> None:
    assert packaged(letters("-".join(QUESTION), sure=sure)) == QUESTION


def test_a_question_with_letters_lost_and_wrong_comes_back() -> None:
    assert packaged(letters("-".join("wht guge for haf an anp at sixdy feet"))) == QUESTION


# Laid over one another, each as likely: 'to', 'two' and 'too' sound alike.
TO = ("t-o--", "t-wo-", "to-o-")


@pytest.mark.parametrize("word", ["to", "two", "too"])
def test_where_the_sound_cannot_tell_the_order_of_words_decides(word: str) -> None:
    heard = letters(*(f"f-a-r {each} g-o" for each in TO))  # the same sound for all three
    order = SmallOrder(f"far {word} go", "to", "two", "too")
    assert search(heard, order)[0] == f"far {word} go"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("what do i need {} carry", "what do i need to carry"),
        ("a run of twenty {} gauge", "a run of twenty two gauge"),
        ("is that {} much", "is that too much"),
    ],
)
def test_the_words_around_it_decide_which_of_them_it_is(text: str, said: str) -> None:
    before, behind = ("-".join(part) for part in text.split("{}"))
    assert packaged(letters(*(before + each + behind for each in TO))) == said


def test_nothing_said_gives_nothing() -> None:
    silence = letters("-" * 80, sure=0.9999)
    assert FreeSearch(packaged_word_order()).heard(silence, 8) == []
    assert search(letters("-", sure=0.9999), SmallOrder("how far")) == []


def test_sure_gaps_before_and_after_change_nothing() -> None:
    order = SmallOrder("how far", "how few", "fur")
    gaps = letters("-" * 30, sure=0.9999).log_probs
    heard = any_letters(12, 4, spread=2.0)
    longer = Letters(np.concatenate([gaps, heard.log_probs, gaps]))
    assert search(longer, order)[:3] == search(heard, order)[:3]


def test_a_gap_makes_a_double_letter_two() -> None:
    order = SmallOrder("of", "off")
    assert search(letters("off-f"), order)[0] == "off"
    assert search(letters("offff"), order)[0] == "of"


def test_no_more_come_than_are_asked_for() -> None:
    heard = any_letters(20, 1)
    for most in (0, 1, 3):
        assert len(search(heard, SMALL, most)) == most


@settings(max_examples=25)
@given(st.integers(1, 40), SEEDS, st.floats(0.1, 6.0))
def test_whatever_is_heard_is_words_of_the_order(states: int, seed: int, spread: float) -> None:
    order = SmallOrder("what gauge for half an amp", "how far", "a")
    found = FreeSearch(order).heard(any_letters(states, seed, spread=spread), 8)
    assert all(words and set(words) <= set(order.words) for words in found)
    assert len(set(found)) == len(found)


@settings(max_examples=10)
@given(SEEDS, st.floats(0.1, 6.0))
def test_whatever_is_heard_is_words_of_the_packaged_order(seed: int, spread: float) -> None:
    order = packaged_word_order()
    found = FreeSearch(order).heard(any_letters(60, seed, spread=spread), 8)
    assert found
    assert all(set(words) <= set(order.words) for words in found)


@pytest.mark.parametrize("seen", ["a b a", "a", "b"])
def test_a_long_utterance_runs_out_of_no_figures(seen: str) -> None:
    # Its order alone is worth 800 nats where its pairs were seen; no float holds e to that.
    order = SmallOrder(seen, "a", "b", "ab")
    text = " ".join(["a b"] * 240)
    assert search(letters("-".join(text), sure=0.99), order)[0] == text
