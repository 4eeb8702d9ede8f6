"""The `own-voice` benchmark: hours of its own voice in its ear, through a loudspeaker.

The voice answers sizing questions, gives their working and sources, and reads the steps, cautions
and warnings of every procedure. What it plays comes back into the microphone a little later, softer
and with a room's echoes, beside the noise of a quiet room; nobody else speaks. Whatever it obeys,
asks about or answers then is a reaction, and there should be none. Time is that of the sound, so
that an hour takes some minutes. The peer is the same loop told that it is on a headset.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from itertools import cycle
from typing import TYPE_CHECKING

import numpy as np
from tqdm import tqdm

from companion import sizing
from companion.audio.cues import cue
from companion.bench.hearing.moments import meter_procedure
from companion.bench.rates import per_hour
from companion.dialogue.events import Cue, Heard, Hush, Say, Unclear
from companion.joblog import MemoryStore
from companion.language.typed import repair
from companion.loop import Loop, recogniser_for, sound_listener, spoken_voice, typed
from companion.loop import run as run_loop
from companion.ports import SAMPLE_RATE_HZ, Frame
from companion.procedures import procedures
from companion.settings import Settings
from companion.speaking.loudness import at_rate
from companion.speaking.mouths import FileMouth

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Iterator

    import numpy.typing as npt

    from companion.loop import Happened
    from companion.ports import Samples
    from companion.procedures.model import Procedure
    from companion.speaking.mouths import Placed

HELP = "hours of its own voice in its ear, through a loudspeaker: what it reacts to"
SECONDS = 3600
FRAME_SAMPLES = SAMPLE_RATE_HZ // 50
LATE_S = 0.08  # from the loudspeaker's buffer through the air into the microphone's
# A small room with hard walls: common practice, no source. Delay in seconds, share of the direct.
ECHOES = ((0.0, 1.0), (0.011, 0.5), (0.023, 0.35), (0.041, 0.25), (0.083, 0.12), (0.15, 0.05))
ROOM_DBFS = -58.0
PAUSE_S = 2.0  # between what it says
_START = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("--minutes", type=float, default=60.0, help="of sound (default: 60)")
    parser.add_argument(
        "--level", type=float, default=-12.0, metavar="DB", help="of its voice as it comes back"
    )
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--headset", action="store_true", help="the peer alone: told that it is on a headset"
    )


def listen_to_itself(minutes: float, level_db: float, seed: int, *, loudspeaker: bool) -> Reactions:
    """Let it speak for so long, and listen to what comes back.

    Args:
        minutes: of sound.
        level_db: of its voice as it comes back, against how it is played.
        seed: of the room's noise.
        loudspeaker: whether the loop is told of it.
    """
    ear = EchoEar(minutes * 60.0, 10 ** (level_db / 20), seed)
    loop = Loop(MemoryStore(), "own-voice", spoken_voice(), ear.mouth, ear.now, cue=cue)
    loop.loudspeaker = loudspeaker
    found = Reactions()
    loop.watch = found.watch
    loop.open(meter_procedure())
    ear.speak = Speaking(loop).next
    run_loop(loop, ear, sound_listener(loop.language, recogniser_for(Settings())))
    found.spoke_s = sum(each.heard_s for each in ear.mouth.placed)
    return found


@dataclass
class Reactions:
    """What came of its own voice.

    Attributes:
        heard: utterances that were cut out of it.
        reacted: the words of those that led to anything.
        spoke_s: how long it spoke.
    """

    heard: int = 0
    reacted: list[str] = field(default_factory=list)
    spoke_s: float = 0.0

    def watch(self, happened: Happened) -> None:
        """Look at a turn."""
        event = happened.event
        if not isinstance(event, Heard | Unclear) or (isinstance(event, Heard) and event.typed):
            return
        self.heard += 1
        acts = happened.outcome.acts
        if happened.outcome.drafts or any(isinstance(act, Say | Hush | Cue) for act in acts):
            words = event.hearing.words if isinstance(event, Heard) else (event.why,)
            self.reacted.append(" ".join(words))


class Speaking:
    """Gives the loop something to say, again and again."""

    def __init__(self, loop: Loop) -> None:
        self._loop = loop
        texts = [text for made in procedures().values() for text in _read_out(made)]
        questions = [(each.example, "why", "source") for each in sizing.sizings().values()]
        self._texts, self._questions = cycle(texts), cycle(questions)
        self._is_question = False

    def next(self) -> None:
        """Say something: a question answered with its working and source, or what a step says."""
        self._is_question = not self._is_question
        loop = self._loop
        if loop.job.emergency:  # it reacted, and has to go on
            typed(loop, ("i'm", "clear"))
        if loop.session.pending:
            typed(loop, ("never", "mind"))
        if not self._is_question:
            loop.session = replace(loop.session, said=(next(self._texts),))
            typed(loop, ("repeat",))
            return
        for words in next(self._questions):
            typed(loop, repair(words, loop.language))
            if loop.is_speaking:
                return


def _read_out(made: Procedure) -> Iterator[str]:
    """Yield what a procedure's steps say."""
    for step in made.steps:
        yield from filter(None, (step.say, step.caution, step.more))


