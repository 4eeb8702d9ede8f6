"""Timers, reminders and the stopwatch: set by voice, kept on the log, told when they are due.

A timer is told once it was heard to its end; until then, also after a restart, it is due. It is
told between sentences (`Say.urgency` 'routine'), never over a caution, and not while there is an
emergency. The stopwatch goes from the last word of one command to the last word of the other.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from companion.language.phrasing import listed, phrase
from companion.numbers import say, say_digits

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from companion.dialogue.outcome import Turn
    from companion.dialogue.state import Job, Timer
    from companion.language.meanings import TimerFor

MOST_AT_ONCE = 8
SHORTEST_S, LONGEST_S = 1, 12 * 3600
TOLD_AGAIN_AFTER = timedelta(seconds=20)  # where it was cut, or could not be said
LATE = timedelta(seconds=30)  # from here on it is said how late it is

_PLACES = ("first", "second", "third", "fourth")  # of several, soonest due first
_SECONDS = {"s": 1, "min": 60, "h": 3600}
_NUMBERS_ALIKE = frozenset({*range(13, 20), *range(20, 100, 10)})  # fifteen, fifty


def set_timer(turn: Turn, wanted: TimerFor) -> None:
    """Set a timer, and say its length back."""
    measure = wanted.measure
    length_s = round(Fraction(measure.value) * _SECONDS[measure.unit or "s"])
    if not SHORTEST_S <= length_s <= LONGEST_S:
        turn.tell("timer.out-of-range")
        return
    if len(turn.job.timers) >= MOST_AT_ONCE:
        turn.tell("timer.too-many", count=_capital(say(Decimal(MOST_AT_ONCE))))
        return
    due = turn.at + timedelta(seconds=length_s)
    turn.log("timer-set", id=turn.job.timers_so_far + 1, name=wanted.name,
             seconds=length_s, due=due.isoformat())  # fmt: skip
    turn.tell("timer.set-named" if wanted.name else "timer.set",
              length=_capital(length_said(length_s, twice=True)), name=wanted.name)  # fmt: skip


def start_clock(turn: Turn, name: str) -> None:
    """Start the stopwatch; one that runs under the same name starts anew."""
    turn.log("clock-started", name=name, said=_said_at(turn).isoformat())
    turn.tell("timer.clock-named" if name else "timer.clock", name=name.capitalize())


def stop_clock(turn: Turn) -> None:
    """'Mark': stop the stopwatch that was started last, log and tell what it showed."""
    if not turn.job.clocks:
        turn.tell("timer.no-clock")
        return
    name, began = turn.job.clocks[-1]
    seconds = max(0, round((_said_at(turn) - began).total_seconds()))
    turn.log("clock-stopped", name=name, seconds=seconds)
    shown = length_said(seconds, twice=True)
    turn.tell("timer.clocked-named" if name else "timer.clocked",
              name=name.capitalize(), length=shown if name else _capital(shown))  # fmt: skip


def how_long(turn: Turn) -> None:
    """Tell what runs, soonest first."""
    job = turn.job
    running = [phrase("timer.left", name=_called(each), length=length_said(_left_s(turn, each)))
               for each in _soonest_first(job)]  # fmt: skip
    running += [
        phrase("timer.so-far", name=name or "the clock",
               length=length_said(round((turn.at - began).total_seconds())))
        for name, began in job.clocks
    ]  # fmt: skip
    for text in running:
        turn.say(_capital(text))
    if not running:
        turn.tell("timer.none")


def cancel(turn: Turn, name: str) -> None:
    """Cancel the timer or the clock of that name; without one, the only one there is."""
    job = turn.job
    if name == "last" or name in _PLACES:
        _cancel_in_order(turn, name)
        return
    timers = [each for each in _soonest_first(job) if name in ("", "all") or each.name == name]
    clocks = [each for each, _ in job.clocks if name in ("", "all") or each == name]
    if not timers and not clocks:
        turn.tell("timer.none")
    elif not name and len(timers) + len(clocks) > 1:
        names = dict.fromkeys([*map(_called, timers), *(each or "the clock" for each in clocks)])
        turn.tell("timer.which", names=listed(tuple(names), "or"))
    else:
        for timer in timers:
            turn.log("timer-cancelled", id=timer.id)
        for clock in clocks:
            turn.log("clock-cancelled", name=clock)
        which = _called(timers[0]) if timers else clocks[0] or "the clock"
        key = "timer.cancelled-all" if name == "all" else "timer.cancelled"
        turn.tell(key, name=_capital(which))


def _cancel_in_order(turn: Turn, which: str) -> None:
    timers = _soonest_first(turn.job)
    at = -1 if which == "last" else _PLACES.index(which)
    if not timers:
        turn.tell("timer.none")
    elif at >= len(timers):
        running = _capital(listed(tuple(map(_called, timers)), "and"))
        turn.tell("timer.no-such", which=which, names=running)
    else:
        turn.log("timer-cancelled", id=timers[at].id)
        turn.tell("timer.cancelled", name=_capital(_called(timers[at])))


def _soonest_first(job: Job) -> list[Timer]:
    return sorted(job.timers, key=lambda timer: timer.due)


def _said_at(turn: Turn) -> datetime:
    return turn.said_at or turn.at


def tick(turn: Turn) -> None:
    """Tell each timer that is due: between sentences, until it was heard to its end."""
    if turn.job.emergency or turn.job.ended:
        return
    for timer in due(turn.job, turn.at):
        said_at = dict(turn.session.timers_said).get(timer.id)
        if said_at is not None and turn.at - said_at < TOLD_AGAIN_AFTER:
            continue
        late = turn.at - timer.due
        key = "timer.due-late" if late >= LATE else "timer.due"
        ago = length_said(round(late.total_seconds()))
        text = phrase(key, name=_capital(_called(timer)), late=ago)
        turn.say_when_quiet(text, what=f"timer:{timer.id}")
        said = {**dict(turn.session.timers_said), timer.id: turn.at}
        turn.remember(timers_said=tuple(said.items()))


def was_heard(turn: Turn, number: str) -> None:
    """A timer was told to its end."""
    if any(each.id == int(number) for each in turn.job.timers):
        turn.log("timer-told", id=int(number))


def is_out_of_date(job: Job, what: str) -> bool:
    """Return whether a timer that waits to be told (`Say.what`) was cancelled, or told, since."""
    kind, _, number = what.partition(":")
    return kind == "timer" and all(str(each.id) != number for each in job.timers)


def due(job: Job, at: datetime) -> Sequence[Timer]:
    """Return the timers that are due and were not told, longest due first."""
    return sorted((t for t in job.timers if t.due <= at), key=lambda timer: timer.due)


def _left_s(turn: Turn, timer: Timer) -> int:
    return max(0, round((timer.due - turn.at).total_seconds()))


def _called(timer: Timer) -> str:
    """Return what a timer is called: by its name, or by its length."""
    return timer.name or f"timer of {length_said(timer.seconds)}"


def length_said(seconds: int, *, twice: bool = False) -> str:
    """Return a length of time as it is said.

    Args:
        seconds: 0 or more.
        twice: say a number that sounds like another one both ways.

    >>> length_said(600)
    'ten minutes'
    >>> length_said(95)
    'one minute, thirty five seconds'
    >>> length_said(900, twice=True)
    'fifteen, one five, minutes'
    """
    hours, rest = divmod(seconds, 3600)
    minutes, left = divmod(rest, 60)
    named = [(hours, "hour"), (minutes, "minute"), (left, "second")]
    parts = [_counted(count, unit, twice=twice) for count, unit in named if count]
    return ", ".join(parts) or "no time"


def _counted(count: int, unit: str, *, twice: bool) -> str:
    units = unit if count == 1 else f"{unit}s"
    number = say(Decimal(count))
    if twice and count in _NUMBERS_ALIKE:
        return f"{number}, {say_digits(Decimal(count))}, {units}"
    return f"{number} {units}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
