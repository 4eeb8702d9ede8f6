"""The inputs of a question in words of its own: only what is sure, and all of it or nothing.

An amount that may be one of two inputs, that another runs into, or that is taken back is left out
where it is then asked for. Where nothing would ask for it, the question is not understood: it would
be answered as if the amount had not been said.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from typing import TYPE_CHECKING

from companion.language.filling import (
    MOST_AMOUNTS,
    Filled,
    is_in_range,
    named_options,
    option_of,
    takes,
)
from companion.language.meanings import Measure

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.language.amounts import Piece
    from companion.language.question_model import Slot

    Inputs = Mapping[str, Measure | str | tuple[Measure, ...]]

# Set on a share of the wordings that the rest was learnt without; `bench wordings` shows what it
# comes to. Of 1,368, inputs were wrong in 70 with 0, in 64 with 2, 37 with 10, 19 with 20; one was
# left out in 94, 107, 161, 236.
_UNSURE = 10.0  # an assignment so near the best one makes both doubtful
_TAKING_BACK = frozenset({"or", "no", "not", "sorry", "rather", "mean", "meant", "instead"})
_NEAR = 3  # within so many words of an amount


def inputs_said(
    words: Sequence[str], said: Sequence[Piece], slots: Sequence[Slot], filled: Sequence[Filled]
) -> Inputs | None:
    """Return the inputs by name; None where something said would go unheeded.

    Args:
        words: the question in word form.
        said: its pieces.
        slots: the sizing's inputs.
        filled: the likeliest assignments of the amounts, best first.
    """
    amounts = [piece for piece in said if piece.is_amount]
    if len(amounts) > MOST_AMOUNTS or _denies_an_option(words, slots):
        return None
    by_name = {slot.name: slot for slot in slots}
    found: dict[str, list[Measure | str]] = defaultdict(list)
    left_out: list[Piece] = []
    for piece, name in zip(amounts, _sure_names(filled), strict=True):
        if name and _is_plain(by_name[name], piece, slots, words, amounts):
            found[name].append(_value(by_name[name], piece))
        else:
            left_out.append(piece)
    given: dict[str, Measure | str | tuple[Measure, ...]] = {}
    for name, values in found.items():
        measures = tuple(value for value in values if isinstance(value, Measure))
        given[name] = values[0] if len(values) == 1 else measures
    free = list(words)
    for piece in amounts:
        free[piece.start : piece.end] = [""] * (piece.end - piece.start)
    given |= named_options(slots, free, frozenset(given))
    for at, piece in enumerate(amounts):
        if piece in left_out and _goes_unheeded(piece, slots, given, _may_be(filled, at)):
            return None
    return given


def _goes_unheeded(
    piece: Piece, slots: Sequence[Slot], given: Inputs, names: frozenset[str]
) -> bool:
    """Return whether an amount that was left out would be passed over in silence.

    Not where an input that it may be is asked for. What is surely none is passed over where it is a
    bare number ("which one", "twenty four seven") or no input has its unit.
    """
    may_be = names or {slot.name for slot in slots if takes(slot, replace(piece, noun=""))}
    is_asked_for = any(
        slot.is_asked_for and slot.unless.isdisjoint(given)
        for slot in slots
        if slot.name in may_be and slot.name not in given
    )
    if names or piece.noun:
        return bool(may_be) and not is_asked_for
    return bool(piece.units) and bool(may_be)


def _may_be(filled: Sequence[Filled], at: int) -> frozenset[str]:
    """Return the inputs that an amount may be, by the best assignment and those near it."""
    near = [each for each in filled if filled[0].score - each.score < _UNSURE]
    return frozenset(each.names[at] for each in near) - {""}


def _sure_names(filled: Sequence[Filled]) -> tuple[str, ...]:
    """Return each amount's input, '' where another assignment comes near that has it otherwise."""
    best = filled[0]
    near = [other for other in filled[1:] if best.score - other.score < _UNSURE]
    return tuple(
        name if all(other.names[at] == name for other in near) else ""
        for at, name in enumerate(best.names)
    )


def _is_plain(
    slot: Slot,
    piece: Piece,
    slots: Sequence[Slot],
    words: Sequence[str],
    amounts: Sequence[Piece],
) -> bool:
    """Return whether a number is sure to be what was said.

    Numbers that follow one another without a word between may be cut elsewhere ("six forty seven
    hundred"), one without a unit that no range of the input holds may be another thing, and of two
    with "or", "no" or "sorry" between them one is not meant.
    """
    if _is_one_of_many(slot, piece, slots):
        return False
    if piece.is_odd or (not piece.units and slot.ranges and not is_in_range(slot, piece)):
        return False
    for other in amounts:
        first, second = (other, piece) if other.start < piece.start else (piece, other)
        if first is second:
            continue
        between = words[first.end : second.start]
        if not between and not first.units:
            return False
        if len(between) <= _NEAR and not _TAKING_BACK.isdisjoint(between):
            return False
    return True


def _is_one_of_many(slot: Slot, piece: Piece, slots: Sequence[Slot]) -> bool:
    """Return whether an amount may as well be one of a list that another input is.

    "Forty V A, twenty V A and nine V A" are three loads; the first is not what is to carry them.
    """
    lists = (each for each in slots if each.many and each is not slot)
    return bool(piece.units) and not slot.many and any(takes(each, piece) for each in lists)


def _denies_an_option(words: Sequence[str], slots: Sequence[Slot]) -> bool:
    """Return whether two options of an input are named beside 'not', 'or' or 'instead'."""
    if _TAKING_BACK.isdisjoint(words):
        return False
    text = f" {' '.join(words)} "
    return any(
        sum(
            any(f" {' '.join(phrase)} " in text for phrase in phrases)
            for _, phrases in slot.options
        )
        > 1
        for slot in slots
    )


def _value(slot: Slot, piece: Piece) -> Measure | str:
    """Return an amount as the input has it: a measure, or the option that it is."""
    value = piece.value
    if isinstance(value, str) or value is None:
        return option_of(slot, piece)
    if slot.options and slot.kind != "gauge":
        return option_of(slot, piece)
    unit = next((unit for _, _, unit in slot.ranges if unit in piece.units), None)
    return Measure(value, unit)
