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
    text = "".join(c if c.isprintable() else _UNPRINTABLE for c in str(value).replace("\n", " "))
    return text if len(text) <= LONG else f"{text[: LONG - 1]}…"
