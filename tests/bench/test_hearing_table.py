"""What is measured, summed up: rates, groups, table and picture."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from companion.bench.hearing.plot import reach
from companion.bench.hearing.results import FAILED, Result
from companion.bench.hearing.table import HELD_OUT, PEOPLE, TUNED, costs, rows, text
from companion.errors import EngineError

if TYPE_CHECKING:
    from pathlib import Path

ONE = Result(
    engine="bundled", cell="10", case="own-1", corpus="own", synthesis="flite", addressed=True,
    said="which step", came="right", known=True, value=False, taken="commands.which-step",
    heard=[("which step", 0.98)], free="Which step?", sound_s=3.6, response_s=0.4,
    moment="lock-out.doing", awake=True, means="commands.which-step", logged=[("asked", "a b")],
)  # fmt: skip
ROOM_S = 2.2  # 1 s before each sound and 1.2 s after it: DEVELOPERS.md, the hearing benchmark
COST = {
    "peak_memory_mb": 200.0, "start_s": 1.0, "recogniser_cpu_s": 2.0, "cpu_s": 3.0,
    "utterance_s": 20.0, "sound_s": 60.0,
}  # fmt: skip


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
        *many("quiet", 8, addressed=False, known=False, sound_s=ROOM_S + 450.0),
        *many("false accept", 2, addressed=False, known=False, sound_s=ROOM_S + 450.0),
        *many("quiet", 4, addressed=False, known=False, sound_s=90.0, awake=False),
    ]
    [row] = rows(found, "festival")
    rates = (row.accuracy, row.silent_errors, row.misses, row.asked, row.unknown_wrong)
    assert [(r.hits, r.of) for r in rates if r] == [(6, 10), (1, 8), (1, 10), (1, 10), (1, 4)]
    assert row.talk_hours == pytest.approx(1.25)
    assert row.false_accepts
    assert row.false_accepts[0] == pytest.approx(1.6)
    assert row.response_ms == pytest.approx((400.0, 400.0))


def test_values_from_nothing_read_back_and_talk_asked_about_are_told_apart() -> None:
    found = [
        *many("right", 2, value=True),
        *many("read back wrong", 1, value=True),
        *many("asked", 1, value=True),
        *many("right", 3),
        *many("silent error", 1),
        *many("right", 1, known=False),
        *many("missed", 1, known=False),
        *many("quiet", 3, addressed=False, known=False),
        *many("disturbed", 1, addressed=False, known=False),
    ]
    [row] = rows(found, "festival")
    rates = (row.made_up, row.read_back, row.asked, row.silent_errors)
    assert [(r.hits, r.of) for r in rates if r] == [(1, 4), (1, 8), (2, 8), (0, 4)]
    others = (row.unknown_right, row.disturbed)
    assert [(r.hits, r.of) for r in others if r] == [(1, 2), (1, 4)]


def test_what_the_engine_died_at_is_counted_and_in_no_rate() -> None:
    [row] = rows([*many("right", 2), *many(FAILED, 3)], "festival")
    assert row.failed == 3
    assert row.accuracy
    assert (row.accuracy.hits, row.accuracy.of) == (2, 2)
    assert row.as_json()["failed"] == 3
    [_, beside] = [line for line in text([row], {}).splitlines() if line.startswith("bundled")]
    assert beside.split()[-1] == "3"


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


def test_the_picture_is_drawn_for_any_share(tmp_path: Path) -> None:
    pytest.importorskip("matplotlib", reason="install the extra bench")
    from companion.bench.hearing.plot import draw  # noqa: PLC0415 - only where it can be

    found = [replace(ONE, cell=cell, engine=e) for cell in ("clean", "5") for e in ("a", "b")]
    found += many("right", 3, cell="20")  # 3 of 3: the bound's end is 1 but for rounding
    found += many("right", 1, cell="20", synthesis="festival") + many("missed", 1, cell="5")
    for path in draw(rows(found, "festival"), tmp_path):
        assert path.stat().st_size > 5_000


def test_no_point_lies_beyond_its_axis() -> None:
    found = [*many("silent error", 3, value=True), *many("right", 1, value=True)]
    assert reach(rows(found, "festival"), "silent_errors", 40) == pytest.approx(75)
    assert reach(rows([ONE], "festival"), "silent_errors", 40) == 40


def test_without_matplotlib_it_is_told_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from companion.bench.hearing.plot import draw  # noqa: PLC0415 - as above

    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(EngineError, match=r"matplotlib.*'\.\[bench\]'"):
        draw(rows([ONE], "festival"), tmp_path)
