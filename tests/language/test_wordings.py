"""Questions in people's own words: how the files are written, and what the packaged ones hold."""

from __future__ import annotations

from collections import Counter, defaultdict
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.errors import GrammarError
from companion.language.amounts import pieces
from companion.language.wordings import Marked, Wording, packaged_wordings, read_wordings
from companion.numbers import NUMBER_WORDS
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.language.amounts import Piece
    from companion.sizing import Input

FEWEST = 30  # wordings of a sizing: fewer teach too little of how it may be asked for


def read(*lines: str) -> list[Wording]:
    return list(read_wordings("\n".join(lines), "wordings/small.txt"))


# ------------------------------------------------------------ the form


def test_a_line_is_a_question_of_the_sizing_above_it() -> None:
    found = read(
        "== voltage-drop",
        "what do i lose on the run",
        "",
        "== wire-thickness",
        "how thick is this wire",
    )
    assert [(each.sizing, " ".join(each.words), each.where) for each in found] == [
        ("voltage-drop", "what do i lose on the run", "wordings/small.txt:2"),
        ("wire-thickness", "how thick is this wire", "wordings/small.txt:5"),
    ]


def test_a_mark_names_its_input_and_its_words_stay_in_their_place() -> None:
    (found,) = read(
        "== distance-to-short",
        "{reading: point nine ohms} on {path=single: one wire by itself} how far is it",
    )
    assert " ".join(found.words) == "point nine ohms on one wire by itself how far is it"
    assert found.marked == (Marked("reading", "", 0, 3), Marked("path", "single", 4, 8))


def test_an_input_may_be_marked_several_times_and_side_by_side() -> None:
    (found,) = read("== transformer-size", "what for {loads: ten v a} {loads: six v a}")
    assert found.marked == (Marked("loads", "", 2, 5), Marked("loads", "", 5, 8))


def test_a_marked_value_may_hold_spaces_and_figures() -> None:
    (found,) = read("== box-fill", "is a {box=4x1-1/2 square: four by one and a half} enough")
    assert found.marked == (Marked("box", "4x1-1/2 square", 2, 8),)


def test_remarks_and_empty_lines_are_left_out() -> None:
    found = read("# == no-sizing", "", "== voltage-drop", "  # a remark", "  how bad is the drop  ")
    assert [each.words for each in found] == [("how", "bad", "is", "the", "drop")]
    assert read() == read("# nothing but this") == []


def test_a_question_above_every_sizing_is_told_with_its_place() -> None:
    with pytest.raises(GrammarError) as caught:
        read("# a remark", "how bad is the drop")
    assert str(caught.value) == (
        "wordings/small.txt:2: 'how bad is the drop' belongs to no sizing. Put '== SLUG' above it."
    )


@pytest.mark.parametrize(
    "line",
    [
        "how far for 18 gauge",  # figures
        "How far for eighteen",
        "how far for eighteen?",
        "twenty-two gauge",
        "how far for {gauge eighteen}",  # marks that are none
        "how far for {gauge:eighteen}",
        "how far for {gauge: }",
        "how far for {: eighteen}",
        "how far for {gauge: eighteen",
        "how far for gauge: eighteen}",
        "how far for {gauge: {length: eighteen}}",
        "how far for {gauge: 18}",
    ],
)
def test_a_line_that_is_not_in_word_form_is_told_with_its_place(line: str) -> None:
    with pytest.raises(GrammarError) as caught:
        read("== voltage-drop", "how bad is the drop", line)
    assert str(caught.value) == (
        f"wordings/small.txt:3: '{line}' is not in word form. "
        "Write small letters, ' and spaces; numbers in words; an input as {name: words}."
    )


WORDS = st.text("abcz'", min_size=1, max_size=4)
PHRASES = st.lists(WORDS, min_size=1, max_size=3)
Part = tuple[str, str, list[str]]  # an input's name, its value, the words
PARTS = st.lists(
    st.tuples(st.sampled_from(["", "load", "second-gauge"]), st.sampled_from(["", "2/0"]), PHRASES),
    min_size=1,
    max_size=5,
)


