"""The command: what is missing is told before anything is said."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench import speller
from companion.bench.__main__ import main
from companion.bench.speller.measuring import Rate
from companion.bench.speller.report import Report, digest
from companion.bench.speller.sounds import Noises
from companion.bench.speller.states import Example, Heard, States, tasks
from companion.bench.speller.states import heard as heard_of
from companion.bench.speller.texts import Line
from companion.bench.speller.training import Epoch
from companion.bench.speller.weights import fresh, read

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LINE = Line("numbers", ("one", "point", "five"), "espeak:en-us+m3")


def test_missing_torch_is_told_first(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, "torch", None)  # as if it were not installed
    nowhere = str(tmp_path / "nowhere")
    assert main(["speller", "--speech", nowhere, "--noise", "hum", "--out", nowhere]) == 4
    (told,) = capsys.readouterr().err.splitlines()
    assert told.endswith("is not installed. Install it: pip install -e '.[train]'")
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("count", ["0", "-3", "many", "1.5"])
def test_counts_are_above_zero(count: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["speller", "--speech", "x", "--noise", "hum", "--epochs", count])
    assert "no whole number above zero" in capsys.readouterr().err


def test_a_line_is_heard_in_two_rooms_and_noise_once() -> None:
    said, alone = (
        heard_of(task) for task in (tasks([LINE] * 15, Noises(()), 1)[at] for at in (0, 15))
    )
    assert [each.text for each in said if isinstance(each, Heard)] == ["one point five"] * 2
    assert [(each.text, each.kind) for each in alone if isinstance(each, Heard)] == [("", "noise")]
    for each in (*said, *alone):
        assert isinstance(each, Heard)
        assert each.states.shape[1] == 288
        assert each.states.dtype == np.float16


def epochs(report: Report, stopped_after: int) -> Iterator[Epoch]:
    for number in range(stopped_after):
        assert len(report.losses) == number
        yield Epoch(1.0 / (number + 1), fresh(number, width=8))
    raise KeyboardInterrupt


def held_back(path: Path) -> tuple[States, list[Example]]:
    states = States(path)
    states.add(Heard("five", "numbers", 5.0, np.ones((20, 288), np.float16)))
    return states, states.examples


def test_when_stopped_the_last_epoch_is_kept_and_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    report, path = Report(7, 40, 9), tmp_path / "speller.npz"
    speller._kept(epochs(report, 2), held_back(tmp_path / "states"), report, path)
    assert "holds the weights of epoch 2" in capsys.readouterr().out
    assert read(path)["first.weight"] == pytest.approx(fresh(1, width=8)["first.weight"], abs=1e-3)
    told = report.as_json(path)
    assert (told["seed"], told["sentences"]) == (7, 40)
    assert (told["epochs"], told["epochs_wanted"], told["losses"]) == (2, 9, [1.0, 0.5])
    assert told["letter_errors"]["numbers, below 10 dB"]["said"] == 4
    assert (told["sha256"], told["size_bytes"]) == (digest(path), path.stat().st_size)
    assert path.with_suffix(".json").is_file()


def test_when_stopped_before_an_epoch_ended_nothing_is_kept(tmp_path: Path) -> None:
    report, path = Report(7, 40, 9), tmp_path / "speller.npz"
    with pytest.raises(KeyboardInterrupt):
        speller._kept(epochs(report, 0), held_back(tmp_path / "states"), report, path)
    assert not path.exists()


def test_the_report_counts_what_was_learnt_from(tmp_path: Path) -> None:
    states = States(tmp_path / "states")
    states.left_out["not said"] = 2
    learnt = [Example("a", kind, 20.0, 0, 41_700) for kind in ("people", "random", "people")]
    report = Report(1, 10, 1, rates={"people": Rate(1, 8, 2)})
    report.count(states, learnt, learnt[:1])
    assert report.sounds == {"people": 2, "random": 1}
    assert report.held_back == {"people": 1}
    assert report.left_out == {"not said": 2}
    assert report.hours == pytest.approx(3 * 1000 / 3600)  # 41.7 states a second
