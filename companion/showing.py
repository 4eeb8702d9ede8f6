"""Entries of the job log as lines for a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from companion.ports import Entry

_UNPRINTABLE = "\N{REPLACEMENT CHARACTER}"  # what could move a terminal's cursor
LONG = 80  # a job keeps its procedure's whole text; a screen does not want it


def entry_line(entry: Entry) -> str:
    """Return one entry as a line: number, UTC time, kind, what it says."""
    said = ", ".join(
        f"{key}={_short(value)}" for key, value in entry.payload.items() if value not in ("", None)
    )
    return f"{entry.number:>4}  {entry.at:%Y-%m-%d %H:%M:%S}Z  {entry.kind:<16}  {said}"


def _short(value: object) -> str:
    text = on_one_line(str(value).replace("\n", " "))
    return text if len(text) <= LONG else f"{text[: LONG - 1]}…"


def on_one_line(text: str) -> str:
    r"""Return text for a terminal's line: what could move its cursor is replaced.

    >>> on_one_line("fan" + chr(27) + "[2J" + chr(10) + "on")
    'fan\ufffd[2J\ufffdon'
    """
    return "".join(letter if letter.isprintable() else _UNPRINTABLE for letter in text)
