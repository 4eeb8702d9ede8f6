"""One sizing question from text: for trying out, for scripts, and for the office."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from companion import sizing
from companion.errors import MissingInputError, NotASizingError
from companion.language.amounts import pieces
from companion.language.asking_form import asks_whether_safe
from companion.language.compose import compose
from companion.language.loosely import likeliest
from companion.language.meanings import Question
from companion.language.question_model import packaged_model
from companion.language.typed import repair
from companion.ports import Scope

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

QUESTIONS = Scope("ask", commands=False)


def answered(text: str) -> dict[str, Any]:
    """Return the answer to a question in plain words, ready for JSON.

    Raises:
        NotASizingError: the text is no sizing question.
        MissingInputError: an input is missing; the message asks for it.
        SizingError: it cannot be answered as put.
    """
    asked = _question(text)
    lacking = sizing.missing(asked.sizing, asked.inputs)
    if lacking is not None:
        remedy = f"{lacking.ask} Ask again with the {lacking.spoken} in the question."
        raise MissingInputError([lacking.spoken], remedy)
    found = sizing.answer(asked.sizing, asked.inputs)
    return {
        "sizing": asked.sizing,
        "taken_as": sizing.sizings()[asked.sizing].title if asked.loosely else "",
        "spoken": found.spoken,
        "value": found.value,
        "unit": found.unit,
        "inputs": dict(found.inputs),
        "working": list(found.working),
        "assumptions": list(found.assumptions),
        "caution": found.caution,
        "sources": list(found.sources),
    }


def _question(text: str) -> Question:
    language = compose(QUESTIONS)
    words = repair(text, language)
    meanings = language.understand(words)
    question = next((each for each in meanings if isinstance(each, Question)), None)
    if question is None and asks_whether_safe(words):
        raise NotASizingError(
            f"'{text}' asks whether something is safe, and that can't be judged from here",
            "In doubt: power off, lock it, prove it dead. Ask for the figure alone.",
        )
    if question is None:
        raise NotASizingError(
            f"'{text}' is no sizing question I know, or it is not clear which number is what",
            f"Ask it like this: {_nearest_example(words)}",
        )
    return question


def _nearest_example(words: Sequence[str]) -> str:
    """Return a question of the sizing that the words come nearest to."""
    near = likeliest(words, pieces(list(words)), packaged_model())
    return sizing.sizings()[near.sizing].example


def answer_lines(found: Mapping[str, Any]) -> str:
    """Return an answer as text for a screen."""
    parts = [
        ("Taken as", [found["taken_as"]]),
        ("Answer" if found["taken_as"] else "", [found["spoken"]]),
        ("Working", found["working"]),
        ("Assumed", found["assumptions"]),
        ("Caution", [found["caution"]]),
        ("Source", found["sources"]),
    ]
    lines: list[str] = []
    for head, items in parts:
        told = [item for item in items if item]
        if told and head:
            lines.append(f"\n{head}:" if lines else f"{head}:")
        lines.extend(f"  {item}" if head else item for item in told)
    return "\n".join(lines)
