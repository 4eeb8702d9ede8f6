from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from companion.language.automata import Compiler
from companion.language.jsgf import parse_expression
from companion.language.matching import Captures, MatcherMaker, Slot, Span, Word

if TYPE_CHECKING:
    from companion.language.expressions import Expression

RULES: dict[str, Expression] = {
    "numbers.number": parse_expression("(one | two | twenty) [one | two | twenty] | half an"),
    "units.A": parse_expression("amp | amps"),
    "x.amps": parse_expression("<numbers.number> <units.A>"),
}


def _matches(text: str, said: str) -> tuple[Captures, ...]:
    maker = MatcherMaker(RULES, Compiler(RULES).rule, ("numbers", "units"))
    return maker.make(parse_expression(text)).matches(said.split())


def test_a_slot_holds_its_words_and_the_number_and_unit_inside() -> None:
    assert _matches("gauge for <x.amps> {load}", "gauge for half an amp") == (
        (Slot("load", 2, 5, (Span("numbers.number", 2, 4), Span("units.A", 4, 5))),),
    )


def test_a_tag_with_equals_captures_its_value() -> None:
    assert _matches("wire [(aluminum | al) {material=aluminum}]", "wire al") == (
        (Word("material", "aluminum", 1, 2),),
    )
    assert _matches("wire [(aluminum | al) {material=aluminum}]", "wire") == ((),)


def test_every_way_to_match_is_given_once() -> None:
    ways = _matches("<numbers.number> {a} <numbers.number> {b}", "one two twenty")
    assert {tuple((c.start, c.end) for c in way if isinstance(c, Slot)) for way in ways} == {
        ((0, 1), (1, 3)),
        ((0, 2), (2, 3)),
    }
    assert _matches("a | a | [b] a", "a") == ((),)


def test_a_repeated_tag_gives_one_slot_each_time() -> None:
    (way,) = _matches("<x.amps> {load} (and <x.amps> {load})*", "one amp and two amps and one amp")
    assert [(c.name, c.start, c.end) for c in way if isinstance(c, Slot)] == [
        ("load", 0, 2),
        ("load", 3, 5),
        ("load", 6, 8),
    ]


@pytest.mark.parametrize("said", ["", "gauge", "gauge for", "gauge for one", "for one amp", "x"])
def test_what_is_no_sentence_matches_in_no_way(said: str) -> None:
    assert _matches("gauge for <x.amps> {load}", said) == ()


@pytest.mark.parametrize(
    ("text", "said", "is_match"),
    [
        ("[a]* b", "a a b", True),  # an optional part inside a repetition ends
        ("(a [b])+", "a b a", True),
        ("a+", "", False),
        ("a*", "", True),
        ("<VOID>", "", False),
        ('"new york" b', "new york b", True),
        ('"new york" b', "new b", False),
    ],
)
def test_repetition_and_special_rules_match_as_they_read(
    text: str,
    said: str,
    is_match: bool,  # noqa: FBT001 - a column of the table above
) -> None:
    assert bool(_matches(text, said)) is is_match
