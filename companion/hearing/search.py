"""The search for the sentences of a grammar that the network would write for a sound.

A beam: the best few beginnings are carried on piece by piece, all in one batch, and one row more
writes freely (always the likeliest piece). What the free row makes of the sound is the yardstick:
the gap between its log-probability and that of the best sentence says how far the grammar has to
bend the sound. Several beams may share the batch: one under the whole grammar, one under the few
sentences that the speller proposes.

Spellings of the same words that meet at the same place ('Supply', 'supply') are one beginning:
the likeliest carries on and their probabilities are added.

The network prefers short texts, so a beginning gains a little for each word.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from companion.hearing.tokens import END

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.hearing.lexicon import Place, Words
    from companion.hearing.network import Decoding, Floats

_HOPELESS_NATS = 12.0  # a beginning that far below the best sentence is dropped
_FAR_NATS = 30.0  # as above, below what was written freely: then the sound is something else
_WORD_NATS = 1.0  # what a word gains, in what is carried on; what counts is weighed later


class Beam(NamedTuple):
    """A beam: the place that it begins at, and how many beginnings it carries on at a time."""

    start: Place
    width: int


@dataclass(frozen=True, slots=True)
class Written:
    """What a search found.

    Attributes:
        sentences: sentences of the grammar with their log-probability, natural, summed over the
            ways to write them.
        beginnings: words that begin one but are none, likewise.
        free: the ids of the pieces written freely.
        free_log_prob: their log-probability, natural, the end included.
    """

    sentences: Mapping[Words, float]
    beginnings: Mapping[Words, float]
    free: tuple[int, ...]
    free_log_prob: float


class _Begun(NamedTuple):
    """A beginning: which row of the batch it continues, with which piece."""

    log_prob: float
    words: Words
    place: Place
    row: int
    token: int

    @property
    def score(self) -> float:
        """What beginnings are ranked by, in nats."""
        return self.log_prob + _WORD_NATS * len(self.words)


@dataclass(slots=True)
class _Free:
    """The row that writes freely."""

    longest: int
    tokens: list[int] = field(default_factory=list)
    log_prob: float = 0.0
    is_done: bool = False

    def take(self, logits: Floats) -> None:
        """Append the likeliest piece."""
        token = int(logits.argmax())
        self.log_prob += float(logits[token])
        self.is_done = token == END or len(self.tokens) >= self.longest
        if not self.is_done:
            self.tokens.append(token)


class _Search:
    """A beam under way, with the sentences and beginnings that were found to end."""

    def __init__(self, beam: Beam) -> None:
        self._width = beam.width
        self.begun = [_Begun(0.0, (), beam.start, 0, -1)]
        self.sentences: dict[Words, float] = {}
        self.beginnings: dict[Words, float] = {}
        self._best = -np.inf

    def end_here(self, logits: Floats) -> None:
        """Note what each beginning is if the sound ends here."""
        for at, row in zip(self.begun, logits, strict=True):
            if at.words or at.place.letters:
                self._end(at, at.log_prob + float(row[END]))

    def _end(self, begun: _Begun, log_prob: float) -> None:
        for stop in begun.place.stops:
            words = begun.words + stop.words
            kind = self.sentences if stop.is_sentence else self.beginnings
            kind[words] = float(np.logaddexp(kind.get(words, -np.inf), log_prob))
            if stop.is_sentence:
                self._best = max(self._best, kind[words] + _WORD_NATS * len(words))

    def go_on(self, logits: Floats, first_row: int, free_log_prob: float) -> None:
        """Carry the beginnings on by a piece; `first_row` is the row of the first of them."""
        floor = max(self._best - _HOPELESS_NATS, free_log_prob - _FAR_NATS)
        self.begun = _carried_on(self.begun, logits, first_row, self._width, floor)


def written(decoding: Decoding, beams: Sequence[Beam], *, longest: int) -> Written:
    """Return the sentences that the network would write for a sound.

    Args:
        decoding: the sound, not begun yet, with a row for each beginning and one more.
        beams: each with its own start; a sentence that several find counts once.
        longest: how many pieces a text may have.
    """
    searches, free = [_Search(beam) for beam in beams], _Free(longest)
    logits = np.repeat(log_softmax(decoding.start()), len(beams) + 1, axis=0)
    is_first = True
    for _ in range(longest):
        if not free.is_done:
            free.take(logits[-1])
        first = 0
        for search in searches:
            rows = logits[first : first + len(search.begun)]
            search.end_here(rows)
            parents = 0 if is_first else first  # at the start there is one row for all
            first += len(search.begun)
            search.go_on(rows, parents, free.log_prob)
        begun = [each for search in searches for each in search.begun]
        if not begun and free.is_done:
            break
        tokens, parents_of = [b.token for b in begun], [b.row for b in begun]
        if not free.is_done:
            tokens.append(free.tokens[-1])
            parents_of.append(0 if is_first else first)
        logits = log_softmax(decoding.step(tokens, parents_of))
        is_first = False
    return Written(
        _united([search.sentences for search in searches]),
        _united([search.beginnings for search in searches]),
        tuple(free.tokens),
        free.log_prob,
    )


def _united(found: Sequence[Mapping[Words, float]]) -> dict[Words, float]:
    """Return what several beams found: what two found, by the one that found more ways."""
    united: dict[Words, float] = {}
    for each in found:
        for words, log_prob in each.items():
            united[words] = max(log_prob, united.get(words, -np.inf))
    return united


def log_softmax(logits: Floats) -> Floats:
    """Return the natural log-probabilities of each row of float32 logits, shape (rows, n)."""
    shifted = logits - logits.max(axis=1, keepdims=True)
    return np.asarray(
        shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)), dtype=np.float32
    )


def _carried_on(
    begun: Sequence[_Begun], logits: Floats, first_row: int, beam: int, floor: float
) -> list[_Begun]:
    """Return the best next beginnings above `floor`, at most `beam`, one for words and place."""
    best: dict[tuple[Words, Place], _Begun] = {}
    for row, (at, scores) in enumerate(zip(begun, logits, strict=True), first_row):
        for following in _following(at, row, scores, beam):
            key = (following.words, following.place)
            known = best.get(key)
            if known is None:
                best[key] = following
                continue
            total = float(np.logaddexp(known.log_prob, following.log_prob))
            likelier = max(known, following, key=lambda b: b.log_prob)
            best[key] = likelier._replace(log_prob=total)
    ranked = sorted(best.values(), key=lambda b: -b.score)[:beam]
    return [b for b in ranked if b.score > floor]


def _following(at: _Begun, row: int, logits: Floats, beam: int) -> list[_Begun]:
    """Return the best continuations of one beginning, at most `beam`."""
    moves = at.place.moves
    if not moves.targets:
        return []
    scores = logits[moves.tokens]
    peaks = np.maximum.reduceat(scores, moves.firsts)
    few = np.argpartition(-peaks, beam)[:beam] if len(peaks) > beam else range(len(peaks))
    following = []
    for number in few:
        first = int(moves.firsts[number])
        end = int(moves.firsts[number + 1]) if number + 1 < len(peaks) else len(scores)
        group = scores[first:end]
        target = moves.targets[number]
        following.append(
            _Begun(
                at.log_prob + float(np.logaddexp.reduce(group)),
                at.words + target.words,
                target.place,
                row,
                int(moves.tokens[first + int(group.argmax())]),
            )
        )
    return following
