"""A procedure as a drawing on one sheet: where each shape, line and word goes, as plain values.

Steps stand in the file's order, down a column and on in the next one. A column has three lanes:
what marks the step on the left, the step itself, and on the right where an option leads and where
one comes from. A jump names the step it leads to, so that no line crosses the sheet.
Points, from the sheet's upper left corner, y downwards.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from itertools import count
from typing import TYPE_CHECKING, Literal, TypeAlias

from companion.procedures.lettering import width_of, wrapped
from companion.procedures.outline import condition, figures, wanted

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from companion.procedures.model import Option, Procedure, ReadingRequest, Step

Kind: TypeAlias = Literal[
    "start", "step", "line step", "choice", "readings", "hold", "held", "end", "goto", "from",
    "carry", "mark", "plain",
]  # fmt: skip
Anchor: TypeAlias = Literal["left", "center"]

MARKS = 100.0  # the left lane
BODY = 320.0
LANE = 168.0
BETWEEN = 28.0  # two columns
COLUMN = MARKS + BODY + LANE
MARGIN = 36.0
SIZE = 11.0
LEADING = 14.5
PAD = 8.0
GAP = 20.0  # between two steps: an arrow
SHORT = 13.0  # between the shapes of one step
MARK_HEIGHT = 17.0
MARK_SIZE = 8.0
SYMBOL = 16.0  # room for a mark's sign
WIDE = 1.3  # how much wider than high the sheet should be
_MIDDLE = MARKS + BODY / 2
_RIGHT = MARKS + BODY


@dataclass(frozen=True, slots=True)
class Line:
    """One line of text; `y` is where it stands on, `x` its left end or its middle."""

    x: float
    y: float
    text: str
    size: float = SIZE
    bold: bool = False
    anchor: Anchor = "left"
    white: bool = False

    @property
    def width(self) -> float:
        """How wide it is at most."""
        return width_of(self.text, self.size, bold=self.bold)


@dataclass(frozen=True, slots=True)
class Shape:
    """A shape with its text: upper left corner, width, height.

    `dashed` is for what applies on a condition only; `sign` names a mark's sign; `step` is the
    step's slug.
    """

    kind: Kind
    x: float
    y: float
    width: float
    height: float
    lines: tuple[Line, ...] = ()
    dashed: bool = False
    sign: str = ""
    step: str = ""


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line through points, with an arrowhead at its end or without."""

    points: tuple[tuple[float, float], ...]
    arrow: bool = True


@dataclass(frozen=True, slots=True)
class Sheet:
    """The whole drawing."""

    title: str
    width: float
    height: float
    shapes: tuple[Shape, ...]
    strokes: tuple[Stroke, ...]


@dataclass
class _Piece:
    """What belongs together and is never parted by a column's end; grows downwards.

    `goes_on` tells whether the way leads on to what stands below.
    """

    shapes: list[Shape] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    height: float = 0.0
    goes_on: bool = True

    def add(self, shape: Shape) -> None:
        """Put a shape in; the piece reaches at least to its lower edge."""
        self.shapes.append(shape)
        self.height = max(self.height, shape.y + shape.height)

    def lead_down(self, room: float, *, arrow: bool = True) -> None:
        """Draw the way on from the lower edge."""
        below = self.height + room
        self.strokes.append(Stroke(((_MIDDLE, self.height), (_MIDDLE, below)), arrow))
        self.height = below

    def moved(self, x: float, y: float) -> _Piece:
        """Return it elsewhere."""
        return _Piece(
            [
                replace(
                    each,
                    x=each.x + x,
                    y=each.y + y,
                    lines=tuple(replace(one, x=one.x + x, y=one.y + y) for one in each.lines),
                )
                for each in self.shapes
            ],
            [
                replace(each, points=tuple((a + x, b + y) for a, b in each.points))
                for each in self.strokes
            ],
            self.height,
            self.goes_on,
        )


