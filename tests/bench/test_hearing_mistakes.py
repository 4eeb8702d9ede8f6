from __future__ import annotations

import json
from dataclasses import replace

from companion.bench.hearing.mistakes import as_json, line, mistakes
from companion.bench.hearing.results import Result

ONE = Result(
    engine="bundled", cell="10", case="remarks-003-flite_slt-round2", corpus="remarks",
    synthesis="flite", addressed=False, said="forty four to thirty nine", came="false accept",
    known=False, value=False, taken="readings.bare 44",
    heard=[("forty four", 0.912), ("what is next", 0.4)], free="", sound_s=4.0, response_s=0.4,
    moment="rise.temperature-rise", awake=True, means="",
    logged=[("reading", "point temperature-rise, value 44"), ("step-done", "")],
)  # fmt: skip


def test_silent_errors_and_false_accepts_are_mistakes_and_nothing_else() -> None:
    every = ("right", "asked", "silent error", "quiet", "false accept", "other wrong", "disturbed")
    found = mistakes(replace(ONE, came=came) for came in every)
    assert [each.came for each in found] == ["silent error", "false accept"]


def test_a_line_tells_who_where_said_heard_and_logged() -> None:
    assert line(ONE) == (
        "bundled, 10, false accept: said 'forty four to thirty nine'"
        " (remarks-003-flite_slt-round2, rise.temperature-rise),"
        " heard 'forty four' at 0.91 / 'what is next' at 0.40,"
        " logged: reading (point temperature-rise, value 44); step-done, taken: readings.bare 44"
    )
    obeyed = replace(ONE, logged=[], taken="commands.repeat")
    assert line(obeyed).endswith("logged: nothing, taken: commands.repeat")


def test_plain_data_tells_the_same() -> None:
    assert json.loads(json.dumps(as_json(ONE))) == {
        "engine": "bundled",
        "cell": "10",
        "came": "false accept",
        "case": "remarks-003-flite_slt-round2",
        "moment": "rise.temperature-rise",
        "said": "forty four to thirty nine",
        "heard": [["forty four", 0.912], ["what is next", 0.4]],
        "logged": [["reading", "point temperature-rise, value 44"], ["step-done", ""]],
        "taken": "readings.bare 44",
    }
