"""A glance as lines of text, for any size of terminal. No colour carries a sense: words do.

From the top: the job and how it listens; the caution; the step; what is asked; the last reading in
large figures; timers; what can be said; the microphone; what was heard and said last. Where there
is little room the lower ones go first, never the caution and the hold point.
"""

from __future__ import annotations

import unicodedata
from textwrap import wrap
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from companion.glance.letters import HEIGHT, large
from companion.glance.state import (
    EMERGENCY,
    GONE,
    HEARS,
    LISTENING,
    NOTE,
    OUTSIDE,
    SPEAKING,
    STANDING_BY,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.glance.state import Glance

LEAST_WIDTH, LEAST_HEIGHT = 20, 6
_WIDEST = 76  # longer lines are hard to follow from a ladder
_SMALL = 16  # lines: below it nothing is spaced out
_MODES = {
    LISTENING: "○ listening",
    HEARS: "● hears you",
    SPEAKING: "▸ speaking",
    STANDING_BY: "– standing by –",
    NOTE: "● taking a note",
    GONE: "✕ NO HEADSET ✕",
    EMERGENCY: "‼ EMERGENCY ‼",
}
_ASCII = str.maketrans("○●▸–✕‼█▏│…·“”", 'o*>-x!#||.-""')
_QUIETEST_DBFS, _LOUDEST_DBFS = -60.0, 0.0
_SPEECH_DBFS = (-35.0, -12.0)  # where a voice close to its microphone is; common practice


class Run(NamedTuple):
    """Text in one style: '', 'bold', 'dim', 'reverse'."""

    text: str
    style: str = ""


Line: TypeAlias = tuple[Run, ...]


class _Block(NamedTuple):
    """Lines that stand together; the lower `rank`, the longer they stay."""

    rank: int
    lines: tuple[Line, ...]


def draw(shown: Glance, width: int, height: int, *, ascii_only: bool = False) -> tuple[Line, ...]:
    """Return exactly `height` lines, each at most `width` columns.

    Args:
        shown: what is shown.
        width: columns of the terminal, 1 or more.
        height: its lines, 1 or more.
        ascii_only: for a terminal that has no other letters.
    """
    roomy = height >= _SMALL and width >= 40  # noqa: PLR2004 - room for a margin
    margin = 2 if roomy else 0
    inner = max(1, min(_WIDEST, width - 2 * margin))
    top = _top(shown, max(1, width - 2 * margin))
    blocks = [block for block in _blocks(shown, inner, roomy=roomy) if block.lines]
    foot = _foot(shown, inner) if roomy else ()
    space = 1 if roomy else 0
    left = height - 1 - space - len(foot)
    kept = _fitting(blocks, left, space)
    body: list[Line] = []
    for block in kept:
        body += [(), *block.lines] if space else block.lines
    body = body[:left] + [()] * (left - len(body))
    lines: list[Line] = [top, *body, *([()] * space), *foot]
    lines = [_indented(line, margin) for line in lines]
    shape = _plain if ascii_only else _as_it_is
    lines = [shape(_cut(shape(line), width)) for line in lines[:height]]
    return (*lines, *([()] * (height - len(lines))))


def _as_it_is(line: Line) -> Line:
    return line


def _plain(line: Line) -> Line:
    """Return a line in the letters that every terminal has."""
    texts = (run.text.translate(_ASCII).encode("ascii", "replace").decode() for run in line)
    return tuple(Run(text, run.style) for text, run in zip(texts, line, strict=True))


def _top(shown: Glance, width: int) -> Line:
    mode = _MODES.get(shown.mode, shown.mode)
    loud = "reverse" if shown.mode in (EMERGENCY, GONE) else "bold"
    to_go = f" · {shown.to_go} to go" if shown.to_go else ""
    room = width - columns(mode) - 1
    title = shortened(f"{shown.title}{to_go}", room)
    return (
        Run(title, "dim"),
        Run(" " * max(1, width - columns(title) - columns(mode))),
        Run(mode, loud),
    )


def _blocks(shown: Glance, width: int, *, roomy: bool) -> Iterator[_Block]:
    if shown.hold:
        yield _Block(0, ((Run(f" HOLD: {shown.hold} ", "reverse"),),))
    if shown.caution:
        marked = f"Caution. {shown.caution}"
        yield _Block(
            1, tuple((Run("│ ", "bold"), Run(line)) for line in wrap(marked, max(1, width - 2)))
        )
    if shown.step:
        yield _Block(2, tuple((Run(line, "bold"),) for line in wrap(shown.step, width)))
    if shown.asks and shown.asks not in shown.step:
        yield _Block(3, tuple((Run(line, "reverse"),) for line in wrap(shown.asks, width)))
    yield _Block(4, tuple(_reading(shown, width, roomy=roomy)))
    if shown.timers:
        yield _Block(
            5, tuple((Run(line, "bold"),) for line in wrap("   ".join(shown.timers), width))
        )
    if shown.can_say:
        yield _Block(6, tuple((Run(line, "dim"),) for line in wrap(shown.can_say, width)))


def _reading(shown: Glance, width: int, *, roomy: bool) -> Iterator[Line]:
    """The last reading: in large figures where there is room, the verdict in words."""
    if not shown.value:
        return
    figures = large(shown.value) if roomy else None
    verdict = Run(shown.verdict, "reverse" if shown.verdict == OUTSIDE else "")
    if figures is None or max(map(len, figures)) + len(shown.unit) + 1 > width:
        yield (Run(f"{shown.point}  "), Run(f"{shown.value} {shown.unit}  ", "bold"), verdict)
        return
    yield (Run(f"{shown.point}  "), verdict)
    widest = max(map(len, figures))
    for row, line in enumerate(figures):
        unit = f"  {shown.unit}" if row == HEIGHT - 1 else ""
        yield (Run(line.ljust(widest), "bold"), Run(unit))


def _foot(shown: Glance, width: int) -> tuple[Line, ...]:
    return (
        meter(shown.level_dbfs, shown.peak_dbfs, width),
        (Run(shortened(f"heard  {shown.heard}" if shown.heard else "", width), "dim"),),
        (Run(shortened(f"said   {shown.said}" if shown.said else "", width), "dim"),),
    )


def meter(level_dbfs: float, peak_dbfs: float, width: int) -> Line:
    """Return the microphone's level as a bar: filled up to it, '|' at the peak.

    The stretch where a voice should come to is underlined by dots.
    """
    label = "mic    "
    room = max(1, min(48, width - columns(label)))
    at, peak = _place(level_dbfs, room), _place(peak_dbfs, room)
    low, high = (_place(dbfs, room) for dbfs in _SPEECH_DBFS)
    cells = ["█" if n < at else "·" if low <= n < high else " " for n in range(room)]
    if peak_dbfs > _QUIETEST_DBFS:
        cells[min(room - 1, max(at, peak - 1))] = "│"
    return Run(label, "dim"), Run("".join(cells))


def _place(dbfs: float, room: int) -> int:
    share = (dbfs - _QUIETEST_DBFS) / (_LOUDEST_DBFS - _QUIETEST_DBFS)
    return round(min(1.0, max(0.0, share)) * room)


def _fitting(blocks: list[_Block], lines: int, space: int) -> list[_Block]:
    """Leave out what ranks last until the rest fits; cut the last one that stays."""
    kept = list(blocks)
    while len(kept) > 1 and sum(len(b.lines) + space for b in kept) > lines:
        last = max(kept, key=lambda block: block.rank)
        if last.rank <= 2:  # noqa: PLR2004 - hold point, caution and step stay
            break
        kept.remove(last)
    return kept


def _indented(line: Line, margin: int) -> Line:
    return (Run(" " * margin), *line) if margin and line else line


def _cut(line: Line, width: int) -> Line:
    cut: list[Run] = []
    for run in line:
        room = width - sum(columns(each.text) for each in cut)
        if columns(run.text) > room:
            cut.append(Run(shortened(run.text, room), run.style))
            break
        cut.append(run)
    return tuple(cut)


def columns(text: str) -> int:
    """Return how many columns a text takes: two for a wide letter, none for a combining one."""
    return sum(
        0
        if unicodedata.combining(letter)
        else 2
        if unicodedata.east_asian_width(letter) in "WF"
        else 1
        for letter in text
    )


def shortened(text: str, width: int) -> str:
    """Return a text of at most so many columns, '…' where something was left out."""
    if columns(text) <= width:
        return text
    if width < 1:
        return ""
    kept = ""
    for letter in text:
        if columns(kept) + columns(letter) > width - 1:
            break
        kept += letter
    return f"{kept.rstrip()}…"
