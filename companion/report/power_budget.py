"""The 24 V budget of a job as a picture: the transformer, what hangs on it, and what is left.

From the readings of the transformer's label and of the loads, and from what was answered about its
size. How far it may be loaded is the sizings' own figure.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from companion.report.drawing import BAD, INK, LETTERS, PAPER, QUIET, box, line, picture
from companion.report.drawing import words as text
from companion.report.markup import element
from companion.report.sections import section
from companion.report.wording import exact, plain, shortened
from companion.sizing.tables import figure

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from companion.ports import Json
    from companion.report.markup import Element
    from companion.report.told import Story

_RATINGS = ("new-rating", "transformer-rating")  # test points: a transformer's label, in VA
_LOADS = "load-total"
_CURRENT, _VOLTAGE = "secondary-current", "secondary-voltage"
_SIZE, _ROOM = "transformer-size", "transformer-room"
_VA = re.compile(r"(\d+(?:\.\d+)?) VA")
_MOST_VA = Decimal(10_000)

_WIDTH, _LEFT, _RIGHT = 660.0, 2.0, 658.0
_BAR_TOP, _BAR_HEIGHT = 30.0, 38.0
_MEASURED_TOP, _MEASURED_HEIGHT = 96.0, 14.0
_TINTS = ("#c3d3dc", "#dfe8ed")  # neighbours are told apart in grey too, and have an outline
_LETTER_WIDTH = 0.62 * LETTERS


@dataclass(frozen=True, slots=True)
class Budget:
    """A transformer and what hangs on it, in volt-amperes; `rating_from` says where it is from."""

    rating_va: Decimal
    rating_from: str
    loads_va: tuple[Decimal, ...]
    loads_from: str
    measured_va: Decimal | None = None
    measured_from: str = ""

    @property
    def used_va(self) -> Decimal:
        """The loads added up."""
        return sum(self.loads_va, Decimal(0))

    @property
    def left_va(self) -> Decimal:
        """What is left of the rating; below zero, it is overloaded."""
        return self.rating_va - self.used_va


def power_budget(told: Story) -> Element | None:
    """Return the section with the picture, or with the reason why there is none."""
    found = budget(told)
    if isinstance(found, str):
        return section("24 V budget", element("p", f"No picture: {found}.", class_="quiet"))
    return section(
        "24 V budget", _drawn(found), *(element("p", said, class_="quiet") for said in _told(found))
    )


def budget(told: Story) -> Budget | str:
    """Return the budget that the log holds, or what it lacks, in words."""
    last = {r.point: r for r in told.standing() if r.phase != "as found" or r.point == _LOADS}
    asked: dict[str, Mapping[str, Json]] = {plain(s.get("sizing")): s for _, s in told.questions}
    rating = next(
        ((value, f"{last[p].name} as read") for p in _RATINGS
         if p in last and (value := _va(last[p].value)) is not None), None,
    ) or _rating_asked(asked)  # fmt: skip
    if rating is None:
        return "this job has neither a reading of a transformer's V A nor an answer about its size"
    loads, loads_from = _loads(asked)
    total = _va(last[_LOADS].value) if _LOADS in last else None
    if total is not None and total != sum(loads, Decimal(0)):
        loads, loads_from = (total,), "the load total as read"
    if not loads:
        return "this job has no loads in V A, read or asked with"
    measured = [_exact(last[p].value) for p in (_CURRENT, _VOLTAGE) if p in last]
    if len(measured) < len((_CURRENT, _VOLTAGE)) or None in measured:
        return Budget(*rating, loads, loads_from)
    amps, volts = last[_CURRENT], last[_VOLTAGE]
    product = (_exact(amps.value) or Decimal(0)) * (_exact(volts.value) or Decimal(0))
    return Budget(
        *rating,
        loads,
        loads_from,
        product,
        f"{amps.value} {amps.unit} × {volts.value} {volts.unit}",
    )


def _rating_asked(asked: Mapping[str, Mapping[str, Json]]) -> tuple[Decimal, str] | None:
    for slug, from_ in ((_ROOM, "as asked with"), (_SIZE, "the size worked out")):
        said = asked.get(slug)
        if said is None:
            continue
        given = _inputs(said).get("transformer", "").removesuffix(" VA")
        value = _va(given) or (_va(plain(said.get("value"))) if slug == _SIZE else None)
        if value is not None:
            return value, "as asked with" if given else from_
    return None


def _loads(asked: Mapping[str, Mapping[str, Json]]) -> tuple[tuple[Decimal, ...], str]:
    room, size = (_inputs(asked.get(slug, {})) for slug in (_ROOM, _SIZE))
    texts = [*_VA.findall(_in_va(room)), *_VA.findall(room.get("added load", ""))]
    texts = texts or _VA.findall(size.get("load", ""))
    found = tuple(value for each in texts if (value := _va(each)) is not None)
    return found, "the loads asked with" if found else ""


def _in_va(room: Mapping[str, str]) -> str:
    """The present load in VA; one in amps times the volts that the answer was worked out with."""
    load = room.get("present load", "")
    amps = _exact(load.removesuffix(" A")) if load.endswith(" A") else None
    if amps is None:
        return load
    volts = _exact(room.get("secondary voltage", "").removesuffix(" V"))
    return f"{amps * (volts or Decimal(str(figure('control-voltage'))))} VA"


def _inputs(said: Mapping[str, Json]) -> dict[str, str]:
    given = said.get("inputs")
    return {key: plain(value) for key, value in given.items()} if isinstance(given, dict) else {}


def _exact(value: str) -> Decimal | None:
    number = exact(value)
    return number if isinstance(number, Decimal) and abs(number) <= _MOST_VA else None


def _va(value: str) -> Decimal | None:
    number = _exact(value)
    return number if number is not None and number > 0 else None


def _written(value: Decimal) -> str:
    return f"{shortened(format(value.normalize(), 'f'))} VA"


def _told(found: Budget) -> Iterator[str]:
    left = found.left_va
    over = f"{_written(-left)} too much" if left < 0 else f"{_written(left)} left"
    yield (
        f"Transformer: {_written(found.rating_va)} ({found.rating_from}). Loads:"
        f" {' + '.join(map(_written, found.loads_va))} ({found.loads_from}). {over}."
        f" The mark is at {_fill()} % of the rating, as far as it is loaded by common practice,"
        " no source."
    )
    if found.measured_va is not None:
        yield f"Measured, all that ran then: {found.measured_from} = {_written(found.measured_va)}."


def _fill() -> Decimal:
    return Decimal(str(figure("transformer-fill")))


# ---------------------------------------------------------------- drawn


def _drawn(found: Budget) -> Element:
    top = max(found.rating_va, found.used_va, found.measured_va or Decimal(0))
    measured = found.measured_va is not None
    return picture(
        _WIDTH,
        _MEASURED_TOP + _MEASURED_HEIGHT + 22 if measured else _MEASURED_TOP,
        *_loads_drawn(found, top),
        *_rating_drawn(found, top),
        *(_measured_drawn(found, top) if measured else ()),
        class_="picture",
        says=" ".join(_told(found)),
    )


def _x(va: Decimal, top: Decimal) -> float:
    return _LEFT + float(va / top) * (_RIGHT - _LEFT)


def _loads_drawn(found: Budget, top: Decimal) -> Iterator[Element]:
    at = Decimal(0)
    for place, load in enumerate(found.loads_va):
        begin, end = _x(at, top), _x(at + load, top)
        over = at + load > found.rating_va
        yield box(begin, _BAR_TOP, end - begin, _BAR_HEIGHT, fill=_TINTS[place % 2],
                  colour=BAD if over else INK)  # fmt: skip
        yield from _fitting(begin, end, _BAR_TOP + 23, _written(load))
        at += load
    if found.left_va > 0:
        begin, end = _x(at, top), _x(found.rating_va, top)
        yield box(begin, _BAR_TOP, end - begin, _BAR_HEIGHT, fill=PAPER, dashes="4 3")
        yield from _fitting(begin, end, _BAR_TOP + 23, f"{_written(found.left_va)} left")


def _fitting(begin: float, end: float, base: float, words: str) -> Iterator[Element]:
    """The words in the middle of a stretch, where they have room; the text beside has them too."""
    if len(words) * _LETTER_WIDTH < end - begin:
        yield text((begin + end) / 2, base, words, anchor="middle")


def _rating_drawn(found: Budget, top: Decimal) -> Iterator[Element]:
    end = _x(found.rating_va, top)
    yield line(_LEFT, 20, end, 20, colour=INK)
    for x in (_LEFT, end):
        yield line(x, 14, x, 26, colour=INK)
    yield text(_LEFT, 11, f"Transformer {_written(found.rating_va)}", bold=True)
    full = _x(found.rating_va * _fill() / 100, top)
    below = _BAR_TOP + _BAR_HEIGHT  # the bar itself stays clear for what it says
    for begin, end in ((20.0, _BAR_TOP), (below, below + 7)):
        yield line(full, begin, full, end, colour=BAD, width=1.8)
    yield text(full, _BAR_TOP + _BAR_HEIGHT + 19, f"{_fill()} %", anchor="middle", colour=BAD)


def _measured_drawn(found: Budget, top: Decimal) -> Iterator[Element]:
    measured = found.measured_va or Decimal(0)
    end = _x(max(measured, Decimal(0)), top)
    yield box(_LEFT, _MEASURED_TOP, end - _LEFT, _MEASURED_HEIGHT, fill=QUIET, colour=QUIET)
    below = _MEASURED_TOP + _MEASURED_HEIGHT + 15
    yield text(_LEFT, below, f"Measured {_written(measured)}", colour=QUIET)