class EchoEar:
    """An ear that hears what its own mouth plays, and the room."""

    def __init__(self, lasting_s: float, gain: float, seed: int) -> None:
        self._lasting_s, self._gain = lasting_s, gain
        self._chance = np.random.default_rng(seed)
        self._samples = 0
        self.mouth = FileMouth(lambda: self.at_s)
        self._sounds: dict[int, Samples] = {}
        self.speak: Callable[[], None] = lambda: None

    @property
    def at_s(self) -> float:
        """How much was heard so far, seconds."""
        return self._samples / SAMPLE_RATE_HZ

    def now(self) -> datetime:
        """Return the time, by the sound."""
        return _START + timedelta(seconds=self.at_s)

    def frames(self) -> Iterator[Frame]:
        """Yield frames of 20 ms until it has lasted."""
        with tqdm(total=round(self._lasting_s), unit=" s of sound") as bar:
            while self.at_s < self._lasting_s:
                if self.at_s - self.mouth.quiet_from_s > PAUSE_S:
                    self.speak()
                sound = self._heard() + self._chance.normal(
                    0.0, 32_768 * 10 ** (ROOM_DBFS / 20), FRAME_SAMPLES
                )
                yield Frame(np.clip(sound, -32_768, 32_767).astype(np.int16))
                self._samples += FRAME_SAMPLES
                if not self._samples % SAMPLE_RATE_HZ:
                    bar.update()

    def _heard(self) -> npt.NDArray[np.float64]:
        """Return what of its own voice comes back now."""
        sound = np.zeros(FRAME_SAMPLES)
        for placed in self.mouth.placed[-8:]:
            for delay_s, share in ECHOES:
                start_s = placed.start_s + LATE_S + delay_s
                if start_s < self.at_s + 0.02 and self.at_s < placed.end_s + LATE_S + delay_s:
                    sound += self._gain * share * self._piece(placed, self.at_s - start_s)
        return sound

    def _piece(self, placed: Placed, from_s: float) -> npt.NDArray[np.float64]:
        clip = self._sounds.get(id(placed))
        if clip is None:
            clip = self._sounds[id(placed)] = at_rate(placed.clip, SAMPLE_RATE_HZ)
        start = round(from_s * SAMPLE_RATE_HZ)
        piece = np.zeros(FRAME_SAMPLES)
        low, high = max(0, start), max(0, min(len(clip), start + FRAME_SAMPLES))
        if high > low:
            piece[low - start : high - start] = clip[low:high]
        return piece


def run(options: argparse.Namespace) -> None:
    """Run and print."""
    found = listen_to_itself(
        options.minutes, options.level, options.seed, loudspeaker=not options.headset
    )
    told = {
        "told of the loudspeaker": not options.headset,
        "minutes of sound": options.minutes,
        "minutes spoken": round(found.spoke_s / 60, 1),
        "utterances cut out of its voice": found.heard,
        "reactions": len(found.reacted),
        "reactions an hour of its voice": per_hour(len(found.reacted), found.spoke_s / SECONDS),
        "to": found.reacted[:40],
    }
    print(json.dumps(told, indent=2))
