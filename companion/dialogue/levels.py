"""How he comes through: too loud for the microphone, too soft, or drowned in noise.

Looked at over the last few things that were said to the companion, and told once in a while, when
nobody speaks, in words that help. What the levels are is common practice, no source; below 8 dB of
speech over noise one in five sentences has to be said again (README, 'Figures').
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from statistics import median
from typing import TYPE_CHECKING

from companion.language.phrasing import phrase

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.dialogue.events import Heard, SoundDropped
    from companion.dialogue.outcome import Turn

LOOKED_AT = 5  # of the last things said
CLIPPED_SHARE = 0.001  # of an utterance's samples; a single word that cracks has less
SOFT_DBFS = -45.0
NOISY_SNR_DB = 8.0
TOLD_EVERY = timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Level:
    """How something said came in.

    Attributes:
        clipped_share: of its samples at full scale, 0 to 1.
        noise_dbfs: the level of what is not speech, None where it is not known.
        snr_db: speech over that.
    """

    clipped_share: float
    noise_dbfs: float | None
    snr_db: float | None

    @property
    def speech_dbfs(self) -> float | None:
        """The level of the speech, None where it is not known."""
        if self.noise_dbfs is None or self.snr_db is None:
            return None
        return self.noise_dbfs + self.snr_db


def follow(turn: Turn, event: Heard) -> None:
    """Look at the level of something that was said to the companion; tell where it does not do."""
    if event.typed:
        return
    hearing = event.hearing
    last = Level(event.clipped_share, hearing.noise_dbfs, hearing.snr_db)
    levels = (*turn.session.levels, last)[-LOOKED_AT:]
    turn.remember(levels=levels)
    found = finding(levels)
    if found and _is_time(turn, found):
        turn.say_when_quiet(phrase(f"level.{found}"), what="level")
        turn.remember(levels=())


def dropped(turn: Turn, event: SoundDropped) -> None:
    """Sound was lost on the way in, by a machine that is too busy: tell, once in a while."""
    if event.blocks and _is_time(turn, "dropped"):
        turn.say_when_quiet(phrase("level.dropped"), what="level")


def finding(levels: Sequence[Level]) -> str:
    """Return 'clipping', 'soft' or 'noisy', or '' where all is well or too little was said.

    >>> finding([Level(0.01, -60.0, 40.0)] * 5)
    'clipping'
    >>> finding([Level(0.0, -60.0, 40.0)] * 5)
    ''
    """
    if len(levels) < LOOKED_AT:
        return ""
    if median(each.clipped_share for each in levels) >= CLIPPED_SHARE:
        return "clipping"
    speech = [each.speech_dbfs for each in levels if each.speech_dbfs is not None]
    noise = [each.snr_db for each in levels if each.snr_db is not None]
    if len(speech) == LOOKED_AT and median(speech) < SOFT_DBFS:
        return "soft"
    return "noisy" if len(noise) == LOOKED_AT and median(noise) < NOISY_SNR_DB else ""


def _is_time(turn: Turn, kind: str) -> bool:
    """Return whether this is to be told now, and remember that it is."""
    told = dict(turn.session.levels_told)
    if kind in told and turn.at - told[kind] < TOLD_EVERY:
        return False
    turn.remember(levels_told=tuple({**told, kind: turn.at}.items()))
    return True
