"""Grammar and declarations agree: each sizing can be asked, and only with inputs that it has."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from companion.errors import SizingError
from companion.language.compose import compose
from companion.language.library import packaged_library
from companion.language.meanings import Question
from companion.packaged import packaged_folder
from companion.ports import Scope
from companion.sizing import answer, missing, sizings
from companion.sizing.tables import exact_number

if TYPE_CHECKING:
    from companion.sizing import Sizing

GRAMMARS = sorted(packaged_folder("grammars").glob("questions*.jsgf"))
TEXT = "\n".join(path.read_text(encoding="utf-8") for path in GRAMMARS)
PHRASES = {
    slug: table
    for path in sorted((Path(__file__).parents[1] / "phrases").glob("questions*.toml"))
    for slug, table in tomllib.loads(path.read_text(encoding="utf-8")).items()
}
ASKED = [(slug, phrase) for slug, table in PHRASES.items() for phrase in table["means"]]
QUESTIONS = Scope("questions", commands=False)


def _question(phrase: str) -> Question:
    (meaning,) = compose(QUESTIONS).interpret(phrase.replace(",", "").split())
    assert isinstance(meaning, Question)
    return meaning


@pytest.mark.parametrize("sizing", sizings().values(), ids=lambda sizing: sizing.slug)
def test_a_sizings_example_asks_for_it(sizing: Sizing) -> None:
    question = _question(sizing.example)
    assert question.sizing == sizing.slug
    if sizing.slug != "line-wire-size":
        assert missing(sizing.slug, question.inputs) is None


def test_every_sizing_can_be_asked_and_nothing_else() -> None:
    asked = packaged_library().family("companion.questions")
    assert sorted(asked) == sorted(sizings())
    public = [packaged_library().public(f"companion.{path.stem}") for path in GRAMMARS]
    assert sum(map(len, public)) == len(asked)  # none in two files


def _is_number(word: str) -> bool:
    try:
        exact_number(word)
    except ValueError:
        return False
    return True


def test_every_tag_is_an_input_and_every_word_an_option_or_a_number() -> None:
    """A measured input may be said with a word that stands for a number: 'an inch', 'thirties'."""
    inputs = {w.name: w for sizing in sizings().values() for w in sizing.inputs}
    tags = set(re.findall(r"\{([^}=]+)=?([^}]*)\}", TEXT))
    assert tags
    for name, word in tags - {("tag", "")}:
        assert name in inputs
        options = {
            option.value
            for sizing in sizings().values()
            for wanted in sizing.inputs
            if wanted.name == name
            for option in wanted.options
        }
        assert not word or word in options or (not options and _is_number(word)), (name, word)


def test_every_input_can_be_said_in_a_question() -> None:
    """What cannot be said could never be given; a duct's roundness is only ever asked for."""
    said = {(sizing, name) for sizing, phrase in ASKED for name in _question(phrase).inputs}
    unsaid = {
        (sizing.slug, wanted.name)
        for sizing in sizings().values()
        for wanted in sizing.inputs
        if (sizing.slug, wanted.name) not in said
    }
    assert unsaid == {
        ("duct-airflow", "round"), ("duct-blockage", "round"), ("duct-velocity", "round"),
    }  # fmt: skip


@pytest.mark.parametrize(("slug", "phrase"), ASKED)
def test_every_phrase_is_answered_or_asked_about(slug: str, phrase: str) -> None:
    question = _question(phrase)
    wanted = missing(slug, question.inputs)
    if wanted is None:
        assert answer(slug, question.inputs).spoken
    else:
        assert wanted.ask.endswith("?")
        with pytest.raises(SizingError):
            answer(slug, question.inputs)


def test_answers_to_the_phrases_are_short() -> None:
    """A sentence of at most twenty words or so: what one breath carries."""
    for slug, phrase in ASKED:
        inputs = _question(phrase).inputs
        if missing(slug, inputs) is not None:
            continue
        found = answer(slug, inputs)
        for words in (found.spoken, found.spoken_working, found.caution, *found.assumptions):
            for sentence in words.split("."):
                assert len(sentence.split()) <= 22, sentence
