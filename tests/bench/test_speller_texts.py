"""What is said to the speller: letters that it knows, the same for the same seed."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from pydoc_data.topics import topics

import pytest

from companion.bench.hearing.case import Case
from companion.bench.hearing.spoken import HELD_OUT
from companion.bench.speller.split import is_for_training
from companion.bench.speller.texts import Line, is_spellable, lines
from companion.bench.speller.voices import VOICES
from companion.hearing.speller import ALPHABET

COUNT = 300
TALK = (
    "she had a heron on the roof",
    "it's raining",
    "call 911 now",
    "café",
    "",
    " ".join(["on"] * 20),
)


def recordings() -> list[Case]:
    return [
        Case(
            f"{corpus}-{person}-{place}",
            corpus,
            "figure",
            tuple(text.split()),
            False,  # noqa: FBT003 - addressed
            f"person-{person}",
            Path(f"{person}-{place}.flac"),
        )
        for corpus in ("not-for-me", "readings")
        for person in range(6)
        for place, text in enumerate(TALK)
    ] + [
        Case(
            f"words-{person}",
            "words",
            "figure",
            (word,),
            True,  # noqa: FBT003 - addressed
            f"person-{person}",
            Path(f"{word}-{person}.flac"),
        )
        for person, word in enumerate(
            ["zero", "one", "two", "three", "four", "five", "six", "seven"]
        )
    ]


@pytest.fixture(scope="module")
def said() -> list[Line]:
    return lines(COUNT, 7, recordings())


def test_every_letter_is_one_that_the_speller_knows(said: list[Line]) -> None:
    assert said
    assert all(set(line.text) <= set(ALPHABET) and line.text.strip() == line.text for line in said)
    assert all(line.words for line in said)


def test_a_seed_gives_the_same_texts_and_another_others(said: list[Line]) -> None:
    assert lines(COUNT, 7, recordings()) == said
    other = lines(COUNT, 8, recordings())
    assert len({line.text for line in other} & {line.text for line in said}) < len(said) / 2


def test_each_kind_has_its_share(said: list[Line]) -> None:
    counts = Counter(line.kind for line in said)
    people = counts.pop("people")
    assert counts == {  # of 300
        "grammar": 108,
        "random": 54,
        "numbers": 54,
        "remarks": 24,
        "prose": 36,
        "joined": 24,
    }
    usable = [c for c in recordings() if is_for_training(c) and is_spellable(c.words)]
    assert people == len(usable) > 0


def test_people_say_their_own_words_and_only_those_learnt_from(said: list[Line]) -> None:
    learnt = {case.path: case for case in recordings() if is_for_training(case)}
    for line in said:
        cases = [learnt[path] for path in line.paths]
        assert not any(case.corpus == "readings" for case in cases)
        if line.kind in {"people", "joined"}:
            assert line.words == sum((case.words for case in cases), ())
            assert (len(cases) == 1) is (line.kind == "people")
        else:
            assert not cases
            assert line.speaker in VOICES


def test_single_words_are_joined_two_to_four_at_a_time(said: list[Line]) -> None:
    joined = [line for line in said if line.kind == "joined"]
    assert {len(line.words) for line in joined} == {2, 3, 4}
    assert all(path.stem.startswith(line.words[0]) for line in joined for path in line.paths[:1])


def test_prose_is_of_words_as_they_follow_one_another(said: list[Line]) -> None:
    running = " ".join(" ".join(topics.values()).lower().split())
    passages = [line.text for line in said if line.kind == "prose"]
    assert all(1 <= len(text.split()) <= 8 for text in passages)
    assert sum(text in running for text in passages) > len(passages) / 3  # others skip a mark


def test_remarks_are_the_words_of_people_learnt_from_and_short(said: list[Line]) -> None:
    remarks = {line.text for line in said if line.kind == "remarks"}
    assert remarks == {"she had a heron on the roof", "it's raining"}


def test_without_recordings_there_are_neither_remarks_nor_joined_words() -> None:
    assert {line.kind for line in lines(20, 7, [])} == {"grammar", "random", "numbers", "prose"}


def test_the_engine_held_out_says_nothing() -> None:
    engines = {voice.partition(":")[0] for voice in VOICES}
    assert engines == {"espeak", "flite"}
    assert HELD_OUT not in engines
