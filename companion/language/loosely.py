"""A sizing question in words that no grammar foresees.

What asks for which sizing, and where its inputs stand, was learnt from questions as people word
them (`question_model.py`). The likeliest sizings are looked at with the amounts that were said: an
amount that a sizing has no input for speaks against it. Where it is not clear which sizing is
meant, or whether it is a question at all, nothing is understood; where it is not clear which input
an amount is, the amount is left out, and so it is asked for.
"""

from __future__ import annotations

import math
from collections import defaultdict
from itertools import pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from companion.language.amounts import pieces
from companion.language.filling import (
    MOST_AMOUNTS,
    Filled,
    assignments,
    choices,
    is_in_range,
    named_options,
    option_of,
)
from companion.language.meanings import Measure, Question
from companion.language.question_model import NO_QUESTION, packaged_model
from companion.language.subjects import features, weighed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.language.amounts import Piece
    from companion.language.question_model import QuestionModel, Slot

# Set on a share of the wordings that the rest was learnt without; `bench wordings` shows what it
# comes to. Of 1,368, inputs were wrong in 70 with _UNSURE 0, in 64 with 2, 37 with 10, 19 with 20;
# one was left out, and so is asked for, in 94, 107, 161, 236.
_SURE = 0.35  # from this chance on a sizing is taken for the one of all sizings that is meant
_LOOKED_AT = 6  # of the likeliest sizings
_HAS_NO_PLACE_NATS = 4.0  # what an amount speaks against a sizing without an input of its unit
_LEFT_OVER_NATS = 1.0  # what an amount that is no input after all speaks against it
_UNSURE = 10.0  # an assignment so near the best one makes both doubtful

# How far a question must lead over talk. Set on 1.4 hours of remarks, half full of the words of
# questions: of 27 that were answered with a lead of 0 and nothing else, one is left.
_ASKED_LEAD = 0.3  # with a word of asking and an amount
_NO_AMOUNT_LEAD = 1.5  # with a word of asking alone
_TOLD_LEAD = 0.5  # without one: amounts, at least two, one of them with its unit
_FEWEST_WORDS = 5
_FEWEST_TYPED, _TYPED_LEAD, _TYPED_SURE = 3, -1.5, 0.30  # where it is known that it asks
_ASKING = frozenset(
    {"what", "what's", "how", "how's", "which", "will", "is", "are", "can", "do", "does", "did"}
    | {"should", "would", "could", "where", "where's", "when", "need", "figure", "convert"}
)
_WHETHER_SAFE = frozenset(
    {("is", "it", "safe"), ("is", "this", "safe"), ("is", "that", "safe"), ("safe", "to")}
    | {("am", "i", "safe"), ("can", "i", "safely")}
)
_ASKING_PAIRS = frozenset(
    {("give", "me"), ("tell", "me"), ("size", "me"), ("run", "me"), ("am", "i")}
    | {("work", "out"), ("check", "my")}
)


class Likeliest(NamedTuple):
    """What words most likely ask for.

    Attributes:
        sizing: its slug.
        chance: that it is this one of all sizings, 0 to 1.
        lead: how much likelier it is than talk, in nats.
        given: its inputs as said.
    """

    sizing: str
    chance: float
    lead: float
    given: Mapping[str, Measure | str | tuple[Measure, ...]]


def question(
    words: Sequence[str], model: QuestionModel | None = None, *, is_one: bool = False
) -> Question | None:
    """Return the sizing question that the words most likely are, None where that is not clear.

    Args:
        words: in word form, any words.
        model: another than the packaged one.
        is_one: whether it is known that a question is asked; else it may be talk.
    """
    if len(words) < (_FEWEST_TYPED if is_one else _FEWEST_WORDS) or asks_whether_safe(words):
        return None
    said = pieces(list(words))
    found = likeliest(words, said, model or packaged_model())
    if is_one:
        clear = found.lead >= _TYPED_LEAD and found.chance >= _TYPED_SURE
    else:
        clear = found.lead >= _needed_lead(words, said) and found.chance >= _SURE
    return Question(found.sizing, found.given, loosely=True) if clear else None


def asks_whether_safe(words: Sequence[str]) -> bool:
    """Return whether the words ask if something is safe: there is no verdict on that.

    >>> asks_whether_safe("is it safe to run twenty amps on fourteen gauge".split())
    True
    """
    runs = {tuple(words[at : at + len(run)]) for run in _WHETHER_SAFE for at in range(len(words))}
    return not _WHETHER_SAFE.isdisjoint(runs)