def diagram(procedure: Procedure) -> Sheet:
    """Return a procedure's drawing.

    >>> from companion.procedures import procedure
    >>> sheet = diagram(procedure("fresh-air-damper"))
    >>> sheet.title, sheet.width > sheet.height
    ('Motorized fresh air damper', True)
    """
    pieces = [_step(procedure, number, step) for number, step in enumerate(procedure.steps, 1)]
    for columns in count(1):
        height = _least_height(pieces, columns)
        width = 2 * MARGIN + columns * COLUMN + (columns - 1) * BETWEEN
        head = _head(procedure, width - 2 * MARGIN)
        top = MARGIN + head.height + GAP
        whole = top + height + GAP + LEADING + MARGIN
        if width >= WIDE * whole or columns >= len(pieces):
            break
    placed = [head.moved(MARGIN, MARGIN), _foot(procedure).moved(MARGIN, whole - MARGIN - LEADING)]
    for index, column in enumerate(_columns(pieces, height)):
        placed.append(column.moved(MARGIN + index * (COLUMN + BETWEEN), top))
    return Sheet(
        procedure.title,
        width,
        whole,
        tuple(shape for piece in placed for shape in piece.shapes),
        tuple(stroke for piece in placed for stroke in piece.strokes),
    )


# ---------------------------------------------------------------- columns


def _least_height(pieces: Sequence[_Piece], columns: int) -> float:
    """The lowest height at which the pieces fit into so many columns, to a point."""
    low, high = 0.0, sum(each.height + GAP for each in pieces) + 4 * GAP
    while high - low > 1:
        middle = (low + high) / 2
        made = _columns(pieces, middle)
        fits = len(made) <= columns and max(each.height for each in made) <= middle
        low, high = (low, middle) if fits else (middle, high)
    return high


def _columns(pieces: Sequence[_Piece], height: float) -> list[_Piece]:
    """Fill columns in turn; a piece that is higher than a column has one to itself."""
    start = _Piece()
    start.add(_labelled("start", MARKS + BODY / 2 - 45, 0, 90, ["START"]))
    made, before = [start], 0
    for number, piece in enumerate(pieces, 1):
        room = _CARRY + GAP if piece.goes_on and number < len(pieces) else 0
        if before and made[-1].height + GAP + piece.height + room > height:
            made.append(_carried_on(made[-1], number))
        column = made[-1]
        if column.shapes and column.goes_on:
            column.lead_down(GAP)
        elif column.shapes:
            column.height += GAP
        placed = piece.moved(0, column.height)
        column.shapes += placed.shapes
        column.strokes += placed.strokes
        column.height += piece.height
        column.goes_on = piece.goes_on
        before = number
    return made


_CARRY = 20.0


def _carried_on(column: _Piece, number: int) -> _Piece:
    """Close a column, and return the next; the way leads over by the steps' numbers."""
    following = _Piece(goes_on=column.goes_on)
    if column.goes_on:
        column.lead_down(GAP)
        column.add(_labelled("carry", _MIDDLE - 45, column.height, 90, [f"on to {number}"]))
        following.add(_labelled("carry", _MIDDLE - 45, 0, 90, [f"from {number - 1}"]))
    return following


# ---------------------------------------------------------------- one step


def _step(procedure: Procedure, number: int, step: Step) -> _Piece:
    piece = _Piece()
    _add_main(piece, procedure, number, step)
    if step.choice:
        _add_choice(piece, procedure, step)
    if step.choice and step.readings and not step.hold:
        piece.lead_down(SHORT)
        told = [_reading(procedure, each) for each in step.readings]
        piece.add(_box("readings", piece.height, told, step=step.slug))
    if step.hold:
        _add_hold(piece, procedure, step)
    if step.ends:
        piece.lead_down(SHORT)
        text = f"END: {step.ends.upper()}"
        piece.add(_labelled("end", MARKS + 60, piece.height, BODY - 120, [text], step.slug))
    options = step.choice.options if step.choice else ()
    piece.goes_on = not step.ends and not (options and all(each.goto for each in options))
    return piece


