"""What every recogniser does, run over each one that we have."""

from __future__ import annotations

from functools import cache
from itertools import pairwise
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soxr
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.hearing.bundled import BundledRecogniser
from companion.language.compose import compose
from companion.language.sentences import accepts
from companion.ports import (
    ChoiceVocabulary,
    Completeness,
    Frame,
    Hearing,
    Partial,
    PointVocabulary,
    Recogniser,
    Scope,
)
from companion.speaking.pyttsx3_voice import Pyttsx3Voice

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from companion.ports import Samples

pytestmark = pytest.mark.sound

RATE_HZ = 16_000
POINT = PointVocabulary("supply-static", ("supply static",), "inH2O", awaited=True)
READINGS = compose(Scope("readings", commands=False, questions=False, points=(POINT,))).grammar
METAL = ChoiceVocabulary("duct", (("metal", ("sheet metal",)), ("board", ("duct board",))))
CHOICE = compose(Scope("choice", commands=False, questions=False, choice=METAL)).grammar
EVERYTHING = compose(Scope("everything", points=(POINT,))).grammar
FOUR_FIVE = "supply static point four five"

RECOGNISERS = {"bundled": BundledRecogniser}


@cache
def made(name: str) -> Recogniser:
    return RECOGNISERS[name]()


@pytest.fixture(params=sorted(RECOGNISERS), scope="module")
def shared(request: pytest.FixtureRequest) -> Recogniser:
    return made(request.param)


@pytest.fixture
def recogniser(shared: Recogniser) -> Recogniser:
    shared.reset()
    shared.listen_for(READINGS, None)
    return shared


def hiss(samples: int) -> Samples:
    return np.random.default_rng(2).normal(0.0, 8.0, samples).astype(np.int16)


@cache
def said(text: str) -> Samples:
    clip = Pyttsx3Voice().render(text)
    speech = soxr.resample(clip.samples, clip.rate_hz, RATE_HZ)
    return np.asarray(speech + hiss(len(speech)), np.int16)


def utterance(text: str) -> list[tuple[Samples, bool]]:
    """Stretches of sound, and whether they are voiced."""
    pause = hiss(RATE_HZ // 4)
    return [(pause, False), (said(text), True), (pause, False)]


def cut(stretches: Iterable[tuple[Samples, bool]], sizes: Sequence[int]) -> list[Frame]:
    """The stretches in frames of these sizes, over and over."""
    frames, turn = [], 0
    for sound, voiced in stretches:
        at = 0
        while at < len(sound):
            size = sizes[turn % len(sizes)]
            frames.append(Frame(sound[at : at + size], voiced))
            at, turn = at + size, turn + 1
    return frames


def heard(
    recogniser: Recogniser, text: str, sizes: Sequence[int] = (480,)
) -> tuple[list[Partial], Hearing]:
    partials = [p for f in cut(utterance(text), sizes) if (p := recogniser.feed(f))]
    return partials, recogniser.finish()


def same_but_for_times(one: Hearing, other: Hearing) -> bool:
    """Times count from the start of the stream, which one recogniser has fed on."""
    return (one.alternatives, one.free, one.gap, one.noise_dbfs, one.snr_db) == (
        other.alternatives,
        other.free,
        other.gap,
        other.noise_dbfs,
        other.snr_db,
    )


def test_a_sentence_of_the_grammar_is_heard(recogniser: Recogniser) -> None:
    _, hearing = heard(recogniser, FOUR_FIVE)
    assert hearing.words == tuple(FOUR_FIVE.split())
    assert hearing.match > 0.5


@pytest.mark.parametrize("text", [FOUR_FIVE, "what a lovely day", "sheet metal", "nine"])
def test_only_sentences_of_the_grammar_are_heard(recogniser: Recogniser, text: str) -> None:
    _, hearing = heard(recogniser, text)
    for alternative in hearing.alternatives:
        assert any(accepts(part, alternative.words) for part in READINGS.parts)


def test_alternatives_are_distinct_and_the_best_comes_first(recogniser: Recogniser) -> None:
    _, hearing = heard(recogniser, FOUR_FIVE)
    assert len(hearing.alternatives) >= 2
    assert len({alternative.words for alternative in hearing.alternatives}) == len(
        hearing.alternatives
    )
    for better, worse in pairwise(hearing.alternatives):
        assert better.log_prob >= worse.log_prob
    assert all(0.0 <= alternative.match <= 1.0 for alternative in hearing.alternatives)
    assert hearing.gap >= 0.0


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.integers(1, 5000), min_size=1, max_size=5))
def test_any_split_of_the_sound_gives_the_same_hearing(
    recogniser: Recogniser, sizes: list[int]
) -> None:
    _, whole = heard(recogniser, FOUR_FIVE, (10_000_000,))
    _, split = heard(recogniser, FOUR_FIVE, sizes)
    assert same_but_for_times(whole, split)


