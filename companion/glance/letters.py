"""Large figures, five lines high, for a reading that must be seen from an arm's length."""

from __future__ import annotations

HEIGHT = 5
_GAP = 1
# Drawn for this program; each is rows of '#' (full) and '.' (empty).
_FIGURES = {
    "0": ("####", "#..#", "#..#", "#..#", "####"),
    "1": (".##.", "..#.", "..#.", "..#.", ".###"),
    "2": ("####", "...#", "####", "#...", "####"),
    "3": ("####", "...#", ".###", "...#", "####"),
    "4": ("#..#", "#..#", "####", "...#", "...#"),
    "5": ("####", "#...", "####", "...#", "####"),
    "6": ("####", "#...", "####", "#..#", "####"),
    "7": ("####", "...#", "..#.", ".#..", ".#.."),
    "8": ("####", "#..#", "####", "#..#", "####"),
    "9": ("####", "#..#", "####", "...#", "####"),
    ".": (".", ".", ".", ".", "#"),
    "-": ("...", "...", "###", "...", "..."),
    "/": ("...#", "..#.", "..#.", ".#..", "#..."),
}


def large(text: str, ink: str = "█") -> tuple[str, ...] | None:
    """Return figures as five lines of text; None where one of them has no large form ('open').

    Args:
        text: digits, '.', '-' and '/'.
        ink: what a figure is made of; '#' where the terminal has no block.

    >>> large("open") is None
    True
    >>> len(large("119"))
    5
    """
    if not text or any(figure not in _FIGURES for figure in text):
        return None
    rows = ("".join(_FIGURES[f][row] + "." * _GAP for f in text) for row in range(HEIGHT))
    return tuple(row.replace("#", ink).replace(".", " ").rstrip() for row in rows)
