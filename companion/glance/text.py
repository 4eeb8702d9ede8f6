"""Text in columns of a terminal: how wide it is, wrapped and shortened to fit."""

from __future__ import annotations

import unicodedata

_INVISIBLE = {"Cf", "Mn", "Me"}
_UNFIT = {"Cc", "Cs", "Co", "Cn"}


def clean(text: str) -> str:
    r"""Return a text on one line, without what would move a cursor or not show at all.

    >>> clean("Fit\tthe \x1b[2J damper.")
    'Fit the [2J damper.'
    """
    kept = (
        " " if (kind := unicodedata.category(letter)) in _UNFIT else "" if kind == "Cf" else letter
        for letter in text
    )
    return " ".join("".join(kept).split())


def columns(text: str) -> int:
    """Return how many columns a text takes: two for a wide letter, none for a combining one."""
    return sum(map(_columns, text))


def _columns(letter: str) -> int:
    if letter.isascii():
        return 1
    if unicodedata.category(letter) in _INVISIBLE:
        return 0
    return 2 if unicodedata.east_asian_width(letter) in "WF" else 1


def split(text: str, width: int) -> tuple[str, str]:
    """Return as much of a text as fits in so many columns, and the rest."""
    taken = 0
    for at, letter in enumerate(text):
        taken += _columns(letter)
        if taken > width:
            return text[:at], text[at:]
    return text, ""


def shortened(text: str, width: int) -> str:
    """Return a text of at most so many columns, '…' where something was left out."""
    if columns(text) <= width:
        return text
    if width < 1:
        return ""
    return f"{split(text, width - 1)[0].rstrip()}…"


def wrapped(text: str, width: int) -> list[str]:
    """Return a text as lines of at most so many columns; words wider than that are broken.

    Args:
        text: any text; it is cleaned.
        width: columns, 2 or more (a wide letter takes two).
    """
    lines = [""]
    for word in clean(text).split():
        rest, between = word, " " if lines[-1] else ""
        if columns(lines[-1]) + len(between) + columns(word) <= width:
            lines[-1] += between + word
            continue
        if lines[-1]:
            lines.append("")
        while columns(rest) > width:
            lines[-1], rest = split(rest, width)
            lines.append("")
        lines[-1] = rest
    return [line for line in lines if line]


def clipped(lines: list[str], most: int, width: int) -> list[str]:
    """Return at most so many lines, the last one ending in '…' where some were left out."""
    if len(lines) <= most:
        return lines
    if most < 1:
        return []
    last = lines[most - 1]
    kept = last if columns(last) < width else split(last, width - 1)[0].rstrip()
    return [*lines[: most - 1], f"{kept}…"]
