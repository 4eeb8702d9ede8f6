"""The rehearsal end to end, as far as a test may take: sound, kill, resume, what it leaves."""

from __future__ import annotations

import json
import wave
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.joblog import SqliteStore
from companion.procedures import procedure
from companion.rehearsal.performance import PROCEDURE, Settings, muttered, rehearse, spelled
from companion.rehearsal.technician import script

if TYPE_CHECKING:
    from pathlib import Path

MUST_SHOW = {  # what the prepared job contains
    "a choice that branches",
    "a caution asked for again",
    "a hold point that refuses done",
    "live, dead, live",
    "a reading outside its limit",
    "a struck reading",
    "a correction",
    "a reading asked back between two",
    "a sizing question",
    "a sizing question that misses an input",
    "a remark that is not for the companion",
    "an emergency phrase",
    "standing by and waking",
    "killed and resumed",
}


@pytest.mark.sound
def test_a_job_killed_in_mid_conversation_is_taken_up_and_leaves_everything(tmp_path: Path) -> None:
    summary = rehearse(Settings(out=tmp_path, seed=3, quiet=True, kill_at_s=36.0))
    assert (summary.kills, summary.resumed) == (1, 1)
    assert "acknowledged" not in summary.problem
    with SqliteStore(tmp_path / "rehearsal.sqlite3", read_only=True) as store:
        kinds = [entry.kind for entry in store.entries(store.jobs()[0].id)]
    assert kinds[0] == "job-opened"
    assert "resumed" in kinds
    assert "step-done" in kinds  # the technician was heard before it was killed
    with wave.open(str(tmp_path / "conversation.wav")) as sound:
        assert sound.getnchannels() == 2
        assert sound.getnframes() / sound.getframerate() > 36.0
    assert "Motorized fresh air damper" in (tmp_path / "report.html").read_text("utf-8")
    assert json.loads((tmp_path / "job.json").read_text("utf-8"))


def test_the_prepared_job_contains_all_that_it_must() -> None:
    lines = script(procedure(PROCEDURE))
    assert {line.shows for line in lines if line.shows} >= MUST_SHOW
    questions = [line for line in lines if line.say.startswith(("what", "center", "eighteen hun"))]
    assert len(questions) >= 4


def test_letters_are_spelled_for_the_synthesis_engine() -> None:
    assert spelled("primary to case o l") == "primary to case O L"
    assert spelled("a choice") == "a choice"


def test_a_muttered_end_is_softer_than_the_rest() -> None:
    speech = np.full(16_000, 8000, np.int16)
    heard = muttered(speech)
    assert len(heard) == len(speech)
    assert heard[0] == 8000
    assert 0 < heard[-1] < 2000
