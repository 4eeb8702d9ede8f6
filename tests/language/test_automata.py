from __future__ import annotations

from itertools import islice, product
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsgf_strategies import plain_expressions

from companion.language import automata, sentences
from companion.language.expressions import (
    Expression,
    InOrder,
    Maybe,
    OneOf,
    Repeated,
    RuleRef,
    Token,
    sample,
)
from companion.language.jsgf import parse_expression

if TYPE_CHECKING:
    from companion.ports import Automaton

# A number as a clock says it: large enough to be kept as one arc at first.
RULES: dict[str, Expression] = {
    "digit": parse_expression("one | two | three"),
    "clock": parse_expression("<digit> [oh <digit>] (point <digit> [<digit>] | hundred)* o clock"),
    "told": parse_expression("at <clock> | by <clock> sharp"),
}


def _compile(text: str) -> Automaton:
    return automata.Compiler(RULES).compile(parse_expression(text))


def _said(  # noqa: PLR0911 - one return for each kind of expression
    expression: Expression, longest: int
) -> frozenset[tuple[str, ...]]:
    """Every sentence up to a length, straight from the meaning of the tree."""
    match expression:
        case Token():
            return (
                frozenset({expression.words}) if len(expression.words) <= longest else frozenset()
            )
        case InOrder(items):
            found: set[tuple[str, ...]] = {()}
            for item in items:
                found = {a + b for a in found for b in _said(item, longest)}
                found = {words for words in found if len(words) <= longest}
            return frozenset(found)
        case OneOf(branches):
            return frozenset().union(*(_said(branch, longest) for branch in branches))
        case Maybe(inner):
            return _said(inner, longest) | {()}
        case Repeated(inner, at_least):
            once = _said(inner, longest)
            again: set[tuple[str, ...]] = set(once) if at_least else {(), *once}
            for _ in range(longest):
                again |= {a + b for a in again for b in once if len(a + b) <= longest}
            return frozenset(again)
        case RuleRef(name):
            return _said(RULES[name], longest)
        case _:
            return _said(expression.inner, longest)


@settings(max_examples=150)
@given(plain_expressions)
def test_an_automaton_has_exactly_the_sentences_of_its_expression(expression: Expression) -> None:
    longest = 4
    automaton = automata.Compiler({}).compile(expression)
    want = _said(expression, longest)
    words = sorted(sentences.vocabulary(automaton)) or ["a"]
    if len(words) ** longest <= 5000:
        tried = (said for n in range(longest + 1) for said in product(words, repeat=n))
        assert {said for said in tried if sentences.accepts(automaton, said)} == want
    assert all(sentences.accepts(automaton, said) for said in want)


@given(plain_expressions)
def test_no_two_states_of_an_automaton_could_be_one(expression: Expression) -> None:
    automaton = automata.Compiler({}).compile(expression)
    assert automata.minimal(automaton) == automaton
    tails = [_tails(automaton, state) for state in range(len(automaton.arcs))]
    assert len(set(tails)) == len(tails)


def _tails(automaton: Automaton, state: int) -> frozenset[tuple[str, ...]]:
    """The sentences from a state, up to as many words as it takes to tell all states apart."""
    found: set[tuple[str, ...]] = set()
    now: set[tuple[int, tuple[str, ...]]] = {(state, ())}
    for _ in range(min(len(automaton.arcs), 7) + 1):
        found |= {said for at, said in now if at in automaton.accepting}
        now = {(end, (*said, word)) for at, said in now for word, end in automaton.arcs[at].items()}
        now = set(islice(sorted(now, key=lambda pair: pair[1]), 4000))
    return frozenset(found)


@pytest.mark.parametrize(
    "text",
    ["<told>", "what <clock> {x} [and <clock> {y}]", "(<clock> | <digit> oh) [<told>]", "<clock>+"],
)
def test_a_rule_kept_whole_at_first_changes_no_sentence(text: str) -> None:
    expression = parse_expression(text)
    in_two_steps = automata.Compiler(RULES, whole=2).compile(expression)
    at_once = automata.Compiler(RULES, whole=10**9).compile(expression)
    assert in_two_steps == at_once
    assert len(in_two_steps.arcs) > 4


@given(st.randoms(use_true_random=False))
def test_every_sample_is_a_sentence(random: object) -> None:
    expression = parse_expression("what <clock> {x} [and <told>]*")
    words = sample(expression, random.randrange, RULES)  # type: ignore[attr-defined]
    assert sentences.accepts(automata.Compiler(RULES).compile(expression), words)


def test_the_same_sentences_written_otherwise_are_the_same_automaton_and_digest() -> None:
    one = _compile("go back | go on | stop")
    other = _compile("(stop | go (on | back {x}))")
    assert one == other
    assert sentences.digest([one]) == sentences.digest([other])
    assert sentences.digest([one]) != sentences.digest([_compile("go back | go on")])
    assert sentences.digest([one, other]) != sentences.digest([one])


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("a | b | a", 2),
        ("[a] [b] [c]", 8),
        ("<VOID>", 0),
        ("<NULL>", 1),
        ("a*", None),
        ("a b+", None),
    ],
)
def test_sentences_are_counted_once_each(text: str, count: int | None) -> None:
    assert sentences.sentence_count(_compile(text)) == count


def test_sentences_come_shortest_first() -> None:
    listed = [" ".join(words) for words in sentences.sentences(_compile("b [c] | a"))]
    assert listed == ["a", "b", "b c"]


def test_what_two_rules_share_is_the_shortest_sentence_of_both() -> None:
    assert sentences.shared(_compile("go+ back"), _compile("go go back | stop")) == (
        "go",
        "go",
        "back",
    )
    assert sentences.shared(_compile("go back"), _compile("go on")) is None


def test_a_sentence_may_end_at_several_places() -> None:
    number = _compile("one [nineteen [point five]]")
    assert sentences.ends(number, ["one", "nineteen", "volts"], 0) == [1, 2]
    assert sentences.ends(number, ["at", "one"], 1) == [2]
    assert sentences.ends(number, ["nineteen"], 0) == []


def test_an_unknown_rule_is_no_silent_hole() -> None:
    with pytest.raises(KeyError):
        _compile("<nowhere>")
