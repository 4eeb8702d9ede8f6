"""What is heard while a note is being said: only what ends or drops it, and cries for help."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.dialogue import notes
from companion.dialogue.judging import (
    Accept,
    AskAgain,
    AskBetween,
    Likelihood,
    judge,
    thresholds,
)
from companion.language.meanings import Emergency

if TYPE_CHECKING:
    from companion.dialogue.events import Heard
    from companion.dialogue.outcome import Turn

_AMID_NOTE_S = 1.5  # behind a piece of the note; as behind talk


def heard_within(turn: Turn, event: Heard) -> Accept | AskAgain | None:
    """Return what was heard that the note gives way to: None for what is part of it.

    It is listened as while standing by: a minute of free speech goes by, about anything. Only an
    emergency is ever asked about.
    """
    meant = tuple(
        each
        for each in event.candidates
        if isinstance(each.meaning, Emergency) or notes.foreign(each)
    )
    if event.typed:
        return Accept(meant[0]) if meant else None
    hearing = event.hearing
    limits = thresholds(calibrated=hearing.is_calibrated).in_noise(hearing.snr_db).asleep()
    piece_s = turn.session.talk_ended_s
    if piece_s is not None and 0.0 <= hearing.start_s - piece_s < _AMID_NOTE_S:
        limits = limits.amid_talk()
    match judge(meant, lambda _: Likelihood.EXPECTED, limits):
        case Accept() as accepted:
            turn.remember(talk_ended_s=None)
            return accepted
        case AskAgain(best=best) if best and isinstance(best.meaning, Emergency):
            return AskAgain(best)
        case AskBetween(first=first) if isinstance(first.meaning, Emergency):
            return AskAgain(first)
        case _:
            turn.remember(talk_ended_s=hearing.end_s)
            return None
