"""How wide text is and where it breaks, before anything is drawn.

A drawing that must not overlap has to know its text's width without a font at hand. The widths are
those of DejaVu Sans, the widest of the common plain faces, read from the font and rounded up, so
that text in another one only leaves more room.
"""

from __future__ import annotations

# In shares of the letter size: plain and bold, for all characters of a group.
_GROUPS = (
    ("ijl'|/\\ ", 0.34, 0.37),
    ("IJ,.:;", 0.34, 0.40),
    ("ftr-()[]!", 0.42, 0.50),
    ('sczL*_`°–?"', 0.56, 0.64),
    ("kFvxyPY", 0.62, 0.74),
    ("aeoT", 0.62, 0.69),
    ("bdghnpquES0123456789${}", 0.64, 0.73),
    ("ABVXZCRK", 0.70, 0.78),
    ("UNHDGOQ&", 0.79, 0.88),
    ("w", 0.82, 0.93),
    ("#+<=>^~→M", 0.87, 1.00),
)
_WIDEST = (1.0, 1.12)
_WIDTHS = {each: (plain, bold) for group, plain, bold in _GROUPS for each in group}


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Return how wide a line is at most, in the unit of the size.

    >>> width_of("ill", 10), width_of("ill", 10, bold=True)
    (10.2, 11.1)
    """
    return round(sum(_WIDTHS.get(each, _WIDEST)[bold] for each in text) * size, 3)


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> tuple[str, ...]:
    """Return the text in lines no wider than the room; a word that is wider is broken.

    >>> wrapped("Keep the plug.", 10, 50)
    ('Keep the', 'plug.')
    """
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if width_of(longer, size, bold=bold) <= room:
            line = longer
            continue
        if line:
            lines.append(line)
        *broken, line = _broken(word, size, room, bold=bold)
        lines += broken
    return (*lines, line) if line else tuple(lines)


def _broken(word: str, size: float, room: float, *, bold: bool) -> list[str]:
    pieces = [""]
    for each in word:
        if pieces[-1] and width_of(pieces[-1] + each, size, bold=bold) > room:
            pieces.append("")
        pieces[-1] += each
    return pieces
