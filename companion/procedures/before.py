"""What must have been asked or read before something hangs on it, on every way, and what only once.

A condition on a choice that a way never asked holds nowhere on that way: what it guards is left out
without a word. That is meant where the choice is asked under a condition of its own that does not
hold there (nobody asks for the fan's feed where there is no fan). It is a mistake where the asking
step was jumped over, or was left to the licensed trade. Not so where a fault is looked for: there
what is found ends the asking, and each finding is a step that only its own answer leads to.

A reading that nothing can have changed is not asked for again: work with the circuit dead, a cut
and first power change things, to measure dead does not. Proving dead reads its known source twice
on purpose.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

from companion.procedures.rules import Stated, proves_dead
from companion.procedures.walking import ASKED_BY_DIALOGUE, index_of, is_deferred

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from companion.procedures.model import Procedure, ReadingRequest, Step, When
    from companion.procedures.needs import Needs
    from companion.procedures.positions import KeyPath
    from companion.procedures.rules import Passing

Taken: TypeAlias = "tuple[str, str]"  # a test point and the phase that it was read in

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
READ_ONCE = Stated(
    "read-once",
    "A test point is read once in each phase, on every way; again only after work on the dead "
    "circuit, a cut or first power.",
    "What nothing has changed reads the same, and of two values one is doubted for nothing.",
    "common practice, no source",
    "Drop one of the two, give it another phase, or read it after the work",
)
INPUTS_FIRST = Stated(
    "inputs-first",
    "What a sizing works with and the procedure reads is read before it works it out; the rest it "
    "can ask for aloud.",
    "Asked for aloud and then read, the same figure is given twice, and the two may differ.",
    "common practice, no source",
    "Work it out after the step that reads it",
)
ORDER_RULES = (ASK_FIRST, READ_FIRST, READ_ONCE, INPUTS_FIRST)


@dataclass(frozen=True, slots=True)
class Known:
    """What a way has read and was asked for, of what something later hangs on.

    Attributes:
        read: test points that a limit or a sizing hangs on.
        taken: readings since something was last worked on, of those asked for in several places.
        aloud: each test point that a sizing had to ask for aloud, or assume, since it was not read
            before; and the sizing.
    """

    read: frozenset[str] = frozenset()
    taken: frozenset[Taken] = frozenset()
    aloud: frozenset[tuple[str, str]] = frozenset()


class Before:
    """Where a procedure asks what, and which test points its limits and sizings hang on."""

    def __init__(self, procedure: Procedure, needs: Needs) -> None:
        self._procedure = procedure
        self._needs = needs
        self._asking: dict[str, list[int]] = {}
        for index, step in enumerate(procedure.steps):
            if step.choice:
                self._asking.setdefault(step.choice.slug, []).append(index)

    @cached_property
    def _bases(self) -> frozenset[str]:
        """The test points that some limit or sizing hangs on."""
        requests = (each for step in self._procedure.steps for each in step.readings)
        of_limits = {base for request in requests for _, base in bases(request)}
        sizings = (self._needs.get(step.works_out) for step in self._procedure.steps)
        inputs = (each for sizing in sizings if sizing for each in sizing.inputs)
        return frozenset(of_limits.union(*(each.from_log for each in inputs)))

    @cached_property
    def _several(self) -> frozenset[Taken]:
        """What is asked for in more than one place."""
        count = Counter(
            (each.point, each.phase)
            for step in self._procedure.steps
            if not proves_dead(step)
            for each in step.readings
        )
        return frozenset(taken for taken, places in count.items() if places > 1)

    @cached_property
    def _requested(self) -> frozenset[str]:
        return frozenset(each.point for step in self._procedure.steps for each in step.readings)

    def asked_aloud(self, step: Step, known: Known) -> Known:
        """Return what is known once a step is entered: what its sizing had to ask for aloud.

        Args:
            step: the step; its sizing is worked out before anything of it is read.
            known: before it.
        """
        sizing = self._needs.get(step.works_out)
        if sizing is None:
            return known
        had = {each.name: "" for each in sizing.inputs if known.read & {*each.from_log}}
        asked = {
            (point, step.works_out)
            for each in sizing.inputs
            if each.name not in had and each.needed(had)
            for point in each.from_log
            if point in self._requested
        }
        return replace(known, aloud=known.aloud | asked)

    def taken_before(self, request: ReadingRequest, known: Known) -> tuple[Stated, str] | None:
        """Return the rule that a reading breaks by being asked for now, and how; None for none."""
        if (request.point, request.phase) in known.taken:
            return READ_ONCE, f"'{request.point}' was read before, and nothing changed it since"
        sizing = next((by for point, by in sorted(known.aloud) if point == request.point), "")
        if sizing and request.point not in known.read:
            return INPUTS_FIRST, f"'{request.point}' is read after '{sizing}', which works with it"
        return None

    def having(self, request: ReadingRequest, known: Known) -> Known:
        """Return what is known once a reading was taken."""
        point, taken = request.point, (request.point, request.phase)
        return replace(
            known,
            read=known.read | ({point} & self._bases),
            taken=known.taken | ({taken} & self._several),
        )

    @staticmethod
    def worked_on(passing: Passing, known: Known) -> Known:
        """Return what is still known after a step: what was worked on may read otherwise."""
        step = passing.step
        only_measures = bool(step.readings) and not step.cuts
        works = (step.needs_dead and not only_measures) or step.cuts or step.power == "on"
        if works and not is_deferred(step, passing.answers):
            return replace(known, taken=frozenset(), aloud=frozenset())
        return known

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
