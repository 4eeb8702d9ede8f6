"""Two opinions made into one: what the writer and the speller make of a sound.

The writer (the network that writes pieces of text) knows how people write, the speller how words
sound; each errs in its own way, so a sentence is scored by both, with the weights under which what
was said came out on top as often as possible (`calibration.toml` tells on which sounds). The score
is in nats and calibrated: a sentence one nat above another is e times as likely to have been said.

The match is the chance that the best sentence is what was said, in a mix of commands, talk and
noise, from how far either opinion has to be bent for it; that of another sentence is what it would
be if that were the best.

Without a speller the writer's opinion stands alone: its matches and margins are in order, but no
chances.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from companion.hearing.lexicon import Words
    from companion.hearing.pace import Pace
    from companion.hearing.search import Written
    from companion.hearing.speller import Letters

_WORD_NATS = 1.0  # what a word gains where the writer is alone: the measured best of 0 to 2
_UNWRITTEN_NATS = 15.0  # a sentence that the writer gave up lies that far below its best
_MOST_LETTERS_WEIGHED = 60
_SHORT_LETTERS = 10  # a shorter sentence is what a noise or a stray word is taken for


class Opinion(NamedTuple):
    """What both make of a sentence; natural logarithms.

    Attributes:
        words: the sentence, or what begins one.
        is_sentence: which of the two.
        written: its log-probability by the writer.
        spelt: by the speller.
        bent: what it loses for not fitting the time it took (`pace`), >= 0; only where the writer
            is alone: beside the speller it told nothing more (measured, weights near 0).
        score: what sentences are ranked by, in nats.
    """

    words: Words
    is_sentence: bool
    written: float
    spelt: float
    bent: float = 0.0
    score: float = 0.0


class Yardstick(NamedTuple):
    """What the sound is when no grammar binds it, which a sentence is held against.

    Attributes:
        written: log-probability of what the writer writes freely, natural.
        pieces: of how many pieces that is, the end included, >= 1.
        spelt: log-probability of the speller's likeliest letters, natural.
    """

    written: float
    pieces: int
    spelt: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """The weights, as `calibration.toml` names them."""

    score: Mapping[str, float]
    match: Mapping[str, float]


@cache
def calibration() -> Calibration:
    """Return the packaged weights."""
    text = files("companion.hearing").joinpath("calibration.toml").read_text("utf-8")
    table = tomllib.loads(text)
    return Calibration(table["score"], table["match"])


def opinions(found: Written, proposed: Iterable[Words], letters: Letters) -> list[Opinion]:
    """Return what both make of all that either found, best first.

    Args:
        found: what the writer found.
        proposed: sentences that the speller proposes.
        letters: what the speller heard.
    """
    sentences = {**dict.fromkeys(proposed), **found.sentences}
    every = [*sentences, *(words for words in found.beginnings if words not in sentences)]
    spelt = letters.log_probs_of([" ".join(words) for words in every])
    known = {**found.beginnings, **found.sentences}
    least = max(known.values(), default=found.free_log_prob) - _UNWRITTEN_NATS
    opinions = [
        scored(
            Opinion(words, words in sentences, known.get(words, least), float(nats)),
            calibration().score,
        )
        for words, nats in zip(every, spelt, strict=True)
    ]
    return _ranked(opinions)


def opinions_alone(found: Written, pace: Pace) -> list[Opinion]:
    """Return what the writer alone makes of what it found, best first."""
    every = {**found.beginnings, **found.sentences}
    opinions = [
        Opinion(words, words in found.sentences, written, 0.0, pace.penalty_nats(words))
        for words, written in every.items()
    ]
    return _ranked(
        each._replace(score=each.written - each.bent + _WORD_NATS * len(each.words))
        for each in opinions
    )


def _ranked(opinions: Iterable[Opinion]) -> list[Opinion]:
    """Return opinions best first; what is no number (no sound gave one yet) is no opinion."""
    finite = [each for each in opinions if math.isfinite(each.score)]
    return sorted(finite, key=lambda each: -each.score)


def match_alone(each: Opinion, every: Iterable[Opinion], free: Yardstick) -> float:
    """Return how well a sentence agrees with the sound by the writer alone, 0 to 1.

    Held against what the sound is freely, and against a sentence that was broken off: 'supply
    static zero' is no good account of "supply static zero point".
    """
    begun = max((o.written - o.bent for o in every if not o.is_sentence), default=free.written)
    bent = max(0.0, max(free.written, begun) - each.written) + each.bent
    return math.exp(-bent / free.pieces)


def scored(opinion: Opinion, weights: Mapping[str, float]) -> Opinion:
    """Return the opinion with its score under the weights of `calibration.toml`'s `score`."""
    found = measured(opinion)
    return opinion._replace(score=sum(weight * found[name] for name, weight in weights.items()))


def measured(opinion: Opinion) -> dict[str, float]:
    """Return what the score is made of, by the names that the weights have."""
    return {
        "written": opinion.written,
        "spelt": opinion.spelt,
        "word": float(len(opinion.words)),
        "letter": float(sum(map(len, opinion.words))),
    }


def features(best: Opinion, free: Yardstick, snr_db: float | None) -> dict[str, float]:
    """Return what the match is made of, each about 0 to a few."""
    length = sum(map(len, best.words)) + len(best.words)
    written_gap = max(0.0, free.written - best.written)
    spelt_gap = max(0.0, free.spelt - best.spelt)
    found = {
        "constant": 1.0,
        "written_gap": min(written_gap / free.pieces, 5.0),
        "spelt_gap": min(spelt_gap / length, 5.0),
        "spelt_gap_whole": min(spelt_gap, 40.0) / 10.0,
        "written_gap_whole": min(written_gap, 40.0) / 10.0,
        "length": math.log(min(length, _MOST_LETTERS_WEIGHED)),
        "noise": _noise(snr_db),
        "short": max(0.0, (_SHORT_LETTERS - length) / _SHORT_LETTERS),
    }
    found["short_written"] = found["short"] * found["written_gap"]
    found["short_spelt"] = found["short"] * found["spelt_gap"]
    return found


def _noise(snr_db: float | None) -> float:
    """Return 0 in a quiet room, 1 where speech drowns, in between from 25 dB down."""
    return 0.0 if snr_db is None else min(1.0, max(0.0, (25.0 - snr_db) / 25.0))


def match(found: Mapping[str, float]) -> float:
    """Return how likely the sentence that the features are of is what was said, 0 to 1."""
    weights = calibration().match
    total = sum(weight * found[name] for name, weight in weights.items())
    return 1.0 / (1.0 + math.exp(-max(-50.0, min(50.0, total))))
