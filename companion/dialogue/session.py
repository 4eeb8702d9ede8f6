"""The session: what may be forgotten. A killed program loses this and nothing else."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, TypeAlias

from companion.dialogue.manner import Manner

if TYPE_CHECKING:
    from datetime import datetime

    from companion.dialogue.levels import Level
    from companion.language.meanings import Candidate, Correction, Reading
    from companion.sizing import Answer
    from companion.sizing.model import Inputs


@dataclass(frozen=True, slots=True)
class Between:
    """Two candidates that sound alike; the technician says which.

    `before` is what was pending when it was heard, and is again once it is settled.
    """

    first: Candidate
    second: Candidate
    before: Pending | None = None


@dataclass(frozen=True, slots=True)
class ConfirmReading:
    """An implausible reading or correction, not logged yet; yes logs it."""

    reading: Reading | Correction
    words: tuple[str, ...]
    match: float


@dataclass(frozen=True, slots=True)
class ConfirmHeard:
    """The same poor hearing twice, or a doubtful emergency; yes takes it. `before` as in `Between`.

    `urgent_at`: when it was asked whether it was an emergency; None for anything else. While
    standing by that is all that is asked, and not for long.
    """

    candidate: Candidate
    before: Pending | None = None
    urgent_at: datetime | None = None

    @property
    def is_urgent(self) -> bool:
        """Whether it is an emergency that is doubted."""
        return self.urgent_at is not None


@dataclass(frozen=True, slots=True)
class ConfirmEnd:
    """'finish' or 'call-it-off' was said; yes does it."""

    what: str


@dataclass(frozen=True, slots=True)
class MissingInput:
    """A sizing question that misses an input, which was asked for."""

    sizing: str
    given: Inputs
    name: str
    ask: str


@dataclass(frozen=True, slots=True)
class ConfirmFault:
    """A fault was complained of; yes looks for it. `slug` is its procedure's."""

    slug: str


@dataclass(frozen=True, slots=True)
class ConfirmBack:
    """An earlier step, or answer, was named; yes goes back and undoes what came after."""

    step: str


Pending: TypeAlias = (
    Between | ConfirmReading | ConfirmHeard | ConfirmEnd | ConfirmFault | ConfirmBack | MissingInput
)


@dataclass(frozen=True, slots=True)
class Asked:
    """The last sizing answered: for 'why', 'source', 'in metric' and 'what about'."""

    sizing: str
    given: Inputs
    answer: Answer


@dataclass(frozen=True, slots=True)
class Noting:
    """A note is being said; `ended` says by what it was ended, '' while it goes on.

    Once ended it waits for its sound to be kept, which the loop tells by `NoteEnded`.
    """

    ended: str = ""


@dataclass(frozen=True, slots=True)
class Session:
    """What the dialogue remembers between turns without logging it.

    `changed` says what 'that's wrong' undoes: 'reading', 'choice', 'check:…', 'licence:…'
    or ''. `said` is what 'repeat'
    repeats; `unsure` are the words of the last poor hearing. `warned_at` is when the emergency
    answer was last said. `talk_ended_s`: where in the stream the last talk ended that was not for
    the companion, None where none was; `slight_ended_s`: where a bare number or a word was taken
    last, None where something else came since.
    """

    standing_by: bool = False
    paused: bool = False  # he said that he goes away
    pending: Pending | None = None
    asked: Asked | None = None
    changed: str = ""
    refused: str = ""  # the check that was answered no; the next yes is asked about once
    choice_step: str = ""
    said: tuple[str, ...] = ()
    prompted: str = ""  # the hold point whose "say confirmed" was heard to its end
    unclear: int = 0
    unsure: tuple[str, ...] = ()
    terse: bool = False
    warned_at: datetime | None = None
    talk_ended_s: float | None = None
    slight_ended_s: float | None = None
    manner: Manner = field(default_factory=Manner)
    rest: tuple[str, ...] = ()  # of a long answer: the breaths that 'go on' says
    ear_lost_at: datetime | None = None  # while the headset is gone: since when
    timers_said: tuple[tuple[int, datetime], ...] = ()  # due ones, and when they were said last
    levels: tuple[Level, ...] = ()  # of the last things said to it
    levels_told: tuple[tuple[str, datetime], ...] = ()  # what was told of them, and when
    attention: str = "toolbox listen up"
    note: Noting | None = None
    doubted: str = ""  # the sound of what is asked about, see `Heard.sound`
    told_not_kept: bool = False  # that the sound of readings is not kept was said
