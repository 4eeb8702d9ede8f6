"""A writer killed with SIGKILL at random moments: what it had acknowledged is in the log."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from itertools import groupby
from pathlib import Path

import pytest

from companion.errors import StoreError
from companion.joblog import SqliteStore

WRITER = Path(__file__).parent / "writer_to_kill.py"
KILLS = 20


def killed_after(seconds: float, log: Path, job: str, first: int) -> list[str]:
    """Start a writer, kill it so long after it began to open the log, return what it said."""
    with subprocess.Popen(
        [sys.executable, str(WRITER), str(log), job, str(first)],
        stdout=subprocess.PIPE,
        text=True,
    ) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "opening\n"
        time.sleep(seconds)
        writer.kill()
        return [line for line in writer.stdout.read().split("\n")[:-1] if line]


def test_nothing_acknowledged_is_lost_and_every_turn_is_whole(tmp_path: Path) -> None:
    moments = random.Random(4)  # noqa: S311 -- moments to kill at, no secret
    log = tmp_path / "jobs.sqlite3"
    acknowledged, next_turn = 0, 0
    for kill in range(KILLS):
        said = killed_after(moments.uniform(0.0, 0.15), log, "job", next_turn)
        if said:
            acknowledged = int(said[-1].split()[0])
        with SqliteStore(log) as store:  # as the next `work` would
            # `entries` verifies the chain and every payload
            entries = list(store.entries("job")) if store.jobs() else []
        assert len(entries) >= acknowledged, f"kill {kill} lost acknowledged entries"
        turns = [
            [entry.payload["part"] for entry in of_turn]
            for _, of_turn in groupby(entries, key=lambda entry: int(entry.payload["turn"]))
        ]
        assert turns == [list(range(1 + turn % 3)) for turn in range(len(turns))]
        next_turn = len(turns)
    assert acknowledged > KILLS  # it did write between the kills


def test_killed_while_the_log_is_made_the_next_one_makes_it(tmp_path: Path) -> None:
    for place in range(10):
        log = tmp_path / f"{place}" / "jobs.sqlite3"
        said = killed_after(place / 1000, log, "job", 0)
        with SqliteStore(log) as store:
            kept = len(list(store.entries("job"))) if store.jobs() else 0
        assert kept >= (int(said[-1].split()[0]) if said else 0)


def test_a_killed_writer_holds_no_lock(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    with SqliteStore(log), pytest.raises(StoreError, match="Another companion"):
        SqliteStore(log)
    killed_after(0.05, log, "job", 0)
    SqliteStore(log).close()