@given(PARTS)
def test_what_is_written_with_marks_is_what_is_read(
    parts: list[tuple[str, str, list[str]]],
) -> None:
    line: list[str] = []
    words: list[str] = []
    marked: list[Marked] = []
    for name, value, phrase in parts:
        text = " ".join(phrase)
        line.append(f"{{{name}{'=' if value else ''}{value}: {text}}}" if name else text)
        if name:
            marked.append(Marked(name, value, len(words), len(words) + len(phrase)))
        words += phrase
    (found,) = read("== voltage-drop", " ".join(line))
    assert found == Wording("voltage-drop", tuple(words), tuple(marked), "wordings/small.txt:2")


# ------------------------------------------------------------ the packaged files


@cache
def marks() -> tuple[tuple[Wording, Marked], ...]:
    return tuple((wording, mark) for wording in packaged_wordings() for mark in wording.marked)


def measured() -> Iterator[tuple[Wording, Marked, Input]]:
    """Every mark of a number: what has no '=' in it."""
    for wording, mark in marks():
        if not mark.value:
            yield wording, mark, sizings()[wording.sizing].input(mark.name)


def said(wording: Wording, mark: Marked) -> str:
    return " ".join(wording.words[mark.start : mark.end])


def amount(wording: Wording, mark: Marked) -> Piece | None:
    """What a mark's words are by themselves, None where they are no amount, or more than one."""
    found = pieces(list(wording.words[mark.start : mark.end]))
    return found[0] if len(found) == 1 and found[0].is_amount else None


def figure(piece: Piece) -> str:
    """An amount as options are called: '18', '1-1/4', '2/0'."""
    if isinstance(piece.value, str) or piece.value is None:
        return piece.value or ""
    whole, part = divmod(Fraction(piece.value), 1)
    return "-".join(str(each) for each in (whole, part) if each)


def test_every_sizing_has_many_wordings_and_no_wording_is_of_an_unknown_one() -> None:
    count = Counter(wording.sizing for wording in packaged_wordings())
    assert set(count) == set(sizings())
    assert {slug: times for slug, times in count.items() if times < FEWEST} == {}


def test_no_wording_stands_twice_nor_under_two_sizings() -> None:
    places: defaultdict[tuple[str, ...], list[str]] = defaultdict(list)
    for wording in packaged_wordings():
        places[wording.words].append(f"{wording.where} {wording.sizing}")
    assert [where for where in places.values() if len(where) > 1] == []


def test_every_mark_names_an_input_of_its_sizing() -> None:
    named = {slug: {wanted.name for wanted in each.inputs} for slug, each in sizings().items()}
    assert [
        f"{wording.where} {mark.name}"
        for wording, mark in marks()
        if mark.name not in named[wording.sizing]
    ] == []


def test_a_marked_option_is_one_of_its_inputs_options() -> None:
    assert [
        f"{wording.where} {mark.name}={mark.value}"
        for wording, mark in marks()
        if mark.value
        and mark.value
        not in {each.value for each in sizings()[wording.sizing].input(mark.name).options}
    ] == []


def test_a_marked_number_is_one_amount() -> None:
    assert [
        f"{wording.where} {mark.name}: {said(wording, mark)}"
        for wording, mark, _ in measured()
        if amount(wording, mark) is None
    ] == []


def test_the_unit_of_a_marked_number_is_one_of_its_inputs_units() -> None:
    assert [
        f"{wording.where} {mark.name}: {said(wording, mark)}"
        for wording, mark, wanted in measured()
        if (found := amount(wording, mark))
        and found.units
        and not set(found.units) & set(wanted.units)
    ] == []


def test_a_number_marked_as_an_option_is_one_of_them() -> None:
    assert [
        f"{wording.where} {mark.name}: {said(wording, mark)}"
        for wording, mark, wanted in measured()
        if wanted.options
        and (found := amount(wording, mark))
        and figure(found) not in {each.value for each in wanted.options}
    ] == []


def test_a_marked_number_is_torn_only_by_a_number_beside_it() -> None:
    # 'seven hundred seven twenty' are two numbers to whoever marked them, and may be cut elsewhere.
    torn = []
    for wording, mark, _ in measured():
        whole = amount(wording, mark)
        over = [
            piece
            for piece in pieces(list(wording.words))
            if mark.start < piece.end and piece.start < mark.end
        ]
        beside = wording.words[max(0, mark.start - 1) : mark.start] + wording.words[mark.end :][:1]
        is_kept = whole is not None and [piece.value for piece in over] == [whole.value]
        if not is_kept and not NUMBER_WORDS.intersection(beside):
            torn.append(f"{wording.where} {mark.name}: {said(wording, mark)}")
    assert torn == []
