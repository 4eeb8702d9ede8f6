"""The two commands that draw: what they write, and bad input to them."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from typing import Any

import pytest
from pypdf import PdfReader

from companion.cli import main
from companion.joblog import SqliteStore
from companion.ports import Draft

HERE = Path(__file__).parents[1] / "report" / "drawings"


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A log with one job: a module's, with its cut-out, an answer and a note."""
    monkeypatch.syspath_prepend(str(HERE))
    jobs: Any = importlib.import_module("drawn_jobs")
    entries = jobs.job(
        "air-treatment-module",
        jobs.asked(
            "centre-cutout", face="20 in", face_height="18 in", hole="9 in", hole_height="6 in"
        ),
        jobs.answer("primary", "120"),
        jobs.note("black to the one twenty tap", "wire-120"),
    )
    path = tmp_path / "jobs.sqlite3"
    with SqliteStore(path) as store:
        store.append("2026-03-04-1", [Draft(e.kind, e.payload, e.at) for e in entries])
    sys.modules.pop("jobs", None)
    return path


def text_of(path: Path) -> str:
    return " ".join(" ".join(page.extract_text() for page in PdfReader(path).pages).split())


def test_a_template_is_printed_by_hand(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "cutout.pdf"
    typed = ["template", "--opening", "14-1/2x6.25", "--flange", "1", "--spacing", "4"]
    assert main([*typed, "--airflow", "right", "--paper", "a4", "--out", str(out)]) == 0
    assert "Print at 100 %" in capsys.readouterr().out
    assert "Opening 14 1/2 × 6 1/4 in" in text_of(out)
    assert "12 pilot holes 1/8 in" in text_of(out)


def test_a_hostile_label_names_a_plain_file_here(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["template", "--opening", "8 round", "--label", "../../<b>\x07 attic"]) == 0
    assert [each.name for each in tmp_path.iterdir()] == ["template-b-attic.pdf"]


def test_a_jobs_template_and_wiring_are_drawn(log: Path, tmp_path: Path) -> None:
    template, wiring = tmp_path / "t.pdf", tmp_path / "w.pdf"
    for kind, out in (("template", template), ("wiring", wiring)):
        assert main(["jobs", "drawing", kind, "--log", str(log), "--out", str(out)]) == 0
    assert "Opening 9 × 6 in" in text_of(template)
    assert "job 2026-03-04-1" in text_of(template)
    assert "hot: black" in text_of(wiring)


def test_a_drawing_is_written_as_svg_too(log: Path, tmp_path: Path) -> None:
    for kind in ("template", "wiring"):
        out = tmp_path / f"{kind}.svg"
        assert main(["jobs", "drawing", kind, "--log", str(log), "--out", str(out)]) == 0
        assert out.read_text("utf-8").startswith("<?xml")


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (["--opening", "big"], "'big' is no size of an opening"),
        (["--opening", "9x6", "--out", "cutout.doc"], "neither a PDF nor an SVG"),
        (["--opening", "9x6", "--out", "/nowhere/at/all.pdf"], "cannot be written"),
        (["--opening", "9x6", "--spacing", "0"], "A spacing of 0 in is none"),
        (["--opening", "900x6"], "outside 1 to 72 in"),
        (["--opening", "9x6", "--screws", "7"], "7 screws do not go round"),
        (["--opening", "9x6", "--pilot", "nail"], "'nail' is no length"),
    ],
)
def test_bad_input_is_3_and_one_line(
    typed: list[str],
    told: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(["template", *typed]) == 3
    error = capsys.readouterr().err
    assert told in error
    assert error.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_job_that_is_not_there_is_5(log: Path) -> None:
    assert main(["jobs", "drawing", "wiring", "no-such-job", "--log", str(log)]) == 5
