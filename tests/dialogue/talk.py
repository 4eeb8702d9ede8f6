"""A conversation for tests: typed words through the real loop, a store in memory."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.dialogue.events import Say, SpeechEnded
from companion.dialogue.state import Job, fold
from companion.joblog import MemoryStore
from companion.language.typed import repair
from companion.loop import Happened, Loop, typed
from companion.procedures.loader import load
from companion.speaking.mouths import SilentMouth, TextVoice

if TYPE_CHECKING:
    from companion.ports import Entry, Store
    from companion.procedures.model import Procedure

START = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
JOB = "job-1"


def small() -> Procedure:
    """The small procedure of every shape."""
    path = Path(__file__).with_name("small.toml")
    return load(path.read_text("utf-8"), path.name, safety=False)


@dataclass
class Talk:
    """Say things, look at what came back and what was logged."""

    procedure: Procedure = field(default_factory=small)
    store: Store = field(default_factory=MemoryStore)
    said: list[str] = field(default_factory=list)
    seconds: int = 0

    def __post_init__(self) -> None:
        self.loop = self._new_loop()
        self.loop.open(self.procedure)

    def _new_loop(self) -> Loop:
        return Loop(self.store, JOB, TextVoice(), SilentMouth(), self._now, watch=self._watch)

    def _now(self) -> datetime:
        self.seconds += 1
        return START + timedelta(seconds=self.seconds)

    def _watch(self, happened: Happened) -> None:
        if not isinstance(happened.event, SpeechEnded):
            self.said.clear()
        self.said.extend(act.text for act in happened.outcome.acts if isinstance(act, Say))
        assert fold(self.store.entries(JOB)) == happened.job

    def say(self, *lines: str) -> str:
        """Say lines one after the other; return what the last one was answered."""
        for line in lines:
            typed(self.loop, repair(line, self.loop.language), line)
        return " ".join(self.said)

    def kill_and_resume(self) -> str:
        """Forget everything but the log, and take the job up again."""
        self.said.clear()
        self.loop = self._new_loop()
        self.loop.resume()
        return " ".join(self.said)

    @property
    def job(self) -> Job:
        return self.loop.job

    @property
    def entries(self) -> list[Entry]:
        return list(self.store.entries(JOB))

    def logged(self, kind: str) -> list[dict[str, Any]]:
        """Return the payloads of a kind."""
        return [dict(e.payload) for e in self.entries if e.kind == kind]


def at_the_lock() -> Talk:
    """A talk that stands at the dead hold, licensed."""
    talk = Talk()
    talk.say("sheet metal", "primary 119", "return 0.2", "supply 0.3", "done")
    talk.say("yes", "ohio")
    return talk


def proved_dead() -> Talk:
    """A talk past the dead hold."""
    talk = at_the_lock()
    talk.say("yes")
    for line in ("known source 120", "line to neutral 0", "known source 120"):
        talk.say(line, "yes")
    talk.say("confirmed")
    return talk
