"""The search over a made-up network: a table of how likely each piece is after the ones before."""

from __future__ import annotations

from math import log
from typing import TYPE_CHECKING, cast
from zlib import crc32

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from saying import automaton, grammar

from companion.hearing.lexicon import Lexicon, small_start
from companion.hearing.search import Beam, Written, log_softmax, written
from companion.hearing.tokens import END, FIRST_SPELT, Tokens

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.hearing.lexicon import Place, Words
    from companion.hearing.network import Decoding, Floats

PIECES = ["▁fif", "teen", "ty", "▁Fif", "▁four", "▁for", "▁volts", "."]
TOKENS = Tokens(["" for _ in range(FIRST_SPELT)] + PIECES)
IDS = {piece: FIRST_SPELT + number for number, piece in enumerate(PIECES)} | {"END": END}
UNLIKELY = 1e-6
LONGEST = 12


class Table:
    """A network that says after each text how likely the next pieces are; the rest is unlikely."""

    def __init__(self, likely: dict[str, dict[str, float]]) -> None:
        self._likely = likely
        self._texts: list[str] = []
        self.widest = 0

    def start(self) -> Floats:
        self._texts = [""]
        return self._logits()

    def step(self, tokens: Sequence[int], parents: Sequence[int]) -> Floats:
        self.widest = max(self.widest, len(tokens))
        self._texts = [
            self._texts[parent] + PIECES[token - FIRST_SPELT]
            for token, parent in zip(tokens, parents, strict=True)
        ]
        return self._logits()

    def _logits(self) -> Floats:
        logits = np.full((len(self._texts), FIRST_SPELT + len(PIECES)), log(UNLIKELY), np.float32)
        for row, text in enumerate(self._texts):
            for piece, share in self._likely.get(text, {"END": 0.9}).items():
                logits[row, IDS[piece]] = log(share)
        return logits


class Moody(Table):
    """A network that has an opinion of its own after every text, as a seed has it."""

    def __init__(self, seed: int, *, stops: bool = True) -> None:
        super().__init__({})
        self._seed = seed
        self._ids = [at for piece, at in IDS.items() if stops or piece != "."]

    def _logits(self) -> Floats:
        return np.array([self.after(text) for text in self._texts], np.float32)

    def after(self, text: str) -> Floats:
        random = np.random.default_rng([self._seed, crc32(text.encode())])
        logits = np.full(FIRST_SPELT + len(PIECES), log(UNLIKELY), np.float32)
        logits[self._ids] = random.normal(0.0, 1.5, len(self._ids))
        return logits

    def log_prob(self, *pieces: str) -> float:
        """Of the text of these pieces, natural, by the definition: one piece after the other."""
        return sum(
            float(log_softmax(self.after("".join(pieces[:at]))[None])[0, IDS[piece]])
            for at, piece in enumerate(pieces)
        )


def whole(*sentences: str) -> Place:
    return Lexicon(TOKENS.trie).start(grammar(automaton(*sentences)))


def few(*sentences: str) -> Place:
    return small_start(TOKENS.trie, [tuple(sentence.split()) for sentence in sentences])


def search_by(table: Table, *beams: Beam) -> Written:
    return written(cast("Decoding", table), beams, longest=LONGEST)


def search(likely: dict[str, dict[str, float]], *sentences: str, beam: int = 6) -> Written:
    return search_by(Table(likely), Beam(whole(*sentences), beam))


def log_prob(found: Written, sentence: str) -> float:
    return found.sentences[tuple(sentence.split())]


def words(found: Written) -> list[str]:
    """The sentences, likeliest first."""
    ranked = sorted(found.sentences.items(), key=lambda item: -item[1])
    return [" ".join(each) for each, _ in ranked]


FIFTY = {"": {"▁fif": 0.9, "▁four": 0.1}, "▁fif": {"ty": 0.7, "teen": 0.3}}


def test_the_likelier_a_text_the_likelier_its_sentence() -> None:
    assert words(search(FIFTY, "fifteen", "fifty", "four")) == ["fifty", "fifteen", "four"]


def test_a_margin_is_the_difference_of_log_probabilities() -> None:
    found = search(FIFTY, "fifteen", "fifty", "four")
    margin = log_prob(found, "fifty") - log_prob(found, "fifteen")
    # both end alike: what differs is 0.7 against 0.3
    assert margin == pytest.approx(log(0.7 / 0.3), abs=1e-3)


def test_the_grammar_is_kept_to_even_where_it_is_unlikely() -> None:
    assert words(search(FIFTY, "fifteen volts")) == ["fifteen volts"]


def test_the_free_row_writes_what_is_likeliest() -> None:
    found = search(FIFTY, "four")
    assert TOKENS.text(found.free) == "fifty"
    assert found.free_log_prob > log_prob(found, "four")


def test_ways_to_write_the_same_words_are_added() -> None:
    likely = {"": {"▁fif": 0.5, "▁Fif": 0.5}, "▁fif": {"ty": 0.9}, "▁Fif": {"ty": 0.9}}
    one_way = {"": {"▁fif": 0.5, "▁four": 0.5}, "▁fif": {"ty": 0.9}}
    both, one = search(likely, "fifty"), search(one_way, "fifty")
    gained = log_prob(both, "fifty") - log_prob(one, "fifty")
    assert gained == pytest.approx(log(2.0), abs=1e-3)


