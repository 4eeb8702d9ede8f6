"""Where in a job a sentence is at home: the moments at which it is both live and natural."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING

from companion import sizing
from companion.bench.hearing.moments import meter_procedure, moments
from companion.dialogue.holds import requests
from companion.dialogue.values import Ends, ends
from companion.quantities import convert

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.bench.hearing.case import Moment
    from companion.ports import PointVocabulary
    from companion.procedures.model import TestPoint

_NO_LIMIT = Ends(None, None)

# A command not named here is at home wherever the technician is at work.
_ENDINGS = {
    "confirmed": (".confirm",),
    "done": (".doing",),
    "skip": (".doing",),
    "does-not-apply": (".doing",),
    "finish": ("complete.doing", "labels.doing"),
}


@cache
def at_work() -> tuple[Moment, ...]:
    """Return the moments of the packaged procedure at which commands and questions are live."""
    return _where(
        lambda m: (
            m.scope.awake
            and m.scope.commands
            and m.scope.questions
            and m.session.pending is None
            and not m.name.startswith("answered.")
            and m.scope.name not in {"licensed", "region"}
            and _is_damper(m)
        )
    )


@cache
def for_command(name: str) -> tuple[Moment, ...]:  # noqa: PLR0911 - a table
    """Return the moments at which a command is natural."""
    if name in _ENDINGS:
        return tuple(m for m in at_work() if m.name.endswith(_ENDINGS[name]))
    if name in {"yes", "no"}:
        return _where(
            lambda m: ".check-" in m.name or ".right-" in m.name or m.name == "confirm-end"
        )
    if name == "all-clear":
        return _where(lambda m: bool(m.job.emergency))
    if name in {"why", "source", "in-metric"}:
        return answered()
    if name == "go-on":
        return answered()  # a long answer is a sizing's working or its source
    if name == "never-mind":
        return _where(lambda m: m.name.startswith("asking.") or m.name == "confirm-end")
    if name == "cannot-get-it":
        return reading_awaited(damper_only=True)
    if name in {"strike-that", "thats-wrong", "read-it-back"}:
        return after_reading()
    if name == "caution":
        return tuple(m for m in at_work() if m.job.current and m.job.current.caution)
    return at_work()


def for_emergency() -> tuple[Moment, ...]:
    """Return the moments for words that drop everything: at work, and one in four asleep."""
    asleep = _where(lambda m: not m.scope.awake)
    return at_work() + asleep * (len(at_work()) // (3 * len(asleep)))


@cache
def asleep() -> tuple[Moment, ...]:
    """Return the moments at which only the attention phrase wakes it."""
    return _where(lambda m: not m.scope.awake)


@cache
def after_reading() -> tuple[Moment, ...]:
    """Return the moments at work whose step has a reading that stands."""
    return tuple(m for m in at_work() if _last_here(m))


@cache
def reading_awaited(*, damper_only: bool = False) -> tuple[Moment, ...]:
    """Return the moments at which a bare value is a reading."""
    return _where(
        lambda m: (
            m.expect is not None
            and not m.name.startswith("answered.")
            and (_is_damper(m) or not damper_only)
        )
    )


@cache
def answered() -> tuple[Moment, ...]:
    """Return the moments right after an answered question."""
    return _where(lambda m: m.name.startswith("answered."))


@cache
def with_points() -> tuple[Moment, ...]:
    """Return the moments at work at which readings are live by their names."""
    return tuple(m for m in at_work() if m.scope.points)


@cache
def asking(*kinds: str) -> tuple[Moment, ...]:
    """Return the moments at which a missing input of such a kind is asked for."""
    return _where(lambda m: m.scope.asking_kind in kinds)


@cache
def with_choice(slug: str) -> tuple[Moment, ...]:
    """Return the moments at which a choice is open."""
    return _where(lambda m: m.scope.choice is not None and m.scope.choice.slug == slug)


def _where(holds: Callable[[Moment], bool]) -> tuple[Moment, ...]:
    return tuple(m for m in moments().values() if holds(m))


def _is_damper(moment: Moment) -> bool:
    procedure = moment.job.procedure
    return procedure is not None and procedure.slug != meter_procedure().slug


def _last_here(moment: Moment) -> str:
    """Return the point of the last reading, where it was taken in this step."""
    standing = moment.job.standing()
    return standing[-1].point if standing and standing[-1].step == moment.job.step else ""


# ---------------------------------------------------------------- what values are natural there


@dataclass(frozen=True, slots=True)
class Span:
    """The values of a measure at a moment, in `unit`, as they are said (a return's minus left out).

    `limit` is empty where there is none; `is_signless` marks a point that owns a minus.
    """

    low: Decimal
    high: Decimal
    places: int
    unit: str
    limit: Ends = _NO_LIMIT
    is_signless: bool = False

    def within(self) -> tuple[Decimal, Decimal]:
        """Return the ends of what is plausible and within the limit."""
        low = self.low if self.limit.low is None else max(self.low, self.limit.low)
        high = self.high if self.limit.high is None else min(self.high, self.limit.high)
        return low, high

    def outside(self) -> tuple[tuple[Decimal, Decimal], ...]:
        """Return the ranges that are plausible and outside the limit."""
        found = []
        if self.limit.low is not None and self.limit.low > self.low:
            found.append((self.low, self.limit.low))
        if self.limit.high is not None and self.limit.high < self.high:
            found.append((self.limit.high, self.high))
        return tuple(found)


def span_of(moment: Moment, slug: str) -> Span:
    """Return the values of a test point at a moment, in its own unit."""
    point = _point(moment, slug)
    step = moment.job.current
    wanted = [r for r in (requests(moment.job, step) if step else ()) if r.point == slug]
    limit = ends(moment.job, wanted[0].limit) if wanted else _NO_LIMIT
    if point.sign != "minus":
        return Span(point.low, point.high, point.decimals, point.unit, limit)
    return Span(-point.high, -point.low, point.decimals, point.unit, is_signless=True)


def span_in(span: Span, unit: str) -> Span:
    """Return the span in another unit, its limit left out where that changes the unit."""
    if unit == span.unit:
        return span
    low, high = (convert(end, span.unit, unit) for end in span.within())
    places = 0 if high > 100 else 1  # noqa: PLR2004 - what a meter with that many figures shows
    return Span(low, high, places, unit)


def last_point(moment: Moment) -> str:
    """Return the test point of the reading that a correction would be of."""
    return _last_here(moment)


def vocabulary(moment: Moment, slug: str) -> PointVocabulary:
    """Return how a live test point is called."""
    return next(point for point in moment.scope.points if point.slug == slug)


def spans_asked(moment: Moment) -> tuple[Span, ...]:
    """Return the values of the input that is asked for, one span a unit."""
    _, slug, name = moment.name.split(".")
    return spans_of_input(sizing.sizings()[slug].input(name))


def spans_of_input(wanted: sizing.Input) -> tuple[Span, ...]:
    """Return the values of a sizing's input, one span a unit."""
    return tuple(
        Span(Decimal(each.low), Decimal(each.high), 0 if Decimal(each.high) > 100 else 1, each.unit)  # noqa: PLR2004 - nobody says tenths there
        for each in wanted.ranges
    )


def _point(moment: Moment, slug: str) -> TestPoint:
    assert moment.job.procedure  # noqa: S101 - a point belongs to a procedure
    return moment.job.procedure.points[slug]
