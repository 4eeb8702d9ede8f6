"""What must have been asked or read before something hangs on it, on every way.

A condition on a choice that a way never asked holds nowhere on that way: what it guards is left out
without a word. That is meant where the choice is asked under a condition of its own that does not
hold there (nobody asks for the fan's feed where there is no fan). It is a mistake where the asking
step was jumped over, or was left to the licensed trade. Not so where a fault is looked for: there
what is found ends the asking, and each finding is a step that only its own answer leads to.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

from companion.procedures.rules import Stated
from companion.procedures.walking import ASKED_BY_DIALOGUE, index_of

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from companion.procedures.model import Procedure, ReadingRequest, Step, When
    from companion.procedures.positions import KeyPath

ASK_FIRST = Stated(
    "ask-first",
    "A choice that a condition names was asked before, on every way on which it could be.",
    "What hangs on an answer that nobody gave is left out without a word.",
    "common practice, no source",
    "Ask it on every way that leads here, or name the way in the condition",
)
READ_FIRST = Stated(
    "read-first",
    "A test point that a limit hangs on was read before, on every way on which the limit applies.",
    "Without it the limit has no end there, and everything is within.",
    "common practice, no source",
    "Read it before, on every way on which the limit applies",
)
ORDER_RULES = (ASK_FIRST, READ_FIRST)


class Before:
    """Where a procedure asks what, and which test points its limits hang on."""

    def __init__(self, procedure: Procedure) -> None:
        self._procedure = procedure
        self._asking: dict[str, list[int]] = {}
        for index, step in enumerate(procedure.steps):
            if step.choice:
                self._asking.setdefault(step.choice.slug, []).append(index)

    @cached_property
    def bases(self) -> frozenset[str]:
        """The test points that some limit hangs on."""
        requests = (each for step in self._procedure.steps for each in step.readings)
        return frozenset(base for request in requests for _, base in bases(request))

    def matters(self, named: frozenset[str]) -> frozenset[str]:
        """Return choices with those that decide whether they are asked, and so on back."""
        found, grown = named, self._with_askers(named)
        while grown != found:
            found, grown = grown, self._with_askers(grown)
        return found

    def _with_askers(self, choices: frozenset[str]) -> frozenset[str]:
        asking = (
            self._procedure.steps[at] for each in choices for at in self._asking.get(each, ())
        )
        return choices | {choice for step in asking for choice, _ in step.when.answers}

    def unasked(self, step: Step, when: When, answers: Mapping[str, str]) -> str:
        """Return a choice that a condition needs and that this way should have asked, or ''.

        Args:
            step: where the condition stands.
            when: the condition; where the rest of it does not hold, nothing is missing.
            answers: what is answered there.
        """
        if self._procedure.kind == "fault":
            return ""
        asked = [each for each in when.answers if each[0] in answers]
        if not all(answers[choice] in options for choice, options in asked):
            return ""
        here = index_of(self._procedure, step.slug) or 0
        missing = (choice for choice, _ in when.answers if choice not in answers)
        return next((each for each in missing if self._was_passed(each, here, answers)), "")

    def _was_passed(self, choice: str, here: int, answers: Mapping[str, str]) -> bool:
        """Return whether an earlier step that asks it applies, and yet did not ask."""
        if choice in ASKED_BY_DIALOGUE:
            return False
        asking = (self._procedure.steps[at] for at in self._asking.get(choice, ()) if at < here)
        return any(step.when.holds(answers) for step in asking)


def bases(request: ReadingRequest) -> Iterator[tuple[str, str]]:
    """Yield the test points that a reading's limit hangs on, each with its key."""
    if request.limit:
        ends = (("low_of", request.limit.low_of), ("high_of", request.limit.high_of))
        yield from ((key, base) for key, base in ends if base)


def asks_of(step: Step) -> Iterator[tuple[KeyPath, When]]:
    """Yield the conditions of a step's readings and checks, each with its place in the step."""
    for number, request in enumerate(step.readings):
        yield ("readings", number, "when"), request.when
    for number, check in enumerate(step.hold.checks if step.hold else ()):
        yield ("hold", "checks", number, "when"), check.when
