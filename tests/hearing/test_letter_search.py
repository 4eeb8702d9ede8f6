"""The search by letters, against every sentence of small grammars weighed by itself."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from saying import any_letters, automaton, grammar, letters

from companion.hearing.letter_places import LetterPlaces
from companion.hearing.letter_search import spelled
from companion.hearing.speller import Letters
from companion.language.compose import compose
from companion.language.sentences import accepts
from companion.ports import Grammar, Scope

LEAST_CHANCE = 2e-4  # below which the search counts no letter
IMPOSSIBLE = -600.0  # what `Letters` gives, or less, for more letters than the sound has states
WORDS = st.text("abc", min_size=1, max_size=3)
SENTENCES = st.lists(
    st.lists(WORDS, min_size=1, max_size=2).map(" ".join), min_size=1, max_size=8, unique=True
)
SEEDS = st.integers(0, 100_000)
EVERYTHING = compose(Scope("commands")).grammar


def search(heard: Letters, *sentences: str, beam: int = 24) -> list[str]:
    return found_in(grammar(automaton(*sentences)), heard, beam=beam)


def found_in(whole: Grammar, heard: Letters, *, beam: int = 24) -> list[str]:
    return spelled(heard, LetterPlaces().start(whole), beam=beam).sentences


def exact(heard: Letters, sentences: list[str]) -> dict[str, float]:
    """Each sentence's log-probability where it fits the sound, no letter less likely than counts.

    Over all ways to lay it in time; `test_speller` holds that sum against its definition.
    """
    floored = Letters(np.maximum(heard.log_probs, np.float32(np.log(LEAST_CHANCE))))
    found = dict(zip(sentences, floored.log_probs_of(sentences).tolist(), strict=True))
    return {sentence: nats for sentence, nats in found.items() if nats > IMPOSSIBLE}


def gaps(states: int) -> np.ndarray[tuple[int, int], np.dtype[np.float32]]:
    """States in which nothing is said for sure."""
    return letters("-" * states, sure=0.9999).log_probs


@settings(deadline=None)  # a machine with other work
@given(st.integers(1, 9), SEEDS, st.floats(0.1, 1.5), SENTENCES)
def test_the_best_is_the_likeliest_of_all_sentences(
    states: int, seed: int, spread: float, sentences: list[str]
) -> None:
    heard = any_letters(states, seed, spread=spread)
    expected = exact(heard, sentences)
    found = search(heard, *sentences, beam=10_000)
    if expected:
        assert expected[found[0]] == pytest.approx(max(expected.values()), abs=1e-5)
    else:
        assert found == []


@settings(deadline=None)  # a machine with other work
@given(st.integers(1, 9), SEEDS, st.floats(0.1, 1.5), SENTENCES)
def test_sentences_come_likeliest_first_and_none_is_lost(
    states: int, seed: int, spread: float, sentences: list[str]
) -> None:
    heard = any_letters(states, seed, spread=spread)
    expected = exact(heard, sentences)
    found = search(heard, *sentences, beam=10_000)
    assert set(found) == set(expected)
    assert len(found) == len(expected)
    nats = [expected[sentence] for sentence in found]
    assert nats == pytest.approx(sorted(nats, reverse=True), abs=1e-5)


@pytest.mark.parametrize(
    ("states", "said"),
    [
        ("ss-ii-xx", "six"),
        ("--s-i-x-t-y--", "sixty"),
        ("ooffff-ff", "off"),
        ("off", "of"),
        ("i-'m-  clear", "i'm clear"),
        ("p-oint  s-ix", "point six"),
    ],
)
def test_letters_heard_well_are_the_sentence(states: str, said: str) -> None:
    sentences = "six", "sixty", "off", "of", "i'm clear", "point six", "point"
    assert search(letters(states), *sentences)[0] == said


def test_only_what_may_be_said_comes_out() -> None:
    found = search(letters("f-o-u-r"), "for", "pour", "or")  # 'four' is heard, but none of them
    assert found[0] == "for"
    assert set(found) == {"for", "pour", "or"}


@settings(deadline=None, max_examples=15)  # a machine with other work
@given(st.integers(1, 40), SEEDS, st.floats(0.1, 6.0))
def test_noise_gives_sentences_of_the_grammar_or_none(
    states: int, seed: int, spread: float
) -> None:
    found = found_in(EVERYTHING, any_letters(states, seed, spread=spread))
    assert len(found) <= 24
    assert len(set(found)) == len(found)
    for sentence in found:
        assert any(accepts(part, sentence.split(" ")) for part in EVERYTHING.parts), sentence


def test_noise_still_gives_what_is_least_bad() -> None:
    flat = Letters(np.full((30, 29), -np.log(29.0), np.float32))
    assert search(flat, "six", "sixty volts")[0] == "sixty volts"  # more ways to lay it in time


def test_a_sound_without_a_letter_gives_no_sentence() -> None:
    assert search(Letters(gaps(40)), "six", "a") == []


@settings(deadline=None)  # a machine with other work
@given(st.integers(1, 8), SEEDS, SENTENCES, st.integers(0, 5), st.integers(0, 5))
def test_a_sure_gap_before_or_after_changes_nothing(
    states: int, seed: int, sentences: list[str], before: int, after: int
) -> None:
    heard = any_letters(states, seed)
    longer = Letters(np.concatenate([gaps(before), heard.log_probs, gaps(after)]))
    plain, waited = (search(each, *sentences, beam=10_000) for each in (heard, longer))
    assert set(plain) == set(waited)
    nats = exact(heard, sentences)
    # the same order, but where two are as likely as each other
    assert [nats[each] for each in waited] == pytest.approx([nats[each] for each in plain], abs=0.1)


def test_a_longer_gap_within_a_word_changes_nothing() -> None:
    sentences = "six volts", "sick volts", "six"
    one = search(letters("s-i-x- -v-o-l-t-s", sure=0.9999), *sentences)
    other = search(letters("s----i-x------ -v-o-l---t-s", sure=0.9999), *sentences)
    assert one == other
    assert one[0] == "six volts"


def test_a_gap_makes_a_double_letter_two() -> None:
    assert search(letters("off-f"), "of", "off")[0] == "off"
    assert search(letters("offff"), "of", "off")[0] == "of"


def test_one_state_holds_one_letter_at_most() -> None:
    assert search(letters("a"), "a", "o", "ah", "oh") == ["a", "o"]
    assert search(letters("o"), "a", "o", "ah", "oh") == ["o", "a"]
    assert search(letters("a"), "ah", "oh") == []


def test_a_letter_that_noise_hides_does_not_rule_a_sentence_out() -> None:
    heard = letters("s-i-x-q-y", sure=1.0 - 1e-12)  # not a trace of the t
    assert search(heard, "sixty", "fifty")[0] == "sixty"


def test_a_narrow_beam_gives_at_most_as_many() -> None:
    heard = letters("fif-teen", "fif-ty--")
    sentences = "fifteen", "fifty", "fif", "fifth"
    assert len(search(heard, *sentences, beam=2)) <= 2
    assert search(heard, *sentences, beam=3)[0] == search(heard, *sentences, beam=100)[0]


def test_letters_between_two_words_give_both() -> None:
    found = search(letters("f-if-t-een", "f-if-t-y--"), "fifteen", "fifty", "six")
    assert set(found[:2]) == {"fifteen", "fifty"}
