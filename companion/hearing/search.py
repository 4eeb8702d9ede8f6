"""The search for the sentences of a grammar that a sound agrees with best.

A beam: the best few beginnings are carried on piece by piece, all in one batch, and one row more
decodes freely (always the likeliest piece). What the free row makes of the sound is the yardstick:
the gap between its log-probability and that of the best sentence says how far the grammar has to
bend the sound.

Spellings of the same words that meet at the same place ('Supply', 'supply') are one beginning:
the likeliest carries on and their probabilities are added.

The network prefers short texts, so a sentence gains a little for each word, and loses where it
does not fit the time it took to say (`pace`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from companion.hearing.tokens import END

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from companion.hearing.lexicon import Alive, Place, Words
    from companion.hearing.network import Decoding, Floats
    from companion.hearing.pace import Pace

_HOPELESS_NATS = 12.0  # a beginning that far below the best sentence is dropped
_FAR_NATS = 30.0  # as above, below what was written freely: then the sound is something else
_WORD_NATS = 1.0  # what a word gains: the measured best of 0 to 2


@dataclass(slots=True)
class Ended:
    """Words that the sound may have been, whole: with the states they end in.

    `log_prob` is natural, summed over the ways to write the words; `bent` is what they lose for
    not fitting the time; both make the `score`.
    """

    words: Words
    alive: Alive
    log_prob: float
    bent: float

    @property
    def score(self) -> float:
        """What sentences are ranked by, in nats."""
        return self.log_prob - self.bent + _WORD_NATS * len(self.words)


@dataclass(frozen=True, slots=True)
class Found:
    """What a search found, best first.

    Attributes:
        sentences: sentences of the grammar.
        beginnings: words that begin one but are none.
        free: the ids of the pieces decoded freely.
        free_log_prob: their log-probability, natural, the end included.
    """

    sentences: tuple[Ended, ...]
    beginnings: tuple[Ended, ...]
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
    """The row that decodes freely."""

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


class _Ends:
    """The sentences and beginnings that were found to end."""

    def __init__(self, pace: Pace) -> None:
        self._pace = pace
        self.sentences: dict[Words, Ended] = {}
        self.beginnings: dict[Words, Ended] = {}

    def add(self, begun: _Begun, end: float) -> None:
        """Note what `begun` is if the sound ends here; `end` is the log-probability of that."""
        for stop in begun.place.stops:
            words = begun.words + stop.words
            kind = self.sentences if stop.is_sentence else self.beginnings
            log_prob = begun.log_prob + end
            known = kind.get(words)
            if known is None:
                kind[words] = Ended(words, stop.alive, log_prob, self._pace.penalty_nats(words))
            else:
                known.log_prob = float(np.logaddexp(known.log_prob, log_prob))

    @property
    def best(self) -> float:
        """The best sentence's score."""
        return max((ended.score for ended in self.sentences.values()), default=-np.inf)


def searched(decoding: Decoding, start: Place, pace: Pace, *, beam: int, longest: int) -> Found:
    """Return the sentences of the grammar that agree best with a sound.

    Args:
        decoding: the sound, not begun yet.
        start: the grammar's first place.
        pace: how long the sound took to say.
        beam: how many beginnings are carried on at a time.
        longest: how many pieces a text may have.
    """
    ends, free = _Ends(pace), _Free(longest)
    logits = log_softmax(decoding.start())
    begun = [_Begun(0.0, (), start, 0, -1)]
    free_row = 0
    for _ in range(longest):
        for row, at in enumerate(begun):
            if at.words or at.place.letters:
                ends.add(at, float(logits[row, END]))
        if not free.is_done:
            free.take(logits[free_row])
        floor = max(ends.best - _HOPELESS_NATS, free.log_prob - _FAR_NATS)
        begun = _carried_on(begun, logits, beam, floor)
        if not begun and free.is_done:
            break
        tokens, parents = [b.token for b in begun], [b.row for b in begun]
        if not free.is_done:
            tokens.append(free.tokens[-1])
            parents.append(free_row)
        free_row = len(begun)
        logits = log_softmax(decoding.step(tokens, parents))
    return Found(
        _ranked(ends.sentences.values()),
        _ranked(ends.beginnings.values()),
        tuple(free.tokens),
        free.log_prob,
    )


def log_softmax(logits: Floats) -> Floats:
    """Return the natural log-probabilities of each row of float32 logits, shape (rows, n)."""
    shifted = logits - logits.max(axis=1, keepdims=True)
    return np.asarray(
        shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)), dtype=np.float32
    )


def _carried_on(begun: Sequence[_Begun], logits: Floats, beam: int, floor: float) -> list[_Begun]:
    """Return the best next beginnings above `floor`, at most `beam`, one for words and place."""
    best: dict[tuple[Words, Place], _Begun] = {}
    for row, at in enumerate(begun):
        for following in _following(at, row, logits[row], beam):
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


def _ranked(ended: Iterable[Ended]) -> tuple[Ended, ...]:
    return tuple(sorted(ended, key=lambda e: -e.score))
