"""A second opinion on the sound: how it is spelled, letter by letter.

The network that writes pieces of text knows too well what people usually write: it drops endings,
prefers the shorter sentence, and writes 'votes' for 'volts'. The speller knows no sentences. From
the same encoder's states it tells for each of them (some 24 ms of sound) how likely each letter
is there, or none: connectionist temporal classification (Graves, Fernández, Gomez, Schmidhuber,
2006). How likely a sentence is follows exactly, by summing over all the ways in which its letters
can lie in time.

It is three convolutions of five states over one another, so a letter is judged by a third of a
second around it. `models/README.md` tells how it was made.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias
from zipfile import BadZipFile

import numpy as np

from companion.errors import ModelError

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path

    import numpy.typing as npt

    Floats: TypeAlias = npt.NDArray[np.float32]

NONE = 0  # the place of 'no letter' among the log-probabilities
ALPHABET = " abcdefghijklmnopqrstuvwxyz'"  # the letters, from place 1 on
PLACES = {letter: place for place, letter in enumerate(ALPHABET, start=1)}
_LEAST = 1e-300  # keeps the logarithm of nothing finite
_STEADY = 1e-5  # as in training
_CONVOLUTIONS = ("first", "second", "third")
_UNREADABLE = (OSError, ValueError, KeyError, TypeError, EOFError, BadZipFile, zlib.error)
_WEIGHTS = (
    *("norm.scale", "norm.shift", "letters.weight", "letters.bias"),
    *(f"{name}.{what}" for name in _CONVOLUTIONS for what in ("weight", "bias")),
)


@dataclass(frozen=True)
class Letters:
    """What the speller made of a sound.

    Attributes:
        log_probs: natural, float32, shape (n, 29): for each state no letter, then `ALPHABET`.
    """

    log_probs: Floats

    @cached_property
    def text(self) -> str:
        """The likeliest letter of each state, repeats and gaps taken out."""
        places = self.log_probs.argmax(axis=1)
        changed = np.append(True, places[1:] != places[:-1])
        return "".join(ALPHABET[at - 1] for at in places[changed] if at != NONE)

    @cached_property
    def free_log_prob(self) -> float:
        """The log-probability of `text`, natural."""
        return float(self.log_probs_of([self.text])[0])

    def log_probs_of(self, texts: Sequence[str]) -> npt.NDArray[np.float64]:
        """Return how likely the sound is each text, natural logarithm, shape (len(texts),).

        The forward recursion of the paper named above, with each step scaled to sum to one.

        Args:
            texts: in lower case, letters of `ALPHABET` only; may be empty.
        """
        if not texts:
            return np.zeros(0)
        labels, skips = _laid_out(texts)
        chances = np.exp(self.log_probs.astype(np.float64))[:, labels]
        at = np.zeros(labels.shape)
        at[:, :2] = chances[0][:, :2]
        total = np.zeros(len(texts))
        for chance in chances[1:]:
            came = at.copy()
            came[:, 1:] += at[:, :-1]
            came[:, 2:] += at[:, :-2] * skips[:, 2:]
            at = came * chance
            scale = at.sum(axis=1) + _LEAST
            at /= scale[:, None]
            total += np.log(scale)
        last = np.array([2 * len(text) for text in texts])
        rows = np.arange(len(texts))
        ended = at[rows, last] + np.where(last > 0, at[rows, last - 1], 0.0)
        return np.asarray(total + np.log(ended + _LEAST))


def _laid_out(texts: Sequence[str]) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.float64]]:
    """Return the letters with a gap around each, and where a gap may be skipped (1 or 0).

    A gap may be skipped between different letters only: without it a double letter is one.
    """
    width = 2 * max(map(len, texts)) + 1
    labels = np.full((len(texts), max(width, 2)), NONE, np.int64)
    for row, text in enumerate(texts):
        labels[row, 1 : 2 * len(text) : 2] = [PLACES[letter] for letter in text]
    skips = np.zeros(labels.shape)
    skips[:, 3::2] = labels[:, 3::2] != labels[:, 1:-2:2]
    return labels, skips


class Speller:
    """The network.

    Args:
        path: its weights, a `.npz`.

    Raises:
        ModelError: they cannot be read.
    """

    def __init__(self, path: Path) -> None:
        try:
            with path.open("rb") as file, np.load(file) as kept:
                self._weights = {name: kept[name].astype(np.float32) for name in _WEIGHTS}
            self._taps = {name: _taps(self._weights, name) for name in _CONVOLUTIONS}
        except _UNREADABLE as exc:
            raise ModelError(
                f"The speller's weights cannot be read: {exc}",
                "Install this program again: pip install --force-reinstall .",
                where=str(path),
            ) from exc

    def hear(self, states: Floats) -> Letters:
        """Return what letters the encoder's states hold.

        Args:
            states: float32, shape (n, 288), n >= 1.
        """
        weights = self._weights
        middle = states.mean(axis=1, keepdims=True)
        spread = np.sqrt(states.var(axis=1, keepdims=True) + _STEADY)
        heard = (states - middle) / spread * weights["norm.scale"] + weights["norm.shift"]
        heard = self._convolved(heard, "first")
        heard = heard + self._convolved(heard, "second")
        heard = heard + self._convolved(heard, "third")
        scores = heard @ weights["letters.weight"].T + weights["letters.bias"]
        scores -= scores.max(axis=1, keepdims=True)
        return Letters(scores - np.log(np.exp(scores).sum(axis=1, keepdims=True)))

    def _convolved(self, heard: Floats, name: str) -> Floats:
        """One convolution, what is below zero cut off; shape (n, width) both."""
        taps = self._taps[name]
        margin = len(taps) // 2
        padded = np.pad(heard, ((margin, margin), (0, 0)))
        summed = sum(padded[at : at + len(heard)] @ tap for at, tap in enumerate(taps))
        shifted = np.asarray(summed + self._weights[f"{name}.bias"], np.float32)
        return np.maximum(shifted, np.float32(0.0))


def _taps(weights: Mapping[str, Floats], name: str) -> Floats:
    """Return a convolution's weights, shape (taps, in, out)."""
    return np.ascontiguousarray(weights[f"{name}.weight"].transpose(2, 1, 0))
