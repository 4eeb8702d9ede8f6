"""Readings: sign, unit, plausible range, limit and verdict; logging, striking, correcting."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.awaiting import (
    HoldCheck,
    HoldConfirm,
    HoldReading,
    HoldRight,
    StepReading,
    awaited_by_job,
)
from companion.dialogue.holds import requests
from companion.dialogue.judging import Likelihood
from companion.dialogue.prompting import ask_now, still_missing
from companion.dialogue.questions import fits
from companion.dialogue.session import ConfirmReading, MissingInput
from companion.dialogue.values import SPECIALS, Ends, ends, spoken_reading, spoken_value, value_at
from companion.dialogue.walking import open_hold
from companion.errors import UnitError
from companion.language.meanings import Correction, Question, Reading, Value
from companion.language.phrasing import phrase
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Mapping
    from typing import Any

    from companion.dialogue.outcome import Turn
    from companion.dialogue.state import Job, Taken
    from companion.language.meanings import Meaning, Measure
    from companion.procedures.model import Limit, ReadingRequest, Step, TestPoint


def likelihood(turn: Turn, meaning: Meaning) -> Likelihood:
    """Return how likely a meaning is here: by plausible range and limit, or a sizing's range."""
    job, pending = turn.job, turn.session.pending
    match meaning:
        case Question(sizing=slug, inputs=inputs):
            return Likelihood.EXPECTED if fits(slug, inputs) else Likelihood.IMPLAUSIBLE
        case Value(measure=measure) if isinstance(pending, MissingInput) and measure:
            inputs = {pending.name: measure}
            return Likelihood.EXPECTED if fits(pending.sizing, inputs) else Likelihood.IMPLAUSIBLE
        case Value(measure=measure):
            return _likelihood_at(job, awaited_point(job), measure)
        case Reading(point=point, measure=measure):
            return _likelihood_at(job, point or awaited_point(job), measure)
        case Correction(measure=measure):
            last = job.standing()[-1] if job.standing() else None
            request = _request_of(job, last) if last else None
            return _likelihood_at(job, last.point if last else "", measure, request)
        case _:
            return Likelihood.EXPECTED


def _likelihood_at(
    job: Job, slug: str, measure: Measure | None, answers: ReadingRequest | None = None
) -> Likelihood:
    point = job.procedure.points.get(slug) if job.procedure else None
    if point is None or measure is None:
        return Likelihood.EXPECTED
    try:
        value = value_at(point, measure)
    except UnitError:
        return Likelihood.IMPLAUSIBLE
    if not point.low <= value <= point.high:
        return Likelihood.IMPLAUSIBLE
    request = answers or _request(job, slug)
    verdict = ends(job, request.limit if request else None).verdict(format(value, "f"))
    return Likelihood.OUTSIDE if verdict == "outside" else Likelihood.EXPECTED


def awaited_point(job: Job) -> str:
    """Return the test point whose reading is awaited, or ''."""
    waits = awaited_by_job(job)
    return waits.request.point if isinstance(waits, HoldReading | StepReading) else ""


def take_reading(turn: Turn, reading: Reading, words: tuple[str, ...], match: float) -> None:
    """Take a reading that was judged clear: log it, or ask about an unlikely value."""
    if not _is_in_order(turn, reading.point):
        still_missing(turn)
        return
    slug = reading.point or awaited_point(turn.job)
    point = turn.job.procedure.points.get(slug) if turn.job.procedure else None
    request = _request(turn.job, slug)
    if point is None or request is None:
        turn.tell("reading.unawaited")
        return
    if reading.measure is None and is_base(turn.job, slug):
        turn.tell("reading.missed-base", ask=request.ask)
        return
    try:
        value = _value(point, reading)
    except UnitError:
        name = point.names[0].capitalize()
        turn.tell("reading.unit-wrong", name=name, unit=UNITS[point.unit].many)
        return
    doubt = _doubt(turn, reading)
    if not doubt:
        log_reading(turn, point, request, value, words, match)
    else:
        turn.remember(pending=ConfirmReading(reading, words, match))
        told = spoken_value(point, value)
        turn.tell(f"reading.{doubt}", name=point.names[0].capitalize(), value=told)


def is_base(job: Job, point: str) -> bool:
    """Return whether a later limit is reckoned from this test point: it can't be done without."""
    steps = job.procedure.steps if job.procedure else ()
    limits = (request.limit for step in steps for request in step.readings if request.limit)
    return any(point in (limit.low_of, limit.high_of) for limit in limits)


def _doubt(turn: Turn, reading: Reading | Correction) -> str:
    """Return why a reading is asked about before it is logged, or ''.

    Most numbers heard wrong land outside: what is implausible, or outside its limit and not typed,
    needs a yes. A hold point asks about every reading anyway, once it is logged.
    """
    likely = likelihood(turn, reading)
    if likely is Likelihood.IMPLAUSIBLE:
        return "implausible"
    held = turn.job.current is not None and turn.job.current.hold is not None
    if likely is Likelihood.OUTSIDE and not held and not turn.certain:
        return "outside-ask"
    return ""


