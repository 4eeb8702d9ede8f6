"""What the loop does, for the screen: noted in the loop's thread, made into a glance in another's.

Noting costs the loop next to nothing, and whatever goes wrong in a view does not reach the job.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from companion.dialogue.events import Cue, Heard, ListenFor, Say
from companion.glance.level import LOWEST_DBFS, Level
from companion.glance.state import (
    GONE,
    HEARS,
    LISTENING,
    SPEAKING,
    Glance,
    glance,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.dialogue.outcome import Outcome
    from companion.dialogue.session import Session
    from companion.dialogue.state import Job
    from companion.errors import DeviceError
    from companion.loop import Happened, Loop
    from companion.ports import Samples

NOT_FOR_IT = "(not for the companion)"
IN_THE_NOTE = "(in the note)"


@dataclass(frozen=True, slots=True)
class _Noted:
    """How it stood at one moment: replaced as a whole, so that another thread may take it."""

    job: Job
    session: Session
    is_ducked: bool
    is_speaking: bool


class Watching:
    """Keeps what there is to see.

    Args:
        loop: the job.

    Attributes:
        wake: called when there is something new to see; must return at once: a `Screen`'s.
    """

    def __init__(self, loop: Loop) -> None:
        self._loop = loop
        self.wake: Callable[[], None] | None = None
        self._level = Level()
        self._heard, self._said = "", " ".join(loop.session.said)
        self._is_gone = False
        self._noted = self._note()

    def watch(self, happened: Happened) -> None:
        """Note what was heard and said, and how the job stands."""
        if isinstance(happened.event, Heard) and happened.event.own_words is None:
            words = " ".join(happened.event.hearing.words)
            if happened.event.noting:
                self._heard = IN_THE_NOTE
            else:
                self._heard = words if words and _came(happened.outcome) else NOT_FOR_IT
        said = " ".join(act.text for act in happened.outcome.acts if isinstance(act, Say))
        self._said = said or self._said
        self.note()

    def take(self, samples: Samples) -> None:
        """Take sound of the microphone; ten times a second it is shown how loud it is."""
        if self._level.take(samples):
            self.note()

    def lost(self, lost: DeviceError | None) -> None:
        """The headset is gone, or back."""
        self._is_gone = lost is not None
        self.note()

    def note(self) -> None:
        """Note how it stands now; in the loop's thread."""
        self._noted = self._note()
        if self.wake:
            self.wake()

    def _note(self) -> _Noted:
        loop = self._loop
        return _Noted(loop.job, loop.session, loop.is_ducked, loop.is_speaking)

    def seen(self) -> Glance:
        """Return what there is to see; from any thread."""
        noted = self._noted
        shown = glance(noted.job, noted.session, self._loop.now())
        if shown.mode == LISTENING and noted.is_ducked:
            shown = replace(shown, mode=HEARS)
        elif shown.mode == LISTENING and noted.is_speaking:
            shown = replace(shown, mode=SPEAKING)
        if self._is_gone:
            shown = replace(shown, mode=GONE)
        return replace(
            shown,
            heard=self._heard,
            said=self._said,
            level_dbfs=LOWEST_DBFS if self._is_gone else round(self._level.level_dbfs),
            peak_dbfs=LOWEST_DBFS if self._is_gone else round(self._level.peak_dbfs),
        )


def _came(outcome: Outcome) -> bool:
    """Return whether anything came of it but a cue: then it was for the companion."""
    return bool(outcome.drafts) or not all(isinstance(a, Cue | ListenFor) for a in outcome.acts)
