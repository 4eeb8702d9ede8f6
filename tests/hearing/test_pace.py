from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from companion.hearing.pace import Pace

SECONDS = st.floats(0.0, 12.0)


@given(SECONDS, SECONDS, st.lists(st.sampled_from(["a", "no", "volts", "transformer"]), min_size=1))
def test_words_never_gain_by_their_pace(voiced_s: float, rest_s: float, words: list[str]) -> None:
    assert Pace(voiced_s, voiced_s + rest_s).penalty_nats(words) >= 0.0


def test_a_pause_between_words_costs_nothing() -> None:
    words = ["supply", "static", "point", "four", "five"]
    assert Pace(1.9, 3.4).penalty_nats(words) == 0.0


def test_a_short_word_for_a_long_remark_costs_much() -> None:
    assert Pace(4.0, 4.5).penalty_nats(["no"]) > 20.0


def test_a_long_sentence_for_a_short_sound_costs() -> None:
    assert Pace(0.3, 0.3).penalty_nats(["what", "was", "the", "last", "return", "static"]) > 2.0


@given(st.floats(1.0, 10.0), st.floats(0.1, 2.0))
def test_the_slower_the_more_it_costs(voiced_s: float, more_s: float) -> None:
    slower = Pace(voiced_s + more_s, voiced_s + more_s)
    assert slower.penalty_nats(["no"]) >= Pace(voiced_s, voiced_s).penalty_nats(["no"])
