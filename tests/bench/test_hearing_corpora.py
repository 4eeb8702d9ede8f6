from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.audio.sound_files import write_wav
from companion.bench.hearing.corpora import corpus, knows, speech, yours
from companion.bench.hearing.moments import DEFAULT, moment
from companion.errors import InputError
from companion.language.compose import compose

if TYPE_CHECKING:
    from companion.bench.hearing.case import Case

SHARED = Path(__file__).parents[2] / ".." / "shared" / "speech"
needs_shared = pytest.mark.skipif(
    not SHARED.is_dir(), reason="the shared recordings of speech are not here"
)


# ---------------------------------------------------------------- recordings of people


@needs_shared
def test_the_shared_recordings_are_all_there_each_with_its_file() -> None:
    cases = speech(SHARED)
    # README.md beside them: 192 readings, 500 words; a file listed with two words is left out
    assert Counter(case.corpus for case in cases)["readings"] == 192
    assert 100 < Counter(case.corpus for case in cases)["words"] <= 500
    assert {case.path is not None and case.path.is_file() for case in cases} == {True}
    assert len({case.id for case in cases}) == len(cases)
    assert {case.synthesis for case in cases} == {"people"}
    assert corpus(f"speech:{SHARED}", []) == cases


@needs_shared
def test_readings_of_people_are_live_where_they_are_said() -> None:
    readings = [case for case in speech(SHARED) if case.corpus == "readings"]
    assert all(case.addressed for case in readings)
    for case in readings:
        # What is left is said in five figures, or begins with zeros: beyond 9999 nothing is read.
        assert knows(case) or len(case.words) >= 4, case
    assert sum(map(knows, readings)) > 0.9 * len(readings)


@needs_shared
def test_single_words_are_addressed_where_they_mean_something() -> None:
    words = [case for case in speech(SHARED) if case.corpus == "words"]
    assert {case.words[0] for case in words if not case.addressed} == {"go"}
    assert {case.addressed == knows(case) for case in words} == {True}


@needs_shared
def test_what_is_not_for_the_companion_is_said_while_readings_are_awaited() -> None:
    others = [case for case in speech(SHARED) if case.corpus == "not-for-me"]
    assert not any(case.addressed for case in others)
    assert all(moment(case.moment).expect for case in others)
    assert len({case.moment for case in others}) > 20
    assert [case.moment for case in speech(SHARED) if case.corpus == "not-for-me"] == [
        case.moment for case in others
    ]


# ---------------------------------------------------------------- a user's own table


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "sounds").mkdir()
    write_wav(tmp_path / "sounds" / "one.wav", np.zeros(1600, np.int16), 16_000)
    return tmp_path


def table(folder: Path, text: str) -> Path:
    path = folder / "mine.tsv"
    path.write_text(text, encoding="utf-8")
    return path


def only(folder: Path, header: str, row: str) -> Case:
    (case,) = yours(table(folder, f"{header}\n{row}\n"))
    return case


def test_a_users_table_is_read_from_its_own_folder(folder: Path) -> None:
    case = only(folder, "path\twords", "sounds/one.wav\tSupply static, point four five")
    assert case.path == folder / "sounds" / "one.wav"
    assert case.words == ("supply", "static", "point", "four", "five")
    assert (case.moment, case.speaker, case.addressed) == (DEFAULT, "you", True)


def test_columns_may_stand_in_any_order_and_name_moment_speaker_and_addressed(
    folder: Path,
) -> None:
    header = "words\tmoment\tspeaker\tpath\taddressed"
    case = only(folder, header, "hand me that\tfuse.doing\tpat\tsounds/one.wav\tno")
    assert (case.moment, case.speaker, case.addressed) == ("fuse.doing", "pat", False)


@pytest.mark.parametrize(
    ("said", "name", "words"),
    [
        ("119 volts", DEFAULT, "one nineteen volts"),
        ("supply static 0.45", DEFAULT, "supply static zero point four five"),
        ("16.5 amps", "amps", "sixteen point five amps"),
        ("12 ohms", "ohms", "twelve ohms"),
    ],
)
def test_figures_are_put_into_words_at_a_moment_that_knows_them(
    folder: Path, said: str, name: str, words: str
) -> None:
    case = only(folder, "path\twords", f"sounds/one.wav\t{said}")
    assert case.moment == name
    assert knows(case)
    assert compose(moment(name).scope).interpret(case.words) == compose(
        moment(name).scope
    ).interpret(words.split())


def test_words_that_no_moment_knows_stay_as_they_are(folder: Path) -> None:
    case = only(folder, "path\twords", "sounds/one.wav\tgive me that other one")
    assert (case.moment, case.words[0], knows(case)) == (DEFAULT, "give", False)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "mine.tsv:1: The header has no column 'path'"),
        (
            "path\n",
            "mine.tsv:1: The header has no column 'words'. Columns, tabs between: path words",
        ),
        ("path\twords\tmood\n", "mine.tsv:1: Column 'mood' is unknown"),
        ("path\twords\n\n", "mine.tsv: No row below the header"),
        ("path\twords\nsounds/two.wav\tdone\n", "mine.tsv:2: No sound file 'sounds/two.wav'"),
        ("path\twords\n\nsounds/one.wav\t\n", "mine.tsv:3: 'words' is empty"),
        ("path\twords\nsounds/one.wav\tdone\tmore\n", "mine.tsv:2: 3 cells under 2 columns"),
        ("path\twords\nsounds/one.wav\t123456 volts\n", "mine.tsv:2: '123456 volts' holds figures"),
        (
            "path\twords\tmoment\nsounds/one.wav\tdone\tnoon\n",
            "mine.tsv:2: No moment 'noon'. Moments: arrival.danger, wrap",
        ),
        (
            "path\twords\taddressed\nsounds/one.wav\tdone\tmaybe\n",
            "mine.tsv:2: 'addressed' is 'maybe'. Write yes or no.",
        ),
    ],
)
def test_a_mistake_in_a_table_is_told_with_its_line(folder: Path, text: str, told: str) -> None:
    with pytest.raises(InputError) as error:
        corpus(str(table(folder, text)), [])
    assert told in str(error.value)


def test_a_table_that_cannot_be_read_is_told(folder: Path) -> None:
    with pytest.raises(InputError, match=r"No file 'nowhere\.tsv'"):
        corpus("nowhere.tsv", [])
    (folder / "mine.tsv").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="is no readable text"):
        corpus(str(folder / "mine.tsv"), [])


def test_a_recording_that_is_listed_with_different_words_is_left_out(folder: Path) -> None:
    (folder / "speech.tsv").write_text(
        "path\twords\tspeaker\tset\n"
        "words/a.flac\tfour\tone\tset\n"
        "words/a.flac\tstop\tone\tset\n"
        "words/b.flac\tyes\ttwo\tset\n"
        "not-for-me/c.flac\t\tthree\tset\n",
        encoding="utf-8",
    )
    assert [(case.id, case.addressed) for case in speech(folder)] == [
        ("words-b", True),
        ("not-for-me-c", False),
    ]
