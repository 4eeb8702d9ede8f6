from __future__ import annotations

from decimal import Decimal

from companion.language.matching import Slot, Span, Word
from companion.language.meanings import Measure
from companion.language.slots import inputs, measure, slot_text, word_value

NUMBER, VOLTS = "companion.numbers.number", "companion.units.V"
SAID = ("primary", "one", "nineteen", "volts", "and", "ten", "four")


def test_a_number_has_the_unit_that_follows_it() -> None:
    assert measure(SAID, (Span(NUMBER, 1, 3), Span(VOLTS, 3, 4))) == Measure(Decimal(119), "V")
    assert measure(SAID, (Span(NUMBER, 1, 3),)) == Measure(Decimal(119), None)
    assert measure(SAID, (Span(VOLTS, 3, 4),)) is None


def test_words_that_numbers_refuse_make_no_measure_and_no_question() -> None:
    # 'ten four' is refused by companion/numbers.py: 10.4 to one, 14 to another.
    refused = (Span(NUMBER, 5, 7),)
    assert measure(SAID, refused) is None
    assert inputs(SAID, (Slot("load", 5, 7, refused),)) is None


def test_a_slot_without_a_number_is_its_words_or_the_number_they_are() -> None:
    assert inputs(SAID, (Slot("what", 0, 1, ()),)) == {"what": "primary"}
    assert inputs(SAID, (Slot("gauge", 5, 6, ()),)) == {"gauge": Measure(Decimal(10), None)}


def test_a_tag_said_again_is_a_list_of_measures_and_the_last_of_words() -> None:
    one, two = (Slot("loads", n, n + 1, (Span(NUMBER, n, n + 1),)) for n in (1, 5))
    assert inputs(SAID, (one, two)) == {
        "loads": (Measure(Decimal(1), None), Measure(Decimal(10), None))
    }
    said = (Word("metal", "copper", 0, 1), Word("metal", "aluminum", 2, 3), Span(VOLTS, 3, 4))
    assert inputs(SAID, said) == {"metal": "aluminum"}


def test_what_was_not_said_is_nothing() -> None:
    captures = (Slot("reason", 0, 2, ()), Word("special", "open", 2, 3))
    assert slot_text(SAID, captures, "reason") == "primary one"
    assert slot_text(SAID, captures, "special") == ""
    assert word_value(captures, "special") == "open"
    assert word_value(captures, "reason") == ""
