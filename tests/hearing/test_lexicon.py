from __future__ import annotations

import pytest
from saying import automaton, grammar

from companion.hearing.lexicon import Lexicon, Place, small_start
from companion.hearing.tokens import FIRST_SPELT, Tokens

PIECES = [
    *("▁", "-", ".", ",", "'"),
    *("▁supply", "▁Supply", "▁sup", "ply", "▁static", "▁point", "s", "▁p"),
    *("▁twenty", "six", "▁six", "▁c", "▁C", "o", "O", "CO", "▁CO", "▁o", "pper", "▁alarm"),
    *("▁i", "m", "▁clear", "▁x", "42", "▁see", "▁oh"),
]
TOKENS = Tokens(["" for _ in range(FIRST_SPELT)] + PIECES)


def follow(place: Place, *pieces: str) -> tuple[tuple[str, ...], Place]:
    """Write the pieces one after the other; the words completed and where that leads."""
    words: tuple[str, ...] = ()
    for piece in pieces:
        (move,) = [
            target
            for number, target in enumerate(place.moves.targets)
            if PIECES.index(piece) + FIRST_SPELT in tokens_of(place, number)
        ]
        words, place = words + move.words, move.place
    return words, place


def tokens_of(place: Place, number: int) -> list[int]:
    ends = [*place.moves.firsts[1:], len(place.moves.tokens)]
    return list(place.moves.tokens[place.moves.firsts[number] : ends[number]])


def allowed(place: Place) -> set[str]:
    return {PIECES[token - FIRST_SPELT] for token in place.moves.tokens}


def start(*sentences: str) -> Place:
    return Lexicon(TOKENS.trie).start(grammar(automaton(*sentences)))


def sentences_of(place: Place, words: tuple[str, ...] = ()) -> set[str]:
    """Every sentence that can be written from a place on, by walking all its moves."""
    found = {
        " ".join(words + stop.words)
        for stop in place.stops
        if stop.is_sentence and words + stop.words
    }
    for target in place.moves.targets:
        found |= sentences_of(target.place, words + target.words)
    return found


def test_only_pieces_that_begin_a_word_possible_now_are_allowed() -> None:
    place = start("supply static", "point six")
    assert allowed(place) == {"▁", "-", "▁supply", "▁Supply", "▁sup", "▁point", "▁p", "s"}


def test_spellings_of_the_same_letters_lead_to_one_place() -> None:
    _, place = follow(start("supply static"), "▁supply")
    assert follow(start("supply static"), "▁sup", "ply")[1].letters == place.letters == "supply"
    assert follow(start("supply static"), "▁Supply")[1].letters == "supply"


def test_a_word_begun_may_only_be_finished_by_its_letters() -> None:
    _, place = follow(start("supply static"), "▁sup")
    assert allowed(place) == {"ply"}


def test_a_word_is_complete_when_the_next_one_begins() -> None:
    words, place = follow(start("supply static point"), "▁supply", "▁static", "▁p")
    assert words == ("supply", "static")
    assert place.letters == "p"


def test_a_hyphen_counts_as_a_space() -> None:
    words, place = follow(start("twenty six"), "▁twenty", "-", "six")
    assert words == ("twenty",)
    assert [stop.words for stop in place.stops] == [("six",)]


def test_a_comma_closes_a_word_and_a_space_must_follow() -> None:
    words, place = follow(start("twenty six"), "▁twenty", ",", "▁six")
    assert words == ("twenty",)
    assert place.letters == "six"


def test_a_full_stop_ends_the_sentence_and_nothing_may_follow() -> None:
    words, place = follow(start("supply static"), "▁supply", "▁static", ".")
    assert words == ("supply", "static")
    assert [stop.is_sentence for stop in place.stops] == [True]
    assert allowed(place) == set()


def test_apostrophes_belong_to_words() -> None:
    words, place = follow(start("i'm clear"), "▁i", "'", "m", "▁clear")
    assert words == ("i'm",)
    assert [stop.words for stop in place.stops] == [("clear",)]


def test_letters_said_singly_may_be_written_together() -> None:
    together = start("c o alarm", "copper alarm")
    for pieces in (("▁CO", "▁alarm"), ("▁c", "▁o", "▁alarm")):
        words, place = follow(together, *pieces)
        assert words == ("c", "o")
        assert [stop.words for stop in place.stops] == [("alarm",)]


def test_a_letter_may_be_written_as_it_is_said() -> None:
    words, place = follow(start("c o alarm"), "▁see", "▁oh", "▁alarm")
    assert words == ("c", "o")
    assert [stop.words for stop in place.stops] == [("alarm",)]


def test_a_stop_says_whether_the_words_are_a_sentence() -> None:
    _, place = follow(start("supply static", "supply"), "▁supply", "▁static")
    assert [stop.is_sentence for stop in place.stops] == [True]
    _, place = follow(start("supply static"), "▁supply")
    assert [stop.is_sentence for stop in place.stops] == [False]
    _, place = follow(start("supply static"), "▁sup")
    assert place.stops == ()


def test_parts_are_searched_together() -> None:
    lexicon = Lexicon(TOKENS.trie)
    place = lexicon.start(grammar(automaton("supply static"), automaton("supply point", "six")))
    _, place = follow(place, "▁supply")
    assert len(place.alive) == 2
    words, place = follow(place, "▁point")
    assert words == ("supply",)
    assert len(place.alive) == 1


def test_a_grammar_made_of_equal_parts_starts_at_the_same_place() -> None:
    lexicon = Lexicon(TOKENS.trie)
    first = lexicon.start(grammar(automaton("supply static"), automaton("point six")))
    again = lexicon.start(grammar(automaton("supply static"), automaton("point six")))
    assert first is again


def test_places_are_forgotten_when_there_are_too_many() -> None:
    lexicon = Lexicon(TOKENS.trie, most_places=3)
    words = grammar(automaton("supply static", "point six"))
    first = lexicon.start(words)
    assert follow(first, "▁supply", "▁static")[0] == ("supply",)
    again = lexicon.start(words)
    assert again is not first
    assert follow(again, "▁point", "▁six")[0] == ("point",)


@pytest.mark.parametrize(
    "sentences",
    [
        ["six"],
        ["supply static", "supply point six", "supply", "point"],
        ["twenty six", "twenty six", "c o alarm"],
        ["i'm clear", "copper alarm", "c o"],
    ],
)
def test_a_small_grammar_has_exactly_its_sentences(sentences: list[str]) -> None:
    place = small_start(TOKENS.trie, [tuple(sentence.split()) for sentence in sentences])
    assert sentences_of(place) == set(sentences)


def test_sentences_of_a_small_grammar_share_their_beginning() -> None:
    place = small_start(TOKENS.trie, [("supply", "static"), ("supply", "point")])
    _, shared = follow(place, "▁supply")
    assert len(shared.alive) == 1
    assert follow(shared, "▁static")[0] == follow(shared, "▁point")[0] == ("supply",)
