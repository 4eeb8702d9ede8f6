"""What these tests listen to: small grammars made of sentences, and a synthetic voice."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import soxr

from companion.ports import Automaton, Frame, Grammar
from companion.speaking.pyttsx3_voice import Pyttsx3Voice

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.ports import Samples


def automaton(*sentences: str) -> Automaton:
    """The trie of the sentences: deterministic, and as good as minimal for a test."""
    arcs: list[dict[str, int]] = [{}]
    accepting = set()
    for sentence in sentences:
        state = 0
        for word in sentence.split():
            if word not in arcs[state]:
                arcs.append({})
                arcs[state][word] = len(arcs) - 1
            state = arcs[state][word]
        accepting.add(state)
    return Automaton(tuple(arcs), frozenset(accepting))


def grammar(*parts: Automaton) -> Grammar:
    return Grammar("test", parts, digest=str(hash(tuple(len(part.arcs) for part in parts))))


@cache
def said(text: str, voice: str = "en-us") -> Samples:
    """The text as speech at 16 kHz, with the faint hiss of a room."""
    clip = Pyttsx3Voice(voice).render(text)
    speech = soxr.resample(clip.samples, clip.rate_hz, 16_000)
    return np.asarray(speech + hiss(len(speech)), np.int16)


def hiss(samples: int) -> Samples:
    return np.random.default_rng(1).normal(0.0, 8.0, samples).astype(np.int16)


def frames(speech: Samples, *, pause_s: float = 0.3, size: int = 480) -> Iterator[Frame]:
    """The speech as voiced frames between two stretches that are not."""
    pause = hiss(int(pause_s * 16_000))
    for samples, voiced in ((pause, False), (speech, True), (pause, False)):
        for at in range(0, len(samples), size):
            yield Frame(samples[at : at + size], voiced)
