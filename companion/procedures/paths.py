"""Every way through a procedure: that it ends, and that it keeps the safety rules.

Ways are looked at by state (the step, what was answered that still matters from there on, and what
the way has made safe), so that a procedure with many choices is checked in time proportional to its
steps and not to its ways.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from companion.procedures.before import (
    ASK_FIRST,
    READ_FIRST,
    Before,
    Known,
    asks_of,
    bases,
)
from companion.procedures.rules import NO_FACTS, Facts, Passing, after, proves_dead
from companion.procedures.walking import (
    ASKED_BY_DIALOGUE,
    LICENSED,
    Walk,
    branches,
    first_step,
    index_of,
    is_deferred,
    next_step,
    onward,
)

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from companion.procedures.model import Procedure, ReadingRequest, Step, When
    from companion.procedures.needs import Needs
    from companion.procedures.positions import KeyPath
    from companion.procedures.problems import Findings
    from companion.procedures.rules import Rule, Stated

    State: TypeAlias = tuple[str, frozenset[tuple[str, str]], Facts, Known]


def check_paths(
    procedure: Procedure, findings: Findings, rules: Sequence[Rule], needs: Needs
) -> None:
    """Note steps that no way reaches, ways that do not end, and rules that a way breaks."""
    _Exploration(procedure, findings, rules, needs).run()


def ways_to(procedure: Procedure) -> Iterator[Walk]:
    """Yield, for each step that a way reaches, a shortest way to it: that step is its last.

    Its answers are those given before the step; those that no later step hangs on tell one way
    from another no more, so a long procedure does not take long.
    """
    matters = matters_from(procedure)
    start = first_step(procedure, {})
    waiting = deque([Walk({}, (start,))] if start else [])
    seen: set[tuple[str, frozenset[tuple[str, str]]]] = set()
    reached: set[str] = set()
    while waiting:
        walk = waiting.popleft()
        step = walk.steps[-1]
        here = matters[index_of(procedure, step.slug) or 0]
        state = step.slug, frozenset(each for each in walk.answers.items() if each[0] in here)
        if state in seen:
            continue
        seen.add(state)
        if step.slug not in reached:
            reached.add(step.slug)
            yield walk
        for given in branches(procedure, step, walk.answers):
            following = next_step(procedure, step.slug, given)
            if following:
                waiting.append(Walk(given, (*walk.steps, following)))


@dataclass(frozen=True, slots=True)
class _Reached:
    """A step that a way has come to."""

    step: Step
    answers: Mapping[str, str]
    facts: Facts
    known: Known


class _Exploration:
    """Every state once; what is noted about a step is noted once."""

    def __init__(
        self, procedure: Procedure, findings: Findings, rules: Sequence[Rule], needs: Needs
    ) -> None:
        self._rules = rules
        self._procedure = procedure
        self._findings = findings
        self._before = Before(procedure, needs)
        self._matters = tuple(map(self._before.matters, matters_from(procedure)))
        self._seen: set[State] = set()
        self._noted: set[tuple[str, str]] = set()
        self._reached: set[str] = set()

    def run(self) -> None:
        start = first_step(self._procedure, {})
        waiting = [_Reached(start, {}, NO_FACTS, Known())] if start else []
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
        for given in branches(self._procedure, step, answers):
            passing = Passing(self._procedure, step, reached.facts, given)
            self._note_broken(passing)
            known = self._read(passing, reached.known)
            following = next_step(self._procedure, step.slug, given)
            if following:
                self._note_licence_unknown(step, following, given)
                self._note_unasked_between(step, following, given)
                yield _Reached(following, given, after(passing), known)
            elif not step.ends:
                self._note_no_end(step, given)

    def _state(self, reached: _Reached) -> State:
        matters = self._matters[index_of(self._procedure, reached.step.slug) or 0]
        answers = frozenset(item for item in reached.answers.items() if item[0] in matters)
        return reached.step.slug, answers, reached.facts, reached.known

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

    def _read(self, passing: Passing, known: Known) -> Known:
        """Note what hangs on nothing and what is asked for twice; return what is known after."""
        step = passing.step
        if not self._rules or is_deferred(step, passing.answers):
            return known
        known = self._before.asked_aloud(step, known)
        for path, when in asks_of(step):
            self._note_unasked(step, path, when, passing.answers)
        for number, request in enumerate(step.readings):
            if request.when.holds(passing.answers):
                self._note_reading(passing, number, request, known)
                known = self._before.having(request, known)
        return self._before.worked_on(passing, known)

    def _note_reading(
        self, passing: Passing, number: int, request: ReadingRequest, known: Known
    ) -> None:
        for key, base in bases(request):
            if base not in known.read:
                path = ("readings", number, "limit", key)
                found = f"'{base}' is not read before on this way"
                self._note_on_way(passing.step, path, found, READ_FIRST, passing.answers)
        twice = self._before.taken_before(request, known)
        if twice and not proves_dead(passing.step):
            rule, found = twice
            at: KeyPath = ("readings", number, "point")
            self._note_on_way(passing.step, at, found, rule, passing.answers)

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
