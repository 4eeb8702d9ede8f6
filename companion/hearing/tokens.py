"""The pieces of text that the bundled model writes with, and a trie of them.

The file `tokenizer.bin` is a plain list: for each piece one byte of length and that many bytes
of UTF-8, 32,768 times; '▁' stands for a space. Pieces 0 to 2 are markers (1 starts, 2 ends),
3 to 258 are single bytes for what no piece spells.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

from companion.errors import ModelError

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

START = 1
END = 2
FIRST_SPELT = 259  # below are markers and single bytes
PIECES = 32_768
SPACE = " "
STOP = "."

# What stands for a space between words, and what may close a word.
_SAME = {"▁": SPACE, "-": SPACE, ",": STOP, "?": STOP, "!": STOP, ".": STOP, "'": "'", "’": "'"}


@dataclass(slots=True, eq=False)
class Node:
    """A node of the trie: the nodes below by their letter, the ids of the pieces that end here."""

    below: dict[str, Node] = field(default_factory=dict)
    ids: list[int] = field(default_factory=list)


class Tokens:
    """The pieces by their id.

    Args:
        pieces: the texts, '▁' for a space; the place in the list is the id.
    """

    def __init__(self, pieces: Iterable[str]) -> None:
        self.pieces = tuple(pieces)

    @cached_property
    def trie(self) -> Node:
        """The pieces spelt in the letters of the grammar: lower case, space, full stop.

        A hyphen is filed as a space; comma, question and exclamation mark as a full stop.
        """
        root = Node()
        for token, piece in enumerate(self.pieces[FIRST_SPELT:], start=FIRST_SPELT):
            spelling = spelt(piece)
            if spelling:
                _file(root, spelling, token)
        return root

    def text(self, ids: Iterable[int]) -> str:
        """Return the text of the pieces.

        >>> Tokens(["<unk>", "<s>", "</s>", "▁one", "▁nine", "teen"]).text([3, 4, 5])
        'one nineteen'
        """
        return "".join(self.pieces[token] for token in ids).replace("▁", " ").strip()


def spelt(piece: str) -> str:
    """Return the piece in the letters of the grammar, or '' where it cannot be spelt in them.

    >>> spelt("▁Volt"), spelt("-"), spelt("?"), spelt("∫"), spelt("42")
    (' volt', ' ', '.', '', '')
    """
    letters = [
        _SAME.get(letter) or (letter.lower() if letter.isascii() and letter.isalpha() else "")
        for letter in piece
    ]
    return "".join(letters) if all(letters) else ""


def _file(root: Node, spelling: str, token: int) -> None:
    node = root
    for letter in spelling:
        if letter not in node.below:
            node.below[letter] = Node()
        node = node.below[letter]
    node.ids.append(token)


def load_tokens(path: Path) -> Tokens:
    """Read `tokenizer.bin`.

    Args:
        path: the file.

    Raises:
        ModelError: it is missing or not of this format.
    """
    try:
        data = path.read_bytes()
        pieces = [piece.decode(errors="replace") for piece in _pieces(data)]
    except (OSError, IndexError) as exc:
        raise ModelError(f"{exc}", _REMEDY, where=str(path)) from exc
    if len(pieces) != PIECES:
        raise ModelError(
            f"It holds {len(pieces)} pieces of text, expected {PIECES}", _REMEDY, where=str(path)
        )
    return Tokens(pieces)


_REMEDY = "Install the model again: pip install --force-reinstall moonshine-voice==0.1.0"


def _pieces(data: bytes) -> list[bytes]:
    """Cut the length-prefixed list; IndexError where the last one is cut short."""
    pieces, at = [], 0
    while at < len(data):
        length = data[at]
        if at + 1 + length > len(data):
            raise IndexError("the file ends in the middle of a piece")
        pieces.append(data[at + 1 : at + 1 + length])
        at += 1 + length
    return pieces
