from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from companion.errors import ModelError
from companion.hearing.model_files import catalogue, checked
from companion.hearing.tokens import Tokens, load_tokens, spelt

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture(scope="module")
def tokens() -> Tokens:
    return load_tokens(checked(catalogue()["tokenizer"]))


def test_the_model_has_32768_pieces_with_its_markers_first(tokens: Tokens) -> None:
    # source: DESIGN.md section 7 (start token 1, end token 2, 32,768 pieces)
    assert len(tokens.pieces) == 32_768
    assert tokens.pieces[1:3] == ("<s>", "</s>")


def test_every_letter_can_be_spelt_with_and_without_a_space_before(tokens: Tokens) -> None:
    for letter in "abcdefghijklmnopqrstuvwxyz":
        assert tokens.trie.below[letter].ids
        assert tokens.trie.below[" "].below[letter].ids


def test_text_joins_pieces_and_turns_marks_into_spaces(tokens: Tokens) -> None:
    ids = [tokens.pieces.index(piece) for piece in ("▁The", "▁static", ".")]
    assert tokens.text(ids) == "The static."


@pytest.mark.parametrize(
    ("piece", "letters"),
    [("▁Volt", " volt"), ("-", " "), ("?", "."), (",", "."), ("'", "'"), ("4", ""), ("é", "")],
)
def test_pieces_are_filed_in_the_letters_of_the_grammar(piece: str, letters: str) -> None:
    assert spelt(piece) == letters


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"\x05<unk>", "holds 1 pieces of text, expected 32768"),
        (b"\x05<un", "ends in the middle of a piece"),
        (None, "No such file"),
    ],
)
def test_a_file_of_another_kind_is_told_with_what_to_do(
    content: bytes | None, told: str, tmp_path: Path
) -> None:
    path = tmp_path / "tokenizer.bin"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(ModelError) as caught:
        load_tokens(path)
    assert told in str(caught.value)
    assert str(path) in str(caught.value)
    assert "pip install" in caught.value.remedy
