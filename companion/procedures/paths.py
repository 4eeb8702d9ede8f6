"""Every way through a procedure: that it ends, and that it keeps the safety rules.

Ways are looked at by state (the step, what was answered that still matters from there on, and what
the way has made safe), so that a procedure with many choices is checked in time proportional to its
steps and not to its ways.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from companion.procedures.before import ASK_FIRST, READ_FIRST, Before, asks_of, bases
from companion.procedures.rules import NO_FACTS, Facts, Passing, after
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
    from collections.abc import Iterator, Mapping, Sequence

    from companion.procedures.model import Procedure, Step, When
    from companion.procedures.positions import KeyPath
    from companion.procedures.problems import Findings
    from companion.procedures.rules import Rule, Stated

    State: TypeAlias = tuple[str, frozenset[tuple[str, str]], Facts, frozenset[str]]


def check_paths(procedure: Procedure, findings: Findings, rules: Sequence[Rule]) -> None:
    """Note steps that no way reaches, ways that do not end, and rules that a way breaks."""
    _Exploration(procedure, findings, rules).run()


@dataclass(frozen=True, slots=True)
class _Reached:
    """A step that a way has come to."""

    step: Step
    answers: Mapping[str, str]
    facts: Facts
    read: frozenset[str] = frozenset()  # test points that a later limit hangs on


class _Exploration:
    """Every state once; what is noted about a step is noted once."""

    def __init__(self, procedure: Procedure, findings: Findings, rules: Sequence[Rule]) -> None:
        self._rules = rules
        self._procedure = procedure
        self._findings = findings
        self._before = Before(procedure)
        self._matters = tuple(map(self._before.matters, matters_from(procedure)))
        self._seen: set[State] = set()
        self._noted: set[tuple[str, str]] = set()
        self._reached: set[str] = set()

    def run(self) -> None:
        start = first_step(self._procedure, {})
        waiting = [_Reached(start, {}, NO_FACTS)] if start else []
        while waiting:
            reached = waiting.pop()
            state = self._state(reached)
            if state not in self._seen:
                self._seen.add(state)
                waiting.extend(self._onward(reached))
        self._note_unreached()

    def _onward(self, reached: _Reached) -> Iterator[_Reached]:
        step, answers = reached.step, reached.answers
        self._reached.add(step.slug)
        self._note_asked_twice(step, answers)
        for known in branches(self._procedure, step, answers):
            passing = Passing(self._procedure, step, reached.facts, known)
            self._note_broken(passing)
            read = self._read(passing, reached.read)
            following = next_step(self._procedure, step.slug, known)
            if following:
                self._note_licence_unknown(step, following, known)
                self._note_unasked_between(step, following, known)
                yield _Reached(following, known, after(passing), read)
            elif not step.ends:
                self._note_no_end(step, known)

    def _state(self, reached: _Reached) -> State:
        matters = self._matters[index_of(self._procedure, reached.step.slug) or 0]
        answers = frozenset(item for item in reached.answers.items() if item[0] in matters)
        return reached.step.slug, answers, reached.facts, reached.read

    def _note_broken(self, passing: Passing) -> None:
        if is_deferred(passing.step, passing.answers):
            return
        for rule in self._rules:
            found = rule.broken(passing)
            if found and (passing.step.slug, rule.slug) not in self._noted:
                self._noted.add((passing.step.slug, rule.slug))
                index = index_of(self._procedure, passing.step.slug) or 0
                self._findings.add(
                    ("steps", index), found, rule.mend, rule.slug, _way(passing.answers)
                )

    def _read(self, passing: Passing, read: frozenset[str]) -> frozenset[str]:
        """Note conditions and limits that hang on nothing; return what is read after the step."""
        if not self._rules or is_deferred(passing.step, passing.answers):
            return read
        for path, when in asks_of(passing.step):
            self._note_unasked(passing.step, path, when, passing.answers)
        for number, request in enumerate(passing.step.readings):
            if not request.when.holds(passing.answers):
                continue
            for key, base in bases(request):
                if base not in read:
                    path = ("readings", number, "limit", key)
                    found = f"'{base}' is not read before on this way"
                    self._note_on_way(passing.step, path, found, READ_FIRST, passing.answers)
            read |= {request.point} & self._before.bases
        return read

    def _note_unasked_between(
        self, step: Step, following: Step, answers: Mapping[str, str]
    ) -> None:
        """Look at the conditions of the steps that were passed over, and of the one reached."""
        if not self._rules:
            return
        first = onward(self._procedure, index_of(self._procedure, step.slug) or 0, answers)
        last = index_of(self._procedure, following.slug) or 0
        for passed in self._procedure.steps[first : last + 1]:
            self._note_unasked(passed, ("when",), passed.when, answers)

    def _note_unasked(
        self, step: Step, path: KeyPath, when: When, answers: Mapping[str, str]
    ) -> None:
        unasked = self._before.unasked(step, when, answers)
        if unasked:
            found = f"'{unasked}' was not asked on this way, so it never holds"
            self._note_on_way(step, path, found, ASK_FIRST, answers)

    def _note_on_way(
        self, step: Step, path: KeyPath, found: str, rule: Stated, answers: Mapping[str, str]
    ) -> None:
        key = ".".join(map(str, path))
        if (step.slug, key) not in self._noted:
            self._noted.add((step.slug, key))
            index = index_of(self._procedure, step.slug) or 0
            self._findings.add(("steps", index, *path), found, rule.mend, rule.slug, _way(answers))

    def _note_once(self, step: Step, key: str, found: str, allowed: str) -> None:
        if (step.slug, key) not in self._noted:
            self._noted.add((step.slug, key))
            index = index_of(self._procedure, step.slug) or 0
            self._findings.add(("steps", index, *key.split(".")), found, allowed)

    def _note_no_end(self, step: Step, answers: Mapping[str, str]) -> None:
        way = ", ".join(_way(answers))
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


def _way(answers: Mapping[str, str]) -> tuple[str, ...]:
    return tuple(f"{choice} {option}" for choice, option in answers.items())


def _names_licence(when: When) -> bool:
    return any(choice in ASKED_BY_DIALOGUE for choice, _ in when.answers)


def matters_from(procedure: Procedure) -> tuple[frozenset[str], ...]:
    """Return, for each step, the choices whose answer can still change what happens from there."""
    found = []
    for index in range(len(procedure.steps)):
        rest = procedure.steps[index:]
        named = {
            choice for step in rest for when in _conditions(step) for choice, _ in when.answers
        }
        asked = {step.choice.slug for step in rest if step.choice}
        found.append(frozenset(named | asked | {LICENSED}))
    return tuple(found)


def _conditions(step: Step) -> Iterator[When]:
    yield step.when
    yield from (request.when for request in step.readings)
    yield from (check.when for check in (step.hold.checks if step.hold else ()))