def test_a_sentence_with_and_without_its_full_stop_is_one() -> None:
    likely = FIFTY | {"▁fifty": {"END": 0.5, ".": 0.5}}
    assert words(search(likely, "fifty")) == ["fifty"]


def test_a_beginning_is_told_apart_from_a_sentence() -> None:
    found = search(FIFTY, "fifty volts")
    assert set(found.beginnings) == {("fifty",)}
    assert words(found) == ["fifty volts"]
    assert found.beginnings["fifty",] > log_prob(found, "fifty volts")


def test_a_sentence_far_below_what_was_written_freely_is_not_found() -> None:
    certain = {"": {"▁four": 1.0}, "▁four": {"▁volts": 1.0}, "▁four▁volts": {"END": 1.0}}
    # each piece but the likely ones has a millionth: three of them are 41 nats
    assert search(certain, "fifteen fifteen").sentences == {}


def test_a_narrow_beam_keeps_the_best() -> None:
    assert words(search(FIFTY, "fifteen", "fifty", "four", beam=1)) == ["fifty"]


def test_the_batch_is_never_wider_than_beam_and_free_row() -> None:
    table = Table({"": dict.fromkeys(PIECES, 0.1)})
    search_by(table, Beam(whole("fifteen", "fifty", "four", "volts"), 2))
    assert table.widest == 3


def test_two_beams_share_a_batch_no_wider_than_both_and_the_free_row() -> None:
    table = Table({"": dict.fromkeys(PIECES, 0.1)})
    sentences = "fifteen", "fifty", "four", "for", "volts"
    search_by(table, Beam(whole(*sentences), 2), Beam(few(*sentences), 3))
    assert table.widest == 6


def test_a_sentence_that_two_beams_find_counts_once() -> None:
    sentences = "fifteen", "fifty", "four"
    alone = search(FIFTY, *sentences)
    both = search_by(Table(FIFTY), Beam(whole(*sentences), 6), Beam(few("fifty", "four"), 8))
    assert both.sentences == pytest.approx(alone.sentences)


def test_a_beginning_that_two_beams_find_counts_once() -> None:
    alone = search(FIFTY, "fifty volts")
    both = search_by(Table(FIFTY), Beam(whole("fifty volts"), 6), Beam(few("fifty volts"), 8))
    assert both.beginnings == pytest.approx(alone.beginnings)


def test_a_sentence_that_one_beam_drops_is_found_by_the_other() -> None:
    sentences = "fifteen", "fifty", "four"
    assert words(search(FIFTY, *sentences, beam=1)) == ["fifty"]
    found = search_by(Table(FIFTY), Beam(whole(*sentences), 1), Beam(few("four", "fifteen"), 2))
    assert words(found) == ["fifty", "fifteen", "four"]
    assert found.sentences == pytest.approx(search(FIFTY, *sentences).sentences)


@settings(deadline=None, max_examples=60)  # a machine with other work
@given(st.integers(0, 10_000), st.integers(1, 3), st.integers(1, 3))
def test_beams_that_share_a_batch_find_what_each_finds_alone(
    seed: int, one_width: int, other_width: int
) -> None:
    one = Beam(whole("fifteen volts", "fifty", "four volts", "for four"), one_width)
    other = Beam(few("four volts", "fifty volts four"), other_width)
    expected: dict[Words, float] = {}
    for beam in (one, other):
        for sentence, found in search_by(Moody(seed), beam).sentences.items():
            expected[sentence] = max(found, expected.get(sentence, found))
    both = search_by(Moody(seed), one, other)
    # what a beam drops hangs on the free row and on itself, so not on the beam beside it
    assert both.sentences == pytest.approx(expected, abs=1e-4)


@settings(deadline=None, max_examples=60)  # a machine with other work
@given(st.integers(0, 10_000))
def test_a_row_of_the_second_beam_carries_on_its_own_text(seed: int) -> None:
    network = Moody(seed, stops=False)  # then there is one way to write each of these
    beams = Beam(whole("fifteen", "fifty", "for for"), 3), Beam(few("volts volts", "volts"), 6)
    found = search_by(network, *beams)
    for sentence, pieces in (("volts volts", ("▁volts", "▁volts")), ("volts", ("▁volts",))):
        if tuple(sentence.split()) in found.sentences:  # not given up as hopeless
            expected = network.log_prob(*pieces, "END")
            # with a full stop, a millionth against what is seldom below a hundredth
            assert log_prob(found, sentence) == pytest.approx(expected, abs=0.02)


def test_the_free_row_writes_the_same_whatever_is_beside_it() -> None:
    for seed in range(20):
        alone = search_by(Moody(seed))
        beside = search_by(Moody(seed), Beam(whole("fifty", "four volts"), 3), Beam(few("for"), 2))
        assert beside.free == alone.free
        assert beside.free_log_prob == pytest.approx(alone.free_log_prob, abs=1e-4)


def test_a_text_that_never_ends_is_cut() -> None:
    likely = {"▁volts" * times: {"▁volts": 1.0} for times in range(40)}
    found = search(likely, "four")
    assert len(found.free) <= LONGEST


def test_log_softmax_is_that_of_its_definition() -> None:
    logits = np.array([[0.0, log(3.0)], [50.0, 50.0]], np.float32)
    expected = [[log(0.25), log(0.75)], [log(0.5), log(0.5)]]
    assert np.allclose(log_softmax(logits), expected, atol=1e-6)
