"""What the encoder makes of the training sounds: its states, kept in one file.

The encoder is not trained, so every sound goes through it once. The states are too many for the
memory of a small machine: they lie in a file, in half precision, and are read where needed.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections import Counter
from dataclasses import dataclass, field
from functools import cache
from random import Random
from typing import TYPE_CHECKING

import numpy as np
from tqdm import tqdm

from companion.audio.sound_files import read_sound
from companion.bench.speller.sounds import is_usable, joined, paced, versions
from companion.bench.speller.voices import said
from companion.bench.speller.weights import STATE_SIZE
from companion.errors import InputError, VoiceError
from companion.hearing.bundled import levelled
from companion.hearing.model_files import catalogue, checked
from companion.hearing.network import Network

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import numpy.typing as npt

    from companion.bench.speller.sounds import Noises
    from companion.bench.speller.texts import Line
    from companion.ports import Samples

    Floats = npt.NDArray[np.float32]
    Halves = npt.NDArray[np.float16]

NOISE = "noise"
ENCODER = "encoder-hardened"
_STRETCHES_A_LINE = 1 / 15  # of noise alone: common practice, no source
_WORD_BY_WORD_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class Task:
    """A line in its rooms, or with none a piece of noise alone.

    Attributes:
        line: what is said.
        noises: what it may be mixed with.
        key: decides manner and rooms.
    """

    line: Line | None
    noises: Noises
    key: str


@dataclass(frozen=True, slots=True)
class Example:
    """A sound's text, and where its states lie.

    Attributes:
        text: what is said in it, '' for noise alone.
        kind: as `Line.kind`, or 'noise'.
        snr_db: the signal-to-noise ratio; of noise alone, minus infinity.
        start: the place of its first state in the file.
        count: how many states it has, about 42 a second.
    """

    text: str
    kind: str
    snr_db: float
    start: int
    count: int

    @property
    def fits(self) -> bool:
        """Whether there are states enough for the letters; double ones need a gap between."""
        doubled = sum(one == next_ for one, next_ in zip(self.text, self.text[1:], strict=False))
        return self.count > len(self.text) + doubled


@dataclass
class States:
    """All states, float16, in a file.

    Args:
        path: the file; written by `add`, read by `of`.
    """

    path: Path
    examples: list[Example] = field(default_factory=list)
    left_out: Counter[str] = field(default_factory=Counter)
    _total: int = 0

    def add(self, heard: Heard) -> None:
        """Append a sound's states.

        Raises:
            InputError: the file cannot be written.
        """
        try:
            with self.path.open("ab") as file:
                file.write(heard.states.tobytes())
        except OSError as exc:
            raise InputError(
                f"'{self.path}' cannot be written",
                "Free some room (about 0.1 MB a sound), or name another folder with --out.",
            ) from exc
        count = len(heard.states)
        self.examples.append(Example(heard.text, heard.kind, heard.snr_db, self._total, count))
        self._total += count

    def of(self, example: Example) -> Floats:
        """Return a sound's states, float32, shape (n, 288)."""
        start, count = example.start * STATE_SIZE, example.count * STATE_SIZE
        flat = np.fromfile(self.path, np.float16, count, offset=2 * start)
        return flat.reshape(-1, STATE_SIZE).astype(np.float32)


@dataclass(frozen=True, slots=True)
class Heard:
    """A sound under the encoder; states float16, shape (n, 288)."""

    text: str
    kind: str
    snr_db: float
    states: Halves


def tasks(lines: Sequence[Line], noises: Noises, seed: int) -> list[Task]:
    """Return all that is to be heard: the lines, and some noise alone."""
    pieces = round(len(lines) * _STRETCHES_A_LINE)
    keyed = [(line, f"{seed} line {place}") for place, line in enumerate(lines)]
    alone = [(None, f"{seed} noise {place}") for place in range(pieces)]
    return [Task(line, noises, key) for line, key in (*keyed, *alone)]


def collect(wanted: Sequence[Task], states: States, jobs: int) -> None:
    """Let every sound be said, mixed and encoded, in the order of the tasks.

    Args:
        wanted: the sounds.
        states: where they are added, and what was left out is counted.
        jobs: how many processes work at once.

    Raises:
        InputError: the states cannot be written.
        SoundFileError: a recording is missing or no sound.
        ModelError: the encoder is missing or altered.
    """
    os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
    with multiprocessing.get_context("spawn").Pool(jobs, _leave_interrupts) as pool:
        done = pool.imap(heard, wanted, chunksize=4)
        for found in tqdm(done, total=len(wanted), desc="sounds", dynamic_ncols=True):
            if isinstance(found, str):
                states.left_out[found] += 1
                continue
            for each in found:
                states.add(each)


def heard(task: Task) -> list[Heard] | str:
    """Return a line in its rooms under the encoder, or why it is left out."""
    chance = Random(task.key)  # noqa: S311 - seeded sounds are no secret
    if task.line is None:
        return [Heard("", NOISE, -np.inf, _encoded(task.noises.alone(chance)))]
    try:
        speech = _sound(task.line, chance)
    except VoiceError:  # every voice spoke before the start: one sentence failed
        return "not said"
    if not is_usable(speech):
        return "silent, too short or too long"
    return [
        Heard(task.line.text, task.line.kind, snr_db, _encoded(sound))
        for sound, snr_db in versions(speech, task.noises, chance)
    ]


def _sound(line: Line, chance: Random) -> Samples:
    """A line as a person or a voice says it; some are strung together word by word."""
    if line.paths:
        return joined([paced(read_sound(path), chance) for path in line.paths], chance)
    if len(line.words) == 1 or chance.random() > _WORD_BY_WORD_SHARE:
        speech = said(line.speaker, line.words, chance)
    else:
        speech = joined([said(line.speaker, (word,), chance) for word in line.words], chance)
    return paced(speech, chance)


def _encoded(sound: Samples) -> Halves:
    return np.asarray(_network().encode(levelled(sound))[0], np.float16)


@cache
def _network() -> Network:
    files = catalogue()
    return Network(checked(files[ENCODER]), checked(files["decoder"]))


def _leave_interrupts() -> None:
    """Leave Ctrl-C to the process that asked for the work: it ends this one."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
