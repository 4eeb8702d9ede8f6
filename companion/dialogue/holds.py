"""Hold points: what is still missing before one may be passed."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue.state import Progress, Taken
from companion.procedures import walking

if TYPE_CHECKING:
    from companion.dialogue.state import Job
    from companion.procedures.model import Check, ReadingRequest, Step


def requests(job: Job, step: Step) -> tuple[ReadingRequest, ...]:
    """Return the readings that apply at a step, in order."""
    return tuple(request for request in step.readings if request.when.holds(job.answers))


def outstanding(job: Job, step: Step) -> Check | ReadingRequest | Taken | None:
    """Return what a hold point still wants, first thing first; None when only 'confirmed' is left.

    A `Taken` is a reading that was logged but not confirmed yet. Checks come first, but for those
    that are `last`, then the readings strictly in their order: a conductor measured before the
    meter was proved on the known source does not count (live-dead-live, NFPA 70E 120.5).
    """
    progress = job.holds.get(step.slug, Progress(since=len(job.readings)))
    checks = step.hold.checks if step.hold else ()
    unmet = [c for c in checks if c.when.holds(job.answers) and c.slug not in progress.checks]
    first = next((check for check in unmet if not check.last), None)
    if first is not None:
        return first
    taken = (r for r in job.standing() if r.id > progress.since and r.step == step.slug)
    for request in requests(job, step):
        found = next((r for r in taken if _serves(r, request)), None)
        if found is None or not found.confirmed:
            return _unconfirmed(job, progress, step) or request
    return _unconfirmed(job, progress, step) or next(iter(unmet), None)


def _serves(reading: Taken, request: ReadingRequest) -> bool:
    """A confirmed reading serves when it is within its limit; an unconfirmed one waits."""
    return reading.point == request.point and not (
        reading.confirmed and reading.verdict == "outside"
    )


def _unconfirmed(job: Job, progress: Progress, step: Step) -> Taken | None:
    """Return the reading of this hold point that waits for its 'right'."""
    return next(
        (
            reading
            for reading in job.standing()
            if reading.id > progress.since and reading.step == step.slug and not reading.confirmed
        ),
        None,
    )


def is_open(job: Job, step: Step) -> bool:
    """Return whether a step is a hold point that was not met since it was last opened."""
    if step.hold is None:
        return False
    progress = job.holds.get(step.slug)
    return progress is None or not progress.met


def is_begun(job: Job, step: Step) -> bool:
    """Return whether something of an open hold point was met already."""
    progress = job.holds.get(step.slug)
    if progress is None or progress.met:
        return False
    taken = (r for r in job.standing() if r.id > progress.since and r.step == step.slug)
    return bool(progress.checks) or any(taken)


def dead_hold(job: Job) -> Step | None:
    """Return the hold point that proves dead on this job's path."""
    return walking.dead_hold(job.procedure, job.answers) if job.procedure else None


def stopped_by(job: Job, step: Step) -> tuple[ReadingRequest, Taken] | None:
    """Return a reading that stands outside a limit which the step may not be passed with."""
    for request in requests(job, step):
        taken = [
            each
            for each in job.standing()
            if (each.step, each.point, each.phase) == (step.slug, request.point, request.phase)
        ]
        if request.limit and request.limit.stops and taken and taken[-1].verdict == "outside":
            return request, taken[-1]
    return None


def outside_now(job: Job) -> tuple[str, ...]:
    """Return the names of test points whose last standing reading is outside its limit.

    What was outside as found and is within as left is mended, and not named any more.
    """
    last = {reading.point: reading for reading in job.standing()}
    return tuple(r.name for r in last.values() if r.verdict == "outside")
