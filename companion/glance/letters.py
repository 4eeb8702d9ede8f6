"""Large figures, for a reading that must be seen from an arm's length."""

from __future__ import annotations

HEIGHT = 5
# Drawn for this program; each is rows of '#' (full) and '.' (empty).
_FIGURES = {
    "0": ("####", "#..#", "#..#", "#..#", "####"),
    "1": (".#.", "##.", ".#.", ".#.", "###"),
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


def large(text: str, wide: int = 1, tall: int = 1) -> tuple[str, ...] | None:
    """Return figures as lines of blocks; None where one of them has no large form ('open').

    Args:
        text: digits, '.', '-' and '/'.
        wide: columns of a dot of a figure.
        tall: lines of a dot; `HEIGHT` times as many lines are returned, all of one length.

    >>> large("open") is None
    True
    >>> len(large("119")), len(large("119", 3, 2))
    (5, 10)
    """
    if not text or any(figure not in _FIGURES for figure in text):
        return None
    rows = (".".join(_FIGURES[figure][row] for figure in text) for row in range(HEIGHT))
    drawn = ("".join(("█" if dot == "#" else " ") * wide for dot in row) for row in rows)
    return tuple(line for line in drawn for _ in range(tall))
