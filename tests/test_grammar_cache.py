from __future__ import annotations

import json
import zlib
from typing import TYPE_CHECKING

import pytest

from companion.grammar_cache import use_kept_questions
from companion.language import pieces

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(autouse=True)
def fresh_questions() -> Iterator[None]:
    """The questions as they are at the start of a program, before and after."""
    pieces.questions.cache_clear()
    yield
    pieces.questions.cache_clear()


def kept(folder: Path) -> Path:
    return next(folder.glob("questions-*"))


def test_what_was_kept_is_what_would_be_compiled(tmp_path: Path) -> None:
    assert not use_kept_questions(tmp_path)
    compiled = pieces.questions().automaton
    pieces.questions.cache_clear()
    assert use_kept_questions(tmp_path)
    assert pieces.questions().automaton == compiled


@pytest.mark.parametrize(
    "damaged",
    [
        b"",
        b"no archive",
        zlib.compress(b"no table"),
        zlib.compress(json.dumps({"arcs": [{"done": 7}], "accepting": [0]}).encode()),
        zlib.compress(json.dumps({"arcs": []}).encode()),
        zlib.compress(json.dumps([1, 2]).encode()),
    ],
)
def test_a_damaged_file_is_compiled_and_kept_anew(tmp_path: Path, damaged: bytes) -> None:
    use_kept_questions(tmp_path)
    kept(tmp_path).write_bytes(damaged)
    assert not use_kept_questions(tmp_path)
    assert use_kept_questions(tmp_path)


def test_of_older_grammars_nothing_is_left(tmp_path: Path) -> None:
    old = tmp_path / "questions-0123456789abcdef.json.z"
    old.write_bytes(b"old")
    use_kept_questions(tmp_path)
    assert not old.exists()


def test_a_folder_that_cannot_be_written_is_no_failure(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    assert not use_kept_questions(blocked)
    assert pieces.questions().automaton.accepting
