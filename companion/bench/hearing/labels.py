"""A meaning in one short line, and the rule of the grammars that it comes from.

A label is 'commands.done', 'readings.bare 0.45', 'readings.reading supply-static 0.45 inH2O',
'choices.danger none', 'questions.low-voltage-gauge length=60 ft load=1/2 A': what a corpus writes
down as the expected meaning of words, and what two meanings can be compared by.
"""

from __future__ import annotations

import re
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.language.library import packaged_library
from companion.language.meanings import (
    Change,
    Choice,
    Command,
    Correction,
    Emergency,
    Measure,
    Question,
    Reading,
    Talk,
    TimerFor,
    Value,
)

if TYPE_CHECKING:
    from companion.language.meanings import Meaning

NOTHING = "nothing"


def public_rules() -> tuple[str, ...]:
    """Return every public rule of the packaged grammars: 'commands.done', 'units.V'.

    Not those of everyday talk: nobody says it to the companion.
    """
    files = packaged_library().files.values()
    return tuple(
        f"{_subject(file.name)}.{rule.name}"
        for file in files
        for rule in file.public
        if file.name != "companion.everyday"
    )


def _subject(grammar: str) -> str:
    """Return what a grammar is about: the questions stand in several files."""
    name = grammar.removeprefix("companion.")
    return "questions" if name.startswith("questions-") else name


def rule_of(meaning: Meaning) -> str:  # noqa: C901, PLR0911, PLR0912 - one return for each kind of meaning
    """Return the rule that a meaning comes from; for an option, 'choices.' and its choice."""
    match meaning:
        case Emergency(hazard):
            return f"emergency.{hazard}"
        case Command("recall"):
            return "readings.recall"
        case Command(name):
            return f"commands.{name}"
        case Reading(point):
            return "readings.reading" if point else "readings.bare"
        case Correction():
            return "readings.correction"
        case Change():
            return "readings.change"
        case Choice(choice):
            return f"choices.{choice}"
        case Value(None, word) if word not in {"yes", "no"}:
            return "readings.size-answer"
        case Value(None, word):
            return f"commands.{word}"
        case Value():
            return "readings.answer"
        case Question(slug):
            return f"questions.{slug}"
        case TimerFor():
            return "readings.set-timer"
        case Talk():
            return "everyday.talk"


def label(meaning: Meaning) -> str:
    """Return a meaning in one short line: its rule and what it names.

    >>> from decimal import Decimal
    >>> label(Reading("supply-static", Measure(Decimal("0.45"), "inH2O")))
    'readings.reading supply-static 0.45 inH2O'
    """
    return " ".join(part for part in (rule_of(meaning), _named(meaning)) if part)


def _named(meaning: Meaning) -> str:  # noqa: PLR0911 - one return for each kind of meaning
    match meaning:
        case Command(_, point):
            return point
        case Reading(point, measure, special):
            return f"{point} {_measured(measure) or special}".strip()
        case Correction(measure) | Change(measure) | Value(measure, _) if measure:
            return _measured(measure)
        case TimerFor(measure, name):
            return f"{_measured(measure)} {name}".strip()
        case Choice(_, option):
            return option
        case Value(_, word) if word not in {"yes", "no"}:
            return word
        case Question(_, inputs):
            return " ".join(f"{name}={_given(inputs[name])}" for name in sorted(inputs))
        case _:
            return ""


def _given(said: Measure | str | tuple[Measure, ...]) -> str:
    if isinstance(said, tuple):
        return "+".join(_measured(each) for each in said)
    return said if isinstance(said, str) else _measured(said)


def _measured(measure: Measure | None) -> str:
    if measure is None:
        return ""
    return f"{measure.value} {measure.unit or ''}".strip()


def inputs_apart(wanted: str, found: str) -> tuple[list[str], list[str]]:
    """Return the inputs of a question's label that another lacks, and those it has beyond.

    Numbers are compared by value; a unit may be left out by either; the order does not matter.

    >>> inputs_apart("questions.blank-size lap=0.5 in width=8", "questions.blank-size width=8 in")
    (['lap=0.5 in'], [])
    """
    added = _inputs(found)
    missing: list[str] = []
    for text in _inputs(wanted):
        same = next((each for each in added if _is_same_input(text, each)), None)
        if same is None:
            missing.append(text)
        else:
            added.remove(same)
    return missing, added


def _inputs(text: str) -> list[str]:
    """Return each input of a label by itself, a list input's values too."""
    _, *given = re.split(r" (?=[a-z-]+=)", text)
    return [
        f"{each.partition('=')[0]}={value}"
        for each in given
        for value in each.partition("=")[2].split("+")
    ]


def _is_same_input(one: str, other: str) -> bool:
    (name, _, value), (other_name, _, other_value) = one.partition("="), other.partition("=")
    number, _, unit = value.partition(" ")
    other_number, _, other_unit = other_value.partition(" ")
    if name != other_name or (unit and other_unit and unit != other_unit):
        return False
    return number == other_number or (
        _number(number) is not None and _number(number) == _number(other_number)
    )


def _number(text: str) -> Fraction | None:
    whole, _, part = text.rpartition("-")
    try:
        return Fraction(whole or 0) + Fraction(part)
    except (ValueError, ZeroDivisionError):
        return None
