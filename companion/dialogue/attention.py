"""Commands about the talk itself: when it listens, how it speaks, what may be said."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from companion.dialogue.awaiting import (
    HoldCheck,
    HoldConfirm,
    HoldReading,
    HoldRight,
    Leaving,
    Licence,
    OpenChoice,
    StepReading,
    awaiting,
    licence_unknown,
)
from companion.dialogue.events import Finish, Hush
from companion.dialogue.manner import MANNER
from companion.dialogue.prompting import ask_now
from companion.dialogue.safety import reprove_dead, warn
from companion.dialogue.session import (
    Between,
    ConfirmBack,
    ConfirmEnd,
    ConfirmFault,
    ConfirmHeard,
    ConfirmReading,
    MissingInput,
    Noting,
)
from companion.dialogue.walking import announce, worded
from companion.language.phrasing import listed, phrase

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from companion.dialogue.outcome import Turn
    from companion.dialogue.session import Session
    from companion.dialogue.state import Job

GONE_FOR_LONG = timedelta(minutes=5)


def _stand_by(turn: Turn) -> None:
    turn.log("standing-by")
    turn.remember(standing_by=True)
    turn.tell("listening.stand-by", attention=turn.session.attention)


def _pause(turn: Turn) -> None:
    """Stand by, but as one who goes away: what was proved dead is proved again on coming back."""
    turn.remember(paused=True)
    _stand_by(turn)


def wake(turn: Turn) -> None:
    """The attention phrase."""
    was_paused = turn.session.paused
    turn.log("woken")
    turn.remember(standing_by=False, paused=False)
    turn.tell("listening.woken")
    if was_paused and reprove_dead(turn, why="resumed after a pause"):
        return
    step = turn.job.current
    if step and not turn.job.calling_off and not licence_unknown(turn.job, step):
        turn.say(worded(turn, step))
    ask_now(turn)


def come_back(turn: Turn) -> None:
    """The headset is there again: take up what was waited for.

    Where it was gone for long, nobody knows what was done meanwhile: that is as after a pause.
    """
    lost_at = turn.session.ear_lost_at
    turn.remember(ear_lost_at=None, slight_ended_s=None, talk_ended_s=None)
    turn.tell_aside("listening.ear-back")
    if turn.job.emergency:
        warn(turn)
    elif turn.job.ended:
        turn.acts.append(Finish())  # the turn that ended it may have been cut off by the loss
    elif turn.session.standing_by:
        return
    elif lost_at is not None and turn.at - lost_at >= GONE_FOR_LONG:
        if not reprove_dead(turn, why="resumed after the headset was gone"):
            announce(turn)
    elif turn.session.pending is not None:
        ask_now(turn)
    else:
        announce(turn)


def _resume(turn: Turn) -> None:
    announce(turn)


def _quiet(turn: Turn) -> None:
    turn.acts.append(Hush())


def _hold_on(turn: Turn) -> None:
    turn.tell("listening.hold-on")


def _terse(turn: Turn) -> None:
    turn.remember(terse=True)
    turn.tell("listening.terse")


def _full(turn: Turn) -> None:
    turn.remember(terse=False)
    turn.tell("listening.full")


def can_say(job: Job, session: Session) -> str:  # noqa: PLR0911 - one line a case
    """Return what can be said at this moment, in a breath."""
    match awaiting(job, session):
        case StepReading() | HoldReading():
            return phrase("listening.help-reading")
        case OpenChoice(step=step) if step.choice:
            options = tuple(option.names[0] for option in step.choice.options)
            return phrase("listening.help-choice", options=listed(options, "or"))
        case HoldCheck() | HoldRight() | Licence(choice="licensed") | Leaving():
            return phrase("listening.help-hold")
        case HoldConfirm():
            return phrase("listening.help-confirm")
        case MissingInput():
            return phrase("listening.help-input")
        case Between():
            return phrase("listening.help-between")
        case ConfirmReading() | ConfirmHeard() | ConfirmEnd() | ConfirmFault() | ConfirmBack():
            return phrase("listening.help-yes-no")
        case Noting():
            return phrase("listening.help-note")
        case _:
            return phrase("listening.help-step")


def _what_can_i_say(turn: Turn) -> None:
    turn.say_aside(can_say(turn.job, turn.session))


ATTENTION: Mapping[str, Callable[[Turn], None]] = {
    **MANNER,
    "hold-on": _hold_on,
    "what-can-i-say": _what_can_i_say,
    "pause": _pause,
    "resume": _resume,
    "quiet": _quiet,
    "stand-by": _stand_by,
    "wake": wake,
    "terse": _terse,
    "full": _full,
}
