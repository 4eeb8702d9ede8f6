"""Results that survive being stopped."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from companion.bench.hearing.results import FAILED, FILE, Result, Results
from companion.errors import InputError

SETTINGS = {"corpus": ["own"], "seed": 1}
ONE = Result(
    engine="bundled", cell="10", case="own-1", corpus="own", synthesis="flite", addressed=True,
    said="which step", came="right", known=True, value=False, taken="commands.which-step",
    heard=[("which step", 0.98)], free="Which step?", sound_s=3.6, response_s=0.4,
    moment="lock-out.doing", awake=True, means="commands.which-step", logged=[("asked", "a b")],
)  # fmt: skip
COST = {
    "peak_memory_mb": 200.0, "start_s": 1.0, "recogniser_cpu_s": 2.0, "cpu_s": 3.0,
    "utterance_s": 20.0, "sound_s": 60.0,
}  # fmt: skip


def written(folder: Path) -> Results:
    with Results(folder, SETTINGS) as results:
        results.add(ONE)
        results.add(replace(ONE, case="own-2", came="asked"))
        results.add_cost("bundled", COST)
    return results


def test_a_run_goes_on_where_it_was_stopped(tmp_path: Path) -> None:
    before = written(tmp_path)
    after = Results(tmp_path, SETTINGS)
    assert after.done == before.done
    assert after.costs == before.costs == {"bundled": [COST]}
    assert ONE.key in after.done


def test_a_line_torn_off_by_the_end_of_a_run_is_dropped_and_written_anew(tmp_path: Path) -> None:
    written(tmp_path)
    path = tmp_path / FILE
    whole = path.read_text("utf-8")
    path.write_text(whole + whole.splitlines()[1][:40], "utf-8")
    with Results(tmp_path, SETTINGS) as results:
        assert len(results.done) == 2
        results.add(replace(ONE, case="own-3"))
    assert len(Results(tmp_path, SETTINGS).done) == 3


def test_results_of_other_settings_are_not_mixed(tmp_path: Path) -> None:
    written(tmp_path)
    with pytest.raises(InputError, match="other settings"):
        Results(tmp_path, {**SETTINGS, "seed": 2})


def test_results_of_a_version_that_told_less_are_refused(tmp_path: Path) -> None:
    (tmp_path / FILE).write_text(json.dumps({"settings": SETTINGS}) + "\n", "utf-8")
    with pytest.raises(InputError, match=r"another version of this benchmark.*--out"):
        Results(tmp_path, SETTINGS)


def test_a_line_that_is_no_result_is_told_with_its_number(tmp_path: Path) -> None:
    written(tmp_path)
    with (tmp_path / FILE).open("a") as file:
        file.write('{"engine": 1}\n')
    with pytest.raises(InputError, match=f"{FILE}:5"):
        Results(tmp_path, SETTINGS)


def test_failures_and_other_words_under_an_old_name_are_heard_anew(tmp_path: Path) -> None:
    with Results(tmp_path, SETTINGS) as results:
        results.add(ONE)
        results.add(replace(ONE, case="own-2", came=FAILED))
    done = Results(tmp_path, SETTINGS)
    assert done.is_done("bundled", "10", "own-1", "which step")
    assert not done.is_done("bundled", "10", "own-1", "which step is it")
    assert not done.is_done("bundled", "10", "own-2", "which step")
    assert not done.is_done("bundled", "5", "own-1", "which step")


def test_a_folder_that_is_a_file_is_told(tmp_path: Path) -> None:
    path = tmp_path / "taken"
    path.write_text("")
    with pytest.raises(InputError, match="--out"):
        Results(path, SETTINGS)


def added_without_room(results: Results) -> None:
    with results:
        assert results._file
        results._file.close()
        results._file = Path("/dev/full").open("w")  # noqa: SIM115 - Linux: never any room there
        results.add(ONE)


def test_results_that_cannot_be_written_are_told(tmp_path: Path) -> None:
    results = Results(tmp_path, SETTINGS)
    with pytest.raises(InputError, match=r"cannot be written: No space left.*--out"):
        added_without_room(results)
