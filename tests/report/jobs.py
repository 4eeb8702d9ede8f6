"""Jobs for the tests of the report, read as another program reads what is written of them."""

from __future__ import annotations

import sys
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import pypdf

sys.path.append(str(Path(__file__).parents[1] / "dialogue"))

from plays import FOLDER, perform, read, slug_of

if TYPE_CHECKING:
    from companion.ports import Entry


@cache
def played(name: str) -> tuple[Entry, ...]:
    """The entries of a whole job, worked through as one of the plays tells it."""
    path = FOLDER / f"{name}.txt"
    play = read(path)
    _, talk = perform(slug_of(path), play.scenario, [turn.said for turn in play.turns[1:]])
    return tuple(talk.entries)


def pdf_pages(pdf: bytes) -> list[str]:
    """The text of each page, as pypdf reads it."""
    return [page.extract_text() for page in pypdf.PdfReader(BytesIO(pdf)).pages]


def squeezed(text: str) -> str:
    """A text without its white space: where lines break is no part of what they say."""
    return "".join(text.split())
