"""Which word follows which in a question: how likely, after one word, is another.

Counts of pairs of words, mixed with counts of single words where a pair is rare (Witten and Bell's
way, 'The zero-frequency problem', IEEE Transactions on Information Theory 37(4), 1991). Number
words are one kind: a question says "twenty feet" as often as "seventy feet".
"""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

from companion.language.question_model import packaged_model
from companion.numbers import NUMBER_WORDS

if TYPE_CHECKING:
    from companion.language.question_model import QuestionModel

# Words that are as often no number: they have places of their own.
FIGURES = frozenset(NUMBER_WORDS - {"a", "an", "and", "of"})
BEGINNING = -1


class WordOrder:
    """How likely a word is behind another.

    Args:
        model: whose `words`, `alone` and `pairs` count.
    """

    def __init__(self, model: QuestionModel) -> None:
        self.words: tuple[str, ...] = (*model.words, *sorted(FIGURES))
        count = len(model.words)
        self._figure, self._end = count, count + 1
        self._place = {word: at for at, word in enumerate(model.words)}
        self._place |= dict.fromkeys(FIGURES, self._figure)
        self._alone = [int(each) for each in model.alone]
        self._total = sum(self._alone)
        self._behind: dict[int, dict[int, int]] = {}
        for first, second, times in model.pairs.tolist():
            self._behind.setdefault(first, {})[second] = times
        self._known: dict[tuple[str, str], float] = {}

    def log_prob(self, before: str, word: str) -> float:
        """Return how likely a word is behind another, natural logarithm.

        Args:
            before: the word before; '' for the beginning.
            word: one of `words`; '' for the end.
        """
        found = self._known.get((before, word))
        if found is None:
            found = self._known[before, word] = self._worked_out(before, word)
        return found

    def _worked_out(self, before: str, word: str) -> float:
        at = self._place[word] if word else self._end
        kinds = len(self._alone)
        single = (self._alone[at] + 0.5) / (self._total + 0.5 * kinds)
        place = BEGINNING if not before else self._place.get(before, self._end)
        behind = self._behind.get(place)
        chance = single
        if behind:
            seen, different = sum(behind.values()), len(behind)
            chance = (behind.get(at, 0) + different * single) / (seen + different)
        return math.log(chance / (len(FIGURES) if at == self._figure else 1))


@cache
def packaged_word_order() -> WordOrder:
    """Return the order of words in the packaged wordings."""
    return WordOrder(packaged_model())