def _is_in_order(turn: Turn, slug: str) -> bool:
    """A hold point takes what it waits for and nothing else; `slug` is '' where left out.

    The reading that waits for its 'right' may be said anew: the old one is struck.
    """
    match awaited_by_job(turn.job):
        case HoldReading(request=request):
            return slug in ("", request.point)
        case HoldRight(reading=unsure) if slug in ("", unsure.point):
            turn.log("struck", of=unsure.id)
            return True
        case HoldCheck() | HoldRight() | HoldConfirm():
            return False
        case _:
            return True


def take_confirmed(turn: Turn, pending: ConfirmReading) -> None:
    """Log an unlikely reading, or correction, that was confirmed."""
    turn.sound = turn.session.doubted
    if isinstance(pending.reading, Correction):
        correct(turn, pending.reading, pending.words, pending.match, is_sure=True)
        return
    slug = pending.reading.point or awaited_point(turn.job)
    request = _request(turn.job, slug)
    if turn.job.procedure is None or request is None:
        return
    point = turn.job.procedure.points[slug]
    log_reading(turn, point, request, _value(point, pending.reading), pending.words, pending.match)


def _value(point: TestPoint, reading: Reading) -> str:
    if reading.measure is None:
        return SPECIALS[reading.special]
    return format(value_at(point, reading.measure), "f")


def _request(job: Job, slug: str) -> ReadingRequest | None:
    """Return the current step's request for a test point: the awaited one if it is there."""
    waits = awaited_by_job(job)
    if isinstance(waits, HoldReading | StepReading) and waits.request.point == slug:
        return waits.request
    step = job.current
    wanted = requests(job, step) if step else ()
    return next((request for request in wanted if request.point == slug), None)


def log_reading(
    turn: Turn,
    point: TestPoint,
    request: ReadingRequest,
    value: str,
    words: tuple[str, ...],
    match: float,
) -> None:
    """Log a reading with its verdict, then read it back and ask for the next thing."""
    held = turn.job.current is not None and turn.job.current.hold is not None
    limit = ends(turn.job, request.limit)
    turn.log(
        "reading",
        id=len(turn.job.readings) + 1,
        step=turn.job.step,
        point=point.slug,
        name=point.names[0].capitalize(),
        value=value,
        unit=point.unit,
        **_judged(limit, request.limit, value),
        phase=request.phase,
        words=" ".join(words),
        match=f"{match:.2f}",
        confirmed=not held,
        **turn.sounding,
    )
    turn.remember(changed="reading", pending=None)
    _read_back(turn, point, request, turn.job.readings[-1])


def _judged(limit: Ends, given: Limit | None, value: str) -> Mapping[str, Any]:
    return {
        "low": None if limit.low is None else format(limit.low, "f"),
        "high": None if limit.high is None else format(limit.high, "f"),
        "source": given.source if given else "",
        "verdict": limit.verdict(value),
    }


def _read_back(turn: Turn, point: TestPoint, request: ReadingRequest | None, taken: Taken) -> None:
    """Read back; a hold point's reading is asked about before it counts."""
    name, value = taken.name, spoken_value(point, taken.value)
    if not taken.confirmed:
        turn.tell("reading.confirm", name=name, value=value)
        return
    otherwise = request.limit.otherwise if request and request.limit else ""
    key = {"within": "within", "outside": "outside"}.get(taken.verdict, "plain")
    turn.say(phrase(f"reading.{key}", name=name, value=value, otherwise=otherwise).strip())
    turn.cue("logged")
    ask_now(turn)


def confirm_right(turn: Turn, waits: HoldRight) -> None:
    """A hold point's reading was affirmed: it counts now, and its verdict is told."""
    taken = waits.reading
    turn.log("reading-confirmed", of=taken.id)
    request = _request(turn.job, taken.point)
    if taken.verdict != "outside":
        turn.cue("logged")
        turn.tell("reading.confirmed")
        ask_now(turn)
        return
    otherwise = request.limit.otherwise if request and request.limit else ""
    value = spoken_reading(turn.job, taken)
    turn.tell("reading.outside-told", value=value, otherwise=otherwise)
    if waits.step.hold and waits.step.hold.proves == "dead":
        _start_over(turn, waits.step)
    else:
        ask_now(turn)


def _start_over(turn: Turn, step: Step) -> None:
    """Something is live: the whole live-dead-live test counts for nothing."""
    then = turn.job.holds[step.slug].then
    turn.tell("hold.live-again")
    open_hold_quietly(turn, step, then)


