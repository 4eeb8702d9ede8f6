"""What happens to the dialogue (events) and what must happen because of it (acts)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from datetime import datetime

    from companion.dialogue.manner import Manner
    from companion.language.meanings import Candidate
    from companion.ports import Expectation, Hearing, KeptSound, Scope
    from companion.procedures.model import Procedure


SOUND_LOST = "sound was lost"  # between the words: what is left may be others

# ---------------------------------------------------------------- events; `at` is UTC


@dataclass(frozen=True, slots=True)
class Opened:
    """A new job begins."""

    procedure: Procedure
    at: datetime
    keeps_sound: bool = False


@dataclass(frozen=True, slots=True)
class Resumed:
    """A job that was interrupted is taken up again."""

    at: datetime
    keeps_sound: bool = False


@dataclass(frozen=True, slots=True)
class Heard:
    """An utterance, and what it can mean here, best first; `typed` is beyond doubt.

    `at` is when it was understood, `said_at` when its last word ended, None where that is the same.
    """

    hearing: Hearing
    candidates: tuple[Candidate, ...]
    at: datetime
    typed: bool = False
    noting: bool = False  # it was heard while a note was said
    sound: str = ""  # by what the loop finds its sound, where that is to be kept; '' for not
    said_at: datetime | None = None
    own_words: tuple[str, ...] | None = (
        None  # over its voice in a loudspeaker: what that was saying
    )
    clipped_share: float = 0.0  # of its samples at full scale, 0 to 1


@dataclass(frozen=True, slots=True)
class SoundDropped:
    """Sound was lost on the way in, `blocks` of it since the last time."""

    blocks: int
    at: datetime


@dataclass(frozen=True, slots=True)
class NoteEnded:
    """A note was said to its end: `why` is 'silence', 'full', 'nothing', or what ended it.

    `kept` is its sound, None where it could not be kept (`spoken` says why) or nothing was said.
    `words` are what was made out of it, unverified. `gaps`: how often sound was lost within it.
    """

    why: str
    words: str
    kept: KeptSound | None
    at: datetime
    spoken: str = ""
    gaps: int = 0


@dataclass(frozen=True, slots=True)
class SoundNotKept:
    """The sound of a reading could not be kept: the disk ('failed'), or the bound ('full')."""

    why: str
    at: datetime


@dataclass(frozen=True, slots=True)
class SoundGone:
    """What was to be played is 'missing' or 'altered'."""

    why: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Unclear:
    """Someone spoke and nothing could be made of it: 'too long', or `SOUND_LOST`."""

    why: str
    at: datetime


@dataclass(frozen=True, slots=True)
class SpeechEnded:
    """What was said was heard to its end; `what` is the say's own mark."""

    what: str
    played_s: float
    at: datetime


@dataclass(frozen=True, slots=True)
class Interrupted:
    """What was being said was cut after `played_s`."""

    what: str
    played_s: float
    at: datetime


@dataclass(frozen=True, slots=True)
class Tick:
    """Time has passed."""

    at: datetime


@dataclass(frozen=True, slots=True)
class StoreFailed:
    """The last turn could not be logged, so it did not happen. `spoken` says it.

    `hazard` is that of an emergency which was lost with it: its answer is said all the same.
    """

    spoken: str
    at: datetime
    hazard: str = ""


@dataclass(frozen=True, slots=True)
class EarLost:
    """The microphone is gone."""

    at: datetime


@dataclass(frozen=True, slots=True)
class EarBack:
    """The microphone is back."""

    at: datetime


Event: TypeAlias = (
    Opened
    | Resumed
    | Heard
    | NoteEnded
    | SoundDropped
    | SoundNotKept
    | SoundGone
    | Unclear
    | SpeechEnded
    | Interrupted
    | Tick
    | StoreFailed
    | EarLost
    | EarBack
)


# ---------------------------------------------------------------- acts


@dataclass(frozen=True, slots=True)
class Say:
    """Speak. `what` comes back in `SpeechEnded`.

    `urgency`: an 'answer' cuts what is being said; so does what is 'urgent', which is not lowered
    either where somebody speaks; what is 'routine' waits until nobody speaks.
    """

    text: str
    what: str = ""
    urgency: str = "answer"


@dataclass(frozen=True, slots=True)
class Cue:
    """Play a soft cue: 'not understood', 'logged', 'attention'."""

    name: str


@dataclass(frozen=True, slots=True)
class PlayKept:
    """Play sound that was kept, behind what is being said; `text` stands for it on a screen."""

    kept: KeptSound
    text: str


@dataclass(frozen=True, slots=True)
class Hush:
    """Stop speaking."""


@dataclass(frozen=True, slots=True)
class Adjust:
    """Speak so from now on, and keep it for the next job."""

    manner: Manner


@dataclass(frozen=True, slots=True)
class ListenFor:
    """What may be said from now on."""

    scope: Scope
    expect: Expectation | None = None


@dataclass(frozen=True, slots=True)
class Finish:
    """The job has ended."""


Act: TypeAlias = Say | Cue | PlayKept | Hush | Adjust | ListenFor | Finish
