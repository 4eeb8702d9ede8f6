"""What is learnt from the wordings: which sizing, which input, which word behind which.

The sizing: multinomial logistic regression by gradient descent with momentum, a slight pull towards
zero. The inputs: an averaged structured perceptron that keeps a margin. Both are the same on every
run: order and seeds are fixed.
"""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from itertools import pairwise
from random import Random
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from companion.language.amounts import pieces
from companion.language.filling import assignments, between, choices
from companion.language.question_model import BUCKETS, NO_QUESTION
from companion.language.subjects import features
from companion.language.word_order import BEGINNING, FIGURES

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    import numpy.typing as npt

    from companion.language.amounts import Piece
    from companion.language.filling import Choice
    from companion.language.question_model import Slot
    from companion.language.wordings import Wording

    Floats = npt.NDArray[np.float32]
    Words = tuple[str, ...]

_ROUNDS, _STEP, _MOMENTUM, _PULL = 150, 20.0, 0.9, 1e-4
_TALK_COUNTS = 0.3  # a line of talk beside a question: there is more of it than of any sizing
_FEWEST = 2  # a feature that is seen less often is not looked at
_TURNS, _SEED, _MARGIN = 6, 1, 5.0
_TRUSTED = 0.6  # a phrase names an option where it does so at least so often


class Subjects(NamedTuple):
    """How much each feature speaks for each subject; arrays as `QuestionModel` has them."""

    names: tuple[str, ...]
    features: dict[str, int]
    rarity: Floats
    weights: Floats


def learn_subjects(asked: Sequence[Wording], talk: Sequence[Words]) -> Subjects:
    """Return which words speak for which sizing.

    Args:
        asked: questions.
        talk: what is none.
    """
    names = (NO_QUESTION, *sorted({wording.sizing for wording in asked}))
    place = {name: at for at, name in enumerate(names)}
    said = [*(wording.words for wording in asked), *talk]
    truth = np.array(
        [*(place[wording.sizing] for wording in asked), *(0 for _ in talk)], dtype=np.int64
    )
    found = [features(pieces(list(words))) for words in said]
    often = Counter(name for each in found for name in each)
    used = sorted(name for name, times in often.items() if times >= _FEWEST)
    by_name = {name: at for at, name in enumerate(used)}
    rarity = np.array([math.log(len(said) / often[name]) for name in used], np.float32)
    table = np.zeros((len(said), len(used)), np.float32)
    for row, each in enumerate(found):
        for name in each:
            if name in by_name:
                table[row, by_name[name]] = rarity[by_name[name]]
    table /= np.linalg.norm(table, axis=1, keepdims=True) + 1e-9
    counts = np.where(truth == 0, _TALK_COUNTS, 1.0).astype(np.float32)[:, None]
    return Subjects(names, by_name, rarity, _regressed(table, truth, len(names), counts))


def _regressed(table: Floats, truth: npt.NDArray[np.int64], kinds: int, counts: Floats) -> Floats:
    weights = np.zeros((table.shape[1], kinds), np.float32)
    speed = np.zeros_like(weights)
    wanted = np.eye(kinds, dtype=np.float32)[truth]
    for _ in range(_ROUNDS):
        scores = table @ weights
        scores -= scores.max(axis=1, keepdims=True)
        chances = np.exp(scores)
        chances /= chances.sum(axis=1, keepdims=True)
        slope = table.T @ ((chances - wanted) * counts) / counts.sum() + _PULL * weights
        speed = _MOMENTUM * speed - _STEP * slope
        weights += speed
    return np.asarray(weights, np.float32)


class _Example(NamedTuple):
    """A wording made ready: what each amount may be, and what it is."""

    sizing: str
    slots: tuple[Slot, ...]
    offered: list[list[Choice]]
    right: tuple[str, ...]


def inputs_of(wording: Wording, said: Sequence[Piece]) -> tuple[str, ...]:
    """Return which input each amount of a wording is marked as, '' for none."""
    return tuple(
        next(
            (
                mark.name
                for mark in wording.marked
                if mark.start < each.end and each.start < mark.end
            ),
            "",
        )
        for each in said
        if each.is_amount
    )


