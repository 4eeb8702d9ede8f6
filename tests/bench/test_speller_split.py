"""Who is learnt from and who is kept for measuring: the same in every run, nobody on both sides."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from companion.bench.hearing.case import Case
from companion.bench.hearing.corpora import corpus
from companion.bench.speller import is_for_training
from companion.bench.speller.split import is_for_fitting, is_held_back

ANYONE = Case("words-yes-1", "words", "figure", ("yes",), True, "sc_18f8afd5", Path("yes.flac"))  # noqa: FBT003
PEOPLE = [f"person-{number}" for number in range(400)]


# By hand, with sha256sum: the digests of the names end in b8, a1, a9 and 48; even is learnt from.
@pytest.mark.parametrize(
    ("speaker", "learnt"),
    [("sc_18f8afd5", True), ("sc_c7dc7278", False), ("libri_2609", False), ("libri_367", True)],
)
def test_a_person_is_always_on_the_same_side(speaker: str, learnt: bool) -> None:  # noqa: FBT001
    for number in range(5):
        case = replace(ANYONE, id=f"words-{number}", speaker=speaker)
        assert is_for_training(case) is learnt
        assert is_for_training(replace(case, corpus="not-for-me", words=())) is learnt


@pytest.mark.parametrize("speaker", ["kathleen", ""])
def test_the_reader_of_most_and_the_nameless_are_shared_out_by_recording(speaker: str) -> None:
    ids = [f"not-for-me-{number}" for number in range(400)]
    cases = [replace(ANYONE, id=each, corpus="not-for-me", speaker=speaker) for each in ids]
    assert 150 < sum(map(is_for_training, cases)) < 250  # half, five standard deviations wide


def test_half_of_the_people_are_learnt_from() -> None:
    assert 150 < sum(is_for_training(replace(ANYONE, speaker=each)) for each in PEOPLE) < 250


@pytest.mark.parametrize("kind", ["readings", "yours", "generated", "own"])
def test_readings_and_your_own_recordings_are_never_learnt_from(kind: str) -> None:
    assert not any(
        is_for_training(replace(ANYONE, corpus=kind, speaker=speaker))
        for speaker in (*PEOPLE, "kathleen", "")
    )


def test_what_a_synthetic_voice_says_is_no_recording_of_a_person() -> None:
    assert not any(map(is_for_training, corpus("own", ["flite:slt", "espeak:en-us+m3"])))


def test_one_text_in_thirty_is_held_back_whatever_the_run() -> None:
    texts = [f"{one} point {two}" for one in range(100) for two in range(30)]
    held = {text for text in texts if is_held_back(text)}
    assert 60 < len(held) < 145  # a hundred, four standard deviations wide
    assert held == set(filter(is_held_back, reversed(texts)))


def test_what_is_written_by_hand_is_never_fitted_to() -> None:
    assert not any(map(is_for_fitting, corpus("own", ["flite:slt", "espeak:en-us+m3"])))
    assert all(map(is_for_fitting, corpus("generated", ["flite:slt"], count=20, seed=3)))


def test_a_remark_is_on_the_same_side_whoever_makes_it() -> None:
    sides: dict[tuple[str, ...], set[bool]] = {}
    for case in corpus("remarks", ["flite:slt", "espeak:en-us+m3"]):
        sides.setdefault(case.words, set()).add(is_for_fitting(case))
    assert all(len(found) == 1 for found in sides.values())
    fitted = sum(found == {True} for found in sides.values())
    assert abs(fitted - len(sides) / 2) < 2 * len(sides) ** 0.5  # four standard deviations


@pytest.mark.parametrize("speaker", ["sc_18f8afd5", "sc_c7dc7278"])
def test_people_are_fitted_to_where_they_were_learnt_from(speaker: str) -> None:
    case = replace(ANYONE, speaker=speaker)
    assert is_for_fitting(case) is is_for_training(case)
