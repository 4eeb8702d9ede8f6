"""Two visits side by side."""

from __future__ import annotations

import csv
import io
import json
from typing import TYPE_CHECKING

from hypothesis import given
from hypothesis import strategies as st
from jobs_made import HOSTILE, NOON, drafts

from companion.cli import main
from companion.dialogue.visits import compared, left_readings
from companion.joblog import MemoryStore, SqliteStore
from companion.joblog.comparison import COLUMNS, comparison_csv, comparison_json
from companion.joblog.summary import summary
from companion.ports import Draft

if TYPE_CHECKING:
    from pathlib import Path

    import pytest

    from companion.ports import Entry, Json


def read(number: int, point: str, value: str, unit: str, **more: Json) -> Draft:
    said = {"id": number, "point": point, "name": point.replace("-", " "), "value": value,
            "unit": unit, "verdict": "within", "phase": "as left"} | more  # fmt: skip
    return Draft("reading", said, NOON)


def chose(choice: str, option: str) -> Draft:
    return Draft("choice", {"choice": choice, "option": option}, NOON)


FIRST = [
    Draft("job-opened", {"title": "Damper"}, NOON),
    chose("duct", "sheet-metal"), chose("blower", "may-stop"),
    read(1, "supply-static", "0.31", "inH2O", phase="as found"),
    read(2, "supply-static", "0.45", "inH2O"),
    read(3, "supply-temperature", "110", "degF"),
    read(4, "resistance", "OL", "ohm"),
    read(5, "pressure", "1", "inH2O"),
    read(6, "gone", "5", "V"), Draft("struck", {"of": 6}, NOON),
]  # fmt: skip
SECOND = [
    Draft("job-opened", {"title": "Service"}, NOON),
    chose("duct", "flex"), chose("guard", "yes"),
    Draft("fault-begun", {"procedure": "blown-fuse"}, NOON), chose("blower", "within-a-fault"),
    Draft("fault-ended", {"how": "finished"}, NOON), chose("blower", "may-stop"),
    read(1, "supply-static", "0.52", "inH2O", verdict="outside"),
    read(2, "supply-temperature", "100.5", "degF"),
    read(3, "resistance", "150", "ohm"),
    read(4, "pressure", "249.08891", "Pa"),
]  # fmt: skip


def entries_of(made: list[Draft], job: str = "a") -> list[Entry]:
    store = MemoryStore()
    store.append(job, made)
    return list(store.entries(job))


def test_each_point_as_left_with_the_difference() -> None:
    found = {each.point: each for each in compared(entries_of(FIRST), entries_of(SECOND)).points}
    assert list(found) == ["supply-static", "supply-temperature", "resistance", "pressure"]
    static = found["supply-static"]
    assert (static.difference, static.unit) == ("0.07", "inH2O")
    assert static.second
    assert static.second.verdict == "outside"
    # A difference of temperatures is no temperature: 100.5 less 110 is 9.5 degrees colder.
    assert (found["supply-temperature"].difference, found["supply-temperature"].unit) == (
        "-9.5",
        "delta_degF",
    )
    assert found["resistance"].difference == ""  # 'OL' is no number


def test_units_that_differ_are_converted_to_the_first_visits() -> None:
    """1 in. of water, conventional, is 249.08891 Pa (NIST SP 811, appendix B.8)."""
    found = {each.point: each for each in compared(entries_of(FIRST), entries_of(SECOND)).points}
    assert found["pressure"].unit == "inH2O"
    assert abs(float(found["pressure"].difference)) < 1e-6


def test_choices_that_changed_are_told_and_those_within_a_fault_are_not_the_jobs() -> None:
    found = compared(entries_of(FIRST), entries_of(SECOND)).choices
    assert [(c.choice, c.first, c.second) for c in found] == [
        ("duct", "sheet-metal", "flex"),
        ("guard", "", "yes"),
    ]


def test_as_left_wins_over_a_later_reading_as_found() -> None:
    made = [read(1, "x", "1", "V"), read(2, "x", "2", "V", phase="as found")]
    assert left_readings(entries_of(made))["x"].value == "1"
    made = [read(1, "x", "1", "V", phase=""), read(2, "x", "2", "V", phase="")]
    assert left_readings(entries_of(made))["x"].value == "2"


@given(st.lists(drafts(), min_size=1, max_size=6), st.lists(drafts(), min_size=1, max_size=6))
def test_any_two_visits_can_be_compared_and_written_out(
    first: list[Draft], second: list[Draft]
) -> None:
    visits = entries_of(first), entries_of(second, "b")
    about = summary(visits[0]), summary(visits[1])
    found = compared(*visits)
    rows = list(csv.reader(io.StringIO(comparison_csv(about, found), newline=""), strict=True))
    assert rows[0] == list(COLUMNS)
    for row in rows[1:]:
        assert len(row) == len(COLUMNS)
        assert not any(cell.lstrip(" ").startswith(("=", "@", "\t")) for cell in row)
    text = comparison_json(about, found)
    text.encode("utf-8")
    assert len(json.loads(text)["points"]) == len(rows) - 1


def test_a_visit_beside_itself_differs_in_nothing() -> None:
    found = compared(entries_of(FIRST), entries_of(FIRST))
    assert found.choices == ()
    assert {float(each.difference or 0) for each in found.points} == {0.0}


def test_the_command_prints_a_table(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "jobs.sqlite3"
    with SqliteStore(log) as store:
        store.append("a", FIRST)
        store.append("b", SECOND)
        store.append("c", [read(1, name, name, name, name=name) for name in HOSTILE])
    assert main(["jobs", "compare", "a", "b", "--log", str(log)]) == 0
    shown = capsys.readouterr().out.splitlines()
    static = next(line for line in shown if line.startswith("supply static"))
    assert static.split("  ")[-1] == "within, then outside"
    assert "0.45 in. w.c." in static
    assert "+0.07 in. w.c." in static
    assert "  duct: sheet-metal, then flex" in shown
    assert main(["jobs", "compare", "a", "c", "--log", str(log)]) == 0
    assert "\x1b" not in capsys.readouterr().out
    assert main(["jobs", "compare", "a", "none", "--log", str(log)]) == 5
    assert main(["jobs", "compare", "a", "b", "--format", "json", "--log", str(log)]) == 0
