"""The benchmark of the job log: what it makes is whole, and every look has its figure."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from companion.bench.__main__ import main
from companion.bench.record import PEERS
from companion.bench.record_logs import JOB_ENTRIES, made_jobs
from companion.dialogue.state import fold
from companion.joblog import SqliteStore
from companion.joblog.finding import Wanted

if TYPE_CHECKING:
    from pathlib import Path

    import pytest


def test_the_made_jobs_are_the_same_for_a_seed_and_hold(tmp_path: Path) -> None:
    made = list(made_jobs(2 * JOB_ENTRIES, 1))
    assert made == list(made_jobs(2 * JOB_ENTRIES, 1))
    assert sum(len(job.drafts) for job in made) == 2 * JOB_ENTRIES
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        for job in made:
            store.append(job.id, job.drafts)
        assert all(fold(store.entries(job.id)).ended for job in made)
        assert len(store.find(Wanted(verdict="within"))) == len(made)


def test_every_look_has_its_figure_and_nothing_is_left(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    small = ["--entries", "600", "--appends", "20", "--times", "1", "--folder", str(tmp_path)]
    assert main(["record", *small, "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {name for name in PEERS if name not in found["logs"][0]["of_peer"]} == set()
    assert found["one_entry"]["append"]["median_ms"] > 0
    assert list(tmp_path.iterdir()) == []
