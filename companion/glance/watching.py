"""What the loop does, put on the screen: from the loop's own thread, without waiting for it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from companion.dialogue.events import Heard, Say
from companion.glance.level import Level
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

    from companion.dialogue.events import Event
    from companion.errors import DeviceError
    from companion.loop import Happened, Loop
    from companion.ports import Samples

DOUBTFUL = 0.25  # below this match it was not for the companion


class Watching:
    """Hands the screen what there is to see.

    Args:
        loop: the job.
        show: takes a glance, at once; a `Screen`'s.
    """

    def __init__(self, loop: Loop, show: Callable[[Glance], None]) -> None:
        self._loop, self._show = loop, show
        self._level = Level()
        self._heard, self._said = "", ""
        self._is_gone = False

    def foresee(self, event: Event) -> None:
        """Note what was heard."""
        if not isinstance(event, Heard):
            return
        heard = event.hearing
        if heard.words and heard.match >= DOUBTFUL:
            self._heard = " ".join(heard.words)
        else:
            self._heard = "(in the note)" if event.noting else "(not for the companion)"

    def watch(self, happened: Happened) -> None:
        """Note what was said, and show how the job stands."""
        said = " ".join(act.text for act in happened.outcome.acts if isinstance(act, Say))
        self._said = said or self._said
        self.show()

    def take(self, samples: Samples) -> None:
        """Take sound of the microphone; ten times a second it is shown how loud it is."""
        if self._level.take(samples):
            self.show()

    def lost(self, lost: DeviceError | None) -> None:
        """The headset is gone, or back."""
        self._is_gone = lost is not None
        self.show()

    def show(self) -> None:
        """Show all of it."""
        shown = glance(self._loop.job, self._loop.session, self._loop.now())
        if shown.mode == LISTENING and self._loop.is_ducked:
            shown = replace(shown, mode=HEARS)
        elif shown.mode == LISTENING and self._loop.is_speaking:
            shown = replace(shown, mode=SPEAKING)
        if self._is_gone:
            shown = replace(shown, mode=GONE)
        self._show(
            replace(
                shown,
                heard=self._heard,
                said=self._said,
                level_dbfs=round(self._level.level_dbfs),
                peak_dbfs=round(self._level.peak_dbfs),
            )
        )
