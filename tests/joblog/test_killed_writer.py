"""A writer killed with SIGKILL at random moments: what it had acknowledged is in the log.

The writer and the counting are the benchmark's; it kills a thousand times:
python -m companion.bench kills --writes 1000
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from companion.bench.log_kills import JOB, Counts, _count, half_turns, turn, turn_size
from companion.chain import chain
from companion.errors import StoreError
from companion.joblog import SqliteStore

if TYPE_CHECKING:
    from pathlib import Path

KILLS = 40


def killed_after(seconds: float, log: Path) -> int:
    """Let a writer live that long; return how many entries the log had acknowledged."""
    program = (
        "import sys; from pathlib import Path; from companion.bench.log_kills import killed\n"
        "said = killed(Path(sys.argv[1]), 0, float(sys.argv[2]))\n"
        "print([turn for word, turn in said if word == b'kept'])"
    )
    run = [sys.executable, "-c", program, str(log), str(seconds)]
    done = subprocess.run(run, capture_output=True, text=True, check=True)
    return sum(map(turn_size, json.loads(done.stdout)))


def test_nothing_acknowledged_is_lost_and_every_turn_is_whole() -> None:
    bench = [sys.executable, "-m", "companion.bench", "kills", "--writes", str(KILLS)]
    done = subprocess.run([*bench, "--seed", "4"], capture_output=True, text=True, check=True)
    counts = json.loads(done.stdout.splitlines()[-1])
    assert counts["kills"] == KILLS
    assert (counts["lost"], counts["half"], counts["broken"]) == (0, 0, 0)
    assert counts["acknowledged"] > KILLS // 2  # it did write between the kills
    assert counts["inside"] > KILLS // 4  # and was killed within commits


def test_half_a_turn_would_be_counted() -> None:
    """The measure itself: a turn cut short, one left out, one in the wrong place."""
    drafts = [draft for number in range(4) for draft in turn(number)]
    entries = chain(None, JOB, drafts, [bytes(16)] * len(drafts))
    assert [turn_size(number) for number in range(4)] == [1, 2, 3, 1]
    assert half_turns(entries) == 0
    assert half_turns(entries[:5]) == 1  # of turn 2, three entries, two are there
    assert half_turns(entries[:1] + entries[3:]) == 2  # turn 1 is not there


def test_a_log_that_lost_or_broke_something_would_be_counted(tmp_path: Path) -> None:
    log, counts = tmp_path / "jobs.sqlite3", Counts()
    with SqliteStore(log) as store:
        store.append(JOB, turn(0))
    _count(log, 3, counts)
    assert counts.lost == 5
    assert not counts.is_clean
    log.write_bytes(b"no log")
    _count(log, 3, counts)
    assert counts.broken == 1


def test_killed_while_the_log_is_made_the_next_one_makes_it(tmp_path: Path) -> None:
    for place in range(8):
        log = tmp_path / f"{place}" / "jobs.sqlite3"
        acknowledged = killed_after(place / 1000, log)
        with SqliteStore(log) as store:
            assert (len(list(store.entries(JOB))) if store.jobs() else 0) >= acknowledged


def test_a_killed_writer_holds_no_lock(tmp_path: Path) -> None:
    log = tmp_path / "jobs.sqlite3"
    with SqliteStore(log), pytest.raises(StoreError, match="Another companion"):
        SqliteStore(log)
    killed_after(0.05, log)
    SqliteStore(log).close()
