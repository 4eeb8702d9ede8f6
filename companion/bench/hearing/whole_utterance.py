"""What both peers have in common: they hear an utterance whole, once it is over."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from companion.ports import Expectation, Frame, Grammar, Partial, Samples


class WholeUtterance:
    """The part of a `Recogniser` that only gathers sound; `finish` is the peer's own."""

    missing_words: tuple[str, ...] = ()

    def __init__(self) -> None:
        self.grammar: Grammar | None = None
        self._frames: list[Samples] = []

    def listen_for(self, grammar: Grammar, expect: Expectation | None) -> None:
        """Take the grammar for the next utterance; what is expected is not used."""
        del expect
        self.grammar = grammar

    def feed(self, frame: Frame) -> Partial | None:
        """Gather the frame; nothing is said before the end."""
        self._frames.append(frame.samples)
        return None

    def reset(self) -> None:
        """Forget the utterance begun."""
        self._frames = []

    def gathered(self) -> Samples:
        """Return the utterance, int16 mono PCM at 16 kHz, and forget it."""
        sound = np.concatenate([np.zeros(0, np.int16), *self._frames])
        self.reset()
        return sound