def _add_main(piece: _Piece, procedure: Procedure, number: int, step: Step) -> None:
    told = [condition(procedure, step.when)] if step.when.answers else []
    told += [f"Caution: {step.caution}"] if step.caution else []
    told.append(step.say)
    if step.works_out:
        told.append(f"Works out: {step.works_out.replace('-', ' ')}.")
    if step.readings and not step.choice and not step.hold:
        told += [_reading(procedure, each) for each in step.readings]
    kind: Kind = "line step" if step.line_voltage else "step"
    main = _box(kind, 0, told, head=f"{number}  {step.slug}", step=step.slug)
    least = len(_signs(step)) * (MARK_HEIGHT + 3)
    comes = _comes_from(procedure, step)
    lines = wrapped(f"from {', '.join(map(str, comes))}", SIZE, LANE - 50) if comes else ()
    least = max(least, len(lines) * LEADING + 10)
    main = replace(main, height=max(main.height, least), dashed=bool(step.when.answers))
    piece.add(main)
    for index, sign in enumerate(_signs(step)):
        piece.add(_mark(sign, 0, index * (MARK_HEIGHT + 3), step.slug))
    if lines:
        tag = _labelled("from", _RIGHT + 30, 0, LANE - 30, lines, step.slug)
        at = tag.height / 2
        piece.add(tag)
        piece.strokes.append(Stroke(((_RIGHT + 30, at), (_RIGHT, at))))


def _comes_from(procedure: Procedure, step: Step) -> list[int]:
    """The numbers of the steps that an option leads from."""
    return [
        number
        for number, each in enumerate(procedure.steps, 1)
        if each.choice and any(option.goto == step.slug for option in each.choice.options)
    ]


def _signs(step: Step) -> list[str]:
    said = (
        ("line voltage", step.line_voltage),
        ("proved dead", step.needs_dead),
        ("cuts", step.cuts),
        (f"power {step.power}" if step.power == "on" else step.power, bool(step.power)),
    )
    return [sign for sign, holds in said if holds]


def _add_choice(piece: _Piece, procedure: Procedure, step: Step) -> None:
    """The diamond; to its right the options that jump, below it those that go on."""
    if step.choice is None:
        return
    piece.lead_down(SHORT)
    top = piece.height
    asked = wrapped(step.choice.ask, SIZE, BODY / 2)
    tall = max(56.0, 2 * (len(asked) * LEADING + 5))
    jumps = [each for each in step.choice.options if each.goto]
    tags = list(_tags(procedure, step, jumps))
    across = max(tall, sum(each.height + 5 for each in tags) - 5)
    middle = top + across / 2
    piece.add(
        Shape(
            "choice",
            MARKS,
            middle - tall / 2,
            BODY,
            tall,
            tuple(_centred(asked, _MIDDLE, middle)),
            step=step.slug,
        )
    )
    y = middle - (sum(each.height + 5 for each in tags) - 5) / 2
    for tag in tags:
        at = y + tag.height / 2
        lines = tuple(replace(each, y=each.y + y) for each in tag.lines)
        piece.add(replace(tag, y=y, lines=lines))
        bend = _RIGHT + 10
        way = ((_RIGHT, middle), (bend, middle), (bend, at), (tag.x, at))
        piece.strokes.append(Stroke(way if at != middle else (way[0], way[3])))
        y += tag.height + 5
    _add_ways_on(piece, step, middle + tall / 2)


def _tags(procedure: Procedure, step: Step, jumps: Sequence[Option]) -> Iterator[Shape]:
    for option in jumps:
        number = procedure.places[option.goto] + 1
        room = LANE - 26 - 22
        lines = [(each, True) for each in wrapped(option.names[0], SIZE, room, bold=True)]
        lines += [(each, False) for each in wrapped(f"to {number} {option.goto}", SIZE, room)]
        if _is_left_later(step, option):
            lines += [(each, False) for each in wrapped("once all below is done", SIZE, room)]
        yield Shape(
            "goto",
            _RIGHT + 26,
            0,
            LANE - 26,
            len(lines) * LEADING + 8,
            tuple(
                Line(_RIGHT + 33, 4 + (index + 1) * LEADING - 4, text, bold=bold)
                for index, (text, bold) in enumerate(lines)
            ),
            step=step.slug,
        )


