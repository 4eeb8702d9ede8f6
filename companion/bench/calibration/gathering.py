"""What the recogniser makes of known sentences, before anything is weighed.

Each sound goes through the product's own endpointing and listener; kept is what both opinions make
of every sentence that either found.
"""

from __future__ import annotations

import multiprocessing
import os
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from tqdm import tqdm

from companion.audio.endpointing import Endpointer
from companion.bench.hearing.moments import moment
from companion.bench.hearing.noise import CLEAN
from companion.bench.hearing.spoken import sound
from companion.hearing.bundled import BundledRecogniser
from companion.language.compose import compose
from companion.listening import Listener, Utterance
from companion.ports import SAMPLE_RATE_HZ, Frame

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from companion.bench.hearing.case import Case
    from companion.bench.hearing.noise import Rooms
    from companion.hearing.bundled import Decoded

_FRAME_SAMPLES = SAMPLE_RATE_HZ // 50


@dataclass(frozen=True)
class Gathered:
    """An utterance as it was heard, with what was said.

    Attributes:
        case: what was said.
        cell: at which signal-to-noise ratio.
        decoded: what both opinions make of it.
        snr_db: the ratio as the recogniser measured it.
        is_whole: it is all that was heard of the case.
    """

    case: Case
    cell: str
    decoded: Decoded
    snr_db: float | None
    is_whole: bool


@dataclass(frozen=True)
class Task:
    """A case in its cells, for one process."""

    case: Case
    cells: tuple[str, ...]
    rooms: Rooms
    cache: Path


def gather(tasks: Sequence[Task], jobs: int) -> Iterator[Gathered]:
    """Yield what was heard of all cases, in any order.

    Args:
        tasks: what is said.
        jobs: how many processes work at once.
    """
    ordered = sorted(tasks, key=lambda task: (task.case.moment, task.case.id))
    os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        heard = pool.imap_unordered(_heard, ordered, chunksize=4)
        for found in tqdm(heard, total=len(ordered), unit=" sentences", dynamic_ncols=True):
            yield from found


@cache
def _recogniser() -> BundledRecogniser:
    recogniser = BundledRecogniser()
    recogniser.load()
    return recogniser


def _heard(task: Task) -> list[Gathered]:
    said = sound(task.case, task.cache)
    found = []
    for cell in task.cells:
        noisy = task.rooms.noisy(said, None if cell == CLEAN else float(cell), task.case.id)
        there = moment(task.case.moment)
        recogniser = _recogniser()
        language = compose(there.scope)
        listener = Listener(Endpointer(), recogniser, language)
        listener.listen_for(language, there.expect)
        heard: list[tuple[Decoded, float | None]] = []
        for at in range(0, len(noisy) + _FRAME_SAMPLES, _FRAME_SAMPLES):
            frame = Frame(noisy[at : at + _FRAME_SAMPLES])
            events = listener.feed(frame) if len(frame.samples) else listener.flush()
            heard += [
                (recogniser.last, recogniser.last_snr_db)
                for each in events
                if isinstance(each, Utterance) and recogniser.last
            ]
        found += [
            Gathered(task.case, cell, decoded, snr_db, len(heard) == 1) for decoded, snr_db in heard
        ]
    return found
