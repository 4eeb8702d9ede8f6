"""What a sentence can mean. A candidate is a meaning with its match."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.ports import Exact


# Commands that silence or take something back: never made harder to say, nor answered later.
TAKING_BACK = frozenset({"strike-that", "thats-wrong", "never-mind", "quiet"})


@dataclass(frozen=True, slots=True)
class Measure:
    """A number as said, with the unit slug said beside it, or None where it was left out."""

    value: Exact
    unit: str | None


@dataclass(frozen=True, slots=True)
class Emergency:
    """Words that drop everything; `hazard` is 'gas', 'shock', 'co', 'fire' or 'hurt'."""

    hazard: str


@dataclass(frozen=True, slots=True)
class Command:
    """A command by the name of its grammar rule ('done', 'repeat', 'strike-that')."""

    name: str
    point: str = ""  # 'recall' names a test point


@dataclass(frozen=True, slots=True)
class Reading:
    """A reading: `measure` is None for the two words below; `point` is '' where left out.

    `special` is 'over limit' (the meter's "O L") or 'open'; else ''.
    """

    point: str
    measure: Measure | None
    special: str = ""


@dataclass(frozen=True, slots=True)
class Correction:
    """'Make it one ninety': the last reading's value, said anew."""

    measure: Measure


@dataclass(frozen=True, slots=True)
class Choice:
    """An option of the choice that is open."""

    choice: str
    option: str


@dataclass(frozen=True, slots=True)
class Value:
    """A bare answer to what was asked: a measure, or a word ('yes', 'no', a trade size)."""

    measure: Measure | None
    word: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """A sizing question: the sizing's slug and the inputs as said, by input name.

    A slot holds a `Measure`, or a word where the input is a word ('aluminum', 'continuous'). A
    list input ('eighteen VA and nine VA') holds several measures. `loosely`: its words are no
    sentence of the grammar, it was understood by what is in it.
    """

    sizing: str
    inputs: Mapping[str, Measure | str | tuple[Measure, ...]] = field(default_factory=dict)
    loosely: bool = field(default=False, compare=False)


@dataclass(frozen=True, slots=True)
class Change:
    """'What about ninety feet': the last question again with one thing changed."""

    measure: Measure


@dataclass(frozen=True, slots=True)
class TimerFor:
    """'Call the ten minutes of steady running': a length of time, and what it is of, or ''."""

    measure: Measure
    name: str = ""


@dataclass(frozen=True, slots=True)
class Talk:
    """A word of everyday talk that sounds like a short command: not for the companion."""


Meaning: TypeAlias = (
    Emergency
    | Command
    | Reading
    | Correction
    | Choice
    | Value
    | Question
    | Change
    | TimerFor
    | Talk
)


@dataclass(frozen=True, slots=True)
class Candidate:
    """A meaning with the words it came from and how well the sound agrees with them."""

    meaning: Meaning
    words: tuple[str, ...]
    match: float
    log_prob: float
