"""What is learnt from wordings, on a few of them that are easy to survey."""

from __future__ import annotations

import json
import re
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench import wordings
from companion.bench.__main__ import main
from companion.bench.hearing import generated
from companion.bench.hearing.case import Case
from companion.bench.hearing.labels import label
from companion.bench.wordings import making, testing
from companion.bench.wordings.learning import (
    inputs_of,
    learn_filling,
    learn_order,
    learn_phrases,
    learn_subjects,
)
from companion.bench.wordings.making import made, slot_tables, source_digest
from companion.bench.wordings.testing import Tally
from companion.language.amounts import pieces
from companion.language.filling import assignments, choices
from companion.language.loosely import question
from companion.language.question_model import NO_QUESTION, packaged_model, read_model, slot_of
from companion.language.subjects import features, weighed
from companion.language.word_order import BEGINNING, WordOrder
from companion.language.wordings import packaged_wordings, read_wordings
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from companion.language.amounts import Piece
    from companion.language.meanings import Question
    from companion.language.question_model import QuestionModel
    from companion.language.wordings import Wording

ASKED = """
== centre-cutout
where do i mark a {hole-width: six} by {hole-height: four} hole on a {face-width: twelve} inch face
center a hole {hole-width: five} inches wide on a face {face-width: nine} inches wide
how far in do i mark a {hole-width: seven} inch hole on a {face-width: twenty} inch face
margins for a hole {hole-width: eight} across on a face {face-width: thirty} across
the face is {face-width: fourteen} inches and the hole {hole-width: ten} inches where do i mark
mark a hole {hole-width: three} inches wide in the middle of a face {face-width: ten} inches wide
where do the marks go for a hole in the middle of the face
== pipe-wrap
how big is a pipe that measures {around: thirty} inches around
the tape says {around: twenty two inches} around the pipe how big is it
what pipe is {around: forty four inches} around
how long a strip to go around a {diameter: ten} inch pipe
cut a strip to wrap a pipe {diameter: eight inches} across
strip for a {diameter: twelve inch} pipe how long do i cut it
how long a strip does the pipe want
"""
TALK = """
we cut the hole on monday and the pipe came on tuesday
the boss will be here around ten
how long have you been in this trade
put the tape back in the truck
"""
TWO = ("centre-cutout", "pipe-wrap")


def of_text(text: str) -> list[Wording]:
    return list(read_wordings(text, "small.txt"))


@cache
def asked() -> tuple[Wording, ...]:
    return tuple(of_text(ASKED))


def spoken() -> list[tuple[str, ...]]:
    return [tuple(line.split()) for line in TALK.split("\n") if line]


def taken_apart(text: str) -> tuple[Piece, ...]:
    return pieces(text.split())


def meant(text: str, learnt: QuestionModel | None = None) -> Question | None:
    return question(text.split(), learnt)


@cache
def model() -> QuestionModel:
    return made(asked(), spoken())[0]


# ------------------------------------------------------------ phrases


def phrases(*lines: str) -> dict[tuple[str, str, str], list[str]]:
    return learn_phrases(of_text("\n".join(lines)))


def test_the_words_marked_as_an_option_name_it() -> None:
    assert phrases(
        "== voltage-drop",
        "drop on {wire=cold: cold wire}",
        "drop in {wire=cold: the freezing attic}",
        "drop on {wire=warm: hot wire}",
    ) == {
        ("voltage-drop", "wire", "cold"): ["cold wire", "the freezing attic"],
        ("voltage-drop", "wire", "warm"): ["hot wire"],
    }


def test_words_that_mostly_mean_something_else_name_no_option() -> None:
    lines = ["== voltage-drop", "drop on {wire=cold: cold wire}", "is my cold wire any good"]
    assert phrases(*lines) == {}  # in one of two
    lines += ["drop in {wire=cold: cold wire}", "will {wire=cold: cold wire} do"]
    assert list(phrases(*lines).values()) == [["cold wire"]]  # in three of four
    other = ["== wire-thickness", "how thick is cold wire", "is cold wire thick"]
    assert list(phrases(*lines, *other).values()) == [["cold wire"]]  # other sizings do not count


def test_a_number_is_no_phrase() -> None:
    assert phrases("== supply-voltage", "is it low on {nominal=240: two forty}") == {}


# ------------------------------------------------------------ the order of words


def test_pairs_and_words_are_counted_with_beginning_and_end() -> None:
    found = learn_order([("how", "far"), ("how", "far", "twenty", "feet"), ("far", "two", "ten")])
    assert found.words == ("far", "feet", "how")
    far, feet, how, figure, end = range(5)
    assert found.alone.tolist() == [3, 1, 2, 3, 3]
    assert {(first, second): times for first, second, times in found.pairs.tolist()} == {
        (BEGINNING, how): 2,
        (BEGINNING, far): 1,
        (how, far): 2,
        (far, end): 1,
        (far, figure): 2,
        (figure, figure): 1,
        (figure, feet): 1,
        (figure, end): 1,
        (feet, end): 1,
    }


