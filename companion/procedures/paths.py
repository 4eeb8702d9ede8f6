"""Whether every way through a procedure ends, and every step is on some way.

Ways are explored as states (the step, and the answers that still matter from there on), so that
a procedure with many choices is checked in time proportional to its steps and not to its ways.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from companion.procedures.walking import (
    ASKED_BY_DIALOGUE,
    LICENSED,
    branches,
    first_step,
    index_of,
    is_deferred,
    next_step,
    onward,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from companion.procedures.model import Procedure, Step, When
    from companion.procedures.problems import Findings

    State: TypeAlias = tuple[str, frozenset[tuple[str, str]]]


def check_paths(procedure: Procedure, findings: Findings) -> None:
    """Note steps that no way reaches and ways that do not end as they should."""
    _Exploration(procedure, findings).run()


class _Exploration:
    """Every state once; what is noted about a step is noted once."""

    def __init__(self, procedure: Procedure, findings: Findings) -> None:
        self._procedure = procedure
        self._findings = findings
        self._matters = tuple(_matters_from(procedure))
        self._seen: set[State] = set()
        self._noted: set[tuple[str, str]] = set()
        self._reached: set[str] = set()

    def run(self) -> None:
        start = first_step(self._procedure, {})
        waiting: list[tuple[Step, Mapping[str, str]]] = [(start, {})] if start else []
        while waiting:
            step, answers = waiting.pop()
            state = self._state(step, answers)
            if state not in self._seen:
                self._seen.add(state)
                waiting.extend(self._onward(step, answers))
        self._note_unreached()

    def _onward(
        self, step: Step, answers: Mapping[str, str]
    ) -> Iterator[tuple[Step, Mapping[str, str]]]:
        self._reached.add(step.slug)
        self._note_asked_twice(step, answers)
        for known in branches(self._procedure, step, answers):
            following = next_step(self._procedure, step.slug, known)
            if following:
                self._note_licence_unknown(step, following, known)
                yield following, known
            elif not step.ends:
                self._note_no_end(step, known)

    def _state(self, step: Step, answers: Mapping[str, str]) -> State:
        matters = self._matters[index_of(self._procedure, step.slug) or 0]
        return step.slug, frozenset(item for item in answers.items() if item[0] in matters)

    def _note_once(self, step: Step, key: str, found: str, allowed: str) -> None:
        if (step.slug, key) not in self._noted:
            self._noted.add((step.slug, key))
            index = index_of(self._procedure, step.slug) or 0
            self._findings.add(("steps", index, *key.split(".")), found, allowed)

    def _note_no_end(self, step: Step, answers: Mapping[str, str]) -> None:
        way = ", ".join(f"{choice} {option}" for choice, option in answers.items())
        found = f"the way ends here with nothing said ({way})" if way else "nothing comes after"
        self._note_once(step, "ends", found, "The last step of a way has ends")

    def _note_asked_twice(self, step: Step, answers: Mapping[str, str]) -> None:
        if step.choice and step.choice.slug in answers and not is_deferred(step, answers):
            found = f"'{step.choice.slug}' was asked before on this way"
            self._note_once(step, "choice.slug", found, "Ask a thing once")

    def _note_licence_unknown(
        self, step: Step, following: Step, answers: Mapping[str, str]
    ) -> None:
        """A condition on the licence counts only after the dialogue has asked for it."""
        if LICENSED in answers:
            return
        first = onward(self._procedure, index_of(self._procedure, step.slug) or 0, answers)
        last = index_of(self._procedure, following.slug) or 0
        for passed in self._procedure.steps[first : last + 1]:
            if _names_licence(passed.when):
                found = "the licence is not known here"
                allowed = "It is asked at the first line-voltage step, which must not depend on it"
                self._note_once(passed, "when", found, allowed)

    def _note_unreached(self) -> None:
        for step in self._procedure.steps:
            if step.slug not in self._reached:
                found = f"no way leads to '{step.slug}'"
                self._note_once(step, "slug", found, "Mend a when or a goto, or drop the step")


def _names_licence(when: When) -> bool:
    return any(choice in ASKED_BY_DIALOGUE for choice, _ in when.answers)


def _matters_from(procedure: Procedure) -> Iterator[frozenset[str]]:
    """For each step, the choices whose answer can still change what happens from there on."""
    for index in range(len(procedure.steps)):
        rest = procedure.steps[index:]
        named = {choice for step in rest for choice, _ in step.when.answers}
        asked = {step.choice.slug for step in rest if step.choice}
        yield frozenset(named | asked | {LICENSED})
