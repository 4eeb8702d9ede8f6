"""Free words taken apart into words and amounts."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.language import amounts as amounts_module
from companion.language.amounts import pieces
from companion.numbers import NUMBER_WORDS, parse, say
from companion.quantities import UNITS

if TYPE_CHECKING:
    from companion.language.amounts import Piece
    from companion.ports import Exact

HEARD = sorted((said, unit.slug) for unit in UNITS.values() for said in unit.heard)
UNIT_WORDS = sorted({word for said, _ in HEARD for word in said})
PLAIN = ("aught", "twelves", "twice", "meters", "by", "them", "run", "o'clock", "", "é")
ANY_WORDS = st.lists(
    st.one_of(
        st.sampled_from(sorted(NUMBER_WORDS)),
        st.sampled_from(UNIT_WORDS),
        st.sampled_from(PLAIN),
        st.text(max_size=5),
    ),
    max_size=25,
)


def amounts(text: str) -> list[Piece]:
    return [piece for piece in pieces(text.split()) if piece.is_amount]


@pytest.mark.parametrize(
    ("text", "value", "unit"),
    [
        ("a hundred and ten feet", 110, "ft"),
        ("one ten feet", 110, "ft"),
        ("eighty five feet", 85, "ft"),
        ("twelve hundred c f m", 1200, "cfm"),
        ("eighty thousand b t u", 80_000, "Btu_h"),
        ("twenty six point five volts", Decimal("26.5"), "V"),
        ("point three amps", Decimal("0.3"), "A"),
        ("minus point two inches of water", Decimal("-0.2"), "inH2O"),
        ("half an amp", Fraction(1, 2), "A"),
        ("a quarter amp", Fraction(1, 4), "A"),
        ("three quarters of an amp", Fraction(3, 4), "A"),
        ("three eighths of an inch", Fraction(3, 8), "in"),
        ("five and five sixteenths inches", Fraction(85, 16), "in"),
        ("an inch and a half", Fraction(3, 2), "in"),
        ("an inch and three quarters", Fraction(7, 4), "in"),
        ("inch and a quarter", Fraction(5, 4), "in"),
        ("an inch", 1, "in"),
        ("an inch of water", 1, "inH2O"),
        ("ton and a half", Fraction(3, 2), "ton"),
        ("a ton and a half", Fraction(3, 2), "ton"),
        ("a foot and a half", Fraction(3, 2), "ft"),
        ("two and a half tons", Fraction(5, 2), "ton"),
        ("half a ton", Fraction(1, 2), "ton"),
        ("eighteen gauge", 18, "gauge"),
        ("forty v a", 40, "VA"),
        ("thirty seconds", 30, "s"),  # a time, not parts of an inch
        ("sixty percent", 60, "percent"),
        ("twelves", 12, "gauge"),  # "nine twelves" are nine conductors of number 12
        ("fourteens", 14, "gauge"),
    ],
)
def test_a_number_and_the_unit_behind_it_are_one_amount(
    text: str, value: Exact | int, unit: str
) -> None:
    (found,) = pieces(text.split())
    assert found.value == value
    assert unit in found.units
    assert found.mark == f"#{found.units[0]}"


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("one nineteen", 119),
        ("two oh eight", 208),
        ("twenty six and a half", Fraction(53, 2)),
        ("two thirds", Fraction(2, 3)),
        ("point oh eight", Decimal("0.08")),
        ("hundred and twenty", 120),
        ("half", Fraction(1, 2)),
    ],
)
def test_a_number_without_a_unit_is_bare(text: str, value: Exact | int) -> None:
    (found,) = pieces(text.split())
    assert (found.mark, found.value, found.units) == ("#", value, ())


@pytest.mark.parametrize(
    ("text", "name"),
    [("one aught", "1/0"), ("two aught", "2/0"), ("three aught", "3/0"), ("four aught", "4/0")],
)
def test_a_wire_thicker_than_number_one_has_its_name(text: str, name: str) -> None:
    (found,) = pieces(text.split())
    assert (found.mark, found.value, found.units) == ("#aught", name, ())


@pytest.mark.parametrize(
    ("text", "marks"),
    [
        ("one of them", "# of them"),
        ("how far is it", "how far is it"),
        ("five aught", "# aught"),  # no such wire
        ("a volt and a half", "a volt and #"),
        ("an inch and", "#inH2O and"),
        ("second floor", "second floor"),
        ("the third of it", "the third of it"),
        ("inch by foot by ton", "inch by foot by ton"),
        ("a foot of it", "a foot of it"),  # as often a man's own as a length
        ("two panes", "# panes"),
        ("half a mile", "# mile"),
        ("sixteen by twenty five by four", "# by # by #"),
        ("minus", "minus"),
        ("point", "point"),
        ("nine twelves", "# #gauge"),
        ("nine nines", "# #"),  # no conductor of a number 9
        ("ten four", "# #"),  # refused as a number, so it is two
        ("eighty feet of twenty gauge at point three amps", "#ft of #gauge at #A"),
        ("seven hundred and we're done", "# and we're done"),
        ("", ""),
    ],
)
def test_what_is_no_part_of_an_amount_stays_a_word(text: str, marks: str) -> None:
    assert " ".join(piece.mark for piece in pieces(text.split())) == marks


def test_the_longest_unit_that_follows_is_the_unit() -> None:
    (water,) = amounts("point five inches of water column")
    assert water.units == ("inH2O",)
    (plain,) = amounts("point five inches")
    assert set(plain.units) == {"inH2O", "in"}  # only what is asked for can tell the two apart


@pytest.mark.parametrize(
    ("text", "noun"),
    [
        ("eighty meters", "meters"),
        ("half a mile", "mile"),
        ("eighty feet of meters", ""),  # what is measured has its unit
        ("eighty of them", ""),
        ("eighty", ""),
    ],
)
def test_a_measure_that_there_is_no_unit_for_is_the_numbers_noun(text: str, noun: str) -> None:
    (found,) = amounts(text)
    assert found.noun == noun


@pytest.mark.parametrize(
    ("text", "is_odd"),
    [
        ("twice eighty feet", True),
        ("double forty v a", True),
        ("three times eighty feet", True),
        ("eighty feet twice", False),
        ("half an amp", False),
        ("eighty feet", False),
    ],
)
def test_a_number_that_is_multiplied_is_not_what_counts(
    text: str,
    is_odd: bool,  # noqa: FBT001 - a column of the table above
) -> None:
    assert amounts(text)[-1].is_odd is is_odd


def test_words_in_a_tuple_are_the_same_as_in_a_list() -> None:
    text = "two aught or an inch and a half of nine twelves"
    assert pieces(tuple(text.split())) == pieces(text.split())


def test_many_number_words_are_looked_at_a_few_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    looked_at: list[int] = []

    def counted(words: tuple[str, ...]) -> Exact:
        looked_at.append(len(words))
        return parse(words)

    monkeypatch.setattr(amounts_module, "parse", counted)
    found = pieces(["a", "one", "hundred"] * 100)
    assert found[-1].end == 300
    longest = 12  # words of the longest number
    assert max(looked_at) <= longest
    assert len(looked_at) <= longest * 300


@given(ANY_WORDS)
def test_pieces_hold_every_word_once_and_in_order(words: list[str]) -> None:
    found = pieces(words)
    places = [place for piece in found for place in range(piece.start, piece.end)]
    assert places == list(range(len(words)))
    for piece in found:
        if not piece.is_amount:
            assert (words[piece.start : piece.end], piece.units) == ([piece.mark], ())
        else:
            assert piece.mark.startswith("#")
            assert all(unit in UNITS for unit in piece.units)


@given(ANY_WORDS)
def test_a_unit_of_an_amount_was_said_behind_it(words: list[str]) -> None:
    for piece in pieces(words):
        within = tuple(words[piece.start : piece.end])
        if within == ("twelves",):
            continue  # the unit is in the word itself
        for unit in piece.units:
            assert any(
                within[at : at + len(said)] == said
                for said in UNITS[unit].heard
                for at in range(len(within))
            )


DECIMALS = st.decimals(min_value=-99_999, max_value=99_999, places=3)
FRACTIONS = st.builds(
    lambda whole, over, parts: whole + Fraction(over, parts),
    st.integers(0, 99),
    st.integers(1, 63),
    st.sampled_from([2, 3, 4, 8, 16, 32, 64]),
).filter(lambda value: value.denominator > 1)
NUMBERS = st.one_of(st.integers(0, 9999).map(Decimal), DECIMALS, FRACTIONS)


@given(NUMBERS, st.sampled_from(HEARD))
def test_a_number_said_with_a_unit_comes_back_exactly(
    value: Exact, heard: tuple[tuple[str, ...], str]
) -> None:
    said, unit = heard
    (found,) = pieces([*say(value).split(), *said])
    assert found.value == value
    assert unit in found.units


@given(NUMBERS, st.sampled_from(HEARD))
def test_words_around_an_amount_do_not_change_it(
    value: Exact, heard: tuple[tuple[str, ...], str]
) -> None:
    said, unit = heard
    before, found, behind = pieces(["with", *say(value).split(), *said, "there"])
    assert (before.mark, behind.mark) == ("with", "there")
    assert found.value == value
    assert unit in found.units