def test_what_is_not_in_word_form_teaches_no_order() -> None:
    found = learn_order([("how", "far"), ("18", "gauge"), ("gauge", "?")])
    assert found.words == ("far", "how")
    assert learn_order([]).pairs.shape == (0, 3)


def test_a_pair_of_the_wordings_is_likelier_than_one_that_they_do_not_have() -> None:
    order = WordOrder(model())
    assert order.log_prob("the", "pipe") > order.log_prob("the", "middle")
    assert order.log_prob("middle", "of") > order.log_prob("pipe", "of")


# ------------------------------------------------------------ which sizing


def likeliest(text: str) -> str:
    speaks = weighed(model(), features(taken_apart(text)))
    return model().subjects[int(speaks.argmax())]


def test_the_words_tell_the_two_sizings_and_talk_apart() -> None:
    assert model().subjects == (NO_QUESTION, *TWO)
    assert likeliest("where do i mark the hole on this face") == "centre-cutout"
    assert likeliest("what strip goes around the pipe") == "pipe-wrap"
    assert likeliest("the boss came in the truck on monday") == NO_QUESTION


def test_every_wording_is_its_own_sizings() -> None:
    assert [each.where for each in asked() if likeliest(" ".join(each.words)) != each.sizing] == []


def test_a_feature_seen_once_is_not_looked_at_and_a_rare_one_counts_more() -> None:
    found = learn_subjects(asked(), spoken())
    assert "strip" in found.features
    assert "boss" not in found.features  # in one line of talk
    rarity = {name: found.rarity[at] for name, at in found.features.items()}
    assert rarity["strip"] > rarity["a"]
    assert (found.rarity >= 0).all()


def test_learning_again_gives_the_same() -> None:
    one, other = made(asked(), spoken())[0], model()
    assert np.array_equal(one.weights, other.weights)
    assert np.array_equal(one.filling, other.filling)
    assert np.array_equal(one.pairs, other.pairs)


# ------------------------------------------------------------ which input


def filled(text: str, sizing: str) -> tuple[str, ...]:
    said = taken_apart(text)
    slots = model().slots[sizing]
    return assignments(sizing, slots, choices(sizing, slots, said), model().filling)[0].names


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("a hole six inches wide on a face fifteen inches wide", ("hole-width", "face-width")),
        ("the face is fifteen inches and the hole six inches", ("face-width", "hole-width")),
        ("a six inch hole on a fifteen inch face", ("hole-width", "face-width")),
    ],
)
def test_two_inputs_of_one_unit_are_told_apart_by_the_words_before_them(
    text: str, names: tuple[str, ...]
) -> None:
    assert filled(text, "centre-cutout") == names


def test_the_words_behind_tell_them_apart_too() -> None:
    assert filled("the tape says fifteen inches around", "pipe-wrap") == ("around",)
    assert filled("strip for a fifteen inch pipe", "pipe-wrap") == ("diameter",)


def test_without_learning_nothing_tells_them_apart() -> None:
    slots = model().slots["centre-cutout"]
    said = taken_apart("the face is fifteen inches and the hole six inches")
    offered = choices("centre-cutout", slots, said)
    assert learn_filling([], model().slots).any() == np.False_
    best = assignments("centre-cutout", slots, offered, np.zeros_like(model().filling))
    assert {each.score for each in best} == {0.0}


def test_what_speaks_for_the_right_input_is_raised_and_for_the_wrong_one_lowered() -> None:
    (wording,) = of_text("== pipe-wrap\nstrip for {diameter: ten inches} of pipe")
    slots = model().slots["pipe-wrap"]
    weights = learn_filling([wording], {"pipe-wrap": slots})
    (offered,) = choices("pipe-wrap", slots, pieces(list(wording.words)))
    worth = {name: float(sum(weights[at] for at in each)) for name, each in offered}
    assert worth["diameter"] > 0 > min(worth[name] for name in worth if name != "diameter")


def test_an_amount_is_the_input_that_it_is_marked_as() -> None:
    (wording,) = of_text(
        "== box-fill\none {gauge: twelve} gauge in {box=4x1-1/2 square: four by one and a half}"
    )
    said = pieces(list(wording.words))
    assert [piece.mark for piece in said if piece.is_amount] == ["#gauge", "#", "#"]
    assert inputs_of(wording, said) == ("gauge", "box", "box")


# ------------------------------------------------------------ put together


def test_what_was_learnt_understands_a_wording_that_it_has_not_seen() -> None:
    text = "where do i mark a hole five inches wide on a face fifteen inches wide"
    found = meant(text, model())
    assert found is not None
    assert label(found) == "questions.centre-cutout face-width=15 in hole-width=5 in"
    assert meant("the boss came around in the truck", model()) is None


def test_the_inputs_are_those_that_the_sizings_declare() -> None:
    tables = dict(slot_tables(asked()))
    assert tables.keys() == sizings().keys()
    for slug, inputs in tables.items():
        for slot, wanted in zip(map(slot_of, inputs), sizings()[slug].inputs, strict=True):
            assert (slot.name, slot.kind, slot.many) == (wanted.name, wanted.kind, wanted.many)
            assert tuple(unit for _, _, unit in slot.ranges) == tuple(
                valid.unit for valid in wanted.ranges
            )
            assert [value for value, _ in slot.options] == [each.value for each in wanted.options]


