"""The sentences of a grammar that the speller's letters agree with best.

A beam over the beginnings of sentences, a state of the sound at a time; each beginning carries how
likely it is with its last letter just said and with a gap after it (the prefix search of
connectionist temporal classification). Where the speller is sure that nothing is said, as it is
most of the time, nothing branches: a search takes a few milliseconds.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from companion.hearing.speller import NONE, PLACES

if TYPE_CHECKING:
    from companion.hearing.letter_places import LetterPlace
    from companion.hearing.speller import Letters

_BEAM = 24
_LEAST_CHANCE = 2e-4  # no letter is less likely than that: noise hides some entirely
_SURE_OF_NONE = 0.9995
_HOPELESS = 1e-9  # of the likeliest beginning


class _Begun(NamedTuple):
    """A beginning: how likely with a gap at its end, and with its last letter there."""

    gap: float
    said: float
    place: LetterPlace

    @property
    def chance(self) -> float:
        """How likely it is, both ways."""
        return self.gap + self.said


_Beginnings: TypeAlias = "dict[str, _Begun]"


class Spelled(NamedTuple):
    """What a search found.

    Attributes:
        sentences: those that the letters agree with best, likeliest first.
        likeliest: the likeliest text of all, a sentence or the beginning of one.
    """

    sentences: list[str]
    likeliest: str


def spelled(letters: Letters, start: LetterPlace, *, beam: int = _BEAM) -> Spelled:
    """Return the sentences that the letters agree with best, at most `beam`.

    Args:
        letters: what the speller heard.
        start: the grammar's first place.
        beam: how many beginnings are carried on at a time.
    """
    chances = np.maximum(np.exp(letters.log_probs.astype(np.float64)), _LEAST_CHANCE)
    begun: _Beginnings = {"": _Begun(1.0, 0.0, start)}
    for chance in chances.tolist():
        if chance[NONE] > _SURE_OF_NONE:
            begun = _waited(begun, chance)
        else:
            begun = _gone_on(begun, chance, beam)
        total = sum(each.chance for each in begun.values())
        begun = {
            text: _Begun(each.gap / total, each.said / total, each.place)
            for text, each in begun.items()
        }
    ranked = sorted(begun.items(), key=lambda item: -item[1].chance)
    return Spelled([text for text, each in ranked if each.place.is_sentence], ranked[0][0])


def _waited(begun: _Beginnings, chance: list[float]) -> _Beginnings:
    """Take a state in which nothing new is said."""
    return {
        text: _Begun(each.chance * chance[NONE], _held(text, each, chance), each.place)
        for text, each in begun.items()
    }


def _held(text: str, each: _Begun, chance: list[float]) -> float:
    """How likely the last letter goes on sounding."""
    return each.said * chance[PLACES[text[-1]]] if text else 0.0


def _gone_on(begun: _Beginnings, chance: list[float], beam: int) -> _Beginnings:
    """Take a state in which each beginning stays as it is or gains a letter."""
    least = _HOPELESS * max(each.chance for each in begun.values())
    found: dict[str, list[float]] = {}
    places = {text: each.place for text, each in begun.items()}
    for text, each in begun.items():
        stays = found.setdefault(text, [0.0, 0.0])
        stays[0] += each.chance * chance[NONE]
        stays[1] += _held(text, each, chance)
        last = text[-1:]
        for letter, number, place in each.place.following:
            gained = (each.gap if letter == last else each.chance) * chance[number]
            if gained >= least:
                longer = text + letter
                places.setdefault(longer, place)
                found.setdefault(longer, [0.0, 0.0])[1] += gained
    ranked = sorted(found.items(), key=lambda item: -sum(item[1]))[:beam]
    return {text: _Begun(gap, said, places[text]) for text, (gap, said) in ranked}