def _needed_lead(words: Sequence[str], said: Sequence[Piece]) -> float:
    """Return how far a question must lead over talk, by what it has of one."""
    amounts = [piece for piece in said if piece.is_amount]
    if not _ASKING.isdisjoint(words) or not _ASKING_PAIRS.isdisjoint(pairwise(words)):
        return _ASKED_LEAD if amounts else _NO_AMOUNT_LEAD
    is_told = len(amounts) > 1 and any(piece.units for piece in amounts)
    return _TOLD_LEAD if is_told else math.inf


def likeliest(words: Sequence[str], said: Sequence[Piece], model: QuestionModel) -> Likeliest:
    """Return what the words most likely ask for.

    Args:
        words: in word form.
        said: their pieces.
        model: what was learnt.
    """
    speaks = weighed(model, features(said))
    talk = model.subjects.index(NO_QUESTION)
    order = [int(at) for at in np.argsort(-speaks, kind="stable") if at != talk]
    found: list[tuple[float, str, list[Filled]]] = []
    for at in order[:_LOOKED_AT]:
        slug = model.subjects[at]
        against, filled = _filled(slug, said, model)
        found.append((float(speaks[at]) - against, slug, filled))
    found.sort(key=lambda each: -each[0])
    best, slug, filled = found[0]
    chance = 1.0 / sum(math.exp(score - best) for score, _, _ in found)
    given = _given(words, said, model.slots[slug], filled)
    return Likeliest(slug, chance, best - float(speaks[talk]), given)


def _filled(slug: str, said: Sequence[Piece], model: QuestionModel) -> tuple[float, list[Filled]]:
    """Return what the amounts speak against a sizing, in nats, and how they may be its inputs."""
    slots = model.slots[slug]
    offered = choices(slug, slots, said)
    filled = assignments(slug, slots, offered, model.filling)
    amounts = [piece for piece in said if piece.is_amount][:MOST_AMOUNTS]
    against = 0.0
    for piece, choice_list, name in zip(amounts, offered, filled[0].names, strict=True):
        if piece.units and not name:
            against += _LEFT_OVER_NATS + (_HAS_NO_PLACE_NATS if len(choice_list) == 1 else 0.0)
    return against, filled


def _given(
    words: Sequence[str], said: Sequence[Piece], slots: Sequence[Slot], filled: Sequence[Filled]
) -> Mapping[str, Measure | str | tuple[Measure, ...]]:
    by_name = {slot.name: slot for slot in slots}
    amounts = [piece for piece in said if piece.is_amount][:MOST_AMOUNTS]
    found: dict[str, list[Measure | str]] = defaultdict(list)
    for piece, name in zip(amounts, _sure_names(filled), strict=True):
        if name and _is_plain(by_name[name], piece, amounts):
            found[name].append(_value(by_name[name], piece))
    given: dict[str, Measure | str | tuple[Measure, ...]] = {}
    for name, values in found.items():
        measures = tuple(value for value in values if isinstance(value, Measure))
        given[name] = values[0] if len(values) == 1 else measures
    free = list(words)
    for piece in amounts:
        free[piece.start : piece.end] = [""] * (piece.end - piece.start)
    return given | named_options(slots, free, frozenset(given))


def _sure_names(filled: Sequence[Filled]) -> tuple[str, ...]:
    """Return each amount's input, '' where another assignment comes near that has it otherwise."""
    best = filled[0]
    near = [other for other in filled[1:] if best.score - other.score < _UNSURE]
    return tuple(
        name if all(other.names[at] == name for other in near) else ""
        for at, name in enumerate(best.names)
    )


def _is_plain(slot: Slot, piece: Piece, amounts: Sequence[Piece]) -> bool:
    """Return whether a number is sure to be what was said.

    Numbers that follow one another without a word between may be cut elsewhere ("six forty seven
    hundred"), and so may one without a unit that no range of the input holds.
    """
    if piece.units:
        return True
    touching = any(
        other.end == piece.start or (other.start == piece.end and not other.units)
        for other in amounts
    )
    return not touching and (bool(slot.options) or is_in_range(slot, piece))


def _value(slot: Slot, piece: Piece) -> Measure | str:
    """Return an amount as the input has it: a measure, or the option that it is."""
    value = piece.value
    if isinstance(value, str) or value is None:
        return option_of(slot, piece)
    if slot.options and slot.kind != "gauge":
        return option_of(slot, piece)
    unit = next((unit for _, _, unit in slot.ranges if unit in piece.units), None)
    return Measure(value, unit)
