"""The weights that make two opinions one, fitted to what was said.

The score: with which weights was the sentence said the likeliest of all that were found
(multinomial logistic regression). The match: how likely the best sentence was said at all
(logistic regression). Both convex, so there is one answer; a slight pull towards zero keeps it
finite.
"""

from __future__ import annotations

from importlib.util import find_spec
from typing import TYPE_CHECKING

import numpy as np

from companion.bench.hearing.moments import moment
from companion.errors import EngineError
from companion.hearing.combining import features, measured, scored
from companion.language.compose import compose

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    import numpy.typing as npt

    from companion.bench.calibration.gathering import Gathered
    from companion.hearing.combining import Opinion

    Floats = npt.NDArray[np.float64]

SCORE = ("written", "spelt", "word", "letter")
MATCH = (
    "constant", "written_gap", "spelt_gap", "spelt_gap_whole", "written_gap_whole",
    "length", "noise", "short", "short_written", "short_spelt",
)  # fmt: skip
_PULL = 1e-4


def require_scipy() -> None:
    """Look whether the weights can be fitted, before hours are spent on hearing.

    Raises:
        EngineError: scipy is not installed.
    """
    if find_spec("scipy") is None:
        raise EngineError("scipy is not installed", "Install it: pip install -e '.[bench]'")


def fit_score(heard: Sequence[Gathered]) -> dict[str, float]:
    """Return the weights of the score.

    Args:
        heard: addressed utterances; those of which the sentence said was not found are left out.
    """
    lists = []
    for each in heard:
        sentences = each.decoded.sentences
        words = [opinion.words for opinion in sentences]
        if each.is_whole and each.case.words in words:
            table = np.array([[measured(opinion)[name] for name in SCORE] for opinion in sentences])
            lists.append((table, words.index(each.case.words)))

    def loss(weights: Floats) -> float:
        total = 0.0
        for table, said in lists:
            scores = table @ weights
            total += float(np.logaddexp.reduce(scores) - scores[said])
        return total / len(lists) + _PULL * float(weights @ weights)

    return dict(zip(SCORE, _least(loss, np.array([0.5, 0.5, 0.5, 0.0])), strict=True))


def fit_match(heard: Sequence[Gathered], score: Mapping[str, float]) -> dict[str, float]:
    """Return the weights of the match.

    Args:
        heard: addressed and not.
        score: the weights of the score.
    """
    rows, right = [], []
    for each in heard:
        best = best_of(each, score)
        if best is not None and (not each.case.addressed or knows(each)):
            found = features(best, each.decoded.free, each.snr_db)
            rows.append([found[name] for name in MATCH])
            right.append(is_right(each, best))
    table, truth = np.array(rows), np.array(right, float)
    middle, spread = table.mean(axis=0), table.std(axis=0) + 1e-9
    middle[0], spread[0] = 0.0, 1.0
    evened = (table - middle) / spread

    def loss(weights: Floats) -> float:
        scores = evened @ weights
        missed = float(np.mean(np.logaddexp(0.0, scores) - truth * scores))
        return missed + 10 * _PULL * float(weights[1:] @ weights[1:])

    even = _least(loss, np.zeros(len(MATCH)))
    weights = even / spread
    weights[0] = even[0] - float((even[1:] * middle[1:] / spread[1:]).sum())
    return dict(zip(MATCH, weights, strict=True))


def best_of(each: Gathered, score: Mapping[str, float]) -> Opinion | None:
    """Return the best sentence under the weights; None where none was found."""
    weighed = [scored(opinion, score) for opinion in each.decoded.sentences]
    return max(weighed, key=lambda opinion: opinion.score, default=None)


def knows(each: Gathered) -> bool:
    """Return whether the moment's language has the words said."""
    return bool(compose(moment(each.case.moment).scope).interpret(each.case.words))


def is_right(each: Gathered, best: Opinion) -> bool:
    """Return whether the best sentence means what was said."""
    language = compose(moment(each.case.moment).scope)
    means = language.interpret(best.words)
    return each.case.addressed and each.is_whole and means == language.interpret(each.case.words)


def _least(loss: object, start: Floats) -> Floats:
    from scipy.optimize import minimize  # noqa: PLC0415 - from the extra 'bench'

    return np.asarray(minimize(loss, start, method="BFGS").x, np.float64)
