"""A sizing question in words that no grammar foresees.

What asks for which sizing, and where its inputs stand, was learnt from questions as people word
them (`question_model.py`). The likeliest sizings are looked at with the amounts that were said: an
amount that a sizing has no input for speaks against it. Where it is not clear which sizing is
meant, or whether it is a question at all (`asking_form.py`), nothing is understood; where it is not
clear which input an amount is, it is asked for (`inputs_said.py`).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from companion.language.amounts import pieces
from companion.language.asking_form import asks_whether_safe, needed_lead
from companion.language.filling import (
    MOST_AMOUNTS,
    Filled,
    assignments,
    choices,
)
from companion.language.inputs_said import inputs_said
from companion.language.meanings import Measure, Question
from companion.language.question_model import NO_QUESTION, packaged_model
from companion.language.subjects import features, weighed

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.language.amounts import Piece
    from companion.language.question_model import QuestionModel

_SURE = 0.35  # from this chance on a sizing is taken for the one of all sizings that is meant
_LOOKED_AT = 6  # of the likeliest sizings
_HAS_NO_PLACE_NATS = 4.0  # what an amount speaks against a sizing without an input of its unit
_LEFT_OVER_NATS = 1.0  # what an amount that is no input after all speaks against it
_FEWEST_WORDS = 5
_MOST_WORDS = 60  # of a typed line; a breath holds some thirty
_FEWEST_TYPED, _TYPED_LEAD, _TYPED_SURE = 3, -1.5, 0.30  # where it is known that it asks


class Likeliest(NamedTuple):
    """What words most likely ask for.

    Attributes:
        sizing: its slug.
        chance: that it is this one of all sizings, 0 to 1.
        lead: how much likelier it is than talk, in nats.
        given: its inputs as said; None where an amount would go unheeded.
    """

    sizing: str
    chance: float
    lead: float
    given: Mapping[str, Measure | str | tuple[Measure, ...]] | None


def question(
    words: Sequence[str], model: QuestionModel | None = None, *, is_one: bool = False
) -> Question | None:
    """Return the sizing question that the words most likely are, None where that is not clear.

    Args:
        words: in word form, any words.
        model: another than the packaged one.
        is_one: whether it is known that a question is asked; else it may be talk.
    """
    fewest = _FEWEST_TYPED if is_one else _FEWEST_WORDS
    if not fewest <= len(words) <= _MOST_WORDS or asks_whether_safe(words):
        return None
    said = pieces(list(words))
    found = likeliest(words, said, model or packaged_model())
    lead, chance = (_TYPED_LEAD, _TYPED_SURE) if is_one else (needed_lead(words, said), _SURE)
    if found.given is None or found.lead < lead or found.chance < chance:
        return None
    if not (is_one or found.given):
        return None  # at work something must have been said that it can work with
    return Question(found.sizing, found.given, loosely=True)


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
    given = inputs_said(words, said, model.slots[slug], filled)
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
