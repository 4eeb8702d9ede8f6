"""The wiring as built, as SVG: schemdraw draws the parts, the table beneath says what is recorded.

schemdraw is loaded with this module only. Lengths are in its units of `UNIT` points; y upwards.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import schemdraw
from schemdraw import elements as elm
from schemdraw.elements import Element
from schemdraw.segments import Segment, SegmentText

from companion.procedures.lettering import width_of, wrapped
from companion.report.drawings.svg import FACE
from companion.report.drawings.wiring import NOT_RECORDED, TAPS, wiring
from companion.report.markup import html_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from companion.ports import Entry
    from companion.report.drawings.strokes import Anchor
    from companion.report.drawings.wiring import Fact, Part, Primary, Wiring

UNIT = 36.0  # points
WIDTH = 22.5
EDGE = 0.9
BOTTOM = -4.6  # the loop's lower line; the upper one is at 0
BIG, PLAIN, SMALL = 14.0, 10.0, 9.0
_TURNS, _STEPS = 8, 16
_PITCH = 3.0  # one part of the loop
_PRIMARY_X, _SECONDARY_X, _LOAD_X = 6.2, 7.5, 20.6
CAUTION = (
    "CAUTION: de-energize, lock out and prove dead before you touch it. Drawn from what was said "
    "and answered on the job, not from sight; contacts at rest, blower off. The maker's diagram, "
    "the labels and local code come first."
)


def wiring_svg(entries: Sequence[Entry]) -> str | None:
    """Return a job's wiring as built, as the text of an SVG file.

    Args:
        entries: a job's entries, in order.

    Returns:
        None where the job's procedure wires nothing that can be drawn.
    """
    made = wiring(entries)
    return None if made is None else drawn(made)


def drawn(made: Wiring) -> str:
    """Return a wiring as the text of an SVG file; one unit of it is a point."""
    items: list[Element] = []
    items += _conductors(made) if made.conductors else _circuit(made)
    low = -(len(made.conductors) + 1.0) if made.conductors else BOTTOM - 1.2
    low -= 2.2 if made.coil else 0.0
    table, low = _table(made.facts, low - 0.6)
    items += table
    for line in wrapped(CAUTION, PLAIN, (WIDTH - 2 * EDGE) * UNIT):
        items.append(_text(EDGE, low - 0.5, line, PLAIN))
        low -= 0.42
    top = 2.4
    about = " · ".join(filter(None, (made.job and f"job {made.job}", made.date)))
    title = f"Wiring as built: {made.title}"
    room = (WIDTH - 2 * EDGE) * UNIT
    titled = _few(title, BIG, room, 2)
    for index, line in enumerate((*titled, *_few(about, PLAIN, room, 1))):
        items.append(_text(EDGE, top - 0.55 * index, line, BIG if index < len(titled) else PLAIN))
    return _svg(items, title, top + 0.9, low - 0.7)


def _svg(items: Sequence[Element], title: str, top: float, low: float) -> str:
    width, height = WIDTH * UNIT, (top - low) * UNIT
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "width": f"{width:.0f}",
            "height": f"{height:.0f}",
            "viewBox": f"0 {-top * UNIT:.1f} {width:.1f} {height:.1f}",
        },
    )
    ET.SubElement(root, "title").text = title
    ET.SubElement(
        root,
        "rect",
        {
            "x": "0",
            "y": f"{-top * UNIT:.1f}",
            "width": f"{width:.1f}",
            "height": f"{height:.1f}",
            "fill": "white",
        },
    )
    drawing = schemdraw.Drawing(canvas="svg", show=False)
    drawing.config(unit=3, inches_per_unit=UNIT / 72, margin=0, lw=1.4)
    for item in items:
        drawing.add(item)
    parts: Iterable[ET.Element] = drawing.draw(show=False).getsvg()
    root.extend(parts)
    for text in root.iter("text"):
        text.set("font-family", FACE)
    return ET.tostring(root, encoding="unicode", xml_declaration=True)


# ---------------------------------------------------------------- the circuit


def _circuit(made: Wiring) -> Iterator[Element]:
    if made.primary:
        yield from _transformer(made.primary)
    else:
        for y, name in ((0.0, made.begins), (BOTTOM, made.ends)):
            yield _dot(_SECONDARY_X, y)
            yield from _lines(_SECONDARY_X - 0.3, y, name, 5 * UNIT, anchor="right")
    x = _SECONDARY_X
    for part in made.loop:
        yield _line((x, 0), (x + 0.5, 0))
        yield from _part(part, x + 0.5, x + _PITCH)
        x += _PITCH
    yield _line((x, 0), (_LOAD_X, 0))
    yield _line((_LOAD_X, 0), (_LOAD_X, -1.3))
    yield _box().at((_LOAD_X, -1.3)).to((_LOAD_X, BOTTOM + 1.3))
    yield _line((_LOAD_X, BOTTOM + 1.3), (_LOAD_X, BOTTOM))
    yield _line((_LOAD_X, BOTTOM), (_SECONDARY_X, BOTTOM))
    yield from _lines(_LOAD_X - 0.7, BOTTOM / 2 + 0.2, made.load, 3.4 * UNIT, anchor="right")
    if made.coil:
        y = BOTTOM - 2.0
        yield _dot(10.0, y)
        yield _box().at((10.0, y)).to((14.0, y))
        yield _dot(14.0, y)
        yield _text(9.7, y - 0.12, "G, at the board", PLAIN, "right")
        yield _text(14.3, y - 0.12, "C, at the board", PLAIN)
        yield _text(12.0, y + 0.5, "relay coil", PLAIN, "center")


def _part(part: Part, begin: float, end: float) -> Iterator[Element]:
    match part.symbol:
        case "fuse":
            yield _fuse().at((begin, 0)).to((end, 0))
        case "open":
            yield elm.Switch().at((begin, 0)).to((end, 0))
        case "closed":
            yield elm.Switch(nc=True).at((begin, 0)).to((end, 0))
        case _:
            yield _box().at((begin, 0)).to((end, 0)).linestyle("--")
    middle, room = (begin + end) / 2, (_PITCH - 0.2) * UNIT
    yield _text(middle, 0.75, part.name, PLAIN, "center")
    for index, line in enumerate(_few(part.told, SMALL, room)):
        yield _text(middle, -0.75 - 0.36 * index, line, SMALL, "center")


def _transformer(primary: Primary) -> Iterator[Element]:
    """Its coils, its taps with the one in use, its two lines from the disconnect, its ground."""
    yield _coil(_PRIMARY_X, 1.0)
    yield _coil(_SECONDARY_X, -1.0)
    for x in (0.45, 0.58):
        across = _PRIMARY_X + x * (_SECONDARY_X - _PRIMARY_X) / 1.03
        yield _line((across, -0.2), (across, BOTTOM + 0.2))
    ground = (_PRIMARY_X + _SECONDARY_X) / 2
    yield _line((ground, BOTTOM + 0.2), (ground, BOTTOM - 0.3))
    yield elm.Ground().at((ground, BOTTOM - 0.3))
    for place, tap in enumerate(TAPS):
        y = BOTTOM * 2 * place / _TURNS
        yield _line((_PRIMARY_X - 0.6, y), (_PRIMARY_X, y))
        yield _dot(_PRIMARY_X - 0.6, y)
        used = tap == primary.tap
        note = "" if used or not primary.tap else f" not used{primary.unused}"
        yield _text(_PRIMARY_X - 0.75, y + 0.15, f"{tap} V{note}", SMALL, "right")
        if used:
            yield from _feed(y, primary.hot)
    yield _line((_PRIMARY_X - 0.6, BOTTOM), (_PRIMARY_X, BOTTOM))
    yield _dot(_PRIMARY_X - 0.6, BOTTOM)
    yield _text(_PRIMARY_X - 0.75, BOTTOM + 0.15, "COM", SMALL, "right")
    yield from _feed(BOTTOM, primary.other)
    if not primary.tap:
        yield _text(EDGE, 0.7, f"primary tap: {NOT_RECORDED}", PLAIN)


def _coil(x: float, side: float) -> Element:
    """A winding from the upper to the lower line, so that each tap meets it between two turns."""
    radius = -BOTTOM / _TURNS / 2
    arcs = [
        (
            x + side * radius * math.sin(math.pi * each / _STEPS),
            -radius * (2 * turn + 1 - math.cos(math.pi * each / _STEPS)),
        )
        for turn in range(_TURNS)
        for each in range(_STEPS + 1)
    ]
    return _of(Segment(arcs, lw=1.4))


def _feed(y: float, name: str) -> Iterator[Element]:
    yield _dot(EDGE + 0.1, y)
    yield _line((EDGE + 0.1, y), (_PRIMARY_X - 0.6, y))
    for index, line in enumerate(_few(name, SMALL, 4.4 * UNIT, 2)):
        yield _text(EDGE, y - 0.42 - 0.36 * index, line, SMALL)


# ---------------------------------------------------------------- a thermostat's conductors


def _conductors(made: Wiring) -> Iterator[Element]:
    yield _text(6.0, 0.7, "at the equipment", PLAIN, "right")
    yield _text(15.0, 0.7, "at the thermostat", PLAIN)
    for index, (letter, colour) in enumerate(made.conductors):
        y = -float(index)
        yield _line((6.5, y), (14.5, y))
        yield _dot(6.5, y)
        yield _dot(14.5, y)
        yield _text(6.1, y - 0.12, letter, PLAIN, "right")
        yield _text(14.9, y - 0.12, letter, PLAIN)
        yield _text(10.5, y + 0.15, colour, SMALL, "center")


# ---------------------------------------------------------------- the table


def _table(facts: Sequence[Fact], top: float) -> tuple[list[Element], float]:
    """The table of what is recorded, and where it ends."""
    columns = ((EDGE, 5.4), (EDGE + 5.6, 10.2), (EDGE + 16.0, 4.7))
    items: list[Element] = [_line((EDGE, top + 0.45), (WIDTH - EDGE, top + 0.45))]
    y = top
    for fact in facts:
        cells = [
            _few(text, SMALL, room * UNIT)
            for text, (_, room) in zip((fact.what, fact.value, fact.source), columns, strict=True)
        ]
        for (x, _), lines in zip(columns, cells, strict=True):
            items += [_text(x, y - 0.36 * index, line, SMALL) for index, line in enumerate(lines)]
        y -= 0.36 * max(len(lines) for lines in cells) + 0.1
    items.append(_line((EDGE, y + 0.2), (WIDTH - EDGE, y + 0.2)))
    return items, y


def _few(text: str, size: float, room: float, most: int = 3) -> tuple[str, ...]:
    """Return text in a few lines at most, so that it stays legible; the report has all of it."""
    lines = wrapped(text, size, room)
    if len(lines) <= most:
        return lines
    last = lines[most - 1]
    while last and width_of(f"{last}…", size) > room:
        last = last[:-1]
    return (*lines[: most - 1], f"{last.rstrip()}…")


# ---------------------------------------------------------------- lines and text


def _line(begin: tuple[float, float], end: tuple[float, float]) -> Element:
    return _of(Segment([begin, end], lw=1.4))


def _box() -> Element:
    made: Element = elm.RBox()  # type: ignore[no-untyped-call]
    return made


def _fuse() -> Element:
    made: Element = elm.Fuse()  # type: ignore[no-untyped-call]
    return made


def _dot(x: float, y: float) -> Element:
    return elm.Dot(open=True, radius=0.09).at((x, y))


def _lines(x: float, y: float, text: str, room: float, *, anchor: Anchor) -> Iterator[Element]:
    for index, line in enumerate(wrapped(text, PLAIN, room)):
        yield _text(x, y - 0.12 - 0.42 * index, line, PLAIN, anchor)


def _text(x: float, y: float, text: str, size: float, anchor: Anchor = "left") -> Element:
    return _of(
        SegmentText(
            (x, y),
            # It is read as XML, and what stands between dollar signs as a formula.
            html_of(text).replace("$", "&#36;"),
            align=(anchor, "base"),
            fontsize=size,
            font="sans",
            color="black",
        )
    )


def _of(segment: Segment | SegmentText) -> Element:
    element = Element()
    element.segments.append(segment)
    return element.at((0, 0)).theta(0)
