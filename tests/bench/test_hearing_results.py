"""Results that survive being stopped, their sums, their table and their picture."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from companion.bench.hearing.results import FILE, Result, Results
from companion.bench.hearing.table import HELD_OUT, PEOPLE, TUNED, costs, errors, rows, text
from companion.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

SETTINGS = {"corpus": ["own"], "seed": 1}
ONE = Result(
    engine="bundled", cell="10", case="own-1", corpus="own", synthesis="flite", addressed=True,
    said="which step", came="right", known=True, value=False, taken="commands.which-step",
    heard=[("which step", 0.98)], free="Which step?", sound_s=3.6, response_s=0.4,
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


def test_a_line_that_is_no_result_is_told_with_its_number(tmp_path: Path) -> None:
    written(tmp_path)
    with (tmp_path / FILE).open("a") as file:
        file.write('{"engine": 1}\n')
    with pytest.raises(InputError, match=f"{FILE}:5"):
        Results(tmp_path, SETTINGS)


def many(came: str, count: int, **changes: object) -> list[Result]:
    return [replace(ONE, came=came, **changes) for _ in range(count)]  # type: ignore[arg-type]


def test_rates_count_what_they_are_named_for() -> None:
    found = [
        *many("right", 6, value=True),
        *many("silent error", 1, value=True),
        *many("asked", 1, value=True),
        *many("missed", 1),
        *many("other wrong", 1),
        *many("right", 3, known=False),
        *many("silent error", 1, known=False),
        *many("quiet", 8, addressed=False, known=False, sound_s=450.0),
        *many("false accept", 2, addressed=False, known=False, sound_s=450.0),
    ]
    [row] = rows(found, "festival")
    rates = (row.accuracy, row.silent_errors, row.misses, row.asked, row.unknown_wrong)
    assert [(r.hits, r.of) for r in rates if r] == [(6, 10), (1, 8), (1, 10), (1, 10), (1, 4)]
    assert row.talk_hours == pytest.approx(1.25)
    assert row.false_accepts
    assert row.false_accepts[0] == pytest.approx(1.6)
    assert row.response_ms == pytest.approx((400.0, 400.0))


def test_the_held_out_voices_and_people_are_counted_apart() -> None:
    found = [
        replace(ONE, synthesis=synthesis) for synthesis in ("flite", "festival", "people", "espeak")
    ]
    assert [
        (row.group, row.accuracy.of if row.accuracy else 0) for row in rows(found, "festival")
    ] == [
        (TUNED, 2),
        (HELD_OUT, 1),
        (PEOPLE, 1),
    ]


def test_the_table_runs_from_clean_to_loud_and_names_the_cost() -> None:
    found = [replace(ONE, cell=cell) for cell in ("5", "clean", "20", "10")]
    summed = rows(found, "festival")
    assert [row.cell for row in summed] == ["clean", "20", "10", "5"]
    told = text(summed, costs({"bundled": [COST, {**COST, "peak_memory_mb": 250.0}]}))
    assert "100.0 (20.7-100.0)" in told  # Wilson's bound of 1 of 1 (tests/bench/test_rates.py)
    assert "250" in told
    assert "0.100" in told  # 4 s of processor time for 40 s of utterances
    json.dumps([row.as_json() for row in summed])


def test_every_silent_error_and_false_accept_is_listed() -> None:
    found = [*many("silent error", 1, taken="readings.bare 0.49"), *many("asked", 1), ONE]
    [line] = errors(found)
    assert "which step" in line
    assert "0.49" in line


def test_the_picture_is_drawn(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib", reason="install the extra bench")
    from companion.bench.hearing.plot import draw  # noqa: PLC0415 - only where it can be

    found = [replace(ONE, cell=cell, engine=e) for cell in ("clean", "5") for e in ("a", "b")]
    for path in draw(rows(found, "festival"), tmp_path):
        assert path.stat().st_size > 5_000
