"""Expressions made into minimal word automata.

The way is the textbook's: an expression becomes a nondeterministic automaton, that is made
deterministic by the subset construction, and that is made minimal by merging states that no
sentence tells apart (Hopcroft, Motwani, Ullman, 'Introduction to Automata Theory', chapters 2
to 4).

What makes it fast is that it is done twice. A grammar of questions says "a number" in some
hundred places, and a number is an automaton of its own with many arcs. So a reference to a large
rule first stays one arc, labelled with the rule's name; with those arcs in place the grammar is
small and shrinks to its minimum at once, which brings together all places where the same may
follow a number. Only then is each remaining arc replaced by its rule's automaton, one copy for
each place that it leads to, and the whole made minimal again.

Automata are numbered breadth first with words in alphabetical order, so two grammars with the
same sentences are the same automaton, and `sentences.digest` can speak for them.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from companion.language.expressions import (
    Expression,
    InOrder,
    Maybe,
    OneOf,
    Repeated,
    RuleRef,
    Tagged,
    Token,
)
from companion.ports import Automaton

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

# A label that is no word: it stands for a whole rule. '<' cannot occur in a word.
_RULE = "<"


@dataclass(slots=True)
class _Nfa:
    """Arcs by state, label by label; `silent` are the arcs that say nothing."""

    arcs: list[dict[str, list[int]]] = field(default_factory=list)
    silent: list[list[int]] = field(default_factory=list)

    def state(self) -> int:
        self.arcs.append({})
        self.silent.append([])
        return len(self.arcs) - 1

    def say(self, start: int, label: str, end: int) -> None:
        self.arcs[start].setdefault(label, []).append(end)

    def skip(self, start: int, end: int) -> None:
        self.silent[start].append(end)


class Compiler:
    """Compiles expressions against a set of rules; each rule once.

    Args:
        rules: what references stand for, by name.
        whole: how many states a rule's automaton must have to be kept as one arc at first.
    """

    def __init__(self, rules: Mapping[str, Expression], whole: int = 6) -> None:
        self._rules, self._whole = rules, whole
        self._compiled: dict[str, Automaton] = {}

    def rule(self, name: str) -> Automaton:
        """Return a rule's minimal automaton.

        Raises:
            KeyError: no such rule.
        """
        if name not in self._compiled:
            self._compiled[name] = self.compile(self._rules[name])
        return self._compiled[name]

    def compile(self, expression: Expression) -> Automaton:
        """Return the minimal automaton of an expression; tags do not matter."""
        nfa = _Nfa()
        start, end = nfa.state(), nfa.state()
        self._build(nfa, expression, start, end)
        small = minimal(_determinise(nfa, (start,), {end}))
        if not any(label.startswith(_RULE) for arcs in small.arcs for label in arcs):
            return small
        return minimal(self._expand(small))

    def _build(  # noqa: C901 - one case for each kind of expression
        self, nfa: _Nfa, expression: Expression, start: int, end: int
    ) -> None:
        """Add arcs so that exactly the expression's sentences lead from start to end."""
        match expression:
            case Token():
                self._build_words(nfa, expression.words, start, end)
            case RuleRef(name):
                self._build_reference(nfa, name, start, end)
            case InOrder(items):
                for item in items[:-1]:
                    middle = nfa.state()
                    self._build(nfa, item, start, middle)
                    start = middle
                if items:
                    self._build(nfa, items[-1], start, end)
                else:
                    nfa.skip(start, end)
            case OneOf(branches):
                for branch in branches:
                    self._build(nfa, branch, start, end)
            case Maybe(inner):
                self._build(nfa, inner, start, end)
                nfa.skip(start, end)
            case Repeated(inner, at_least):
                self._build_again(nfa, inner, at_least, (start, end))
            case Tagged(inner):
                self._build(nfa, inner, start, end)

    @staticmethod
    def _build_words(nfa: _Nfa, words: Sequence[str], start: int, end: int) -> None:
        for word in words[:-1]:
            middle = nfa.state()
            nfa.say(start, word, middle)
            start = middle
        nfa.say(start, words[-1], end)

    def _build_reference(self, nfa: _Nfa, name: str, start: int, end: int) -> None:
        if len(self.rule(name).arcs) >= self._whole:
            nfa.say(start, _RULE + name, end)
        else:
            self._build(nfa, self._rules[name], start, end)

    def _build_again(
        self, nfa: _Nfa, inner: Expression, at_least: int, ends: tuple[int, int]
    ) -> None:
        """The part's own two states keep the loop from leaking into its surroundings."""
        first, last = nfa.state(), nfa.state()
        nfa.skip(ends[0], first)
        nfa.skip(last, ends[1])
        self._build(nfa, inner, first, last)
        nfa.skip(last, first)
        if not at_least:
            nfa.skip(first, last)

    def _expand(self, small: Automaton) -> Automaton:
        """Put each named rule's automaton in place of its arc; one copy for each target."""
        nfa = _Nfa()
        for _ in small.arcs:
            nfa.state()
        copies: dict[tuple[str, int], int] = {}
        for state, arcs in enumerate(small.arcs):
            for label, target in arcs.items():
                if not label.startswith(_RULE):
                    nfa.say(state, label, target)
                    continue
                if (label, target) not in copies:
                    copies[label, target] = _insert(nfa, self.rule(label[1:]), target)
                nfa.skip(state, copies[label, target])
        return _determinise(nfa, (0,), small.accepting)


