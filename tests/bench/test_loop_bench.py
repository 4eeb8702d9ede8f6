"""The `loop` benchmark: its sums by hand, and a short run over the virtual card."""

from __future__ import annotations

import json

import numpy as np
import pytest

from companion.bench.__main__ import main
from companion.bench.loop import Measured, summed, text
from companion.bench.loop_losses import losses, losses_text
from companion.bench.loop_room import first_above, first_below
from companion.bench.virtual_card import VirtualCard, last_loud, onset

PARTS = {"patience_s": 0.35, "voice_s": 0.01}


def answer(kind: str, said: str, heard: str, response_s: float | None) -> dict[str, object]:
    return {
        "kind": kind, "said": said, "heard": heard, "understood": said == heard,
        "response_s": response_s, "parts": PARTS,
    }  # fmt: skip


def test_what_was_measured_is_summed_up_by_kind() -> None:
    measured = Measured(
        answers=[
            answer("command", "repeat", "repeat", 0.4),
            answer("command", "tools", "two", 0.6),
            answer("reading", "one one nine", "", None),
        ],
        cuts_s=[0.05, 0.09],
        cuts_tried=3,
        lifts=1,
        lifts_tried=2,
    )
    told = summed(measured)
    assert (told["utterances"], told["recognised"], told["answered"]) == (3, 1, 2)
    assert told["response_ms"] == {"count": 2, "median": 500, "p95": 600, "worst": 600}
    assert told["response_by_kind_ms"]["reading"] is None
    assert told["parts_median_ms"] == {"patience_s": 350, "voice_s": 10}
    assert told["accepted_to_silence_ms"]["median"] == 70
    assert told["not_recognised"] == [["tools", "two"], ["one one nine", ""]]
    assert "1 of 3 recognised" in text(told)


def test_ducked_and_lifted_are_what_stays_so() -> None:
    factors = np.array([1.0, 0.3, 1.0, 1.0, 0.3, 0.25, np.nan, 0.25, 0.3, 0.25, 1.0, 0.9, 1.0])
    assert first_below(factors, 0) == 7
    assert first_above(factors, 7) == 10
    assert first_below(factors, 9) is None


def test_first_and_last_sound_are_found() -> None:
    sound = np.array([0, 10, -300, 5, 250, 0], np.int16)
    assert (onset(sound), last_loud(sound)) == (2, 4)
    assert onset(sound[:2]) is None


@pytest.mark.card
@pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible())
def test_a_headset_lost_twice_is_found_twice_and_nothing_is_logged_twice() -> None:
    told = losses(2)
    assert (told["noticed"], told["came_back"]) == (2, 2)
    assert told["back_s"]["worst"] < 3.0  # the promise of README
    assert told["cost"]["readings_taken"] == told["cost"]["readings_logged"]
    assert "lost 2, noticed 2, back 2" in losses_text(told)


@pytest.mark.card
@pytest.mark.skipif(bool(VirtualCard.is_possible()), reason=VirtualCard.is_possible())
def test_the_benchmark_measures_over_the_card(capfd: pytest.CaptureFixture[str]) -> None:
    asked = ["loop", "--utterances", "3", "--over", "1", "--speaker", "espeak:en-us+m3", "--json"]
    assert main(asked) == 0
    told = json.loads(capfd.readouterr().out.splitlines()[-1])
    assert told["utterances"] == 3
    assert told["answered"] >= 1
    assert 100 < told["response_ms"]["median"] < 5_000
    assert told["card_alone_ms"]["count"] == 10
    assert told["cost"]["overruns"] == 0
