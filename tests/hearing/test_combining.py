"""Two opinions made one: the sums by hand, and what must hold whatever the packaged weights."""

from __future__ import annotations

from math import exp, log
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st
from saying import any_letters, letters

from companion.hearing import combining
from companion.hearing.combining import (
    Calibration,
    Opinion,
    Yardstick,
    calibration,
    features,
    match,
    measured,
    opinions,
    scored,
)
from companion.hearing.search import Written

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.hearing.lexicon import Words

FIFTEEN, FIFTY, FOUR = ("fifteen",), ("fifty",), ("four",)
HEARD = letters("f-if-t-ee-n", "f-if-t-y---")
UNWRITTEN_NATS = 15.0  # what a sentence that the writer gave up lies below its best

NATS = st.floats(-1e6, 0.0)
WORDS = st.lists(st.sampled_from(["a", "no", "volts", "transformer"]), min_size=1, max_size=20)
OPINIONS = st.builds(
    Opinion, WORDS.map(tuple), st.booleans(), NATS, NATS, st.floats(0.0, 1e4), st.just(0.0)
)
YARDSTICKS = st.builds(Yardstick, NATS, st.integers(1, 200), NATS)
SNR = st.none() | st.floats(-100.0, 200.0)


def written(
    sentences: Mapping[Words, float], beginnings: Mapping[Words, float] | None = None
) -> Written:
    return Written(sentences, beginnings or {}, (), -3.0)


def by_words(found: list[Opinion]) -> dict[Words, Opinion]:
    return {each.words: each for each in found}


# ------------------------------------------------------------ the score


def test_opinions_come_best_first() -> None:
    found = opinions(written({FOUR: -9.0, FIFTY: -2.0, FIFTEEN: -4.0}), [], HEARD)
    assert [each.score for each in found] == sorted((each.score for each in found), reverse=True)
    assert found[-1].words == FOUR  # neither was it written nor is it spelt
    assert {each.words for each in found} == {FIFTEEN, FIFTY, FOUR}


def test_each_opinion_moves_a_sentence_up() -> None:
    def first(fifty: float, heard: str) -> Words:
        found = opinions(written({FIFTEEN: -4.0, FIFTY: fifty}), [], letters(heard))
        return found[0].words

    assert first(-4.0, "f-if-t-ee-n") == FIFTEEN
    assert first(-4.0, "f-if-t-y") == FIFTY
    assert first(996.0, "f-if-t-ee-n") == FIFTY  # by more nats than letters can take back
    assert first(-1004.0, "f-if-t-y") == FIFTEEN


def test_an_opinion_holds_what_each_made_of_the_sentence() -> None:
    (found,) = opinions(written({FIFTY: -2.5}), [], HEARD)
    assert found.words == FIFTY
    assert found.is_sentence
    assert found.written == -2.5
    assert found.spelt == pytest.approx(float(HEARD.log_probs_of(["fifty"])[0]))


def test_words_are_spelt_with_a_space_between_them() -> None:
    heard = letters("f-our v-olts")
    (found,) = opinions(written({("four", "volts"): -1.0}), [], heard)
    assert found.spelt == pytest.approx(float(heard.log_probs_of(["four volts"])[0]))


def test_the_score_is_the_weighted_sum() -> None:
    opinion = Opinion(("four", "volts"), True, -2.0, -7.0, 1.5)  # noqa: FBT003 -- its second field
    weights = {"written": 0.5, "spelt": 0.25, "word": 3.0, "letter": 0.1}
    # by hand: -1 - 1.75 + 6 + 0.9
    assert scored(opinion, weights).score == pytest.approx(4.15)
    assert scored(opinion, weights)._replace(score=0.0) == opinion
    assert scored(opinion, {"spelt": 1.0}).score == -7.0


