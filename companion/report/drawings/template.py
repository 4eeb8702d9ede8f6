"""A cut-out's template at true scale: the drawing itself, and what each sheet carries around it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.procedures.lettering import width_of, wrapped
from companion.report.drawings.cutout import Cutout, holes
from companion.report.drawings.lengths import millimeters, shown
from companion.report.drawings.sheets import FOOT_MM, HEAD_MM, MARGIN_MM, OVERLAP_MM
from companion.report.drawings.strokes import (
    Stroke,
    Window,
    Words,
    circle,
    cross,
    cut_off,
    rectangle,
)
from companion.report.drawings.writing import one_line

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.report.drawings.sheets import Plan, Sheet
    from companion.report.drawings.strokes import Anchor, Point, Role

RULER_IN, RULER_MM = 4, 100
TITLE, PLAIN, SMALL = 4.6, 3.5, 3.1  # letter sizes in millimeters: 13, 10 and 9 points
LEADING = 1.32
PAD_MM = 4.0  # around the drawing
_BEYOND_MM = 6.0  # how far centre lines reach past the opening
_ARROW_MM = 110.0
_NAMED_AT = 0.06  # along a seam: where the neighbour's name stands, clear of the crosses
_MAP_WIDTH, _MAP_HEIGHT = 24.0, 15.0

SCALE = (
    "Print at 100 %, no scaling. Measure this ruler before you cut. "
    "If it is off, don't use the sheet."
)
CAUTION = (
    "Check what is behind before you cut: look in, or use a camera. Power off, locked out, proved "
    "dead. Keep away from coils, heat exchanger, wiring, refrigerant and gas lines. Gloves and "
    "glasses on. The accessory's own template and local code come first."
)
_ARROWS = {"up": "↑", "down": "↓", "left": "←", "right": "→"}


def around(cutout: Cutout) -> Window:
    """Return what the drawing takes up, in millimeters."""
    beyond = [millimeters(cutout.flange_in), _BEYOND_MM]
    if cutout.screws:
        beyond.append(millimeters(cutout.setback_in + cutout.pilot_in))
    room = max(beyond) + PAD_MM
    x, y = millimeters(cutout.width_in) / 2 + room, millimeters(cutout.high_in) / 2 + room
    return Window(-x, -y, x, y)


def drawing(cutout: Cutout) -> tuple[Stroke | Words, ...]:
    """Return the whole drawing in millimeters from the middle of the opening, y upwards."""
    return tuple(_drawn(cutout))


def _drawn(cutout: Cutout) -> Iterator[Stroke | Words]:
    yield _outline(cutout, "cut", 0.0)
    if cutout.flange_in:
        yield _outline(cutout, "flange", millimeters(cutout.flange_in))
    beyond = millimeters(cutout.flange_in) + _BEYOND_MM
    x, y = (millimeters(side) / 2 + beyond for side in (cutout.width_in, cutout.high_in))
    yield Stroke("centre", ((-x, 0.0), (x, 0.0)))
    yield Stroke("centre", ((0.0, -y), (0.0, y)))
    radius = millimeters(cutout.pilot_in) / 2
    for along, up in holes(cutout):
        middle = along * 25.4, up * 25.4
        yield circle("hole", *middle, radius)
        yield from cross("hole-cross", *middle, radius + 2.5)
    if cutout.airflow:
        yield from _arrow(cutout)


def _outline(cutout: Cutout, role: Role, beyond_mm: float) -> Stroke:
    x, y = (millimeters(side) / 2 + beyond_mm for side in (cutout.width_in, cutout.high_in))
    if cutout.is_round:
        return circle(role, 0.0, 0.0, x)
    return rectangle(role, Window(-x, -y, x, y))


def _arrow(cutout: Cutout) -> Iterator[Stroke | Words]:
    """An arrow in the opening, beside the centre lines, and its name where there is room."""
    wide, high = millimeters(cutout.width_in), millimeters(cutout.high_in)
    lies = cutout.airflow in {"left", "right"}
    along, beside = (wide, high) if lies else (high, wide)
    long = min(_ARROW_MM, (0.5 if cutout.is_round else 0.7) * along)
    thick = min(9.0, 0.12 * min(long, beside))
    tail, neck, head = -long / 2, long / 2 - 3 * thick, long / 2
    shape = (
        (tail, thick / 2), (neck, thick / 2), (neck, 1.5 * thick), (head, 0.0),
        (neck, -1.5 * thick), (neck, -thick / 2), (tail, -thick / 2),
    )  # fmt: skip
    off = 0.2 * beside
    turned = tuple(_turned(cutout.airflow, x, y, off) for x, y in shape)
    yield Stroke("arrow", turned, closed=True)
    size = 5.0
    name = "AIRFLOW"
    if lies and width_of(name, size) < long / 2 and 0.5 * beside > off + 1.5 * thick + 2 * size:
        yield Words(3.0, off + 1.5 * thick + 2.0, name, size)
    elif not lies and beside / 2 > 2.2 * width_of(name, size):
        yield Words(off + 1.5 * thick + 2.0, 3.0, name, size)


def _turned(way: str, x: float, y: float, off: float) -> Point:
    match way:
        case "right":
            return x, y + off
        case "left":
            return -x, y + off
        case "up":
            return y + off, x
        case _:
            return y + off, -x


# ---------------------------------------------------------------- a sheet


def on_sheet(
    cutout: Cutout, drawn: tuple[Stroke | Words, ...], plan: Plan, sheet: Sheet
) -> Iterator[Stroke | Words]:
    """Yield all that one sheet carries, in millimeters from its lower left corner."""
    left, bottom = MARGIN_MM, MARGIN_MM
    width = plan.width - 2 * MARGIN_MM
    yield from _part(drawn, plan, sheet)
    number = plan.sheets.index(sheet) + 1
    head = Window(left, plan.height - MARGIN_MM - HEAD_MM, left + width, plan.height - MARGIN_MM)
    told = f"sheet {number} of {len(plan.sheets)}, {sheet.name}"
    yield from _map(head, plan, sheet, told)
    room = width - max(_MAP_WIDTH, width_of(told, PLAIN)) - 5
    yield from _headed(cutout, Window(head.left, head.bottom, head.left + room, head.top))
    yield from _foot(left, bottom + FOOT_MM - 4, width)


def _part(drawn: tuple[Stroke | Words, ...], plan: Plan, sheet: Sheet) -> Iterator[Stroke | Words]:
    shown_here, (x, y) = sheet.window, sheet.origin
    for each in drawn:
        if isinstance(each, Stroke):
            yield from (piece.moved(x, y) for piece in cut_off(each, shown_here))
        elif _is_whole(each, shown_here):
            yield each.moved(x, y)
    yield rectangle("frame", shown_here).moved(x, y)
    for middle in plan.crosses(sheet):
        yield from (each.moved(x, y) for each in cross("cross", *middle, 5.0))
    for side, name in plan.beside(sheet):
        yield from _seam(shown_here, side, name, (x, y))


def _is_whole(words: Words, window: Window) -> bool:
    half = width_of(words.text, words.size_mm) * (0.5 if words.anchor == "center" else 1.0)
    begin = words.x_mm - (half if words.anchor == "center" else 0.0)
    return window.holds(begin, words.y_mm) and window.holds(
        words.x_mm + half, words.y_mm + words.size_mm
    )


def _seam(window: Window, side: str, name: str, at: Point) -> Iterator[Stroke | Words]:
    """The line through the crosses, where the neighbour comes to lie, and its name."""
    inset = OVERLAP_MM / 2
    anchor: Anchor
    match side:
        case "left" | "right":
            x = window.left + inset if side == "left" else window.right - inset
            line: tuple[Point, Point] = ((x, window.bottom), (x, window.top))
            beside, anchor = (x + 1.2, "left") if side == "left" else (x - 1.2, "right")
            up = window.bottom + window.height * _NAMED_AT
            words = Words(beside, up, name, SMALL, anchor)
        case _:
            y = window.bottom + inset if side == "bottom" else window.top - inset
            line = ((window.left, y), (window.right, y))
            beside = y + 1.2 if side == "bottom" else y - 1.2 - SMALL
            words = Words(window.left + window.width * _NAMED_AT, beside, name, SMALL)
    yield Stroke("overlap", line).moved(*at)
    yield words.moved(*at)


def _map(head: Window, plan: Plan, sheet: Sheet, told: str) -> Iterator[Stroke | Words]:
    """How the sheets lie, small, with this one marked; below it this one's name."""
    yield Words(head.right, head.bottom + 4, told, PLAIN, "right")
    if len(plan.sheets) == 1:
        return
    cell = min(_MAP_WIDTH / plan.columns, _MAP_HEIGHT / plan.rows * 1.3)
    tall = cell / 1.3
    left, top = head.right - plan.columns * cell, head.top - 1
    for each in plan.sheets:
        x, y = left + each.column * cell, top - each.row * tall
        box = Window(x, y - tall, x + cell, y)
        yield rectangle("map", box)
        if each is sheet:
            inner = Window(box.left + 0.6, box.bottom + 0.6, box.right - 0.6, box.top - 0.6)
            yield rectangle("map-here", inner)