def _is_left_later(step: Step, option: Option) -> bool:
    """Whether the step still takes readings or a hold after this answer, before it jumps."""
    asked = step.choice.slug if step.choice else ""
    return step.hold is not None or any(
        option.slug in dict(each.when.answers).get(asked, (option.slug,)) for each in step.readings
    )


def _add_ways_on(piece: _Piece, step: Step, begins: float) -> None:
    """Name beside the way down the options that go on."""
    options = step.choice.options if step.choice else ()
    on = [each.names[0] for each in options if not each.goto]
    lines = [line for each in on for line in wrapped(each, SIZE, BODY / 2 - 12, bold=True)]
    if not lines:
        return
    piece.height = max(piece.height, begins + len(lines) * LEADING + 6)
    texts = tuple(
        Line(_MIDDLE + 8, begins + (index + 1) * LEADING, text, bold=True)
        for index, text in enumerate(lines)
    )
    room = piece.height - begins
    piece.add(Shape("plain", _MIDDLE + 4, begins, BODY / 2 - 4, room, texts, step=step.slug))
    piece.strokes.append(Stroke(((_MIDDLE, begins), (_MIDDLE, piece.height)), arrow=False))


def _add_hold(piece: _Piece, procedure: Procedure, step: Step) -> None:
    if step.hold is None:
        return
    piece.lead_down(SHORT)
    title = f"HOLD {step.hold.number}: {step.hold.title}"
    lines = wrapped(title, 13, BODY - 48, bold=True)
    high = len(lines) * 17 + 12
    top = piece.height
    piece.add(
        Shape(
            "hold",
            MARKS,
            top,
            BODY,
            high,
            tuple(
                Line(
                    _MIDDLE, top + 19 + 17 * index, text, 13, bold=True, anchor="center", white=True
                )
                for index, text in enumerate(lines)
            ),
            step=step.slug,
        )
    )
    told = [_reading(procedure, each) for each in step.readings]
    for check in step.hold.checks:
        only = condition(procedure, check.when)
        told.append(f"□ {check.ask}" + (f" ({only})" if only else ""))
    told.append(f"Then: {step.hold.confirm}")
    piece.add(_box("held", piece.height, told, step=step.slug))


def _reading(procedure: Procedure, request: ReadingRequest) -> str:
    """As the list shows it: what is asked; unit, limit, phase and condition in brackets."""
    stops = "else no further" if request.limit and request.limit.stops else ""
    only = condition(procedure, request.when)
    told = (wanted(procedure, request), request.phase, stops, only)
    return f"= {request.ask} ({'; '.join(filter(None, told))})"


# ---------------------------------------------------------------- shapes with text


def _box(kind: Kind, y: float, told: Sequence[str], *, head: str = "", step: str) -> Shape:
    """A box as high as its text; what goes on in a second line is set in."""
    room = BODY - 2 * PAD - 12  # a line-voltage step has a bar on either side
    lines = [(0.0, text, True) for text in wrapped(head, SIZE, room, bold=True)]
    for each in told:
        first, *more = wrapped(each, SIZE, room - 12)
        inset = 12.0 if each[:2] in ("= ", "□ ") else 0.0
        lines += [(0.0, first, False), *((inset, text, False) for text in more)]
    texts = tuple(
        Line(MARKS + PAD + 6 + inset, y + PAD + index * LEADING + SIZE - 1, text, bold=bold)
        for index, (inset, text, bold) in enumerate(lines)
    )
    return Shape(kind, MARKS, y, BODY, len(lines) * LEADING + 2 * PAD - 2, texts, step=step)


def _labelled(
    kind: Kind, x: float, y: float, width: float, lines: Sequence[str], step: str = ""
) -> Shape:
    """A shape with its text in the middle."""
    height = len(lines) * LEADING + 6
    texts = _centred(lines, x + width / 2, y + height / 2, bold=kind in {"start", "end"})
    return Shape(kind, x, y, width, height, tuple(texts), step=step)


def _centred(lines: Sequence[str], x: float, y: float, *, bold: bool = False) -> Iterator[Line]:
    first = y - len(lines) * LEADING / 2 + SIZE
    for index, text in enumerate(lines):
        yield Line(x, first + index * LEADING, text, bold=bold, anchor="center")


