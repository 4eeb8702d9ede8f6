"""Talk and the phrases that must always be heard, from results made by hand."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from companion.bench.hearing.results import FAILED, Result
from companion.bench.hearing.talk import (
    ALL,
    AT_WORK,
    ATTENTION,
    EMERGENCY,
    STANDING_BY,
    logs_value,
    phrase_rows,
    talk_rows,
)
from companion.bench.hearing.talk_text import text

ROOM_S = 2.2  # 1 s before each sound and 1.2 s after it: DEVELOPERS.md, the hearing benchmark
TALK = Result(
    engine="bundled", cell="10", case="remarks-1", corpus="remarks", synthesis="flite",
    addressed=False, said="point taken", came="quiet", known=False, value=False, taken="",
    heard=[], free="", sound_s=ROOM_S + 900.0, response_s=-1.0, moment="supply.doing", awake=True,
    means="", logged=[],
)  # fmt: skip
READING = [("reading", "point supply-static, value 0.4")]
GAS = replace(
    TALK, addressed=True, said="i smell gas", known=True, means="emergency.gas", came="right",
    taken="emergency.gas", logged=[("emergency", "hazard gas")],
)  # fmt: skip
WAKE = replace(GAS, said="toolbox listen up", means="commands.wake", awake=False)


def many(one: Result, count: int, **changes: object) -> list[Result]:
    return [replace(one, **changes) for _ in range(count)]  # type: ignore[arg-type]


def test_false_accepts_are_counted_an_hour_of_words_and_values_told_from_commands() -> None:
    found = [
        *many(TALK, 4),
        *many(TALK, 2, came="false accept", logged=READING),
        *many(TALK, 1, came="false accept", logged=[("step-done", "step mark")]),
        *many(TALK, 1, came="false accept", taken="commands.repeat"),  # only answered
        *many(TALK, 2, came="disturbed"),
        *many(TALK, 3, came=FAILED),
        GAS,
    ]
    [row, over_all] = talk_rows(found)
    assert (row.cell, over_all.cell, row.where) == ("10", ALL, AT_WORK)
    assert replace(over_all, cell="10") == row
    assert (row.sounds, row.false_accepts, row.values, row.commands, row.disturbed) == (
        10, 4, 2, 2, 2,
    )  # fmt: skip
    assert row.hours == pytest.approx(2.5)  # ten quarters of an hour
    assert row.room_hours == pytest.approx(2.5 + 10 * ROOM_S / 3600)
    # 4 events: F. Garwood's exact bounds of the mean, 1936, are 1.0899 and 10.2416
    assert row.an_hour(row.false_accepts) == pytest.approx((1.6, 0.43595, 4.09664), abs=1e-4)


@pytest.mark.parametrize(
    "kind", ["reading", "correction", "choice", "question", "hold-check", "hold-met"]
)
def test_every_kind_that_holds_a_value_counts_as_one(kind: str) -> None:
    [row, _] = talk_rows(many(TALK, 1, came="false accept", logged=[(kind, "")]))
    assert (row.values, row.commands) == (1, 0)


def test_each_cell_from_clean_to_loud_then_all_each_engine_and_standing_by_apart() -> None:
    found = [
        replace(TALK, engine=engine, cell=cell, awake=awake)
        for engine in ("whisper", "bundled")
        for cell in ("5", "clean", "20")
        for awake in (False, True)
    ]
    cells = ["clean", "20", "5", ALL]
    assert [(r.engine, r.where, r.cell, r.sounds) for r in talk_rows(found)] == [
        (engine, where, cell, 3 if cell == ALL else 1)
        for engine in ("whisper", "bundled")
        for where in (AT_WORK, STANDING_BY)
        for cell in cells
    ]


def test_phrases_that_were_addressed_are_heard_asked_about_missed_or_taken_otherwise() -> None:
    found = [
        *many(GAS, 5),
        *many(GAS, 1, came="asked"),
        *many(GAS, 2, came="missed", means="emergency.fire"),
        *many(GAS, 1, came="other wrong"),
        *many(GAS, 1, came="silent error"),
        *many(GAS, 4, known=False, came="missed"),  # words that the grammar has not
        *many(GAS, 4, means="commands.done"),
        *many(GAS, 4, came=FAILED),
        *many(WAKE, 3),
        *many(WAKE, 1, came="missed", cell="5"),
    ]
    rows = {(row.phrase, row.cell): row for row in phrase_rows(found)}
    gas = rows[EMERGENCY, "10"]
    assert (gas.said, gas.heard, gas.asked, gas.missed, gas.otherwise) == (10, 5, 1, 2, 2)
    assert rows[ATTENTION, "5"].missed == rows[ATTENTION, "5"].said == 1
    every = rows[ATTENTION, ALL]
    assert (every.said, every.heard, every.missed) == (4, 3, 1)
    assert gas.false_an_hour is None


def test_false_wakes_are_counted_while_standing_by_and_false_emergencies_everywhere() -> None:
    found = [
        *many(TALK, 4),
        *many(TALK, 2, came="false accept", taken="commands.repeat; emergency.fire"),
        *many(TALK, 1, came="false accept", taken="commands.done"),
        *many(TALK, 1, awake=False, came="quiet"),
        *many(TALK, 1, awake=False, came="false accept", taken="commands.wake"),
        *many(TALK, 1, awake=False, came="false accept", taken="emergency.gas"),
        *many(TALK, 1, awake=False, came="disturbed", taken="emergency.gas"),  # asked first
    ]
    rows = {row.phrase: row for row in phrase_rows(found) if row.cell == ALL}
    assert [rows[ATTENTION].false, rows[EMERGENCY].false] == [1, 3]
    assert [rows[ATTENTION].hours, rows[EMERGENCY].hours] == pytest.approx([1.0, 2.75])
    # 1 event: Garwood's exact bounds of the mean are 0.0253 and 5.5716
    assert rows[ATTENTION].false_an_hour == pytest.approx((1.0, 0.0253, 5.5716), abs=1e-4)
    assert rows[EMERGENCY].said == 0
    assert rows[EMERGENCY].share(rows[EMERGENCY].heard) is None


def test_the_text_holds_each_part_that_there_is() -> None:
    found = [*many(TALK, 4), *many(TALK, 2, awake=False), *many(GAS, 2), WAKE]
    told = text(talk_rows(found), phrase_rows(found))
    for part in (
        f"not addressed, {AT_WORK}",
        f"not addressed, {STANDING_BY}",
        ATTENTION,
        EMERGENCY,
    ):
        assert part in told
    assert "100.0 (34.2-100.0)" in told  # Wilson's bound of 2 of 2 (tests/bench/test_rates.py)
    assert "0.00 (0.00-3.69)" in told  # none in an hour: Garwood's bound is 3.689
    assert text([], []) == ""
    assert text(talk_rows([GAS]), []) == ""


def test_the_rows_are_plain_data_with_the_rates() -> None:
    found = [*many(TALK, 3), *many(TALK, 1, came="false accept", logged=READING), GAS]
    [row, _] = json.loads(json.dumps([each.as_json() for each in talk_rows(found)]))
    assert row["hours"] == 1.0
    assert row["false_accepts_per_hour"] == row["values_per_hour"] == [1.0, 0.025, 5.572]
    assert row["commands"] == 0
    [*_, phrase] = json.loads(json.dumps([each.as_json() for each in phrase_rows(found)]))
    assert phrase["phrase"] == EMERGENCY
    assert phrase["heard"]["hits"] == phrase["heard"]["of"] == 1
    assert phrase["false_per_hour"] == [0.0, 0.0, 3.689]


def test_a_value_that_was_taken_back_again_does_not_count_as_logged() -> None:
    taken = [("reading", "id 7, step measure, value 18"), ("struck", "of 7")]
    assert not logs_value(replace(TALK, logged=taken))
    assert logs_value(replace(TALK, logged=taken[:1]))
    assert logs_value(replace(TALK, logged=[*taken, ("reading", "id 8, value 3")]))
    check = [("hold-check", "step lock, check on, answer yes")]
    assert logs_value(replace(TALK, logged=check))
    withdrawn = [*check, ("hold-check", "step lock, check on, answer withdrawn")]
    assert not logs_value(replace(TALK, logged=withdrawn))