def told_of(cutout: Cutout) -> tuple[str, ...]:
    """Return what a sheet says of the cut-out, a line each, the most important first."""
    lines = [f"Opening {cutout.size}, cut on the middle of the thick line."]
    if cutout.screws:
        lines.append(
            f"{cutout.screws} pilot holes {shown(cutout.pilot_in)} in, "
            f"{shown(cutout.setback_in)} in from the edge. " + _flange(cutout)
        )
    else:
        lines.append("Pilot holes: not recorded; take them from the flange. " + _flange(cutout))
    flows = f", {one_line(cutout.flows)}" if cutout.flows else ""
    arrow = _ARROWS.get(cutout.airflow)
    lines.append(
        f"Airflow {arrow}{flows}"
        if arrow
        else f"Airflow{flows or ': not recorded'}; draw the arrow on the duct yourself."
    )
    return (*(line.strip() for line in lines), *(one_line(each) for each in cutout.sources))


def _flange(cutout: Cutout) -> str:
    return f"Dashed: flange, {shown(cutout.flange_in)} in." if cutout.flange_in else ""


def _headed(cutout: Cutout, box: Window) -> Iterator[Words]:
    """The label, then what is drawn, as far as it fits."""
    y = box.top - TITLE
    title = one_line(cutout.label) or "Cut-out template"
    yield Words(box.left, y, _fitted(title, TITLE, box.width), TITLE)
    about = " · ".join(filter(None, (_job(cutout), one_line(cutout.date))))
    lines = [about, *told_of(cutout)] if about else list(told_of(cutout))
    for line in lines:
        for index, part in enumerate(wrapped(line, SMALL, box.width)):
            y -= LEADING * SMALL + (0.4 if index == 0 else 0)
            if y < box.bottom + 0.5:
                return
            yield Words(box.left, y, part, SMALL)


