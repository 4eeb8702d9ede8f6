from __future__ import annotations

import re
import tomllib
from collections import Counter
from importlib.resources import files
from itertools import pairwise

from companion.bench.hearing.corpora import corpus
from companion.bench.hearing.labels import label
from companion.bench.hearing.moments import moment, moments
from companion.bench.hearing.written import (
    Sentence,
    asked_questions,
    own_cases,
    own_sentences,
    remark_cases,
    remarks,
)
from companion.language.compose import compose
from companion.sizing import sizings

SPEAKERS = ["flite:slt", "espeak:en-us+m3"]


def parts(said: Sentence) -> list[tuple[str, ...]]:
    """The whole, and what lies between breaths."""
    ends = (0, *said.breaths, len(said.words))
    return [said.words, *(said.words[a:b] for a, b in pairwise(ends))]


def live_words(name: str) -> set[str]:
    """The words of a moment's grammar."""
    automata = compose(moment(name).scope).grammar.parts
    return {word for automaton in automata for arcs in automaton.arcs for word in arcs}


# ---------------------------------------------------------------- 'asked'


def test_every_sizing_is_asked_for_in_words_of_others() -> None:
    asked = asked_questions()
    assert len({each.words for each in asked}) == len(asked) == 303
    named = Counter(each.means.split()[0].removeprefix("questions.") for each in asked)
    assert named.keys() == sizings().keys()
    assert min(named.values()) >= 2
    assert all(each.addressed and each.moment in moments() for each in asked)
    assert [case.words for case in corpus("asked", SPEAKERS)] == [each.words for each in asked]


def test_what_those_questions_give_are_inputs_of_the_sizing() -> None:
    for asked in asked_questions():
        slug, *given = asked.means.split(" ", 1)
        inputs = {each.name for each in sizings()[slug.removeprefix("questions.")].inputs}
        assert set(re.findall(r"(\S+)=", " ".join(given))) <= inputs, asked


# ---------------------------------------------------------------- 'own'


def test_the_own_list_holds_300_sentences_each_once_at_moments_that_are_there() -> None:
    own = own_sentences()
    assert len(own) == 300
    assert len({(each.words, each.moment) for each in own}) == 300
    assert {each.moment for each in own} <= moments().keys()
    assert Counter(each.addressed for each in own) == {True: 200, False: 100}


def test_what_the_own_list_says_a_sentence_means_is_what_the_language_makes_of_it() -> None:
    for own in own_sentences():
        found = compose(moment(own.moment).scope).interpret(own.words)
        if own.addressed and found:
            assert [label(meaning) for meaning in found] == [own.means], own


def test_wordings_that_the_grammar_does_not_know_are_marked_as_such() -> None:
    addressed = [own for own in own_sentences() if own.addressed]
    unknown = [own for own in addressed if not own.knows]
    assert {own.note == "unknown wording" for own in unknown} == {True}
    assert len(unknown) >= 50
    assert all(own.means != "nothing" for own in addressed)


def test_only_marked_traps_are_sentences_of_the_grammar_and_yet_not_addressed() -> None:
    others = [own for own in own_sentences() if not own.addressed]
    known = {" ".join(own.words) for own in others if own.knows}
    assert known == {"no", "twenty six", "stop"}
    assert known == {" ".join(own.words) for own in others if own.note.startswith("trap")}
    assert {own.means for own in others} == {"nothing"}


def test_own_cases_are_dealt_out_to_the_speakers_and_carry_their_meaning() -> None:
    cases = own_cases(SPEAKERS)
    assert corpus("own", SPEAKERS) == cases
    assert [case.speaker for case in cases[:3]] == [*SPEAKERS, SPEAKERS[0]]
    assert len({case.id for case in cases}) == len(cases)
    assert {case.means == "" for case in cases if not case.addressed} == {True}
    assert {case.means == "" for case in cases if case.addressed} == {False}


# ---------------------------------------------------------------- 'remarks'


def test_no_remark_nor_a_part_between_breaths_is_a_sentence_where_it_is_said() -> None:
    for remark in remarks():
        language = compose(moment(remark.moment).scope)
        assert not any(language.interpret(part) for part in parts(remark)), remark


def test_the_remarks_are_those_of_both_lists_without_the_traps_each_once() -> None:
    found = remarks()
    own = [each for each in own_sentences() if not each.addressed]
    listed = tomllib.loads(
        files("companion.bench.hearing").joinpath("remarks.toml").read_text("utf-8")
    )
    assert len(found) == len(own) - 3 + listed["rows"]
    assert len({each.words for each in found}) == len(found)
    assert {(each.addressed, each.means) for each in found} == {(False, "nothing")}
    assert not any(each.note.startswith("trap") for each in found)
    assert len({each.moment for each in found}) > 100


def test_the_remarks_share_words_with_the_grammar_and_some_take_a_breath() -> None:
    found = remarks()
    said = Counter(word for each in found for word in set(each.words))
    for word in ("yes", "no", "stop", "done", "next", "back", "point", "twenty", "confirm", "open"):
        assert said[word] >= 1, word
    assert all(live_words(each.moment) & set(each.words) for each in found)
    assert sum(bool(each.breaths) for each in found) >= 8
    assert all(part for each in found for part in parts(each))


def test_each_remark_is_said_by_every_speaker_once() -> None:
    cases = remark_cases([*SPEAKERS, *SPEAKERS])
    assert corpus("remarks", SPEAKERS) == cases
    assert len(cases) == len(remarks()) * len(SPEAKERS)
    assert len({case.id for case in cases}) == len(cases)
    assert Counter(case.speaker for case in cases) == dict.fromkeys(SPEAKERS, len(remarks()))
    assert not any(case.addressed for case in cases)
    assert all(re.fullmatch(r"remarks-\d{3,4}-[a-z_0-9+-]+", case.id) for case in cases)


def test_every_so_many_th_remark_is_not_of_a_few_speakers() -> None:
    everyone = [f"flite:{letter}" for letter in "abcdefghijkl"]
    cases = remark_cases(everyone)
    for step in (2, 3, 4, 6, 12):
        shares = Counter(case.speaker for case in cases[::step])
        assert set(shares) == set(everyone)
        assert max(shares.values()) < 2 * min(shares.values())