def open_hold_quietly(turn: Turn, step: Step, then: str) -> None:
    """Open a hold point again without saying the step anew."""
    number = step.hold.number if step.hold else ""
    turn.log("hold-opened", step=step.slug, hold=number, why="a conductor is live", then=then)
    ask_now(turn)


def strike(turn: Turn) -> Taken | None:
    """Withdraw the last standing reading."""
    standing = turn.job.standing()
    if not standing:
        turn.tell("reading.none")
        return None
    taken = standing[-1]
    turn.log("struck", of=taken.id)
    turn.remember(changed="")
    return taken


def strike_and_tell(turn: Turn) -> None:
    """'Strike that'."""
    taken = strike(turn)
    if taken:
        turn.tell("reading.struck", name=taken.name, value=spoken_reading(turn.job, taken))
        if not reopen_if_met(turn, taken):
            ask_now(turn)


def reopen_if_met(turn: Turn, taken: Taken) -> bool:
    """Open a hold point again whose reading is withdrawn or changed after it was met."""
    step = turn.job.find(taken.step)
    progress = turn.job.holds.get(taken.step)
    if turn.job.calling_off or not (step and step.hold and progress):
        return False
    if not progress.met or taken.id <= progress.since:
        return False
    then = "" if turn.job.step == step.slug else turn.job.step
    open_hold(turn, step, why="a reading was changed", then=then)
    return True


def correct(
    turn: Turn,
    correction: Correction,
    words: tuple[str, ...],
    match: float,
    *,
    is_sure: bool = False,
) -> None:
    """'Make it one ninety': the last reading's value, anew; the old entry stays.

    An unlikely value is asked about first, as with a reading; so is a change to what was read in
    another step: few mean that, and it may open a hold point again.
    """
    standing = turn.job.standing()
    if not standing or turn.job.procedure is None:
        turn.tell("reading.none")
        return
    old = standing[-1]
    point = turn.job.procedure.points[old.point]
    try:
        value = format(value_at(point, correction.measure), "f")
    except UnitError:
        unit = UNITS[point.unit].many
        turn.tell("reading.unit-wrong", name=old.name, unit=unit)
        return
    doubt = "" if is_sure else _doubt(turn, correction)
    is_latest = old.step == turn.job.step and old.id == turn.job.readings[-1].id
    if not (is_sure or doubt or turn.certain or is_latest):
        doubt = "earlier-ask"
    if doubt:
        turn.remember(pending=ConfirmReading(correction, words, match))
        turn.tell(f"reading.{doubt}", name=old.name, value=spoken_value(point, value))
        return
    request = _request_of(turn.job, old)
    limit = ends(turn.job, request.limit if request else None)
    turn.log(
        "correction",
        of=old.id,
        id=old.id,
        point=old.point,
        name=old.name,
        value=value,
        unit=point.unit,
        **_judged(limit, request.limit if request else None, value),
        words=" ".join(words),
        match=f"{match:.2f}",
        confirmed=not _is_held(turn.job, old),
        **turn.sounding,
    )
    turn.remember(changed="reading", pending=None)
    new = next(r for r in turn.job.readings if r.id == old.id)
    if not reopen_if_met(turn, old):
        _read_back(turn, point, request, new)


def _is_held(job: Job, taken: Taken) -> bool:
    step = job.find(taken.step)
    return step is not None and step.hold is not None


def _request_of(job: Job, taken: Taken) -> ReadingRequest | None:
    """Return the request that a reading answered."""
    step = job.find(taken.step)
    wanted = requests(job, step) if step else ()
    return next((r for r in wanted if (r.point, r.phase) == (taken.point, taken.phase)), None)


def cannot_get(turn: Turn) -> None:
    """'Can't get it': go on without the reading, except at a hold point."""
    match awaited_by_job(turn.job):
        case StepReading(request=request) if is_base(turn.job, request.point):
            turn.tell("reading.missed-base", ask=request.ask)
        case StepReading(step=step, request=request):
            turn.log("reading-missed", step=step.slug, point=request.point)
            names = turn.job.procedure.points[request.point].names if turn.job.procedure else ("",)
            turn.tell("reading.missed", name=names[0])
            ask_now(turn)
        case HoldReading(request=request):
            turn.tell("reading.missed-hold", ask=request.ask)
        case _:
            turn.tell("reading.missed-none")


def recall(turn: Turn, point: str) -> None:
    """Read back the last reading, or the last one at a test point."""
    standing = turn.job.standing()
    taken = turn.job.last_at(point) if point else (standing[-1] if standing else None)
    if taken is None:
        points = turn.job.procedure.points if turn.job.procedure else {}
        name = points[point].names[0] if point in points else "any test point"
        turn.tell("reading.none-at", name=name)
    else:
        value = spoken_reading(turn.job, taken)
        turn.tell("reading.last", name=taken.name.lower(), value=value)