def test_what_was_only_proposed_lies_below_all_that_was_written() -> None:
    found = by_words(opinions(written({FIFTY: -2.0, FOUR: -6.0}), [FIFTEEN], HEARD))
    assert found[FIFTEEN].is_sentence
    assert found[FIFTEEN].written == pytest.approx(-2.0 - UNWRITTEN_NATS)


def test_what_was_proposed_and_written_counts_as_written_and_once() -> None:
    found = opinions(written({FIFTY: -2.0}), [FIFTY, FIFTY], HEARD)
    assert [(each.words, each.written) for each in found] == [(FIFTY, -2.0)]


def test_where_nothing_was_written_the_free_text_is_what_a_proposal_lies_below() -> None:
    (found,) = opinions(Written({}, {}, (), -3.0), [FIFTY], HEARD)
    assert found.written == pytest.approx(-3.0 - UNWRITTEN_NATS)


def test_nothing_found_is_no_opinion() -> None:
    assert opinions(Written({}, {}, (), -3.0), [], HEARD) == []


def test_a_beginning_is_told_apart_from_a_sentence() -> None:
    found = opinions(written({FIFTEEN: -5.0}, {FIFTY: -2.0}), [FOUR], HEARD)
    assert {each.words: each.is_sentence for each in found} == {
        FIFTEEN: True,
        FIFTY: False,
        FOUR: True,
    }
    assert by_words(found)[FIFTY].written == -2.0


def test_words_that_begin_a_sentence_and_are_one_are_a_sentence() -> None:
    found = opinions(written({FIFTY: -5.0}, {FIFTY: -2.0}), [], HEARD)
    assert [(each.words, each.is_sentence, each.written) for each in found] == [(FIFTY, True, -5.0)]


# ------------------------------------------------------------ the weights


def test_the_weights_are_exactly_those_that_are_used() -> None:
    opinion = Opinion(FIFTY, True, -2.0, -7.0, 0.0)  # noqa: FBT003 -- its second field
    assert set(calibration().score) == set(measured(opinion))
    assert set(calibration().match) == set(features(opinion, Yardstick(-1.0, 3, -1.0), None))


def test_what_either_hears_counts_for_a_sentence_never_against_it() -> None:
    assert calibration().score["written"] > 0.0
    assert calibration().score["spelt"] > 0.0


# ------------------------------------------------------------ the match


@given(OPINIONS, YARDSTICKS, SNR)
def test_the_match_is_made_of_numbers_of_one_size(
    best: Opinion, free: Yardstick, snr_db: float | None
) -> None:
    found = features(best, free, snr_db)
    assert found["constant"] == 1.0
    bounds = {
        "written_gap": 5.0,
        "spelt_gap": 5.0,
        "written_gap_whole": 4.0,
        "spelt_gap_whole": 4.0,
        "length": log(60.0),
        "noise": 1.0,
        "short": 1.0,
        "short_written": 5.0,
        "short_spelt": 5.0,
    }
    assert set(found) == {"constant", *bounds}
    for name, most in bounds.items():
        assert 0.0 <= found[name] <= most, name


def test_gaps_are_counted_by_the_piece_and_by_the_letter() -> None:
    best = Opinion(("four", "volts"), True, -8.0, -14.0, 1.5)  # noqa: FBT003 -- its second field
    found = features(best, Yardstick(-2.0, 4, -3.0), 15.0)
    # by hand: 6 nats over 4 pieces; 11 over 9 letters and 2 ends of words; tenths; 10 of 25 dB
    assert found["written_gap"] == pytest.approx(1.5)
    assert found["spelt_gap"] == pytest.approx(1.0)
    assert found["written_gap_whole"] == pytest.approx(0.6)
    assert found["spelt_gap_whole"] == pytest.approx(1.1)
    assert found["length"] == pytest.approx(log(11.0))
    assert found["noise"] == pytest.approx(0.4)
    assert found["short"] == found["short_written"] == found["short_spelt"] == 0.0