def learn_filling(asked: Iterable[Wording], slots: Mapping[str, tuple[Slot, ...]]) -> Floats:
    """Return the weight of each filling feature by its bucket.

    Args:
        asked: questions with their inputs marked.
        slots: each sizing's inputs.
    """
    examples = [
        example
        for example in (_example(wording, slots[wording.sizing]) for wording in asked)
        if example is not None
    ]
    weights = [0.0] * BUCKETS
    summed: defaultdict[int, float] = defaultdict(float)
    random, step = Random(_SEED), 1  # noqa: S311 - an order, no secret
    for _ in range(_TURNS):
        random.shuffle(examples)
        for example in examples:
            for bucket, times in _lesson(example, weights).items():
                weights[bucket] += times
                summed[bucket] += times * step
            step += 1
    learnt = np.zeros(BUCKETS, np.float32)
    for bucket, total in summed.items():
        learnt[bucket] = weights[bucket] - total / step
    return learnt


def _example(wording: Wording, slots: tuple[Slot, ...]) -> _Example | None:
    """Return a wording made ready; None where what is marked can't be found, or nothing is said."""
    said = pieces(list(wording.words))
    offered = choices(wording.sizing, slots, said)
    right = inputs_of(wording, said)[: len(offered)]
    can = all(
        any(choice.name == name for choice in each)
        for each, name in zip(offered, right, strict=True)
    )
    return _Example(wording.sizing, slots, offered, right) if offered and can else None


def _lesson(example: _Example, weights: Sequence[float]) -> Counter[int]:
    """Return what to change: nothing where the right assignment leads by the margin."""
    found = assignments(example.sizing, example.slots, example.offered, weights)
    other = next((each for each in found if each.names != example.right), None)
    right = next((each for each in found if each.names == example.right), None)
    if other is None or (right is not None and right.score - other.score >= _MARGIN):
        return Counter()
    change = _buckets(example, example.right)
    change.subtract(_buckets(example, other.names))
    return change


def _buckets(example: _Example, names: Sequence[str]) -> Counter[int]:
    found: Counter[int] = Counter()
    before = "^"
    for offered, name in zip(example.offered, names, strict=True):
        found.update(next(choice.features for choice in offered if choice.name == name))
        found.update(between(example.sizing, before, name))
        before = name or before
    return found


def learn_phrases(asked: Sequence[Wording]) -> dict[tuple[str, str, str], list[str]]:
    """Return the phrases that name an option, by sizing, input and value.

    A phrase counts where, of all wordings of the sizing that hold it, most mean that option by it.
    Numbers are not phrases: an amount is an option by its value.
    """
    named: Counter[tuple[str, str, str, Words]] = Counter()
    for wording in asked:
        for mark in wording.marked:
            words = wording.words[mark.start : mark.end]
            if mark.value and not FIGURES.intersection(words):
                named[wording.sizing, mark.name, mark.value, words] += 1
    found: dict[tuple[str, str, str], list[str]] = defaultdict(list)
    for (sizing, name, value, words), times in sorted(named.items()):
        held = sum(
            wording.sizing == sizing and f" {' '.join(words)} " in f" {' '.join(wording.words)} "
            for wording in asked
        )
        if times >= _TRUSTED * held:
            found[sizing, name, value].append(" ".join(words))
    return found


class Order(NamedTuple):
    """Counts of words and of pairs; as `QuestionModel` has them."""

    words: tuple[str, ...]
    alone: npt.NDArray[np.int64]
    pairs: npt.NDArray[np.int64]


def learn_order(said: Iterable[Words]) -> Order:
    """Return how often each word occurs, and each behind another.

    Args:
        said: questions in word form.
    """
    sentences = [words for words in said if all(re.fullmatch("[a-z']+", word) for word in words)]
    words = tuple(sorted({word for each in sentences for word in each} - FIGURES))
    place = {word: at for at, word in enumerate(words)} | dict.fromkeys(FIGURES, len(words))
    end = len(words) + 1
    alone = np.zeros(len(words) + 2, np.int64)
    pairs: Counter[tuple[int, int]] = Counter()
    for each in sentences:
        places = [BEGINNING, *(place[word] for word in each), end]
        for at in places[1:]:
            alone[at] += 1
        pairs.update(pairwise(places))
    rows = [(first, second, times) for (first, second), times in sorted(pairs.items())]
    return Order(words, alone, np.array(rows, np.int64).reshape(-1, 3))
