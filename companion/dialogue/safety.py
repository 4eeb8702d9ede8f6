"""The rules that come before everything: emergencies, resuming, what only some may do."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from companion.dialogue.holds import dead_hold, is_begun
from companion.dialogue.scopes import provinces, regions
from companion.dialogue.session import ConfirmHeard
from companion.dialogue.walking import announce, enter, open_hold

if TYPE_CHECKING:
    from datetime import datetime

    from companion.dialogue.outcome import Turn
    from companion.language.meanings import Emergency

REPEAT_EVERY = timedelta(seconds=10)
ANSWER_WITHIN = timedelta(seconds=12)  # of the question whether it was an emergency


def emergency(turn: Turn, heard: Emergency, words: tuple[str, ...]) -> None:
    """Drop everything: log it and say what the hazard needs. No step until all is clear."""
    turn.log("emergency", hazard=heard.hazard, words=" ".join(words))
    turn.remember(pending=None, standing_by=False)
    warn(turn)


def warn(turn: Turn) -> None:
    """Say the answer to the hazard (again)."""
    turn.remember(warned_at=turn.at)
    turn.tell_urgently(f"emergency.{turn.job.emergency}")


def tick(turn: Turn) -> None:
    """While an emergency is on, its answer is said again and again.

    A doubtful one that nobody answers while standing by was talk: long after, a 'yes' to somebody
    else must not be taken for the answer.
    """
    doubt = turn.session.pending
    if turn.session.standing_by and isinstance(doubt, ConfirmHeard) and _is_stale(turn, doubt):
        turn.remember(pending=doubt.before)
    since: datetime | None = turn.session.warned_at
    if turn.job.emergency and (since is None or turn.at - since >= REPEAT_EVERY):
        warn(turn)


def _is_stale(turn: Turn, doubt: ConfirmHeard) -> bool:
    return doubt.urgent_at is not None and turn.at - doubt.urgent_at >= ANSWER_WITHIN


def all_clear(turn: Turn) -> None:
    """'I'm clear': go back to the step; what was proved dead must be proved again."""
    turn.log("all-clear")
    turn.tell("emergency.cleared")
    step = turn.job.current
    if reprove_dead(turn, why="after an emergency") or step is None:
        return
    progress = turn.job.holds.get(step.slug)
    if progress and not progress.met:  # half met is not met after such a thing
        open_hold(turn, step, why="after an emergency", then=progress.then)
    else:
        announce(turn)


def resume(turn: Turn) -> None:
    """Take up a job that was interrupted."""
    job = turn.job
    if job.ended:
        turn.tell("job.ended", how=job.ended)
        return
    turn.log("resumed")
    turn.tell("job.resumed", title=job.procedure.title if job.procedure else "")
    if job.emergency:
        warn(turn)
    elif not reprove_dead(turn, why="resumed"):
        announce(turn)


def reprove_dead(turn: Turn, *, why: str) -> bool:
    """Open the dead hold again if dead was proved, or half proved; the lock may be gone by now."""
    job = turn.job
    hold = dead_hold(job)
    if hold is None or job.calling_off or not (job.dead or is_begun(job, hold)):
        return False
    turn.tell("job.resumed-locked")
    is_here = job.step == hold.slug
    then = job.holds[hold.slug].then if is_here else job.step
    open_hold(turn, hold, why=why, then=then)
    return True


def licence_answer(turn: Turn, choice: str, option: str) -> None:
    """Note the answer about the licence or the region; go on to the step when both are known."""
    turn.log("choice", step=turn.job.step, choice=choice, option=option)
    if choice == "licensed":
        turn.tell("licence.yes" if option == "yes" else "licence.no")
    if choice == "region":
        name = next(names[0] for code, names in regions().options if code == option)
        key = "noted-canada" if option in provinces() else "noted"
        turn.tell(f"licence.{key}", region=name.title())
    enter(turn, turn.job.step)
    if not turn.job.calling_off:  # where that answer led out, nothing leads on again
        turn.remember(changed=f"licence:{choice}")
