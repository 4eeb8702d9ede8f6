"""A tight writer, killed with SIGKILL at random moments, most of them inside a commit.

The writer is a process of its own that does nothing but append turns of one to three entries; it
tells over a pipe when it begins a turn and when the log acknowledged it. Killed, its log is opened
as the next run would, verified and compared with what had been acknowledged.
"""

from __future__ import annotations

import os
import random
import signal
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby
from typing import TYPE_CHECKING

from companion.errors import StoreError
from companion.joblog import SqliteStore
from companion.ports import Draft

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence
    from pathlib import Path

    from companion.ports import Entry

JOB = "job"
MOST_LIFE_S = 0.1  # of a writer, from when it begins to open the log
KILLS_A_LOG = 20  # then a new log: every kill verifies all of it
NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
_OPENING, _BEGUN, _KEPT = b"opening", b"begun", b"kept"


@dataclass(slots=True)
class Counts:
    """What came of the kills.

    `inside` were killed between the beginning of a turn and its being acknowledged; `lost` counts
    acknowledged entries that are not there, `half` turns of which only a part is, `broken` logs
    that could not be opened or whose chain does not hold. `ahead` counts turns that were whole on
    the disk but not acknowledged yet: these may be there or not.
    """

    kills: int = 0
    inside: int = 0
    acknowledged: int = 0
    ahead: int = 0
    lost: int = 0
    half: int = 0
    broken: int = 0

    @property
    def is_clean(self) -> bool:
        """Whether all that was promised was kept."""
        return not (self.lost or self.half or self.broken)


def turn(number: int) -> list[Draft]:
    """Return the entries of a turn: one to three, each naming its turn and its part.

    Args:
        number: the turn's, from 0.
    """
    at = NOON + timedelta(seconds=number)
    return [Draft("reading", {"turn": number, "part": p}, at) for p in range(turn_size(number))]


def turn_size(number: int) -> int:
    """Return how many entries a turn has."""
    return 1 + number % 3


def turns_in(entries: Sequence[Entry]) -> list[list[int]]:
    """Return the parts that are there of each turn, in the order of the log."""
    by_turn = groupby(entries, key=lambda entry: int(str(entry.payload["turn"])))
    return [[int(str(entry.payload["part"])) for entry in of_turn] for _, of_turn in by_turn]


def half_turns(entries: Sequence[Entry]) -> int:
    """Return how many turns are not there in full, or not in their place."""
    found = turns_in(entries)
    return sum(parts != list(range(turn_size(place))) for place, parts in enumerate(found))


def killed(log: Path, first: int, life_s: float) -> list[tuple[bytes, int]]:
    """Let a writer live that long; return what it said: ('begun' | 'kept', turn), in order.

    Args:
        log: the job log.
        first: the turn to begin with.
        life_s: from when it begins to open the log until it is killed.
    """
    receiving, telling = os.pipe()
    child = os.fork()
    if child == 0:
        _write_until_killed(log, first, telling)
    os.close(telling)
    with os.fdopen(receiving, "rb") as said:
        try:
            said.readline()
            time.sleep(life_s)
        finally:
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
        lines = said.read().split(b"\n")[:-1]
    words = (line.split() for line in lines)
    return [(word, int(number)) for word, number in words]


def _write_until_killed(log: Path, first: int, telling: int) -> None:
    """Be the writer; never returns."""
    try:
        os.write(telling, _OPENING + b"\n")
        store = SqliteStore(log)
        number = first
        while True:
            os.write(telling, b"%s %d\n" % (_BEGUN, number))
            store.append(JOB, turn(number))
            os.write(telling, b"%s %d\n" % (_KEPT, number))
            number += 1
    finally:
        os._exit(1)


def kill_often(folder: Path, kills: int, seed: int) -> Iterator[Counts]:
    """Yield the counts so far after every kill.

    Args:
        folder: where the logs are made.
        kills: how many.
        seed: of the moments.
    """
    chance = random.Random(seed)  # noqa: S311 -- moments, no secrets
    counts = Counts()
    kept_turns, log = 0, folder / "none"
    for kill in range(kills):
        if kill % KILLS_A_LOG == 0:
            log, kept_turns = folder / f"{kill}" / "jobs.sqlite3", 0
        said = killed(log, kept_turns, chance.uniform(0.0, MOST_LIFE_S))
        counts.kills += 1
        counts.inside += bool(said) and said[-1][0] == _BEGUN
        acknowledged = [number for word, number in said if word == _KEPT]
        counts.acknowledged += sum(map(turn_size, acknowledged))
        promised = acknowledged[-1] + 1 if acknowledged else kept_turns
        kept_turns = _count(log, promised, counts)
        yield counts


def _count(log: Path, promised: int, counts: Counts) -> int:
    """Open the log as the next run would, compare; return how many turns there are."""
    try:
        with SqliteStore(log) as store:
            # `entries` verifies the chain and every payload
            entries = list(store.entries(JOB)) if store.jobs() else []
    except StoreError:
        counts.broken += 1
        return promised
    found = len(turns_in(entries))
    counts.half += half_turns(entries)
    expected = sum(map(turn_size, range(promised)))
    counts.lost += max(0, expected - len(entries))
    counts.ahead += max(0, found - promised)
    return found