def _job(cutout: Cutout) -> str:
    return f"job {one_line(cutout.job)}" if cutout.job else ""


def _fitted(text: str, size: float, room: float) -> str:
    """Return text that fits, shortened where it does not."""
    if width_of(text, size) <= room:
        return text
    while text and width_of(f"{text}…", size) > room:
        text = text[:-1]
    return f"{text.rstrip()}…"


def _foot(left: float, top: float, width: float) -> Iterator[Stroke | Words]:
    """The check ruler, in inches and in millimeters, and the caution."""
    y = top - 7.5
    yield from ruler(left, y)
    lines = wrapped(SCALE, PLAIN, width - 25.4 * RULER_IN - 8)
    for index, line in enumerate(lines):
        yield Words(left + 25.4 * RULER_IN + 8, top - PLAIN * (1 + LEADING * index), line, PLAIN)
    y = top - 27
    for index, line in enumerate(wrapped(f"CAUTION: {CAUTION}", SMALL, width)):
        yield Words(left, y - SMALL * LEADING * index, line, SMALL)


def ruler(left: float, y: float) -> Iterator[Stroke | Words]:
    """Yield a check ruler: 4 inches above, 100 millimeters below.

    Args:
        left: where both begin, in millimeters.
        y: the line of the inches; that of the millimeters is 9 below.
    """
    yield Stroke("ruler", ((left, y), (left + 25.4 * RULER_IN, y)))
    for quarter in range(4 * RULER_IN + 1):
        x, tall = left + 25.4 * quarter / 4, 4.0 if quarter % 4 == 0 else 2.0
        yield Stroke("ruler", ((x, y), (x, y + tall)))
        if quarter % 4 == 0:
            text = f"{quarter // 4} in" if quarter else "0"
            yield Words(x, y + 4.8, text, SMALL, "center" if quarter else "left")
    y -= 5.0
    yield Stroke("ruler", ((left, y), (left + RULER_MM, y)))
    for five in range(RULER_MM // 5 + 1):
        x, tall = left + 5 * five, 4.0 if five % 2 == 0 else 2.0
        yield Stroke("ruler", ((x, y), (x, y - tall)))
        if five % 4 == 0:
            text = f"{5 * five} mm" if five == RULER_MM // 5 else str(5 * five)
            yield Words(x, y - 7.4, text, SMALL, "center" if five else "left")
