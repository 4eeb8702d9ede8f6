"""The search over a made-up network: a table of how likely each piece is after the ones before."""

from __future__ import annotations

from math import log
from typing import TYPE_CHECKING, cast

import numpy as np
import pytest
from saying import automaton, grammar

from companion.hearing.lexicon import Lexicon
from companion.hearing.pace import Pace
from companion.hearing.search import Found, log_softmax, searched
from companion.hearing.tokens import END, FIRST_SPELT, Tokens

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.hearing.network import Decoding, Floats

PIECES = ["▁fif", "teen", "ty", "▁Fif", "▁four", "▁for", "▁volts", "."]
TOKENS = Tokens(["" for _ in range(FIRST_SPELT)] + PIECES)
IDS = {piece: FIRST_SPELT + number for number, piece in enumerate(PIECES)} | {"END": END}
UNLIKELY = 1e-6
ANY_PACE = Pace(0.5, 0.8)


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


def search(likely: dict[str, dict[str, float]], *sentences: str, beam: int = 6) -> Found:
    start = Lexicon(TOKENS.trie).start(grammar(automaton(*sentences)))
    table = cast("Decoding", Table(likely))
    return searched(table, start, ANY_PACE, beam=beam, longest=12)


def words(found: Found) -> list[str]:
    return [" ".join(ended.words) for ended in found.sentences]


FIFTY = {"": {"▁fif": 0.9, "▁four": 0.1}, "▁fif": {"ty": 0.7, "teen": 0.3}}


def test_sentences_come_best_first() -> None:
    assert words(search(FIFTY, "fifteen", "fifty", "four")) == ["fifty", "fifteen", "four"]


def test_a_margin_is_the_difference_of_log_probabilities() -> None:
    fifty, fifteen, _ = search(FIFTY, "fifteen", "fifty", "four").sentences
    # both end alike: what differs is 0.7 against 0.3
    assert fifty.log_prob - fifteen.log_prob == pytest.approx(log(0.7 / 0.3), abs=1e-3)


def test_the_grammar_is_kept_to_even_where_it_is_unlikely() -> None:
    assert words(search(FIFTY, "fifteen volts")) == ["fifteen volts"]


def test_the_free_row_writes_what_is_likeliest() -> None:
    found = search(FIFTY, "four")
    assert TOKENS.text(found.free) == "fifty"
    assert found.free_log_prob > found.sentences[0].log_prob


def test_ways_to_write_the_same_words_are_added() -> None:
    likely = {"": {"▁fif": 0.5, "▁Fif": 0.5}, "▁fif": {"ty": 0.9}, "▁Fif": {"ty": 0.9}}
    one_way = {"": {"▁fif": 0.5, "▁four": 0.5}, "▁fif": {"ty": 0.9}}
    (both,) = search(likely, "fifty").sentences
    (one,) = search(one_way, "fifty").sentences
    assert both.log_prob - one.log_prob == pytest.approx(log(2.0), abs=1e-3)


def test_a_sentence_with_and_without_its_full_stop_is_one() -> None:
    likely = FIFTY | {"▁fifty": {"END": 0.5, ".": 0.5}}
    assert words(search(likely, "fifty")) == ["fifty"]


def test_a_beginning_is_told_apart_from_a_sentence() -> None:
    found = search(FIFTY, "fifty volts")
    assert found.beginnings[0].words == ("fifty",)
    assert found.beginnings[0].log_prob > found.sentences[0].log_prob


def test_a_sentence_far_below_what_was_written_freely_is_not_found() -> None:
    certain = {"": {"▁four": 1.0}, "▁four": {"▁volts": 1.0}, "▁four▁volts": {"END": 1.0}}
    # each piece but the likely ones has a millionth: three of them are 41 nats
    assert search(certain, "fifteen fifteen").sentences == ()


def test_a_narrow_beam_keeps_the_best() -> None:
    assert words(search(FIFTY, "fifteen", "fifty", "four", beam=1)) == ["fifty"]


def test_the_batch_is_never_wider_than_beam_and_free_row() -> None:
    table = Table({"": dict.fromkeys(PIECES, 0.1)})
    start = Lexicon(TOKENS.trie).start(grammar(automaton("fifteen", "fifty", "four", "volts")))
    searched(cast("Decoding", table), start, ANY_PACE, beam=2, longest=12)
    assert table.widest <= 3


def test_a_text_that_never_ends_is_cut() -> None:
    likely = {"▁volts" * times: {"▁volts": 1.0} for times in range(40)}
    found = search(likely, "four")
    assert len(found.free) <= 12


def test_log_softmax_is_that_of_its_definition() -> None:
    logits = np.array([[0.0, log(3.0)], [50.0, 50.0]], np.float32)
    expected = [[log(0.25), log(0.75)], [log(0.5), log(0.5)]]
    assert np.allclose(log_softmax(logits), expected, atol=1e-6)
