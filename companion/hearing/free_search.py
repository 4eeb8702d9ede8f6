"""What was most likely said where no grammar binds it, but the order of words is known.

For questions in words of their own: a search over the speller's letters as `letter_search` is one,
in which any known word may follow any other, the likelier the more often it does. A beam over
beginnings, a state of the sound at a time; each carries how likely it is with its last letter just
said and with a gap after it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from companion.hearing.speller import NONE, PLACES

if TYPE_CHECKING:
    from companion.hearing.speller import Letters
    from companion.ports import WordOrder

    Words = tuple[str, ...]

# Measured on 60 questions that nothing was learnt from, three engines, quiet and at 10 dB: of 24,
# 48 and 128 beginnings, words wrong 16, 14 and 13 %, in 13, 24 and 55 ms; the order of words left
# out 25 %, counted half 14 %.
_BEAM = 128
_WORD_NATS = 2.5  # what a word gains, since each costs its order
_LEAST_CHANCE = 2e-4  # no letter is less likely than that: noise hides some entirely
_SURE_OF_NONE = 0.9995
_HOPELESS = 1e-7  # of the likeliest beginning


class _Node:
    """A node of the trie of all words; `word` is the one that ends here, or ''."""

    __slots__ = ("below", "word")

    def __init__(self) -> None:
        self.below: dict[str, _Node] = {}
        self.word = ""


class _Begun:
    """A beginning: its chance with a gap at its end and without, where it stands, its order."""

    __slots__ = ("gap", "node", "order", "said")

    def __init__(self, node: _Node, order: float) -> None:
        self.gap, self.said = 0.0, 0.0
        self.node, self.order = node, order

    @property
    def weight(self) -> float:
        """How likely it is, the order of its words counted."""
        return (self.gap + self.said) * math.exp(self.order)


_Begins: TypeAlias = "dict[tuple[Words, str], _Begun]"  # whole words, and letters of the next


class FreeSearch:
    """The search, for one order of words.

    Args:
        order: which word follows which.
    """

    def __init__(self, order: WordOrder) -> None:
        self._order = order
        self._root = _Node()
        for word in order.words:
            node = self._root
            for letter in word:
                node = node.below.setdefault(letter, _Node())
            node.word = word

    def heard(self, letters: Letters, most: int) -> list[Words]:
        """Return what was most likely said, likeliest first, at most so many.

        Args:
            letters: what the speller heard.
            most: how many.
        """
        chances = np.maximum(np.exp(letters.log_probs.astype(np.float64)), _LEAST_CHANCE)
        begun: _Begins = {((), ""): _Begun(self._root, 0.0)}
        begun[(), ""].gap = 1.0
        for chance in chances.tolist():
            if chance[NONE] > _SURE_OF_NONE:
                _wait(begun, chance)
            else:
                begun = self._gone_on(begun, chance)
        found: dict[Words, float] = {}
        for (words, begins), each in begun.items():
            if begins and not each.node.word:
                continue
            whole = (*words, each.node.word) if begins else words
            order = each.order + (self._gain(words, each.node.word) if begins else 0.0)
            order += self._order.log_prob(whole[-1], "") if whole else 0.0
            weight = (each.gap + each.said) * math.exp(order)
            found[whole] = max(found.get(whole, 0.0), weight)
        found.pop((), None)
        return sorted(found, key=lambda words: -found[words])[:most]

    def _gain(self, words: Words, word: str) -> float:
        return _WORD_NATS + self._order.log_prob(words[-1] if words else "", word)

    def _gone_on(self, begun: _Begins, chance: list[float]) -> _Begins:
        """Take a state in which each beginning stays as it is or gains a letter."""
        least = _HOPELESS * max(each.weight for each in begun.values())
        found: _Begins = {}
        for (words, begins), each in begun.items():
            both = each.gap + each.said
            last = begins[-1:] or (" " if words else "")
            stays = _there(found, (words, begins), each.node, each.order)
            stays.gap += both * chance[NONE]
            if last:
                stays.said += each.said * chance[PLACES[last]]
            enough = least / math.exp(each.order)
            for letter, node in each.node.below.items():
                gained = (each.gap if letter == last else both) * chance[PLACES[letter]]
                if gained >= enough:
                    _there(found, (words, begins + letter), node, each.order).said += gained
            if each.node.word:
                gained = (each.gap if last == " " else both) * chance[PLACES[" "]]
                if gained >= enough:
                    order = each.order + self._gain(words, each.node.word)
                    longer = (*words, each.node.word)
                    _there(found, (longer, ""), self._root, order).said += gained
        ranked = sorted(found.items(), key=lambda item: -item[1].weight)[:_BEAM]
        total = sum(each.gap + each.said for _, each in ranked)
        highest = max(each.order for _, each in ranked)
        for _, each in ranked:
            each.gap /= total
            each.said /= total
            each.order -= highest  # only the difference counts, and no sum may run out of range
        return dict(ranked)


def _there(begun: _Begins, key: tuple[Words, str], node: _Node, order: float) -> _Begun:
    """Return a beginning, made where it is new."""
    each = begun.get(key)
    if each is None:
        each = begun[key] = _Begun(node, order)
    return each


def _wait(begun: _Begins, chance: list[float]) -> None:
    """Take a state in which nothing new is said."""
    for (words, begins), each in begun.items():
        last = begins[-1:] or (" " if words else "")
        both = each.gap + each.said
        each.said = each.said * chance[PLACES[last]] if last else 0.0
        each.gap = both * chance[NONE]
