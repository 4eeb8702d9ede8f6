"""What is shown at a glance: plain data, made of the job and the session."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from companion.dialogue.attention import can_say
from companion.dialogue.awaiting import AllClear, HoldRight, awaiting, licence_unknown
from companion.dialogue.holds import is_open
from companion.dialogue.prompting import asked
from companion.dialogue.session import ConfirmReading, Noting
from companion.language.phrasing import phrase
from companion.procedures.walking import steps_to_go
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from companion.dialogue.awaiting import Awaiting
    from companion.dialogue.session import Session
    from companion.dialogue.state import Job

LISTENING, HEARS, SPEAKING = "listening", "hears you", "speaking"
STANDING_BY, GONE, EMERGENCY = "standing by", "headset gone", "emergency"
NOTE = "taking a note"

OUTSIDE = "outside limits"
VERDICTS = {"within": "within limits", "outside": OUTSIDE, "no limit": ""}


@dataclass(frozen=True, slots=True)
class Glance:
    """What is shown.

    `mode` is one of the words above. `value` is the last reading as written ('119'), with `unit`,
    `point` and `verdict` ('' where there is no limit). `level_dbfs` and `peak_dbfs` are the
    microphone's, -90 to 0.
    """

    title: str = ""
    to_go: int = 0
    mode: str = LISTENING
    step: str = ""
    caution: str = ""
    hold: str = ""
    asks: str = ""
    point: str = ""
    value: str = ""
    unit: str = ""
    verdict: str = ""
    can_say: str = ""
    heard: str = ""
    said: str = ""
    timers: tuple[str, ...] = ()
    level_dbfs: float = -90.0
    peak_dbfs: float = -90.0


def glance(job: Job, session: Session, at: datetime) -> Glance:
    """Return what there is to show of a job; nothing of a line-voltage step before the licence.

    Args:
        job: as it stands.
        session: what is being talked about.
        at: the time now, UTC.
    """
    waits = awaiting(job, session)
    step = job.current
    last = job.standing()[-1] if job.standing() else None
    shown = Glance(
        title=job.procedure.title if job.procedure else "",
        to_go=steps_to_go(job.procedure, job.step, job.answers) if job.procedure else 0,
        point=last.name if last else "",
        value=last.value if last else "",
        unit=UNITS[last.unit].symbol if last and last.unit in UNITS else "",
        verdict=VERDICTS.get(last.verdict, last.verdict) if last else "",
        asks=_asks(job, session, waits),
        can_say=can_say(job, session),
        timers=timers(job, at),
    )
    if isinstance(waits, AllClear):
        told = phrase(f"emergency.{waits.hazard}")  # nothing else counts now
        return Glance(title=shown.title, mode=EMERGENCY, step=told, timers=shown.timers)
    if isinstance(waits, Noting):
        shown = replace(shown, mode=NOTE)
    if session.standing_by:
        return replace(shown, mode=STANDING_BY, asks="",
                     can_say=phrase("listening.stand-by", attention=session.attention))  # fmt: skip
    if step is None or licence_unknown(job, step) or job.calling_off:
        return shown
    is_hold = step.hold is not None and (is_open(job, step) or isinstance(waits, HoldRight))
    return replace(
        shown,
        step=step.say,
        caution=step.caution,
        hold=step.hold.title if step.hold and is_hold else "",
    )


def _asks(job: Job, session: Session, waits: Awaiting) -> str:
    """What is asked: of a reading to be confirmed, the words in which it was asked about."""
    if isinstance(waits, ConfirmReading):
        return session.said[-1] if session.said else ""
    return asked(job, waits)


def timers(job: Job, at: datetime) -> tuple[str, ...]:
    """Return each timer and stopwatch that runs as a short text, soonest first."""
    running: Sequence[str] = [
        f"{timer.name or 'timer'} {_clock((timer.due - at).total_seconds())}"
        for timer in sorted(job.timers, key=lambda each: each.due)
    ]
    watches = [
        f"{name or 'clock'} {_clock((at - began).total_seconds())}" for name, began in job.clocks
    ]
    return (*running, *watches)


def _clock(seconds: float) -> str:
    """Return a length of time as a clock shows it.

    >>> _clock(605)
    '10:05'
    """
    whole = max(0, round(seconds))
    hours, rest = divmod(whole, 3600)
    return f"{hours}:{rest // 60:02}:{rest % 60:02}" if hours else f"{rest // 60}:{rest % 60:02}"
