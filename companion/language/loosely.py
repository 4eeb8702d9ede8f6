"""A sizing question in words that no grammar foresees.

What asks for which sizing, and where its inputs stand, was learnt from questions as people word
them (`question_model.py`). The likeliest sizings are looked at with the amounts that were said: an
amount that a sizing has no input for speaks against it. Where it is not clear which sizing is
meant, or whether it is a question at all, nothing is understood; where it is not clear which input
an amount is, the amount is left out, and so it is asked for.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

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

# Set on a share of the wordings that the rest was learnt without; `bench wordings` shows what it comes
# to. Of 1,368, inputs were wrong in 70 with _UNSURE 0, in 64 with 2, 37 with 10, 19 with 20; one was
# left out, and so is asked for, in 94, 107, 161, 236.
SURE = 0.45  # from this chance on a sizing is taken for the one that is meant
SURE_OF_A_QUESTION = 0.30  # the same where it is known to be a question
_FEWEST_WORDS = 3  # what is shorter is a command, or talk
_LOOKED_AT = 6  # of the likeliest sizings
_HAS_NO_PLACE_NATS = 4.0  # what an amount speaks against a sizing without an input of its unit
_LEFT_OVER_NATS = 1.0  # what an amount that is no input after all speaks against it
_ASKED_FOR_NATS = 1.5  # what it speaks against talk that something is asked for sure
_UNSURE = 10.0  # an assignment so near the best one makes both doubtful


def question(
    words: Sequence[str], model: QuestionModel | None = None, *, is_one: bool = False
) -> Question | None:
    """Return the sizing question that the words most likely are, None where that is not clear.

    Args:
        words: in word form, any words.
        model: another than the packaged one.
        is_one: whether it is known that a question is asked; else it may be talk.
    """
    if len(words) < _FEWEST_WORDS:
        return None
    model = model or packaged_model()
    sizing, chance, given = likeliest(words, model, is_one=is_one)
    needed = SURE_OF_A_QUESTION if is_one else SURE
    if sizing == NO_QUESTION or chance < needed:
        return None
    return Question(sizing, given, loosely=True)


def likeliest(
    words: Sequence[str], model: QuestionModel, *, is_one: bool = False
) -> tuple[str, float, Mapping[str, Measure | str | tuple[Measure, ...]]]:
    """Return the likeliest sizing, its chance, and its inputs as said.

    Args:
        words: in word form.
        model: what was learnt.
        is_one: whether it is known that a question is asked.
    """
    said = pieces(list(words))
    speaks = weighed(model, features(said))
    if is_one:
        speaks[model.subjects.index(NO_QUESTION)] -= _ASKED_FOR_NATS
    found: list[tuple[float, str, list[Filled]]] = []
    for at in np.argsort(-speaks, kind="stable")[:_LOOKED_AT]:
        slug = model.subjects[int(at)]
        against, filled = _filled(slug, said, model)
        found.append((float(speaks[at]) - against, slug, filled))
    found.sort(key=lambda each: -each[0])
    best, slug, filled = found[0]
    chance = 1.0 / sum(float(np.exp(score - best)) for score, _, _ in found)
    if slug == NO_QUESTION:
        return slug, chance, {}
    return slug, chance, _given(words, said, model.slots[slug], filled)


def _filled(slug: str, said: Sequence[Piece], model: QuestionModel) -> tuple[float, list[Filled]]:
    """Return what the amounts speak against a sizing, in nats, and how they may be its inputs."""
    if slug == NO_QUESTION:
        return 0.0, []
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
