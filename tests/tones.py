"""An ear, a recogniser and a voice activity for tests: sentences are spelled as steady levels.

What is 'said' is a stretch of one sample value, a number for each sentence of a table; room between
is near silence. The recogniser passes what `contract/test_recogniser.py` asks of every one that
needs no speech: only sentences of the grammar, the same for any split, nothing kept after `reset`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from companion.language.patience import completeness
from companion.language.sentences import accepts
from companion.ports import SAMPLE_RATE_HZ, Alternative, Frame, Hearing, Partial

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from companion.ports import Expectation, Grammar, Samples

LOUD = 1_000
TELLS_EVERY = 3_200  # samples: 200 ms, as the real one


def level(sentence: str, table: Sequence[str]) -> int:
    """Return the sample value that spells a sentence."""
    return LOUD + 10 * (1 + table.index(sentence))


def room(seconds: float) -> Samples:
    """Return a quiet room."""
    noise = np.random.default_rng(0).normal(0, 4, round(seconds * SAMPLE_RATE_HZ))
    return noise.astype(np.int16)


def spelled(sentence: str, table: Sequence[str], seconds: float = 0.6) -> Samples:
    """Return a sentence as sound."""
    return np.full(round(seconds * SAMPLE_RATE_HZ), level(sentence, table), np.int16)


class LevelActivity:
    """Whatever is loud is speech."""

    def probability(self, step: Samples) -> float:
        return float(np.abs(step).max() >= LOUD)


@dataclass
class ToneRecogniser:
    """Reads the level of an utterance; keeps what it was asked to listen for."""

    table: Sequence[str]
    match: float = 0.95
    asked: list[tuple[str, str]] = field(default_factory=list)
    samples: int = 0
    told: int = 0
    value: int = 0
    grammar: Grammar | None = None
    missing_words: tuple[str, ...] = ()

    def listen_for(self, grammar: Grammar, expect: Expectation | None) -> None:
        self.grammar = grammar
        self.asked.append((grammar.scope, expect.point if expect else ""))

    def feed(self, frame: Frame) -> Partial | None:
        self.samples += len(frame.samples)
        self.value = max(self.value, int(frame.samples.max(initial=0)))
        if self.samples - self.told < TELLS_EVERY:
            return None
        self.told = self.samples
        words = self._words()
        assert self.grammar
        return Partial(words, completeness(self.grammar, words), self.match)

    def finish(self) -> Hearing:
        words = self._words()
        self.reset()
        assert self.grammar
        if not any(accepts(part, words) for part in self.grammar.parts):
            return Hearing((), free=" ".join(words), gap=9.0)
        return Hearing((Alternative(words, self.match, -1.0),), free=" ".join(words))

    def reset(self) -> None:
        self.samples = self.told = self.value = 0

    def _words(self) -> tuple[str, ...]:
        place = (self.value - LOUD) // 10 - 1
        return tuple(self.table[place].split()) if 0 <= place < len(self.table) else ()


@dataclass
class SoundEar:
    """Plays a sound as 20 ms frames and knows how far it is: the clock of a test."""

    sound: Samples
    samples: int = 0

    @property
    def at_s(self) -> float:
        return self.samples / SAMPLE_RATE_HZ

    def frames(self) -> Iterator[Frame]:
        for start in range(0, len(self.sound), 320):
            piece = self.sound[start : start + 320]
            self.samples += len(piece)
            yield Frame(piece)
