"""The companion in a rehearsal: the product's own loop, in a process of its own.

It gets frames through a pipe and nothing else. Because it is a process, the rehearsal can kill it
like a dead battery would, and start it again.
"""

from __future__ import annotations

import resource
import sys
import time
from collections import deque
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.cues import cue
from companion.dialogue import events
from companion.errors import CompanionError
from companion.joblog import SqliteStore
from companion.loop import Happened, Loop, run, sound_listener, spoken_voice
from companion.ports import SAMPLE_RATE_HZ, Frame
from companion.procedures import procedure
from companion.rehearsal.wire import Cost, Cut, Ended, Heard, Logged, Note, Said
from companion.speaking.mouths import FileMouth, Placed

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from multiprocessing.connection import Connection

    from companion.ports import Clip

KB_IN_MB = 1024
ARRIVALS_KEPT = 1500  # frames of 20 ms: longer than any utterance


@dataclass(frozen=True, slots=True)
class Assignment:
    """What the companion's process is told: which log, which job, what time it is."""

    log: Path
    job: str
    procedure: str
    resuming: bool
    starts_at: datetime
    real_time: bool


@dataclass
class PipeEar:
    """Frames from a pipe; after each one the notes made meanwhile go back."""

    pipe: Connection
    notes: list[Note] = field(default_factory=list)
    samples: int = 0
    arrivals: deque[tuple[float, float]] = field(
        default_factory=lambda: deque(maxlen=ARRIVALS_KEPT)
    )

    @property
    def at_s(self) -> float:
        """How much of the stream has arrived, seconds."""
        return self.samples / SAMPLE_RATE_HZ

    def frames(self) -> Iterator[Frame]:
        """Yield frames until the pipe says that it is over."""
        while True:
            self._reply()
            sent = self.pipe.recv_bytes()
            if not sent:
                return
            sound = np.frombuffer(sent, np.int16)
            self.samples += len(sound)
            self.arrivals.append((self.at_s, time.perf_counter()))
            yield Frame(sound)

    def since(self, stream_s: float) -> float:
        """Return the wall time since that moment of the stream arrived."""
        arrived = next((wall for at, wall in self.arrivals if at >= stream_s), None)
        return time.perf_counter() - (arrived if arrived is not None else time.perf_counter())

    def _reply(self) -> None:
        self.pipe.send(self.notes)
        self.notes = []


@dataclass
class PipeMouth:
    """Plays on a track that runs with the stream, and tells the room what sounds."""

    ear: PipeEar
    track: FileMouth
    count: int = 0
    first_played: float = 0.0

    def play(self, clip: Clip) -> Placed:
        """Play a clip."""
        placed = self.track.play(clip)
        if not self.first_played:
            self.first_played = time.perf_counter()
        self.count += 1
        number = self.count
        self.ear.notes.append(Said(number, clip.text, placed.start_s, clip.samples, clip.rate_hz))
        return _Told(placed, lambda at_s: self.ear.notes.append(Cut(number, at_s)))


class _Told(Placed):
    """A placed clip whose cutting is told to the room."""

    def __init__(self, placed: Placed, tell: Callable[[float], None]) -> None:
        super().__init__(placed.clip, placed.start_s, placed.clock)
        self._placed, self._tell = placed, tell

    def stop(self) -> None:
        """Cut it, and tell."""
        self._placed.stop()
        super().stop()
        if self.stopped_s is not None:
            self._tell(self.stopped_s)


def companion_side(pipe: Connection, given: Assignment) -> None:
    """Run the companion until the pipe ends; a failure goes back as the error itself."""
    try:
        _run(pipe, given)
    except CompanionError as problem:
        pipe.send(problem)
    except (EOFError, BrokenPipeError):
        sys.exit(1)


def _run(pipe: Connection, given: Assignment) -> None:
    ear = PipeEar(pipe)
    mouth = PipeMouth(ear, FileMouth(lambda: ear.at_s))
    voice = spoken_voice()
    with SqliteStore(given.log) as store:
        loop = Loop(
            store,
            given.job,
            voice,
            mouth,
            lambda: given.starts_at + timedelta(seconds=ear.at_s),
            cue=cue,
        )
        loop.watch = lambda happened: _note(happened, ear, mouth, real_time=given.real_time)
        listener = sound_listener(loop.language)
        if given.resuming:
            loop.resume()
        else:
            loop.open(procedure(given.procedure))
        run(loop, ear, listener)
        ear.notes.append(Ended(loop.job.ended))
        ear.notes.append(_cost())
        ear.pipe.send(ear.notes)


def _note(happened: Happened, ear: PipeEar, mouth: PipeMouth, *, real_time: bool) -> None:
    """Tell the room what a turn came to."""
    drafts = [(draft.kind, dict(draft.payload)) for draft in happened.outcome.drafts]
    event = happened.event
    if not isinstance(event, events.Heard):
        if drafts:
            ear.notes.append(Logged(drafts))
        mouth.first_played = 0.0
        return
    timing = happened.timing
    acts = happened.outcome.acts
    speaks = any(isinstance(act, events.Say) for act in acts)
    response_s = timing.response_s
    if real_time and speaks and mouth.first_played:
        late_s = time.perf_counter() - mouth.first_played
        response_s = ear.since(event.hearing.end_s) - late_s
    mouth.first_played = 0.0
    ear.notes.append(
        Heard(
            start_s=event.hearing.start_s,
            end_s=event.hearing.end_s,
            words=" ".join(event.hearing.words),
            match=event.hearing.match,
            freely=event.hearing.free,
            asked_again=any(kind == "asked-again" for kind, _ in drafts),
            ignored=not speaks,
            response_s=response_s if speaks else 0.0,
            parts_s={
                "patience": timing.patience_s,
                "decoding": timing.decoding_s,
                "turn": timing.turn_s,
                "log": timing.log_s,
                "voice": timing.voice_s,
            },
            drafts=drafts,
        )
    )
    ear.notes.append(_cost())


def _cost() -> Cost:
    return Cost(time.process_time(), _peak_kb() / KB_IN_MB)


def _peak_kb() -> int:
    """Return this program's peak memory; `getrusage` would count what started it as well."""
    try:
        status = Path("/proc/self/status").read_text("ascii")
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM"))
