"""Which amount of a question is which of the sizing's inputs.

Each amount may be an input that takes its unit, or none. What speaks for an input are the words
around the amount, its unit, whether the value lies in the input's range, its place among amounts
of its kind, and which input came before: weights learnt from the marked wordings by an averaged
structured perceptron (Collins, 'Discriminative training methods for hidden Markov models', EMNLP
2002), which weighs whole assignments, so no input is given twice.
"""

from __future__ import annotations

import zlib
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from companion.language.question_model import BUCKETS

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy as np
    import numpy.typing as npt

    from companion.language.amounts import Piece
    from companion.language.question_model import Slot
    from companion.ports import Exact

MOST_AMOUNTS = 8
_BEAM = 12
_LEFT, _RIGHT = 5, 4  # how many words around an amount are looked at
_NEAR_LEFT, _NEAR_RIGHT = 4, 3  # within so many it may be called by its name
_NOUN_OF = {"horsepower": "horsepower", "horse": "horsepower", "hertz": "frequency"}
_BARE_KINDS = frozenset({"measure", "count"})


class Choice(NamedTuple):
    """What an amount may be: an input's name ('' for none), and the features that speak of it."""

    name: str
    features: tuple[int, ...]


class Filled(NamedTuple):
    """An assignment: how much speaks for it, and each amount's input ('' for none), in order."""

    score: float
    names: tuple[str, ...]


@lru_cache(maxsize=200_000)
def bucket(feature: str) -> int:
    """Return the place of a feature's weight."""
    return zlib.crc32(feature.encode()) % BUCKETS


def choices(sizing: str, slots: Sequence[Slot], said: Sequence[Piece]) -> list[list[Choice]]:
    """Return for each amount (the first `MOST_AMOUNTS`) what it may be.

    Args:
        sizing: the sizing's slug.
        slots: its inputs.
        said: the question's pieces.
    """
    places = [at for at, piece in enumerate(said) if piece.is_amount][:MOST_AMOUNTS]
    return [
        [
            Choice(slot.name if slot else "", tuple(map(bucket, _features(sizing, slot, said, at))))
            for slot in (None, *(slot for slot in slots if takes(slot, said[at])))
        ]
        for at in places
    ]


def takes(slot: Slot, piece: Piece) -> bool:
    """Return whether an amount may be the input, by its unit or, of an option, by its value."""
    if piece.noun and _NOUN_OF.get(piece.noun) != slot.name:
        return False
    if slot.options:
        return option_of(slot, piece) != ""
    if isinstance(piece.value, str) or not slot.ranges:
        return False
    if piece.units:
        return any(unit in piece.units for _, _, unit in slot.ranges)
    return slot.kind in _BARE_KINDS


def option_of(slot: Slot, piece: Piece) -> str:
    """Return the value of the option that an amount is, '' where it is none."""
    units = {"gauge": {"gauge"}, "trade size": {"in"}}.get(slot.kind)
    if piece.units and units is not None and not units.intersection(piece.units):
        return ""
    if isinstance(piece.value, str):
        return piece.value if any(value == piece.value for value, _ in slot.options) else ""
    numbers = ((value, _as_number(value)) for value, _ in slot.options)
    return next((value for value, number in numbers if number == piece.value), "")


@lru_cache(maxsize=4096)
def _as_number(value: str) -> Fraction | None:
    """Return the number that an option's value is: '24', '1-1/4'; None for '2/0' and words."""
    if value.endswith("/0"):
        return None
    whole, _, part = value.rpartition("-")
    try:
        return Fraction(whole or 0) + Fraction(part)
    except ValueError:
        return None


def _features(sizing: str, slot: Slot | None, said: Sequence[Piece], at: int) -> Iterator[str]:
    """Yield what speaks of an amount being an input, or none."""
    name = slot.name if slot else ""
    left, right = _around(said, at)
    for feature in _context(said, at, left, right):
        yield f"{sizing}|{name}|{feature}"
        yield f"{name}|{feature}"
    with_unit = "unit" if said[at].units else "bare"
    if slot is None:
        yield f"none {with_unit}"
        return
    for way, words in (("left", left[:_NEAR_LEFT]), ("right", right[:_NEAR_RIGHT])):
        for far, word in enumerate(words):
            if word in slot.key:
                yield f"called {way}"
                yield f"called {way} {far}"
    if slot.ranges:
        fits = "in" if is_in_range(slot, said[at]) else "out"
        yield fits
        yield f"{fits} {with_unit}"
    else:
        yield f"option {with_unit}"


