"""Plays: a whole job as a text that reads like one, said, answered and recorded.

A play is a file in `played/`, named by its procedure, or by it and a word more
(`fresh-air-damper.called-off.txt`). Its first line tells the house in words. Then come turns:

    > what the technician says, as typed
    < what is answered, a line for each thing said
    = what is on the log from it: the kind of entry, and the fields that matter

What is answered and recorded before the first turn is the opening of the job.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from talk import JOB, Talk

from companion.dialogue.events import Say, SpeechEnded
from companion.dialogue.state import fold
from companion.joblog import MemoryStore
from companion.procedures import procedure

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.loop import Happened
    from companion.ports import Entry

FOLDER = Path(__file__).parent / "played"
CALLED_OFF = "Not to the end:"  # begins the first line of a play that is meant to end left safe

# What of an entry a play shows, beside its kind. Kinds that are not here are left out: they follow
# from the others (a step done is the next one entered).
_SHOWN: Mapping[str, tuple[str, ...]] = {
    "step-entered": ("step",),
    "step-skipped": ("step", "reason"),
    "step-deferred": ("step",),
    "choice": ("choice", "option"),
    "choice-withdrawn": ("choice",),
    "reading": ("point", "value", "unit", "verdict", "phase"),
    "reading-missed": ("point",),
    "correction": ("point", "value", "unit", "verdict"),
    "struck": ("point",),
    "hold-opened": ("hold", "why"),
    "hold-check": ("check", "answer"),
    "hold-met": ("hold", "title"),
    "question": ("sizing", "value", "unit"),
    "emergency": ("hazard",),
    "all-clear": (),
    "standing-by": (),
    "woken": (),
    "called-off": (),
    "leaving-check": ("check",),
    "left-safe": ("told",),
    "finished": (),
}


@dataclass(frozen=True)
class Turn:
    """Something said, with what came of it; the opening has nothing said."""

    said: str
    answered: tuple[str, ...]
    recorded: tuple[str, ...]

    def written(self) -> str:
        """Return the turn as it stands in a play."""
        said = [f"> {self.said}"] if self.said else []
        lines = [*said, *(f"< {one}" for one in self.answered)]
        return "\n".join([*lines, *(f"= {one}" for one in self.recorded)])


@dataclass(frozen=True)
class Play:
    """A scenario in words, and its turns, the opening first."""

    scenario: str
    turns: tuple[Turn, ...]

    def written(self) -> str:
        """Return the play as its file."""
        return "\n\n".join([self.scenario, *(turn.written() for turn in self.turns)]) + "\n"


class _Played(Talk):
    """A talk of some hundred turns: the log is folded once, at its end, and not at every turn."""

    def _watch(self, happened: Happened) -> None:
        if not isinstance(happened.event, SpeechEnded):
            self.said.clear()
        self.said.extend(act.text for act in happened.outcome.acts if isinstance(act, Say))

    @property
    def entries(self) -> list[Entry]:
        assert isinstance(self.store, MemoryStore)
        return list(self.store.entries(JOB, checked=False))


def read(path: Path) -> Play:
    """Read a play; a line that begins otherwise than the three kinds is an error."""
    scenario, _, rest = path.read_text("utf-8").partition("\n")
    turns: list[Turn] = []
    said = ""
    answered: list[str] = []
    recorded: list[str] = []
    for number, line in enumerate(rest.splitlines(), 2):
        kind, _, words = line.partition(" ")
        if kind == ">":
            turns.append(Turn(said, tuple(answered), tuple(recorded)))
            said, answered, recorded = words, [], []
        elif kind == "<":
            answered.append(words)
        elif kind == "=":
            recorded.append(words)
        else:
            assert not line, f"{path.name}:{number}: begins with none of '>', '<', '='"
    turns.append(Turn(said, tuple(answered), tuple(recorded)))
    return Play(scenario, tuple(turns))


def perform(slug: str, scenario: str, said: Sequence[str]) -> tuple[Play, Talk]:
    """Play a job by what the technician says; return it with what it came to, and the talk."""
    talk = _Played(procedure(slug))
    turns = [_turn(talk, "", 0)]
    for line in said:
        before = len(talk.entries)
        talk.say(line)
        turns.append(_turn(talk, line, before))
    assert fold(talk.entries) == talk.job
    return Play(scenario, tuple(turns)), talk


def slug_of(path: Path) -> str:
    """Return the procedure that a play is of."""
    return path.stem.partition(".")[0]


def _turn(talk: Talk, said: str, before: int) -> Turn:
    points = {taken.id: taken.point for taken in talk.job.readings}
    new = [_shown(entry, points) for entry in talk.entries[before:] if entry.kind in _SHOWN]
    return Turn(said, tuple(talk.said), tuple(new))


def _shown(entry: Entry, points: Mapping[int, str]) -> str:
    """Return an entry as a play shows it; what was struck by its test point, not by its number."""
    payload = {"point": points.get(entry.payload.get("of", 0), ""), **entry.payload}
    fields = [str(payload[name]) for name in _SHOWN[entry.kind] if payload.get(name)]
    return ": ".join([entry.kind, *([", ".join(fields)] if fields else [])])
