"""How technicians may ask for a sizing: the files in grammars/wordings.

They hold questions as people word them, many for each sizing, with what is an input marked in its
place. From them the program learns which words ask for which sizing and where each input stands
(`python -m companion.bench wordings`), so that a question need not be worded as a grammar has it.

    == voltage-drop
    how many volts am i down after {length: eighty feet} of {gauge: twenty} gauge
    == distance-to-short
    {reading: point nine ohms} on {path=single: one wire by itself} how far is the short

A line `== slug` begins a sizing; each other line is a question in word form. `{name: words}` marks
a measured input, `{name=value: words}` a chosen one; `#` begins a remark.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.errors import GrammarError
from companion.packaged import packaged_folder

if TYPE_CHECKING:
    from collections.abc import Iterator

FOLDER = "wordings"

_MARKED = re.compile(r"\{([a-z0-9-]+)(?:=([^:{}]+))?: ([^{}]+)\}")
_PLAIN = re.compile(r"[a-z' ]+")


@dataclass(frozen=True, slots=True)
class Marked:
    """An input in a wording.

    Attributes:
        name: the input's name.
        value: the option chosen, '' for a measured input.
        start: its first word.
        end: the word behind its last.
    """

    name: str
    value: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Wording:
    """A question as somebody may ask it.

    Attributes:
        sizing: the sizing's slug.
        words: the question in word form.
        marked: its inputs, in the order in which they are said.
        where: file and line, for messages.
    """

    sizing: str
    words: tuple[str, ...]
    marked: tuple[Marked, ...]
    where: str = ""


def read_wordings(text: str, name: str) -> Iterator[Wording]:
    """Yield the wordings of a file's text.

    Args:
        text: the file's text.
        name: what the file is called, for messages.

    Raises:
        GrammarError: a line is not of the form that the module's head tells.
    """
    sizing = ""
    for number, line in enumerate(text.splitlines(), start=1):
        said, where = line.strip(), f"{name}:{number}"
        if not said or said.startswith("#"):
            continue
        if said.startswith("== "):
            sizing = said.removeprefix("== ").strip()
            continue
        if not sizing:
            raise GrammarError(
                f"'{said}' belongs to no sizing", "Put '== SLUG' above it.", where=where
            )
        yield _wording(said, sizing, where)


def _wording(said: str, sizing: str, where: str) -> Wording:
    words: list[str] = []
    marked: list[Marked] = []
    at = 0
    for mark in _MARKED.finditer(said):
        words += said[at : mark.start()].split()
        start = len(words)
        words += mark[3].split()
        marked.append(Marked(mark[1], mark[2] or "", start, len(words)))
        at = mark.end()
    words += said[at:].split()
    if not _PLAIN.fullmatch(" ".join(words)):
        raise GrammarError(
            f"'{said}' is not in word form",
            "Write small letters, ' and spaces; numbers in words; an input as {name: words}.",
            where=where,
        )
    return Wording(sizing, tuple(words), tuple(marked), where)


def packaged_wordings() -> tuple[Wording, ...]:
    """Return the packaged wordings, files in alphabetical order.

    Raises:
        GrammarError: a file breaks a rule of the form.
    """
    return tuple(
        wording
        for path in sorted((packaged_folder("grammars") / FOLDER).glob("*.txt"))
        for wording in read_wordings(path.read_text(encoding="utf-8"), f"{FOLDER}/{path.name}")
    )
