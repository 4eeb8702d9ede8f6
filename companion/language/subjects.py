"""Which sizing a question is about, by its words.

A logistic regression over the words of a question: each word (or amount, by its unit) speaks for
some sizings and against others, the more the rarer it is. Long words count by their beginning too,
so that "cutting" speaks for what "cut" speaks for; and so do how it begins and what follows a word
that questions are asked with, which tell a question from talk.
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    import numpy.typing as npt

    from companion.language.amounts import Piece
    from companion.language.question_model import QuestionModel

_STEM = 4  # letters of a longer word that count by themselves
_ASKING = frozenset(
    {"what", "what's", "how", "which", "will", "is", "are", "can", "do", "does", "did", "should"}
    | {"would", "could", "if", "give", "figure", "tell", "where", "where's", "when", "why", "am"}
    | {"i'm", "i've"}
)


def features(said: Sequence[Piece]) -> frozenset[str]:
    """Return what of a question's pieces is looked at.

    Its words and units, the beginnings of words, its first word and its first two, and the pairs
    that a word of asking begins.
    """
    marks = [piece.mark for piece in said]
    pairs = {f"{first} {second}" for first, second in pairwise(marks) if first in _ASKING}
    opening = {f"< {' '.join(marks[:count])}" for count in (1, 2)}
    stems = {
        f"^{piece.mark[:_STEM]}"
        for piece in said
        if not piece.is_amount and len(piece.mark) > _STEM
    }
    return frozenset(pairs | opening | stems | set(marks))


def weighed(model: QuestionModel, found: Iterable[str]) -> npt.NDArray[np.float32]:
    """Return how much a question's features speak for each subject, shape (subjects,), in nats.

    Features that no wording has count nothing.
    """
    places = [model.features[name] for name in sorted(found) if name in model.features]
    if not places:
        return np.zeros(len(model.subjects), np.float32)
    rarity = model.rarity[places]
    vector = rarity / np.float32(np.linalg.norm(rarity) + 1e-9)
    return np.asarray(vector @ model.weights[places], np.float32)