def test_the_digest_changes_with_words_marks_and_inputs() -> None:
    slots = slot_tables(asked())
    whole = source_digest(asked(), slots)
    assert source_digest(asked(), slots) == whole
    others: Sequence[Sequence[Wording]] = (
        asked()[1:],
        asked()[::-1],
        of_text(ASKED.replace("{around: thirty}", "thirty")),
        of_text(ASKED.replace("strip", "piece")),
    )
    digests = {source_digest(each, slots) for each in others}
    assert len(digests | {whole, source_digest(asked(), slots[1:])}) == 6


def test_talk_is_remarks_and_what_is_said_at_work_but_no_question(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    said = [("commands.done", "done"), ("questions.wire-thickness", "how thick is six gauge")]
    cases = [
        Case(f"generated-{at}", "generated", "figure", tuple(text.split()), True, "", rule=rule)  # noqa: FBT003
        for at, (rule, text) in enumerate([*said, *said])
    ]
    monkeypatch.setattr(generated, "generated", lambda *_: cases)
    found = making.talk()
    assert found[-1] == ("done",)
    assert found.count(("done",)) == 1
    assert len(found) > 1500  # of the file, a line each
    assert all(re.fullmatch("[a-z' ]+", " ".join(words)) for words in found)
    assert not {wording.words for wording in packaged_wordings()} & set(found)


# ------------------------------------------------------------ counting


@pytest.mark.parametrize(
    ("text", "wanted", "came"),
    [
        ("how many c f m is three tons", "airflow-for-tons tons=3 ton", "right"),
        ("how many c f m is three tons", "airflow-for-tons tons=3", "right"),
        ("how many c f m is three tons", "airflow-for-tons tons=4 ton", "wrong_input"),
        ("how many c f m is three tons", "cfm-per-ton tons=3 ton", "other"),
        ("how many c f m is three tons not four", "airflow-for-tons tons=3 ton", "not_understood"),
        (
            "how much voltage do i lose over eighty feet of twenty gauge",
            "voltage-drop length=80 gauge=20 load=1",
            "part",
        ),
        ("the boss came around in the truck", "airflow-for-tons tons=3 ton", "not_understood"),
    ],
)
def test_what_came_of_a_question_is_told_by_its_meaning(text: str, wanted: str, came: str) -> None:
    assert testing._against(meant(text), f"questions.{wanted}") == came


def test_an_input_that_nothing_asks_for_is_wrong_where_it_is_left_out() -> None:
    found = meant("how many c f m is three tons")
    assert testing._against(found, "questions.airflow-for-tons tons=3 more=1") == "wrong_input"


def test_the_rates_add_up() -> None:
    tally = Tally(right=6, part=1, wrong_input=1, other=1, not_understood=1)
    assert tally.of == 10
    line = tally.line("ten of them")
    assert line.split()[3:9] == ["10", "60.0", "10.0", "10.0", "10.0", "10.0"]
    # Wilson's upper bound of 2 in 10 at 95 %, from tables: 51.0 %
    assert line.endswith("wrong at most 51.0")
    assert Tally().line("none").split()[1] == "0"


# ------------------------------------------------------------ the command


def test_the_help_names_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["wordings", "--help"])
    assert caught.value.code == 0
    told = " ".join(capsys.readouterr().out.split())
    assert wordings.EXAMPLE in told
    for option in ("--shares", "--out", "--errors"):
        assert option in told


@pytest.fixture
def few_wordings(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the command learn from the few wordings above."""
    monkeypatch.setattr(testing, "packaged_wordings", asked)
    monkeypatch.setattr(testing, "talk", lambda: tuple(spoken()))


@pytest.mark.usefixtures("few_wordings")
def test_the_command_writes_a_model_and_tells_the_rates(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "questions.npz"
    assert main(["wordings", "--shares", "2", "--out", str(path)]) == 0
    *table, last = capsys.readouterr().out.splitlines()
    told = json.loads(last)
    assert sum(told["questions"]["wordings, not learnt from"].values()) == len(asked())
    assert sum(told["questions"]["the nearest wording (peer)"].values()) == len(asked())
    assert sum(told["questions"]["'asked', another writer"].values()) == 303
    assert told["remarks"][1] > 800
    assert any("the nearest wording (peer)" in line for line in table)
    found = read_model(path)
    assert found.subjects == (NO_QUESTION, *TWO)
    assert found.source == model().source
    assert found.source != packaged_model().source


@pytest.mark.usefixtures("few_wordings")
def test_a_folder_that_is_not_there_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    nowhere = tmp_path / "nowhere" / "questions.npz"
    assert main(["wordings", "--shares", "0", "--out", str(nowhere)]) == 3
    assert capsys.readouterr().err == (
        f"'{nowhere}' cannot be written: No such file or directory. Choose another with --out.\n"
    )
