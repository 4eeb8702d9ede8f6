"""The moments at which the corpora are said: a real job, walked through the real dialogue.

The packaged procedure is walked by an ordinary technician (sheet metal, 120 V, licensed), again by
the other ways that it has, and once by someone without a licence; the benchmark's own
`meter.toml` gives bare readings of every unit a moment. Each time that something else is awaited,
job, session and scope are kept under a name: the step's slug and what is awaited
('found-static.supply-static'; the step's slug alone where both are the same word). Beside the way
lie moments of their own: standing by, an emergency, "this or that?", a missing input
('asking.low-voltage-gauge.length'), a question just answered ('answered.low-voltage-gauge').
"""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import TYPE_CHECKING

from companion import sizing
from companion.bench.hearing.walk import Walk, middle, name_of
from companion.dialogue import awaiting as waits
from companion.dialogue.awaiting import awaiting
from companion.dialogue.session import MissingInput
from companion.errors import InputError
from companion.language.meanings import Measure, Question, Value
from companion.procedures import load, procedure

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.bench.hearing.case import Moment
    from companion.procedures.model import Procedure

DEFAULT = "anything.volts"  # all of the meter procedure's test points are live there

# What is answered where it is not the first ordinary option.
_ORDINARY: Mapping[str, str] = MappingProxyType({})
_OTHERWISE = MappingProxyType(
    {
        "heat": "electric",
        "duct": "duct-board",
        "primary": "240",
        "neutral": "present",
        "interlock": "relay",
        "flow-by": "air-speed",
        "transformer": "outside",
    }
)
_TWO_OH_EIGHT = MappingProxyType({"primary": "208"})
_UNLICENSED = MappingProxyType({"licensed": "no", "licensed-person": "here"})


def moment(name: str) -> Moment:
    """Return the moment of that name.

    Raises:
        InputError: there is none; the message lists those there are.
    """
    known = moments()
    if name not in known:
        raise InputError(f"No moment '{name}'", f"Moments: {', '.join(known)}.")
    return known[name]


@cache
def moments() -> Mapping[str, Moment]:
    """Return every moment by its name, in the order of the walks; made once a process."""
    found: dict[str, Moment] = {}
    damper = procedure("fresh-air-damper")
    for answers in (_ORDINARY, _OTHERWISE, _TWO_OH_EIGHT, _UNLICENSED):
        Walk(damper, answers, found).to_the_end()
    Walk(meter_procedure(), _ORDINARY, found).to_the_end()
    _beside_the_way(found)
    return MappingProxyType(found)


@cache
def meter_procedure() -> Procedure:
    """Return the benchmark's own procedure of bare readings."""
    text = files("companion.bench.hearing").joinpath("meter.toml").read_text("utf-8")
    return load(text, "meter.toml", safety=False)


def _beside_the_way(found: dict[str, Moment]) -> None:
    """Add what does not lie on an ordinary way."""
    working = found["found-static.supply-static"]
    _said(working, found, "stand by").keep("standing-by")
    _said(working, found, "i smell gas").keep("emergency")
    _said(working, found, "pause").keep("paused")
    _said(working, found, "finish").keep("confirm-end")
    _said(working, found, "supply static one point five").keep("after-reading")
    _said(found["found-readings.outdoor-temperature"], found, "fifteen", "fifty").keep("between")
    _said(found["found-readings.supply-temperature"], found, "nine hundred").keep(
        "confirm-unlikely"
    )
    left = _said(found["first-power.primary-voltage"], found, "call it off", sure="yes")
    while isinstance(waiting := awaiting(left.job, left.session), waits.Leaving):
        left.keep(name_of(waiting, left.job))
        left.say("the office" if waiting.check == "told" else "yes")
    for slug in sizing.sizings():
        _asked(slug, found["plate.plate-static"], found)


def _said(start: Moment, found: dict[str, Moment], *lines: str, sure: str = "") -> Walk:
    """Return a walk that starts at a moment with these words."""
    walk = _walk_from(start, found)
    walk.say(*lines)
    if sure:
        walk.say(sure)
    return walk


def _walk_from(start: Moment, found: dict[str, Moment]) -> Walk:
    assert start.job.procedure  # noqa: S101 - every moment is of an opened job
    walk = Walk(start.job.procedure, _ORDINARY, found, start.job, start.session)
    walk.scope, walk.expect = start.scope, start.expect
    return walk


def _asked(slug: str, start: Moment, found: dict[str, Moment]) -> None:
    """Ask a sizing question that names nothing, and answer what it asks for."""
    walk = _walk_from(start, found)
    walk.mean(Question(slug, {}))
    while isinstance(pending := walk.session.pending, MissingInput):
        walk.keep(name_of(pending, walk.job))
        wanted = sizing.sizings()[slug].input(pending.name)
        before = pending
        walk.mean(
            Value(Measure(middle(wanted), None))
            if wanted.ranges
            else Value(None, wanted.options[0].value)
        )
        if walk.session.pending == before:
            raise AssertionError(f"{slug}: {pending.name} is asked for again")
    if walk.session.asked is not None:
        walk.keep(f"answered.{slug}")
