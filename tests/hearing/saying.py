"""What these tests listen to: small grammars made of sentences, letters, a synthetic voice."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import soxr

from companion.hearing.speller import ALPHABET, NONE, PLACES, Letters
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


def letters(*lines: str, sure: float = 0.9) -> Letters:
    """What a speller hears that is `sure` of a letter in each state, '-' for none.

    Args:
        lines: a letter a state; where there are several, each may be what was said.
        sure: their probability together, the rest is shared by all others.
    """
    size = len(ALPHABET) + 1
    chances = np.full((len(lines[0]), size), (1.0 - sure) / size)
    for line in lines:
        for state, letter in enumerate(line):
            chances[state, PLACES.get(letter, NONE)] += sure / len(lines)
    return Letters(np.log(chances).astype(np.float32))


def any_letters(states: int, seed: int, *, spread: float = 1.0) -> Letters:
    """What a speller hears that has an opinion at random; above 1 it is surer."""
    scores = np.random.default_rng(seed).normal(0.0, spread, (states, len(ALPHABET) + 1))
    total = np.log(np.exp(scores).sum(axis=1, keepdims=True))
    return Letters((scores - total).astype(np.float32))