def _insert(nfa: _Nfa, automaton: Automaton, target: int) -> int:
    """Add a copy of an automaton that leads on to target; return its start."""
    base = len(nfa.arcs)
    for state, arcs in enumerate(automaton.arcs):
        nfa.arcs.append({word: [base + end] for word, end in arcs.items()})
        nfa.silent.append([target] if state in automaton.accepting else [])
    return base


def _closures(nfa: _Nfa) -> Callable[[Sequence[int]], frozenset[int]]:
    """Return a function from states to all states reached from them in silence."""
    reached: dict[int, frozenset[int]] = {}

    def of_one(state: int) -> frozenset[int]:
        if state not in reached:
            seen, todo = {state}, [state]
            while todo:
                for end in nfa.silent[todo.pop()]:
                    if end not in seen:
                        seen.add(end)
                        todo.append(end)
            reached[state] = frozenset(seen)
        return reached[state]

    def of_all(states: Sequence[int]) -> frozenset[int]:
        if len(states) == 1:
            return reached.get(states[0]) or of_one(states[0])
        return frozenset().union(*map(of_one, states))

    return of_all


def _determinise(nfa: _Nfa, start: Sequence[int], final: Iterable[int]) -> Automaton:
    """The subset construction."""
    closure = _closures(nfa)
    final = frozenset(final)
    first = closure(start)
    numbers: dict[frozenset[int], int] = {first: 0}
    arcs: list[dict[str, int]] = []
    todo = deque([first])
    while todo:
        merged: dict[str, list[int]] = {}
        for state in todo.popleft():
            for label, ends in nfa.arcs[state].items():
                if label in merged:
                    merged[label] = merged[label] + ends
                else:
                    merged[label] = ends
        row: dict[str, int] = {}
        for label, ends in merged.items():
            subset = closure(ends)
            if subset not in numbers:
                numbers[subset] = len(numbers)
                todo.append(subset)
            row[label] = numbers[subset]
        arcs.append(row)
    accepting = frozenset(number for subset, number in numbers.items() if subset & final)
    return Automaton(tuple(arcs), accepting)


def minimal(automaton: Automaton) -> Automaton:
    """Return the smallest deterministic automaton with the same sentences.

    Moore's partition refinement: states begin apart by the words they take and whether a sentence
    may end there, and part further until all of a class lead to the same classes. States from
    which no sentence ends fall away first.
    """
    automaton = _trimmed(automaton)
    shapes: dict[tuple[bool, tuple[str, ...]], int] = {}
    shape_of: list[int] = []
    targets: list[tuple[int, ...]] = []
    for state, arcs in enumerate(automaton.arcs):
        words = sorted(arcs)
        shape = (state in automaton.accepting, tuple(words))
        shape_of.append(shapes.setdefault(shape, len(shapes)))
        targets.append(tuple(arcs[word] for word in words))
    class_of, count = shape_of, len(shapes)
    while True:
        classes: dict[tuple[int, tuple[int, ...]], int] = {}
        look = class_of.__getitem__
        refined = [
            classes.setdefault((class_of[state], tuple(map(look, ends))), len(classes))
            for state, ends in enumerate(targets)
        ]
        if len(classes) == count:
            break
        class_of, count = refined, len(classes)
    return _renumbered(automaton, class_of)


def _trimmed(automaton: Automaton) -> Automaton:
    """Leave out arcs to states from which no sentence ends."""
    into: list[list[int]] = [[] for _ in automaton.arcs]
    for state, arcs in enumerate(automaton.arcs):
        for end in arcs.values():
            into[end].append(state)
    useful, todo = set(automaton.accepting), list(automaton.accepting)
    while todo:
        for state in into[todo.pop()]:
            if state not in useful:
                useful.add(state)
                todo.append(state)
    if len(useful) == len(automaton.arcs):
        return automaton
    return Automaton(
        tuple(
            {word: end for word, end in arcs.items() if end in useful} for arcs in automaton.arcs
        ),
        automaton.accepting,
    )


def _renumbered(automaton: Automaton, class_of: Sequence[int]) -> Automaton:
    """Merge states of a class, and number what is reached breadth first, words in order."""
    chosen: dict[int, int] = {}
    for state, number in enumerate(class_of):
        chosen.setdefault(number, state)
    new: dict[int, int] = {class_of[0]: 0}
    order = [class_of[0]]
    arcs: list[dict[str, int]] = []
    for number in order:
        row: dict[str, int] = {}
        for word, end in sorted(automaton.arcs[chosen[number]].items()):
            if class_of[end] not in new:
                new[class_of[end]] = len(order)
                order.append(class_of[end])
            row[word] = new[class_of[end]]
        arcs.append(row)
    accepting = frozenset(new[c] for c in order if chosen[c] in automaton.accepting)
    return Automaton(tuple(arcs), accepting)
