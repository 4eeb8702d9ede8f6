"""What a matched sentence captured, as measures and words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.errors import NotANumberError
from companion.language.matching import Captures, Slot, Span, Word
from companion.language.meanings import Measure
from companion.numbers import parse

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.ports import Exact

_NUMBERS, _UNITS = "companion.numbers.", "companion.units."


def measure(words: Sequence[str], inside: Captures) -> Measure | None:
    """Return the number captured and the unit beside it; None where there is no number."""
    found = measures(words, inside)
    return found[0] if found else None


def measures(words: Sequence[str], inside: Captures) -> tuple[Measure, ...]:
    """Return every number captured, each with the unit that follows it, if one does."""
    spans = [capture for capture in inside if isinstance(capture, Span)]
    found: list[Measure] = []
    for at, span in enumerate(spans):
        if not span.rule.startswith(_NUMBERS):
            continue
        value = _number(words[span.start : span.end])
        if value is None:
            return ()
        after = spans[at + 1].rule if at + 1 < len(spans) else ""
        unit = after.removeprefix(_UNITS) if after.startswith(_UNITS) else None
        found.append(Measure(value, unit))
    return tuple(found)


def _number(words: Sequence[str]) -> Exact | None:
    try:
        return parse(words)
    except NotANumberError:
        return None


def inputs(
    words: Sequence[str], captures: Captures
) -> Mapping[str, Measure | str | tuple[Measure, ...]] | None:
    """Return a question's inputs by name; None where a slot's number is none after all."""
    given: dict[str, list[Measure | str]] = {}
    for capture in captures:
        match capture:
            case Slot(name):
                values = _slot_values(words, capture)
                if not values:
                    return None
                given.setdefault(name, []).extend(values)
            case Word(name, value):
                given.setdefault(name, []).append(value)
            case Span():
                pass
    return {name: _one_or_list(values) for name, values in given.items()}


def _slot_values(words: Sequence[str], slot: Slot) -> Sequence[Measure | str]:
    """Return the measures in a slot; its words as a number or as they are where it has none."""
    if any(isinstance(c, Span) and c.rule.startswith(_NUMBERS) for c in slot.inside):
        return measures(words, slot.inside)
    said = words[slot.start : slot.end]
    value = _number(said)
    return (Measure(value, None),) if value is not None else (" ".join(said),)


def _one_or_list(values: list[Measure | str]) -> Measure | str | tuple[Measure, ...]:
    """A tag said once is one value, a repeated one a list; of repeated words the last stands."""
    if len(values) == 1:
        return values[0]
    several = tuple(value for value in values if isinstance(value, Measure))
    return several if len(several) == len(values) else values[-1]


def slot_text(words: Sequence[str], captures: Captures, name: str) -> str:
    """Return the words that a slot captured, '' where it was not said."""
    for capture in captures:
        if isinstance(capture, Slot) and capture.name == name:
            return " ".join(words[capture.start : capture.end])
    return ""


def word_value(captures: Captures, name: str) -> str:
    """Return the value of a `{name=value}` tag, '' where it was not said."""
    for capture in captures:
        if isinstance(capture, Word) and capture.name == name:
            return capture.value
    return ""