def test_what_is_shorter_than_ten_letters_is_short() -> None:
    best = Opinion(("four",), True, -8.0, -14.0, 0.0)  # noqa: FBT003 -- its second field
    found = features(best, Yardstick(-2.0, 4, -4.0), None)
    # by hand: 4 letters and an end of a word of 10; gaps of 1.5 a piece and 2 a letter
    assert found["short"] == pytest.approx(0.5)
    assert found["short_written"] == pytest.approx(0.75)
    assert found["short_spelt"] == pytest.approx(1.0)


def test_a_sentence_likelier_than_what_is_heard_freely_has_no_gap() -> None:
    best = Opinion(FIFTY, True, -1.0, -1.0, 0.0)  # noqa: FBT003 -- its second field
    found = features(best, Yardstick(-5.0, 3, -5.0), None)
    gaps = ("written_gap", "spelt_gap", "written_gap_whole", "spelt_gap_whole")
    assert [found[name] for name in gaps] == [0.0, 0.0, 0.0, 0.0]


@pytest.mark.parametrize(
    ("snr_db", "noise"), [(None, 0.0), (60.0, 0.0), (25.0, 0.0), (12.5, 0.5), (0.0, 1.0), (-9, 1.0)]
)
def test_noise_counts_from_where_it_is_heard(snr_db: float | None, noise: float) -> None:
    best = Opinion(FIFTY, True, -1.0, -1.0, 0.0)  # noqa: FBT003 -- its second field
    assert features(best, Yardstick(-1.0, 3, -1.0), snr_db)["noise"] == pytest.approx(noise)


def test_the_match_is_the_logistic_of_the_sum(monkeypatch: pytest.MonkeyPatch) -> None:
    weights = {"constant": 1.0, "written_gap": -2.0}
    monkeypatch.setattr(combining, "calibration", lambda: Calibration({}, weights))
    found = {"constant": 1.0, "written_gap": 1.5, "spelt_gap": 9.0}
    assert match(found) == pytest.approx(1.0 / (1.0 + exp(2.0)))


@given(OPINIONS, YARDSTICKS, SNR)
def test_the_match_is_a_probability(best: Opinion, free: Yardstick, snr_db: float | None) -> None:
    assert 0.0 <= match(features(best, free, snr_db)) <= 1.0


@pytest.mark.parametrize("size", [1e-9, 1.0, 1e3, 1e9, 1e300])
@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_the_match_of_the_extreme_is_a_probability(size: float, sign: float) -> None:
    found = dict.fromkeys(calibration().match, sign * size)
    assert 0.0 <= match(found) <= 1.0


@pytest.mark.parametrize("length", [1, 3, 8])
@pytest.mark.parametrize("opinion", ["written", "spelt"])
def test_the_farther_a_sound_is_bent_the_worse_it_matches(opinion: str, length: int) -> None:
    words = ("volts",) * length

    def matched(gap: float) -> float:
        written = -3.0 - gap if opinion == "written" else -3.0
        spelt = -3.0 - gap if opinion == "spelt" else -3.0
        best = Opinion(words, True, written, spelt, 0.0)  # noqa: FBT003 -- its second field
        return match(features(best, Yardstick(-3.0, length + 1, -3.0), 20.0))

    matches = [matched(0.5 * steps) for steps in range(120)]
    assert matches == sorted(matches, reverse=True)
    assert matches[-1] < matches[0]


def test_letters_at_random_match_worse_than_what_was_said() -> None:
    def matched(heard: str | None) -> float:
        sound = letters(heard) if heard else any_letters(12, 4)
        (best,) = opinions(written({FIFTY: -3.5}), [], sound)
        return match(features(best, Yardstick(-3.0, 3, sound.free_log_prob), None))

    assert matched("f-if-t-y--") > matched("f-if-t-ee-n") > matched("r-ea-d-i-t")
    assert matched("f-if-t-y--") > matched(None)
