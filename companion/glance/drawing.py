"""A glance as lines of text, for any size of terminal. No colour carries a sense: words do.

From the top: the job and how it listens; the hold point; the caution; the step; what is asked; the
last reading in large figures; timers; what can be said; at the foot the microphone, and what was
heard and said last. Where there is little room the lower ones go first, the figures become small,
and last of all the step and the caution are cut, with '…'. The hold point always stays.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeAlias

from companion.glance.letters import large
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
from companion.glance.text import clean, clipped, columns, shortened, wrapped

if TYPE_CHECKING:
    from companion.glance.state import Glance

_WIDEST = 76  # longer lines are hard to follow from a ladder
_MODES = {
    LISTENING: "○ listening",
    HEARS: "● hears you",
    SPEAKING: "▸ speaking",
    STANDING_BY: "– standing by –",
    NOTE: "● taking a note",
    GONE: "✕ NO HEADSET ✕",
    EMERGENCY: "! EMERGENCY !",
}
_ASCII = str.maketrans("○●▸–✕█│…·“”━›", 'o*>-x#|.-""=>')
_QUIETEST_DBFS, _LOUDEST_DBFS = -60.0, 0.0
_SPEECH_DBFS = (-35.0, -12.0)  # where a voice close to its microphone is; common practice


class Run(NamedTuple):
    """Text in one style: '', 'bold', 'dim', 'reverse'."""

    text: str
    style: str = ""


Line: TypeAlias = tuple[Run, ...]
_Block: TypeAlias = tuple[Line, ...]
_Scale: TypeAlias = tuple[int, int] | None

HOLD, CAUTION, STEP, ASKS = "hold", "caution", "step", "asks"
READING, TIMERS, CAN_SAY = "reading", "timers", "can say"
METER, HEARD, SAID = "meter", "heard", "said"
_FOOT = (METER, HEARD, SAID)
# Before which block an empty line is worth most, and where there may be a second one.
_SPACED = (METER, STEP, HOLD, READING, TIMERS, CAN_SAY, ASKS, CAUTION)
_SPACED_TWICE = (METER, STEP, READING, CAN_SAY, HOLD)
_HUGE, _LARGE, _SLIM = (3, 2), (2, 1), (1, 1)
# What is tried in turn: the reading's size, what is left out, how many empty lines there must be.
_HUGE_FROM = 12  # so that the figures don't outweigh the step
_PLANS: tuple[tuple[_Scale, tuple[str, ...], int], ...] = (
    (_HUGE, (), _HUGE_FROM),
    (_LARGE, (), 3),
    (_SLIM, (), 3),
    (_LARGE, (HEARD,), 1),
    (_LARGE, (HEARD, SAID), 0),
    (_SLIM, (HEARD, SAID), 0),
    (None, (), 2),
    (None, (HEARD,), 1),
    (None, (HEARD, SAID), 0),
    (None, (HEARD, SAID, METER), 0),
    (None, (HEARD, SAID, METER, CAN_SAY), 0),
    (None, (HEARD, SAID, METER, CAN_SAY, TIMERS), 0),
    (None, (HEARD, SAID, METER, CAN_SAY, TIMERS, READING), 0),
)
_LEAST_HEIGHT = 5  # below it the line at the top goes


def draw(shown: Glance, width: int, height: int, *, ascii_only: bool = False) -> tuple[Line, ...]:
    """Return exactly `height` lines, each at most `width` columns.

    Args:
        shown: what is shown.
        width: columns of the terminal, 1 or more.
        height: its lines, 1 or more.
        ascii_only: for a terminal that has no other letters.
    """
    margin = _margin(width)
    inner = max(2, min(_WIDEST, width - 2 * margin))
    top = (
        (_top(shown, max(1, min(_WIDEST, width - 2 * margin))),) if height >= _LEAST_HEIGHT else ()
    )
    blocks = _arranged(shown, inner, height - len(top))
    gaps, spare = _gaps(blocks, height - len(top) - _lines(blocks))
    lines = list(top)
    for name, block in blocks.items():
        if name in _FOOT and spare:
            lines += [()] * spare
            spare = 0
        lines += [()] * gaps.get(name, 0)
        lines += block
    shape = _plain if ascii_only else _as_it_is
    lines = [shape(_cut(shape(_indented(line, margin)), width)) for line in lines[:height]]
    return (*lines, *([()] * (height - len(lines))))


def _margin(width: int) -> int:
    """Return the columns left free at either side."""
    if width >= _WIDEST:
        return (width - _WIDEST) // 2
    return 2 if width >= 50 else 1 if width >= 30 else 0  # noqa: PLR2004 - what looks framed


def _as_it_is(line: Line) -> Line:
    return line


def _plain(line: Line) -> Line:
    """Return a line in the letters that every terminal has."""
    texts = (run.text.translate(_ASCII).encode("ascii", "replace").decode() for run in line)
    return tuple(Run(text, run.style) for text, run in zip(texts, line, strict=True))


def _lines(blocks: dict[str, _Block]) -> int:
    return sum(map(len, blocks.values()))


def _arranged(shown: Glance, width: int, height: int) -> dict[str, _Block]:
    """Return the blocks that fit, in their order from the top."""
    for scale, left_out, empty in _PLANS:
        reading = _reading(shown, width, scale)
        if scale and shown.value and reading is None:
            continue
        every = _every(shown, width, reading or ())
        blocks = {name: block for name, block in every.items() if block and name not in left_out}
        if _lines(blocks) + empty <= height:
            return blocks
    return _least(shown, width, height)


def _every(shown: Glance, width: int, reading: _Block) -> dict[str, _Block]:
    blocks = _least(shown, width, None)
    blocks |= {
        READING: reading,
        TIMERS: _block(wrapped(" · ".join(shown.timers), width), "bold"),
        CAN_SAY: _block(wrapped(shown.can_say, width), "dim"),
        METER: (meter(shown.level_dbfs, shown.peak_dbfs, width),),
        HEARD: _last("heard", shown.heard, width),
        SAID: _last("said", shown.said, width),
    }
    return blocks


def _least(shown: Glance, width: int, height: int | None) -> dict[str, _Block]:
    """Return hold point, caution, step and question, cut to the height where one is given."""
    caution = wrapped(f"Caution. {shown.caution}", max(2, width - 2)) if shown.caution else []
    step = wrapped(shown.step, width)
    asks = shown.asks if shown.asks not in shown.step else ""
    asked = wrapped(f"› {asks}", width) if asks else []
    if height is not None:
        left = height - bool(shown.hold)
        after = bool(step) + bool(asked)  # a line each, where there is one
        caution = clipped(caution, max(1, left - after), max(2, width - 2))
        left -= len(caution)
        step = clipped(step, left - (bool(asked) and left > 1), width)
        asked = clipped(asked, left - len(step), width)
    return {
        HOLD: ((Run(shortened(f" HOLD: {clean(shown.hold)} ", width), "reverse"),),)
        if shown.hold
        else (),
        CAUTION: tuple((Run("│ ", "bold"), Run(line)) for line in caution),
        STEP: _block(step, "reverse" if shown.mode == EMERGENCY else "bold"),
        ASKS: _block(asked, "bold"),
    }


def _block(lines: list[str], style: str) -> _Block:
    return tuple((Run(line, style),) for line in lines)


def _gaps(blocks: dict[str, _Block], spare: int) -> tuple[dict[str, int], int]:
    """Return how many empty lines stand before each block, and how many are left for the foot."""
    places = [name for name in _SPACED if name in blocks]
    if HOLD not in places and (first := next(iter(blocks), "")) not in (*_FOOT, ""):
        places = [first, *(name for name in places if name != first)]
    gaps = dict.fromkeys(places, 0)
    for name in (*places, *(name for name in _SPACED_TWICE if name in places)):
        if spare > 0:
            gaps[name] += 1
            spare -= 1
    return gaps, max(0, spare)


def _top(shown: Glance, width: int) -> Line:
    mode = _MODES.get(shown.mode, shown.mode)
    loud = "reverse" if shown.mode in (EMERGENCY, GONE) else "bold"
    to_go = f" · {shown.to_go} to go" if shown.to_go else ""
    room = width - columns(mode) - 1
    title = f"{shortened(clean(shown.title), max(0, room - len(to_go)))}{to_go}"
    title = shortened(title, max(0, room))
    between = " " * max(1, width - columns(title) - columns(mode))
    return Run(title, "dim"), Run(between), Run(mode, loud)


def _reading(shown: Glance, width: int, scale: _Scale) -> _Block | None:
    """The last reading with its verdict in words; None where figures of that size don't fit."""
    if not shown.value:
        return ()
    value, unit, point = clean(shown.value), clean(shown.unit), clean(shown.point)
    verdict = Run(shown.verdict, "reverse" if shown.verdict == OUTSIDE else "bold")
    if scale is None:
        amount = f"{value} {unit}".rstrip()
        room = width - columns(amount) - columns(shown.verdict)
        gap = "  " if columns(point) + 4 <= room else " "
        name = shortened(point, max(0, room - 2 * len(gap)))
        return ((Run(f"{name}{gap}" if name else ""), Run(f"{amount}", "bold"), Run(gap), verdict),)
    figures = large(value, *scale)
    if figures is None or len(figures[0]) + columns(unit) + 2 > width:
        return None
    name = shortened(point, max(0, width - columns(shown.verdict) - 2))
    rows = [(Run(row, "bold"),) for row in figures[:-1]]
    return (
        (Run(f"{name}  "), verdict),
        *(((),) if scale == _HUGE else ()),
        *rows,
        (Run(figures[-1], "bold"), Run(f"  {unit}")),
    )