def _around(said: Sequence[Piece], at: int) -> tuple[list[str], list[str]]:
    """Return the words left and right of an amount, nearest first, up to the next amount."""
    sides = (
        reversed(said[max(0, at - _LEFT) : at]),
        said[at + 1 : at + 1 + _RIGHT],
    )
    found: tuple[list[str], list[str]] = ([], [])
    for words, side in zip(found, sides, strict=True):
        for piece in side:
            if piece.is_amount:
                break
            words.append(piece.mark)
    return found


def _context(
    said: Sequence[Piece], at: int, left: Sequence[str], right: Sequence[str]
) -> Iterator[str]:
    marks = ["<", "<", *(piece.mark for piece in said), ">", ">"]
    here = at + 2
    unit = said[at].mark
    alike = [place for place, piece in enumerate(said) if piece.mark == unit]
    yield f"l1 {marks[here - 1]}"
    yield f"l2 {marks[here - 2]} {marks[here - 1]}"
    yield f"l3 {marks[here - 2]}"
    yield f"r1 {marks[here + 1]}"
    yield f"r2 {marks[here + 1]} {marks[here + 2]}"
    yield f"r3 {marks[here + 2]}"
    yield f"unit {unit}"
    yield f"place {alike.index(at)}"
    yield f"place {alike.index(at)} of {len(alike)}"
    yield from (f"left {word}" for word in left)
    yield from (f"right {word}" for word in right)


def is_in_range(slot: Slot, piece: Piece) -> bool:
    """Return whether an amount lies in a range of a measured input."""
    if piece.value is None or isinstance(piece.value, str):
        return False
    value = _decimal(piece.value)
    ranges = slot.ranges if piece.units else slot.ranges[:1]
    return any(
        low <= value <= high for low, high, unit in ranges if not piece.units or unit in piece.units
    )


def _decimal(value: Exact) -> Decimal:
    if isinstance(value, Fraction):
        return Decimal(value.numerator) / Decimal(value.denominator)
    return value


def between(sizing: str, before: str, name: str) -> tuple[int, int]:
    """Return the features of an input that follows another ('^' at the beginning)."""
    return bucket(f"{sizing}>{before}>{name}"), bucket(f">{before}>{name}")


def assignments(
    sizing: str,
    slots: Sequence[Slot],
    offered: Sequence[Sequence[Choice]],
    weights: npt.NDArray[np.float32] | Sequence[float],
) -> list[Filled]:
    """Return the likeliest assignments of amounts to inputs, best first; never none.

    Args:
        sizing: the sizing's slug.
        slots: its inputs.
        offered: what `choices` gives.
        weights: by bucket.
    """
    several = {slot.name for slot in slots if slot.many}
    found = [Filled(0.0, ())]
    for choice_list in offered:
        scored = [
            (choice.name, sum(float(weights[at]) for at in choice.features))
            for choice in choice_list
        ]
        longer: list[Filled] = []
        for filled in found:
            before = next((name for name in reversed(filled.names) if name), "^")
            for name, score in scored:
                if name and name in filled.names and name not in several:
                    continue
                follows = sum(float(weights[at]) for at in between(sizing, before, name))
                longer.append(Filled(filled.score + score + follows, (*filled.names, name)))
        found = sorted(longer, key=lambda filled: -filled.score)[:_BEAM]
    return found


def named_options(
    slots: Sequence[Slot], words: Sequence[str], taken: frozenset[str]
) -> dict[str, str]:
    """Return the options that are named by a phrase, the longest phrase first.

    Args:
        slots: the sizing's inputs.
        words: the question's words.
        taken: inputs that are given already.
    """
    found: dict[str, str] = {}
    for slot in slots:
        if slot.name in taken:
            continue
        named = [
            (len(phrase), value)
            for value, phrases in slot.options
            for phrase in phrases
            if _holds(words, phrase)
        ]
        if named:
            found[slot.name] = max(named)[1]
    return found


def _holds(words: Sequence[str], phrase: Sequence[str]) -> bool:
    length = len(phrase)
    return any(
        tuple(words[at : at + length]) == tuple(phrase) for at in range(len(words) - length + 1)
    )
