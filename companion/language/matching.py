"""Words matched against linked rules, with what the tags in them capture.

A recogniser needs only to know which sentences there are, so it gets an automaton. Meaning needs
to know *why* a sentence is one: which words were the load and which the length. So the rules are
kept as trees as well, made once into nested functions that try a tree at a position and yield every
way it can match. Two things keep that short: an alternative is tried only if the next word can
begin it, and numbers and units, which hold most of the grammar, are walked as automata.

What is captured:

- `{name}` behind a part captures its words as a `Slot`;
- `{name=value}` captures the value as a `Word`, whatever the words were;
- a reference to a rule of a *measured* grammar (numbers, units) captures its words as a `Span`,
  so that a slot knows the number in "half an amp" without being told where it stands.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from companion.language import sentences
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

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from companion.ports import Automaton


@dataclass(frozen=True, slots=True)
class Span:
    """Words from `start` up to `end` that a rule of a measured grammar matched."""

    rule: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Slot:
    """Words that a `{name}` tag captured, and what was captured inside them."""

    name: str
    start: int
    end: int
    inside: tuple[Capture, ...]


@dataclass(frozen=True, slots=True)
class Word:
    """The value of a `{name=value}` tag, with the words' place."""

    name: str
    value: str
    start: int
    end: int


Capture: TypeAlias = Span | Slot | Word
Captures: TypeAlias = tuple[Capture, ...]
_Found: TypeAlias = "tuple[int, Captures]"
_Try: TypeAlias = "Callable[[Sequence[str], int], Iterator[_Found]]"


@dataclass(frozen=True, slots=True, eq=False)
class Matcher:
    """A tree made ready to match.

    `first` are the words that a match can begin with; `empty` says whether no words match too.
    """

    attempt: _Try
    first: frozenset[str]
    empty: bool

    def can_begin(self, words: Sequence[str], at: int) -> bool:
        """Return whether it is worth trying at this position."""
        return self.empty or (at < len(words) and words[at] in self.first)

    def matches(self, words: Sequence[str]) -> tuple[Captures, ...]:
        """Return the captures of every way in which all of the words match, each once."""
        if not self.can_begin(words, 0):
            return ()
        ways = {captures: None for end, captures in self.attempt(words, 0) if end == len(words)}
        return tuple(ways)


class MatcherMaker:
    """Makes matchers of expressions.

    Args:
        rules: what references stand for, by qualified name.
        rule_automaton: a rule's automaton, by qualified name.
        measured: the grammars whose rules are captured as spans ('companion.numbers').
    """

    def __init__(
        self,
        rules: Mapping[str, Expression],
        rule_automaton: Callable[[str], Automaton],
        measured: tuple[str, ...],
    ) -> None:
        self._rules, self._automaton, self._measured = rules, rule_automaton, measured
        self._made: dict[str, Matcher] = {}

    def make(  # noqa: PLR0911 - one return for each kind of expression
        self, expression: Expression
    ) -> Matcher:
        """Return the expression's matcher."""
        match expression:
            case Token():
                return _token(expression.words)
            case RuleRef(name):
                return self._reference(name)
            case InOrder(items):
                return _in_order(tuple(self.make(item) for item in items))
            case OneOf(branches):
                return _one_of(tuple(self.make(branch) for branch in branches))
            case Maybe(inner):
                return _one_of((self.make(inner), _in_order(())))
            case Repeated(inner, at_least):
                return _repeated(self.make(inner), at_least)
            case Tagged(inner, tag):
                return _tagged(self.make(inner), tag)

    def _reference(self, name: str) -> Matcher:
        if name not in self._made:
            if name.rpartition(".")[0] in self._measured:
                self._made[name] = _span(name, self._automaton(name))
            else:
                self._made[name] = self.make(self._rules[name])
        return self._made[name]


def _token(said: tuple[str, ...]) -> Matcher:
    length = len(said)

    def attempt(words: Sequence[str], at: int) -> Iterator[_Found]:
        if tuple(words[at : at + length]) == said:
            yield at + length, ()

    return Matcher(attempt, frozenset(said[:1]), empty=False)


def _in_order(items: tuple[Matcher, ...]) -> Matcher:
    def attempt(words: Sequence[str], at: int, index: int = 0) -> Iterator[_Found]:
        if index == len(items):
            yield at, ()
        elif items[index].can_begin(words, at):
            for middle, captures in items[index].attempt(words, at):
                for end, more in attempt(words, middle, index + 1):
                    yield end, captures + more

    first: frozenset[str] = frozenset()
    for item in items:
        first |= item.first
        if not item.empty:
            break
    return Matcher(attempt, first, empty=all(item.empty for item in items))


def _one_of(branches: tuple[Matcher, ...]) -> Matcher:
    by_word: dict[str, list[_Try]] = {}
    always = [branch.attempt for branch in branches if branch.empty]
    first = frozenset[str]().union(*(branch.first for branch in branches))
    for word in first:
        by_word[word] = [b.attempt for b in branches if b.empty or word in b.first]

    def attempt(words: Sequence[str], at: int) -> Iterator[_Found]:
        word = words[at] if at < len(words) else ""
        for branch in by_word.get(word, always):
            yield from branch(words, at)

    return Matcher(attempt, first, empty=bool(always))


def _repeated(inner: Matcher, at_least: int) -> Matcher:
    def attempt(words: Sequence[str], at: int, done: int = 0) -> Iterator[_Found]:
        if done >= at_least:
            yield at, ()
        if inner.can_begin(words, at):
            for middle, captures in inner.attempt(words, at):
                if middle > at:
                    for end, more in attempt(words, middle, done + 1):
                        yield end, captures + more

    return Matcher(attempt, inner.first, empty=inner.empty or not at_least)


def _tagged(inner: Matcher, tag: str) -> Matcher:
    name, equals, value = (part.strip() for part in tag.partition("="))

    def attempt(words: Sequence[str], at: int) -> Iterator[_Found]:
        for end, captures in inner.attempt(words, at):
            if equals:
                yield end, (*captures, Word(name, value, at, end))
            else:
                yield end, (Slot(name, at, end, captures),)

    return Matcher(attempt, inner.first, inner.empty)


def _span(rule: str, automaton: Automaton) -> Matcher:
    def attempt(words: Sequence[str], at: int) -> Iterator[_Found]:
        for end in sentences.ends(automaton, words, at):
            yield end, (Span(rule, at, end),)

    return Matcher(attempt, frozenset(automaton.arcs[0]), 0 in automaton.accepting)
