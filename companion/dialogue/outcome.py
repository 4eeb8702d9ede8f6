"""A turn while it is being taken, and what comes of it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from companion.dialogue.events import Adjust, Cue, Say
from companion.dialogue.state import apply
from companion.language.phrasing import phrase
from companion.ports import Draft

if TYPE_CHECKING:
    from datetime import datetime

    from companion.dialogue.events import Act
    from companion.dialogue.manner import Manner
    from companion.dialogue.session import Session
    from companion.dialogue.state import Job
    from companion.language.meanings import Candidate


@dataclass(frozen=True, slots=True)
class Outcome:
    """The new session, the entries to append (first!), then the acts."""

    session: Session
    drafts: tuple[Draft, ...]
    acts: tuple[Act, ...]


@dataclass(slots=True)
class Turn:
    """One event on its way through the dialogue: gathers entries and acts.

    `job` is always the fold of the log plus the drafts so far, so that every rule sees the state
    that will stand once they are stored.
    """

    job: Job
    session: Session
    at: datetime
    drafts: list[Draft] = field(default_factory=list)
    acts: list[Act] = field(default_factory=list)
    spoken: list[str] = field(default_factory=list)
    certain: bool = False  # what was said is beyond doubt: it was typed
    said_at: datetime | None = None  # when the last word of what was said ended
    sound: str = ""  # by what the sound of what was said is found, see `Heard.sound`
    confirmed: Candidate | None = None  # a poor hearing that was affirmed: to be understood now

    def log(self, kind: str, **payload: Any) -> None:  # noqa: ANN401 - JSON is open
        """Add an entry, and let it change the job."""
        draft = Draft(kind, payload, self.at)
        self.drafts.append(draft)
        self.job = apply(self.job, draft)

    def remember(self, **changes: Any) -> None:  # noqa: ANN401 - fields of Session
        """Change the session."""
        self.session = replace(self.session, **changes)

    def say(self, text: str, *, what: str = "") -> None:
        """Speak a text."""
        if text:
            self.acts.append(Say(text, what))
            self.spoken.append(text)

    def tell(self, key: str, **slots: object) -> None:
        """Speak a sentence of the phrase file."""
        self.say(phrase(key, **slots))

    def say_when_quiet(self, text: str, *, what: str = "") -> None:
        """Speak a text once nobody speaks; it cuts nothing, and 'repeat' does not repeat it."""
        self.acts.append(Say(text, what, "routine"))

    def tell_urgently(self, key: str, **slots: object) -> None:
        """Speak a sentence over everything."""
        text = phrase(key, **slots)
        self.acts.append(Say(text, urgency="urgent"))
        self.spoken.append(text)

    def tell_aside(self, key: str, **slots: object) -> None:
        """Speak a sentence that 'repeat' shall not repeat ('say again', help)."""
        self.say_aside(phrase(key, **slots))

    def say_aside(self, text: str) -> None:
        """Speak a text that 'repeat' shall not repeat."""
        self.acts.append(Say(text))

    @property
    def sounding(self) -> dict[str, str]:
        """What a reading's payload says of its sound; the loop puts in what was kept."""
        return {"sound": self.sound} if self.sound else {}

    def cue(self, name: str) -> None:
        """Play a cue, where they are wanted."""
        if self.session.manner.cues:
            self.acts.append(Cue(name))

    def speak_so(self, manner: Manner) -> None:
        """Speak so from now on."""
        self.remember(manner=manner)
        self.acts.append(Adjust(manner))

    def outcome(self) -> Outcome:
        """Close the turn; what was said is what 'repeat' repeats."""
        if self.spoken:
            self.remember(said=tuple(self.spoken))
        return Outcome(self.session, tuple(self.drafts), tuple(self.acts))