def _mark(sign: str, x: float, y: float, step: str) -> Shape:
    text = Line(x + SYMBOL + 4, y + MARK_HEIGHT - 5.5, sign.upper(), MARK_SIZE, bold=True)
    return Shape("mark", x, y, MARKS - 8, MARK_HEIGHT, (text,), sign=sign, step=step)


# ---------------------------------------------------------------- head and foot

_LEGEND: tuple[tuple[Kind, str, str], ...] = (
    ("step", "", "A step: its number and name, and what is said."),
    ("step", "dashed", "Applies only on the condition named in it; else straight on."),
    (
        "line step",
        "",
        "On line voltage; 'licensed' is asked before the first.",
    ),
    ("choice", "", "A choice. Options named below it go on, those to the right jump."),
    ("goto", "", "An option, and the step that it jumps to; 'from' stands where it arrives."),
    ("hold", "HOLD H1", "A hold point: not passed before all in the frame below is met."),
    ("readings", "= (unit)", "A reading, in brackets its limit with the unit."),
    ("held", "□", "A check of a hold point, answered yes."),
    ("mark", "line voltage", "Line voltage may be met."),
    ("mark", "proved dead", "Done only while proved dead."),
    ("mark", "cuts", "Cuts into something."),
    ("mark", "power on", "Power is restored."),
    ("mark", "live", "Done with power on."),
    ("end", "END", "The job ends: finished, or left safe."),
)
_SAMPLE = MARKS - 8
_ITEM = 294.0
_ITEM_HEIGHT = 46.0


def _head(procedure: Procedure, width: float) -> _Piece:
    """Title, figures, what it is for, and the legend."""
    found = figures(procedure)
    holds = f"hold points {', '.join(found.holds)}" if found.holds else "no hold points"
    under = f"Version {procedure.version}. {len(procedure.steps)} steps, {holds}."
    title = wrapped(procedure.title, 20, width, bold=True)
    lines = [Line(0, 20 + index * 26, text, 20, bold=True) for index, text in enumerate(title)]
    y = len(title) * 26 + 12.0
    for text in (
        *wrapped(under, SIZE, width),
        *wrapped(procedure.scope_note, SIZE, min(width, 900)),
    ):
        lines.append(Line(0, y, text))
        y += LEADING
    piece = _Piece()
    piece.add(Shape("plain", 0, 0, width, y - SIZE + 3, tuple(lines)))
    top = piece.height + 8
    across = max(1, int(width // _ITEM))
    for index, (kind, text, told) in enumerate(_LEGEND):
        at = (index % across) * _ITEM, top + (index // across) * _ITEM_HEIGHT
        _add_sample(piece, kind, text, told, at)
    return piece


def _add_sample(piece: _Piece, kind: Kind, text: str, told: str, at: tuple[float, float]) -> None:
    x, y = at
    if kind == "mark":
        sample = _mark(text, x, y + 12, "")
    else:
        sample = Shape(kind, x, y + 4, _SAMPLE, 32, dashed=text == "dashed")
        if text not in {"", "dashed"}:
            white, bold = kind == "hold", kind in {"hold", "end"}
            label = Line(x + _SAMPLE / 2, y + 24, text, SIZE, bold, "center", white)
            sample = replace(sample, lines=(label,))
    piece.add(sample)
    lines = wrapped(told, 10, _ITEM - _SAMPLE - 24)
    first = y + 20 - len(lines) * 6.5 + 9.5
    texts = tuple(Line(x + _SAMPLE + 10, first + i * 13, line, 10) for i, line in enumerate(lines))
    piece.add(Shape("plain", x + _SAMPLE + 6, y, _ITEM - _SAMPLE - 16, _ITEM_HEIGHT - 4, texts))


def _foot(procedure: Procedure) -> _Piece:
    """What the sheet was drawn from."""
    text = f"{procedure.title}, version {procedure.version}, digest {procedure.digest[:8]}"
    piece = _Piece()
    piece.add(Shape("plain", 0, 0, COLUMN, LEADING, (Line(0, SIZE, text),)))
    return piece
