from __future__ import annotations

import json
import sys
from fractions import Fraction
from typing import TYPE_CHECKING

import pytest

import companion
from companion.bench.__main__ import main
from companion.bench.spoken_numbers import (
    Phrase,
    Score,
    checkout_phrases,
    kindly,
    load_phrases,
    peers,
    read_ours,
    score,
)

if TYPE_CHECKING:
    from pathlib import Path

THREE = (
    Phrase("pairs", "one nineteen", Fraction(119)),
    Phrase("minus", "minus point three", Fraction(-3, 10)),
    Phrase("fractions", "a quarter", Fraction(1, 4)),
)


def test_right_wrong_and_refused_are_told_apart() -> None:
    answers = {"one nineteen": Fraction(119), "minus point three": Fraction(3, 10)}
    assert score(answers.get, THREE) == Score(right=1, wrong=1, refused=1)
    assert score(read_ours, THREE) == Score(right=3, wrong=0, refused=0)


def test_our_reader_refuses_without_raising() -> None:
    assert read_ours("half half") is None


def test_peers_answer_as_DESIGN_md_saw_them() -> None:  # noqa: N802 - the file's name
    by_name = {name.split()[0]: read for name, read in peers().items()}
    assert by_name["word2number"]("one nineteen") == 20  # DESIGN.md section 6
    assert by_name["word2number"]("minus point three") == Fraction(3, 10)  # as above
    assert by_name["word2number"]("a quarter") is None
    assert by_name["text2digits"]("one nineteen") == 119
    assert by_name["text2digits"]("a quarter") is None


def test_a_rewritten_text_is_read_kindly() -> None:
    assert kindly("minus point 3") == Fraction(-3, 10)
    assert kindly("negative 5") == -5
    assert kindly("a 100") == 100
    assert kindly("26 and a half") is kindly("") is kindly("minus") is kindly("point") is None


def test_the_checkout_has_200_phrases() -> None:
    phrases = load_phrases(checkout_phrases())
    assert len(phrases) == len({phrase.words for phrase in phrases}) == 200


def test_the_command_prints_a_table_and_one_json_object(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    some = tmp_path / "some.toml"
    some.write_text('[pairs]\n"one nineteen" = "119"\n[minus]\n"minus point three" = "-0.3"\n')
    assert main(["numbers", "--rounds", "1", "--phrases", str(some)]) == 0
    *printed, last = capsys.readouterr().out.splitlines()
    assert printed[0].split()[:3] == ["right/wrong/refused", "phrases", "companion"]
    assert printed[1].split()[:4] == ["pairs", "1", "1/0/0", "0/1/0"]
    figures = json.loads(last)
    ours, word2number, text2digits = figures["readers"].values()
    assert figures["phrases"] == 2
    assert (ours["right"]["hits"], ours["our_time_ratio"]) == (2, 1.0)
    assert word2number["wrong"]["share"] == 1.0
    assert text2digits["groups"]["minus"] == {"right": 1, "wrong": 0, "refused": 0}
    assert all(reader["time_us"] > 0 for reader in figures["readers"].values())


def test_outside_a_checkout_it_says_where_the_phrases_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(companion, "__file__", str(tmp_path / "companion" / "__init__.py"))
    assert main(["numbers"]) == 3
    assert "Run it in a checkout" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("not toml", "The phrases cannot be read"),
        ('[pairs]\n"one nineteen" = "many"', "Invalid literal for Fraction: 'many'"),
        ('"one nineteen" = "119"', "The phrases cannot be read"),
        ("", "There are no phrases"),
    ],
)
def test_a_file_that_holds_no_phrases_is_named(
    text: str, expected: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "phrases.toml"
    path.write_text(text)
    assert main(["numbers", "--phrases", str(path)]) == 3
    error = capsys.readouterr().err
    assert str(path) in error
    assert expected in error


def test_a_missing_file_and_too_few_rounds_are_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["numbers", "--phrases", "nowhere.toml"]) == 3
    assert "nowhere.toml" in capsys.readouterr().err
    assert main(["numbers", "--rounds", "0"]) == 3
    assert "Give 1 or more" in capsys.readouterr().err


def test_a_missing_peer_is_named_with_its_remedy(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "word2number.w2n", None)
    assert main(["numbers"]) == 3
    assert "pip install 'word2number" in capsys.readouterr().err


def test_help_lists_the_benchmark(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["--help"])
    assert caught.value.code == 0
    assert "word2number and text2digits" in capsys.readouterr().out
