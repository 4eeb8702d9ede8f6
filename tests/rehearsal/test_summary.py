"""The summary counts what was said, heard and logged; every figure from a case worked by hand."""

from __future__ import annotations

import json

import pytest

from companion.rehearsal.summary import Summary, is_same
from companion.rehearsal.technician import Line
from companion.rehearsal.wire import Heard

SAY = Line("done", ("wire",))
READS = Line("primary one nineteen", ("one one nine",), reads=("primary-voltage", "119"))
REMARK = Line("honey", kind="remark")


def summary() -> Summary:
    return Summary("espeak:test", None, 7)


def heard(
    *,
    point: str = "",
    value: str = "",
    kind: str = "reading",
    asked_again: bool = False,
    ignored: bool = False,
    response_s: float = 0.0,
) -> Heard:
    drafts = [(kind, {"point": point, "value": value})] if point else []
    return Heard(
        start_s=1.0,
        end_s=2.0,
        words="words",
        match=0.9,
        freely="",
        asked_again=asked_again,
        ignored=ignored,
        response_s=response_s,
        parts_s={"patience": response_s / 2, "decoding": response_s / 4},
        drafts=drafts,
    )


def counts(told: Summary) -> tuple[int, int, int, int, int]:
    return (
        told.readings_said,
        told.readings_right,
        told.readings_asked,
        told.readings_taken_wrong,
        told.readings_missed,
    )


@pytest.mark.parametrize(
    ("answers", "expected"),
    [
        ([heard(point="primary-voltage", value="119")], (1, 1, 0, 0, 0)),
        ([heard(point="primary-voltage", value="119.0")], (1, 1, 0, 0, 0)),
        ([heard(point="primary-voltage", value="190")], (1, 0, 0, 1, 0)),
        ([heard(point="supply-static", value="119")], (1, 0, 0, 1, 0)),
        ([heard(point="primary-voltage", value="190", kind="correction")], (1, 0, 0, 1, 0)),
        ([heard(asked_again=True)], (1, 0, 1, 0, 0)),
        ([heard()], (1, 0, 0, 0, 1)),
        ([], (1, 0, 0, 0, 1)),
        (
            [
                heard(point="primary-voltage", value="119"),
                heard(point="primary-voltage", value="9"),
            ],
            (1, 0, 0, 1, 0),
        ),
    ],
)
def test_a_reading_is_right_asked_wrong_or_missed(
    answers: list[Heard], expected: tuple[int, ...]
) -> None:
    told = summary()
    told.count_utterance(READS, answers)
    assert counts(told) == expected


def test_an_entry_that_is_no_reading_does_not_count_as_one() -> None:
    told = summary()
    told.count_utterance(READS, [heard(point="primary-voltage", value="119", kind="struck")])
    assert told.readings_missed == 1


def test_utterances_are_counted_with_what_came_of_them() -> None:
    told = summary()
    told.count_utterance(SAY, [heard()])
    told.count_utterance(SAY, [heard(ignored=True)])
    told.count_utterance(SAY, [])
    told.count_utterance(SAY, [heard(asked_again=True)])
    assert (told.utterances, told.unanswered, told.asked_again) == (4, 2, 1)
    assert told.readings_said == 0


def test_a_remark_counts_as_answered_only_if_it_was() -> None:
    told = summary()
    told.count_utterance(REMARK, [])
    told.count_utterance(REMARK, [heard(ignored=True)])
    told.count_utterance(REMARK, [heard()])
    assert (told.remarks, told.remarks_answered, told.utterances) == (3, 1, 0)


@pytest.mark.parametrize(
    ("expected", "log", "right", "wrong"),
    [
        ([("a", "1"), ("a", "1")], [("a", "1.0"), ("a", "1")], 2, []),
        ([("a", "1"), ("a", "1")], [("a", "1")], 1, ["missing: a 1"]),
        ([("a", "1")], [("a", "1"), ("b", "2")], 1, ["not said: b 2"]),
        ([("a", "OL")], [("a", "OL")], 1, []),
        ([("a", "1")], [("a", "OL")], 0, ["missing: a 1", "not said: a OL"]),
        ([], [], 0, []),
    ],
)
def test_the_log_is_compared_with_the_script(
    expected: list[tuple[str, str]], log: list[tuple[str, str]], right: int, wrong: list[str]
) -> None:
    told = summary()
    told.compare(expected, log)
    assert told.standing_expected == len(expected)
    assert told.standing_right == right
    assert told.standing_wrong == wrong


@pytest.mark.parametrize(
    ("reads", "point", "value", "same"),
    [
        (("a", "0.20"), "a", "0.2", True),
        (("a", "-0.2"), "a", "0.2", False),
        (("a", "1"), "b", "1", False),
        (("a", "OL"), "a", "open", False),
    ],
)
def test_a_value_is_the_same_whatever_its_trailing_zeros(
    reads: tuple[str, str], point: str, value: str, same: object
) -> None:
    assert is_same(reads, point, value) is same


def test_response_times_are_told_with_their_parts() -> None:
    told = summary()
    for response_s in (0.4, 0.6, 0.0, 0.8, 2.0):  # 0: nothing was said
        told.count_answer(heard(response_s=response_s))
    data = told.as_json()
    assert data["response_median_s"] == pytest.approx(0.7)
    assert data["response_95_s"] == pytest.approx(2.0)
    assert data["parts_median_s"] == {
        "patience": pytest.approx(0.35),
        "decoding": pytest.approx(0.175),
    }


def test_without_a_single_answer_the_figures_are_zero() -> None:
    data = summary().as_json()
    assert data["response_median_s"] == data["response_95_s"] == 0.0
    assert data["real_time_factor"] == 0.0
    assert "Rehearsal NOT completed" in summary().as_text()


def test_the_summary_is_json_and_tells_all_in_words() -> None:
    told = summary()
    told.completed, told.kills, told.resumed = True, 1, 1
    told.sound_s, told.cpu_s, told.peak_memory_mb = 200.0, 50.0, 190.0
    told.count_utterance(READS, [heard(point="primary-voltage", value="119")])
    data = json.loads(json.dumps(told.as_json()))
    assert data["real_time_factor"] == 0.25
    assert data["readings_right"] == 1
    text = told.as_text()
    for each in (
        "Rehearsal completed (espeak:test, quiet, seed 7)",
        "right at once 1",
        "killed 1, resumed 1",
        "200 s of sound, 0.25 of a core, peak memory 190 MB",
    ):
        assert each in text


def test_what_went_wrong_is_told_with_its_reason_and_the_noise() -> None:
    told = Summary("espeak:test", 10.0, 7, problem="'done' was answered: Say again.")
    told.standing_wrong.append("missing: a 1")
    text = told.as_text()
    assert "NOT completed: 'done' was answered: Say again." in text
    assert "hum at 10 dB" in text
    assert "missing: a 1" in text
