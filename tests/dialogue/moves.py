"""What may happen to a talk, for property tests: a technician who goes on, and one who does not."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from random import Random
from typing import TYPE_CHECKING

import numpy as np
from hypothesis import strategies as st
from rules import Rules

from companion.dialogue import awaiting as waits
from companion.dialogue.awaiting import awaiting
from companion.dialogue.events import (
    EarBack,
    EarLost,
    Heard,
    Interrupted,
    NoteEnded,
    SoundGone,
    SoundNotKept,
    Tick,
    Unclear,
)
from companion.dialogue.holds import stopped_by
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
from companion.dialogue.state import Job, apply, fold
from companion.dialogue.values import ends
from companion.errors import StoreFullError
from companion.joblog import MemoryStore
from companion.loop import Happened, Loop
from companion.numbers import say
from companion.ports import Alternative, Clip, Hearing, KeptSound

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from companion.dialogue.awaiting import Awaiting
    from companion.dialogue.events import Event
    from companion.ports import Draft, Entry, Grammar
    from companion.procedures.model import Procedure, ReadingRequest

START = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
JOB = "job-1"
MOST_WORDS = 25
MOST_SAID = Decimal(9999)  # the largest number that the grammar has


def sentence(grammar: Grammar, seed: int) -> tuple[str, ...]:
    """Return a sentence of a grammar: a walk through one of its automata."""
    chance = Random(seed)  # noqa: S311 - hypothesis gives the seed
    part = chance.choice(grammar.parts)
    words: list[str] = []
    state = 0
    while True:
        arcs = sorted(part.arcs[state])
        ends = state in part.accepting
        if not arcs or (ends and (chance.random() < 0.4 or len(words) > MOST_WORDS)):
            return tuple(words)
        words.append(chance.choice(arcs))
        state = part.arcs[state][words[-1]]


@dataclass
class Playing:
    """A second of speech that goes on until somebody lets it end."""

    duration_s: float
    heard_s: float = 0.0
    is_cut: bool = False

    def duck(self) -> None:
        """Go on."""

    def lift(self) -> None:
        """Go on."""

    def stop(self) -> None:
        self.is_cut = True


@dataclass
class Witness:
    """Store, voice and mouth in one: it sees in which order things happen."""

    seen: list[tuple[str, object]] = field(default_factory=list)
    playing: list[Playing] = field(default_factory=list)
    store: MemoryStore = field(default_factory=MemoryStore)
    appends: int = 0
    fails_at: frozenset[int] = frozenset()

    def append(self, job: str, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
        self.appends += 1
        if self.appends in self.fails_at:
            raise StoreFullError("The disk is full", "Free some room.")
        entries = self.store.append(job, drafts)
        self.seen.append(("stored", tuple(draft.kind for draft in drafts)))
        return entries

    def entries(self, job: str) -> Iterator[Entry]:
        return self.store.entries(job, checked=False)

    def render(self, text: str) -> Clip:
        return Clip(np.zeros(16, np.int16), 16, text)

    def play(self, clip: Clip) -> Playing:
        self.seen.append(("played", clip.text))
        self.playing.append(Playing(clip.duration_s))
        return self.playing[-1]

    def hear_out(self) -> None:
        """Let everything that is being said be heard to its end."""
        for playing in self.playing:
            if not playing.is_cut:
                playing.heard_s = playing.duration_s


@dataclass
class Walk:
    """A job walked by moves; after each one the log, the job and the rules are compared."""

    procedure: Procedure
    witness: Witness = field(default_factory=Witness)
    seconds: int = 0
    folded: Job = field(default_factory=Job)
    checked: int = 0

    def __post_init__(self) -> None:
        self.rules = Rules(self.procedure)
        self.loop = self._new_loop()
        self.turns: list[Happened] = []
        self.loop.open(self.procedure)

    def _new_loop(self) -> Loop:
        witness = self.witness
        return Loop(witness, JOB, witness, witness, self.now, watch=self._watch)

    def now(self) -> datetime:
        self.seconds += 3
        return START + timedelta(seconds=self.seconds)

    def _watch(self, happened: Happened) -> None:
        self.turns.append(happened)
        stored = list(self.witness.entries(JOB)) if self.witness.store.jobs() else []
        new, self.checked = stored[self.checked :], len(stored)
        for entry in new:
            self.folded = apply(self.folded, entry)
        assert self.folded == happened.job
        self.rules.turn(new)

    @property
    def job(self) -> Job:
        return self.loop.job

    @property
    def entries(self) -> list[Entry]:
        return list(self.witness.entries(JOB))

    def happen(self, event: Event) -> None:
        self.loop.happen(event)

    def hear(self, *heard: tuple[tuple[str, ...], float, float]) -> None:
        """Hear sentences as alternatives of one another: words, match, log-probability."""
        hearing = Hearing(tuple(Alternative(words, match, prob) for words, match, prob in heard))
        candidates = self.loop.language.candidates(hearing)
        self.happen(Heard(hearing, candidates, self.now()))

    def say(self, line: str) -> None:
        self.hear((tuple(line.split()), 1.0, 0.0))

    def go_on(self, chance: Random) -> None:
        """Do what is waited for, so that the job moves."""
        self.witness.hear_out()
        self.loop.poll()
        self.say(answer(self.job, awaiting(self.job, self.loop.session), chance))

    def kill_and_resume(self) -> None:
        self.loop = self._new_loop()
        self.loop.resume()

    def check_whole_log(self) -> None:
        """The chain holds, and all of it folded is the job."""
        assert fold(self.witness.store.entries(JOB)) == self.job


def answer(job: Job, waiting: Awaiting, chance: Random) -> str:  # noqa: C901, PLR0911, PLR0912 - a table
    """Return what a willing technician says to what is awaited."""
    match waiting:
        case waits.AllClear():
            return "i'm clear"
        case waits.Waking():
            return "toolbox listen up"
        case Noting():
            return chance.choice(["end of note", "cancel the note"])
        case Between():
            return chance.choice(["the first", "the second", "neither"])
        case ConfirmReading() | ConfirmHeard() | ConfirmFault() | ConfirmBack():
            return chance.choice(["yes", "no"])
        case ConfirmEnd(what=what):
            return "no" if what == "call-it-off" else "yes"
        case MissingInput():
            return "never mind"
        case waits.Leaving(check="told"):
            return "the office"
        case waits.Leaving() | waits.HoldCheck() | waits.HoldRight():
            return "yes"
        case waits.HoldConfirm():
            return "confirmed"
        case waits.Licence(choice="licensed"):
            return "yes" if chance.random() < 0.7 else "no"
        case waits.Licence():
            return chance.choice(["minnesota", "ontario", "north carolina"])
        case waits.OpenChoice(step=step):
            options = step.choice.options if step.choice else ()
            plain = [each for each in options if not each.goto] or list(options)
            return chance.choice(plain if chance.random() < 0.95 else list(options)).names[0]
        case waits.HoldReading(request=request) | waits.StepReading(request=request):
            return reading(job, request, chance)
        case waits.Doing(step=step):
            stopped = stopped_by(job, step)
            return reading(job, stopped[0], chance) if stopped else "done"
        case waits.Nothing():
            return "repeat"


def reading(job: Job, request: ReadingRequest, chance: Random) -> str:
    """Return a reading, mostly within its limit."""
    assert job.procedure
    point = job.procedure.points[request.point]
    low, high = point.low, point.high
    if request.limit and chance.random() < 0.9:
        limit = ends(job, request.limit)
        low = max(low, limit.low) if limit.low is not None else low
        high = min(high, limit.high) if limit.high is not None else high
    if low > MOST_SAID:
        return f"{point.names[0]} o l"
    share = Decimal(chance.randrange(0, 101)) / 100
    value = min(low + (high - low) * share, MOST_SAID).quantize(Decimal("0.01"))
    spoken = say(abs(value) if point.sign == "minus" else value)
    return f"{point.names[0]} {spoken}" if chance.random() < 0.8 else spoken


# ---------------------------------------------------------------- moves

_seeds = st.integers(0, 2**32 - 1)
_matches = st.sampled_from([0.2, 0.4, 0.65, 0.9, 1.0])
_going_on = st.tuples(st.just("go on"), st.integers(1, 25), _seeds)
_commands = (
    "go back", "strike that", "make it one hundred nineteen", "that's wrong", "stand by", "resume",
    "skip this already done", "does not apply", "can't get it", "done", "confirmed", "yes", "no",
    "call it off", "finish", "repeat", "which step", "tell me more", "caution", "what can i say",
    "never mind", "i smell gas", "i'm hurt", "i'm clear", "what comes after", "steps to go",
    "what gauge for half an amp", "what about ninety feet", "why", "source", "in metric", "terse",
    "read it back", "toolbox listen up", "make it point two", "total external static", "sixty",
    "it won't come on", "the static is too high", "back to the job", "find the fault",
    "remind me in ten seconds", "time the blower delay", "mark", "how long is left",
    "cancel the timer", "cancel all timers", "call two minutes of the purge",
    "change my answer", "what did i answer", "go to the duct", "go to lock", "go to wire",
)  # fmt: skip
_command = st.tuples(st.just("say"), st.sampled_from(_commands))
_sentence = st.tuples(st.just("sentence"), _seeds, _matches)
_doubt = st.tuples(
    st.just("doubt"), _seeds, _seeds, _matches, st.sampled_from([0.5, 1.5, 3.0, 9.0])
)
_event = st.tuples(
    st.just("event"),
    st.sampled_from(
        [
            "tick",
            "unclear",
            "ear lost",
            "ear back",
            "interrupted",
            "silence",
            "note",
            "note without sound",
            "not kept",
            "gone",
        ]
    ),
)
_other = st.tuples(st.sampled_from(["hear out", "kill"]))
moves = st.lists(
    st.one_of(_going_on, _going_on, _command, _command, _sentence, _doubt, _event, _other),
    min_size=1,
    max_size=25,
)


def make(walk: Walk, move: tuple[object, ...]) -> None:
    """Let a move happen."""
    match move:
        case ("go on", int(times), int(seed)):
            chance = Random(seed)  # noqa: S311 - hypothesis gives the seed
            for _ in range(times):
                walk.go_on(chance)
        case ("say", str(line)):
            walk.say(line)
        case ("sentence", int(seed), float(match)):
            walk.hear((sentence(walk.loop.language.grammar, seed), match, -1.0))
        case ("doubt", int(seed), int(other), float(match), float(margin)):
            grammar = walk.loop.language.grammar
            walk.hear(
                (sentence(grammar, seed), match, -1.0),
                (sentence(grammar, other), match, -1.0 - margin),
            )
        case ("event", str(name)):
            walk.happen(_happening(name, walk.now()))
        case ("hear out",):
            walk.witness.hear_out()
            walk.loop.poll()
        case ("kill",):
            walk.kill_and_resume()
        case _:
            raise AssertionError(move)


def _happening(name: str, at: datetime) -> Event:
    happenings: dict[str, Event] = {
        "tick": Tick(at),
        "unclear": Unclear("too long", at),
        "ear lost": EarLost(at),
        "ear back": EarBack(at),
        "interrupted": Interrupted("caution:wire", 0.2, at),
        "silence": Heard(Hearing(()), (), at),
        "note": NoteEnded("silence", "the rack", KeptSound("job-1/a.flac", "0" * 64, "2.5"), at),
        "note without sound": NoteEnded("full", "", None, at),
        "not kept": SoundNotKept("full", at),
        "gone": SoundGone("missing", at),
    }
    return happenings[name]