def _last(label: str, text: str, width: int) -> _Block:
    return ((Run(shortened(f"{label:5}  {clean(text)}", width), "dim"),),) if text else ()


def meter(level_dbfs: float, peak_dbfs: float, width: int) -> Line:
    """Return the microphone's level as a bar: drawn up to it, a stroke at the peak.

    The stretch where a voice should come to is marked by dots.
    """
    label = "mic    "
    room = max(1, min(48, width - columns(label)))
    at, peak = _place(level_dbfs, room), _place(peak_dbfs, room)
    low, high = (_place(dbfs, room) for dbfs in _SPEECH_DBFS)
    cells = ["━" if n < at else "·" if low <= n < high else " " for n in range(room)]
    if peak_dbfs > _QUIETEST_DBFS:
        cells[min(room - 1, max(at, peak - 1))] = "│"
    return Run(label, "dim"), Run("".join(cells))


def _place(dbfs: float, room: int) -> int:
    share = (dbfs - _QUIETEST_DBFS) / (_LOUDEST_DBFS - _QUIETEST_DBFS)
    return round(min(1.0, max(0.0, share)) * room)


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


def closing(shown: Glance) -> tuple[str, ...]:
    """Return how the job stands in a few plain lines, for when the view is gone."""
    to_go = f", {shown.to_go} to go" if shown.to_go else ""
    verdict = f", {shown.verdict}" if shown.verdict else ""
    reading = f"{shown.point}: {shown.value} {shown.unit}".rstrip() + verdict
    return tuple(
        clean(line)
        for line in (
            f"{shown.title}{to_go}." if shown.title else "",
            f"HOLD: {shown.hold}." if shown.hold else "",
            f"At: {shown.step}" if shown.step else "",
            f"Last reading: {reading}." if shown.value else "",
        )
        if line
    )