def test_partials_come_at_the_same_words_for_any_split_finer_than_a_pause(
    recogniser: Recogniser,
) -> None:
    told = [heard(recogniser, FOUR_FIVE, sizes)[0] for sizes in ((160,), (512,), (37, 1500))]
    assert told[0] == told[1] == told[2]
    assert told[0][-1].words == tuple(FOUR_FIVE.split())


def test_a_sentence_cut_short_is_incomplete(recogniser: Recogniser) -> None:
    partials, _ = heard(recogniser, "supply static zero point")
    assert partials[-1].completeness is Completeness.INCOMPLETE


@pytest.mark.parametrize("sound", [np.zeros(RATE_HZ, np.int16), hiss(RATE_HZ)])
def test_silence_gives_an_empty_hearing(recogniser: Recogniser, sound: Samples) -> None:
    assert [recogniser.feed(frame) for frame in cut([(sound, False)], (480,))] == [None] * 34
    hearing = recogniser.finish()
    assert hearing.alternatives == ()
    assert hearing.words == ()
    assert hearing.match == 0.0


def test_nothing_at_all_gives_an_empty_hearing(recogniser: Recogniser) -> None:
    assert recogniser.finish().alternatives == ()


def test_noise_is_measured_where_nobody_speaks(recogniser: Recogniser) -> None:
    _, hearing = heard(recogniser, FOUR_FIVE)
    # hiss() has a standard deviation of 8 (and rounds towards zero): about -72 dBFS
    assert hearing.noise_dbfs is not None
    assert -75.0 < hearing.noise_dbfs < -70.0
    assert hearing.snr_db is not None
    assert hearing.snr_db > 30.0


def test_reset_forgets_what_was_begun(recogniser: Recogniser) -> None:
    _, alone = heard(recogniser, FOUR_FIVE)
    for frame in cut(utterance("nine nine nine"), (480,)):
        recogniser.feed(frame)
    recogniser.reset()
    _, after = heard(recogniser, FOUR_FIVE)
    assert same_but_for_times(alone, after)


def test_finishing_begins_anew(recogniser: Recogniser) -> None:
    first = heard(recogniser, FOUR_FIVE)[1]
    second = heard(recogniser, FOUR_FIVE)[1]
    assert same_but_for_times(first, second)
    assert second.start_s > first.end_s


def test_another_grammar_holds_from_the_next_utterance_on(recogniser: Recogniser) -> None:
    recogniser.listen_for(CHOICE, None)
    assert heard(recogniser, "sheet metal")[1].words == ("sheet", "metal")
    recogniser.listen_for(READINGS, None)
    assert heard(recogniser, FOUR_FIVE)[1].words == tuple(FOUR_FIVE.split())


def test_a_grammar_seen_before_is_taken_within_50_ms(recogniser: Recogniser) -> None:
    # source: DESIGN.md section 4, `listen_for`
    for grammar in (EVERYTHING, READINGS):
        recogniser.listen_for(grammar, None)
    took_s = []
    for grammar in (EVERYTHING, READINGS, EVERYTHING):
        began = perf_counter()
        recogniser.listen_for(grammar, None)
        took_s.append(perf_counter() - began)
    assert min(took_s) < 0.05
