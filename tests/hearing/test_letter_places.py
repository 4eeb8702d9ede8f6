from __future__ import annotations

from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st
from saying import automaton, grammar

from companion.hearing.letter_places import LetterPlace, LetterPlaces
from companion.hearing.speller import ALPHABET, PLACES
from companion.ports import Automaton

if TYPE_CHECKING:
    from collections.abc import Mapping

# few letters, so that words begin alike and one is another's beginning
WORDS = st.text("ab'", min_size=1, max_size=3)
SENTENCES = st.lists(st.lists(WORDS, min_size=1, max_size=3).map(" ".join), min_size=1, max_size=6)
PARTS = st.lists(SENTENCES, min_size=1, max_size=3)


@st.composite
def automata(draw: st.DrawFn) -> Automaton:
    """An automaton of at most five states whose branches may meet again."""
    size = draw(st.integers(2, 5))
    onwards = [
        st.dictionaries(WORDS, st.integers(state + 1, size - 1), max_size=3)
        for state in range(size - 1)
    ]
    arcs: tuple[Mapping[str, int], ...] = (*(draw(each) for each in onwards), {})
    accepting = draw(st.sets(st.integers(1, size - 1)))
    return Automaton(arcs, frozenset(accepting))


def sentences_of(part: Automaton, state: int = 0) -> set[str]:
    """Every sentence from a state on, word by word."""
    found = set()
    for word, target in part.arcs[state].items():
        found |= {word} if target in part.accepting else set()
        found |= {f"{word} {rest}" for rest in sentences_of(part, target)}
    return found


def spelt(place: LetterPlace, text: str = "") -> dict[str, LetterPlace]:
    """Every text that can be spelled from a place on, and where it leads, letter by letter."""
    found = {text: place}
    for letter, _, target in place.following:
        found |= spelt(target, text + letter)
    return found


def sentences_at(place: LetterPlace) -> set[str]:
    return {text for text, reached in spelt(place).items() if reached.is_sentence}


def go(place: LetterPlace, text: str) -> LetterPlace:
    for letter in text:
        (place,) = [target for each, _, target in place.following if each == letter]
    return place


@given(PARTS)
def test_what_can_be_spelled_is_what_can_be_said(parts: list[list[str]]) -> None:
    place = LetterPlaces().start(grammar(*(automaton(*part) for part in parts)))
    said = {sentence for part in parts for sentence in part}
    assert sentences_at(place) == said
    # and nothing leads astray: what was spelled so far can always be finished
    beginnings = {sentence[:end] for sentence in said for end in range(len(sentence) + 1)}
    assert set(spelt(place)) == beginnings


@given(st.lists(automata(), min_size=1, max_size=3))
def test_branches_that_meet_again_are_spelled_all(parts: list[Automaton]) -> None:
    place = LetterPlaces().start(grammar(*parts))
    assert sentences_at(place) == set().union(*map(sentences_of, parts))


@given(PARTS, PARTS)
def test_one_grammar_leaves_the_next_alone(one: list[list[str]], other: list[list[str]]) -> None:
    places = LetterPlaces()
    for parts in (one, other, one):
        place = places.start(grammar(*(automaton(*part) for part in parts)))
        assert sentences_at(place) == {sentence for part in parts for sentence in part}


@given(PARTS)
def test_a_letter_comes_once_and_with_its_number(parts: list[list[str]]) -> None:
    place = LetterPlaces().start(grammar(*(automaton(*part) for part in parts)))
    for reached in spelt(place).values():
        letters = [letter for letter, _, _ in reached.following]
        assert len(letters) == len(set(letters))
        assert all(number == PLACES[letter] for letter, number, _ in reached.following)
        assert all(ALPHABET[number - 1] == letter for letter, number, _ in reached.following)


def test_parts_are_spelled_together() -> None:
    place = LetterPlaces().start(grammar(automaton("six"), automaton("sixty volts")))
    assert [letter for letter, _, _ in go(place, "six").following] == ["t"]
    assert go(place, "six").is_sentence
    assert sentences_at(place) == {"six", "sixty volts"}


def test_no_space_follows_a_last_word() -> None:
    place = LetterPlaces().start(grammar(automaton("six", "point six")))
    assert go(place, "six").following == []
    assert [letter for letter, _, _ in go(place, "point").following] == [" "]
    assert go(place, "point six").following == []


def test_a_sentence_may_go_on() -> None:
    place = LetterPlaces().start(grammar(automaton("point", "point six")))
    assert go(place, "point").is_sentence
    assert not go(place, "poin").is_sentence
    assert not go(place, "point ").is_sentence
    assert not place.is_sentence


def test_two_ways_to_one_state_lead_to_the_same_place() -> None:
    meeting = Automaton(({"six": 1, "ten": 1}, {"volts": 2}, {}), frozenset({2}))
    place = LetterPlaces().start(grammar(meeting))
    assert go(place, "six ") is go(place, "ten ")
    assert go(place, "six v") is go(place, "ten v")
    assert go(place, "six") is not go(place, "ten")


def test_a_grammar_made_of_equal_parts_starts_at_the_same_place() -> None:
    places = LetterPlaces()
    first = places.start(grammar(automaton("supply static"), automaton("point six")))
    again = places.start(grammar(automaton("supply static"), automaton("point six")))
    assert first is again
    assert go(first, "supply s") is go(again, "supply s")


def test_a_part_that_two_grammars_share_keeps_its_places() -> None:
    places, shared = LetterPlaces(), automaton("read it back")
    one = places.start(grammar(shared, automaton("six")))
    other = places.start(grammar(automaton("ten"), shared))
    assert one is not other
    assert go(one, "read") is go(other, "read")


def test_the_same_part_twice_is_one() -> None:
    twice, once = automaton("six"), automaton("six")
    places = LetterPlaces()
    assert places.start(grammar(twice, once)) is places.start(grammar(twice))


def test_places_are_forgotten_when_there_are_too_many() -> None:
    places, words = LetterPlaces(most_places=3), grammar(automaton("supply static", "point six"))
    first = places.start(words)
    assert places.start(words) is first
    assert go(first, "supply static").is_sentence  # many places
    again = places.start(words)
    assert again is not first
    assert len(places._kept) == 1
    assert sentences_at(again) == {"supply static", "point six"}


def test_a_word_that_no_letters_spell_is_left_out() -> None:
    place = LetterPlaces().start(grammar(automaton("six", "six 4", "r2")))
    assert sentences_at(place) == {"six"}
