"""The power goes at any moment of a log's life: what was acknowledged is there, no turn is half."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

import pytest
from recorded_files import Record, after_power_cut, quick_folder, recorded

from companion.bench.log_kills import JOB, half_turns, turn, turn_size
from companion.errors import StoreError
from companion.joblog import SqliteStore

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

TURNS = 120
NAME = "jobs.sqlite3"


@pytest.fixture(scope="module")
def life(tmp_path_factory: pytest.TempPathFactory) -> Record:
    """A log made, written in three runs, with checkpoints in between and at each close."""
    log = tmp_path_factory.mktemp("life") / NAME
    with pytest.MonkeyPatch.context() as monkeypatch, recorded(monkeypatch) as record:
        number = acknowledged = 0
        for run in range(3):
            with SqliteStore(log) as store:
                store._connection.execute("PRAGMA wal_autocheckpoint = 24").fetchall()
                while number < TURNS * (run + 1) // 3:
                    store.append(JOB, turn(number))
                    acknowledged += turn_size(number)
                    number += 1
                    record.said(acknowledged)
    return record


@pytest.fixture
def quick(tmp_path: Path) -> Iterator[Path]:
    with quick_folder(tmp_path) as folder:
        yield folder


def opened_after(files: dict[str, bytes], folder: Path, acknowledged: int) -> int:
    """Open what the cut left, compare with what was promised; return how many entries are there."""
    folder.mkdir()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    with SqliteStore(folder / NAME) as store:  # as the next run would
        entries = list(store.entries(JOB)) if store.jobs() else []  # chain and payloads verified
        assert len(entries) >= acknowledged
        assert half_turns(entries) == 0
        assert store.file_problems() == []
        assert store.append("next", turn(0))  # and it goes on
    return len(entries)


def test_the_record_holds_what_a_logs_life_is_made_of(life: Record) -> None:
    done = [(each.do, each.name) for each in life.done]
    assert done.count(("said", "")) == TURNS
    assert done.count(("sync", f"{NAME}-wal")) >= TURNS  # each turn before it is acknowledged
    assert done.count(("sync", NAME)) > 3  # checkpoints, before the log beside starts anew
    assert ("delete", f"{NAME}-wal") in done
    assert ("folder", "") in done


@pytest.mark.parametrize("part", range(4))
def test_after_a_power_cut_all_that_was_acknowledged_is_there(
    life: Record, part: int, quick: Path
) -> None:
    chance = random.Random(part)  # noqa: S311 -- what the cut leaves, no secret
    ahead = 0
    for cut in range(100):
        at = chance.randrange(len(life.done) + 1)
        files, acknowledged = after_power_cut(life, at, chance)
        found = opened_after(files, quick / f"{cut}", acknowledged)
        ahead += found > acknowledged
    assert ahead  # some cuts came between the sync and the acknowledgement


def test_after_a_power_cut_while_the_log_is_made_the_next_run_makes_it(
    life: Record, quick: Path
) -> None:
    first = next(place for place, each in enumerate(life.done) if each.do == "said")
    chance = random.Random(7)  # noqa: S311 -- what the cut leaves, no secret
    for cut in range(6 * (first + 1)):
        files, acknowledged = after_power_cut(life, cut % (first + 1), chance)
        assert acknowledged == 0
        opened_after(files, quick / f"{cut}", acknowledged)


@pytest.mark.parametrize(
    "lying",
    [
        lambda record: [each for each in record.done if each.do != "sync"],
        lambda record: [
            each for each in record.done if (each.do, each.name) != ("sync", f"{NAME}-wal")
        ],
    ],
    ids=["every sync", "the syncs of the log beside"],
)
def test_without_its_syncs_the_log_would_lose_entries(
    life: Record, lying: Callable[[Record], list[object]], quick: Path
) -> None:
    """The measure itself: on a disk that lies about syncs, cuts are found that lose entries."""
    lied = Record(lying(life))  # type: ignore[arg-type]
    chance = random.Random(3)  # noqa: S311 -- what the cut leaves, no secret
    lost = 0
    for cut in range(40):
        files, acknowledged = after_power_cut(lied, chance.randrange(len(lied.done)), chance)
        try:
            opened_after(files, quick / f"{cut}", acknowledged)
        except (AssertionError, StoreError):
            lost += 1
    assert lost > 10
