"""A question model small enough to check by hand."""

from __future__ import annotations

from collections import Counter
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from companion.language.question_model import BUCKETS, NO_QUESTION, QuestionModel, slot_of
from companion.language.word_order import FIGURES

if TYPE_CHECKING:
    from collections.abc import Sequence

SLOTS: list[tuple[str, list[dict[str, Any]]]] = [
    (
        "voltage-drop",
        [
            {
                "name": "length",
                "key": ["feet", "run"],
                "kind": "measure",
                "ranges": [["1", "500.5", "ft"], ["0.3", "150", "m"]],
                "options": [],
                "many": False,
                "asked": True,
                "unless": [],
            },
            {
                "name": "wire",
                "key": ["wire"],
                "kind": "measure",
                "ranges": [],
                "options": [["cold", ["cold wire", "freezing"]], ["2/0", []]],
                "many": True,
                "asked": False,
                "unless": [],
            },
        ],
    ),
    ("wire-thickness", []),
]


def model(sentences: Sequence[Sequence[str]] = (), seed: int = 1) -> QuestionModel:
    """A model whose words and pairs are counted in sentences, and whose weights are drawn."""
    random = np.random.default_rng(seed)
    words = tuple(sorted({word for each in sentences for word in each} - FIGURES))
    place = {word: at for at, word in enumerate(words)} | dict.fromkeys(FIGURES, len(words))
    rows = [[-1, *(place[word] for word in each), len(words) + 1] for each in sentences]
    alone = np.zeros(len(words) + 2, np.int64)
    for row in rows:
        for at in row[1:]:
            alone[at] += 1
    pairs = Counter(pair for row in rows for pair in pairwise(row))
    filling = np.zeros(BUCKETS, np.float32)
    filling[[0, 5, BUCKETS - 1]] = random.normal(0.0, 3.0, 3)
    return QuestionModel(
        subjects=(NO_QUESTION, "voltage-drop", "wire-thickness"),
        features={"drop": 0, "^thic": 1, "< how": 2, "#ft": 3},
        rarity=random.uniform(0.1, 8.0, 4).astype(np.float32),
        weights=random.normal(0.0, 2.0, (4, 3)).astype(np.float32),
        filling=filling,
        slots={slug: tuple(map(slot_of, inputs)) for slug, inputs in SLOTS},
        words=words,
        alone=alone,
        pairs=np.array([(*pair, times) for pair, times in sorted(pairs.items())], np.int64).reshape(
            -1, 3
        ),
        source=f"drawn with {seed}",
    )
