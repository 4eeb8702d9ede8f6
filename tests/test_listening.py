"""From frames to hearings: real endpointing, a recogniser of levels, the real patience."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tones import LevelActivity, ToneRecogniser, room, spelled

from companion.audio.endpointing import STEP_S, Endpointer
from companion.language.compose import Language, compose
from companion.language.patience import patience
from companion.listening import Listened, Listener, Onset, Overlong, Utterance
from companion.ports import (
    SAMPLE_RATE_HZ,
    ChoiceVocabulary,
    Completeness,
    Expectation,
    Frame,
    Partial,
    PointVocabulary,
    Scope,
)

if TYPE_CHECKING:
    from companion.ports import Samples

SAID = ("i'm done", "sheet metal", "supply point four", "supply")
METAL = ChoiceVocabulary("duct", (("metal", ("sheet metal",)), ("board", ("duct board",))))
POINT = PointVocabulary("supply-static", ("supply",), "inH2O")
STEPS = compose(Scope("steps", points=(POINT,)))
CHOICE = compose(Scope("choice", commands=False, questions=False, choice=METAL))


def listener(language: Language = STEPS) -> tuple[Listener, ToneRecogniser]:
    recogniser = ToneRecogniser(SAID)
    return Listener(Endpointer(LevelActivity()), recogniser, language), recogniser


def heard(sound: Samples, language: Language = STEPS) -> list[Listened]:
    listening, _ = listener(language)
    return [*listening.feed(Frame(sound)), *listening.flush()]


def utterances(found: list[Listened]) -> list[Utterance]:
    return [each for each in found if isinstance(each, Utterance)]


def test_an_onset_is_told_while_it_is_still_being_spoken() -> None:
    listening, _ = listener()
    speech = spelled("i'm done", SAID, 1.0)
    [onset] = listening.feed(Frame(np.concatenate([room(1), speech[:4_000]])))
    assert isinstance(onset, Onset)
    assert onset.at_s == pytest.approx(1.0, abs=2 * STEP_S)


def test_utterances_are_heard_one_by_one_with_their_times() -> None:
    sound = np.concatenate(
        [room(1), spelled("i'm done", SAID), room(1), spelled("supply", SAID, 0.5), room(2)]
    )
    first, second = utterances(heard(sound))
    assert first.hearing.words == ("i'm", "done")
    assert second.hearing.words == ()  # no sentence of its own
    assert second.hearing.free == "supply"
    lag_s = 3 * STEP_S  # what endpointing takes off for a voice that ends late, and a step
    assert first.hearing.start_s == pytest.approx(1.0, abs=STEP_S)
    assert first.hearing.end_s == pytest.approx(1.6, abs=lag_s)
    assert second.hearing.start_s == pytest.approx(2.6, abs=STEP_S)
    assert first.hearing.noise_dbfs is not None
    assert first.hearing.noise_dbfs < -60
    assert first.hearing.snr_db is not None
    assert first.hearing.snr_db > 30


@pytest.mark.parametrize(
    ("sentence", "state"),
    [
        ("i'm done", Completeness.CLOSED),
        ("supply point four", Completeness.MAY_GO_ON),
        ("supply", Completeness.INCOMPLETE),
    ],
)
def test_it_waits_as_long_as_the_words_ask_for_and_no_longer(
    sentence: str, state: Completeness
) -> None:
    sound = np.concatenate([room(1), spelled(sentence, SAID), room(3)])
    (only,) = utterances(heard(sound))
    waits_s = patience(Partial(tuple(sentence.split()), state, 0.95), only.span.noise_dbfs)
    waited_s = only.span.closed_s - only.span.end_of_speech_s
    assert waits_s <= waited_s < waits_s + 2 * STEP_S


def test_a_language_asked_for_while_someone_speaks_is_for_the_next_utterance() -> None:
    listening, recogniser = listener(CHOICE)
    speech = spelled("sheet metal", SAID, 1.0)
    found = list(listening.feed(Frame(np.concatenate([room(1), speech[:8_000]]))))
    listening.listen_for(STEPS)
    assert recogniser.asked == [("choice", "")]
    found += listening.feed(Frame(np.concatenate([speech[8_000:], room(1)])))
    assert recogniser.asked == [("choice", ""), ("steps", "")]
    found += listening.feed(Frame(np.concatenate([spelled("i'm done", SAID), room(1)])))
    first, second = utterances(found)
    assert (first.hearing.words, first.language.scope.name) == (("sheet", "metal"), "choice")
    assert (second.hearing.words, second.language.scope.name) == (("i'm", "done"), "steps")


def test_between_utterances_a_language_is_taken_at_once_with_what_is_expected() -> None:
    listening, recogniser = listener(CHOICE)
    listening.listen_for(STEPS, Expectation("supply-static", "inH2O", 0.0, 2.0))
    assert recogniser.asked[-1] == ("steps", "supply-static")


def test_of_two_languages_asked_for_in_one_utterance_the_last_counts() -> None:
    listening, recogniser = listener(CHOICE)
    list(listening.feed(Frame(np.concatenate([room(1), spelled("sheet metal", SAID)]))))
    listening.listen_for(STEPS)
    listening.listen_for(CHOICE)
    list(listening.feed(Frame(room(1))))
    assert recogniser.asked == [("choice", ""), ("choice", "")]


def test_the_end_of_the_stream_ends_what_was_being_said() -> None:
    (only,) = utterances(heard(np.concatenate([room(1), spelled("i'm done", SAID)])))
    assert only.hearing.words == ("i'm", "done")


def test_too_long_a_speech_is_dropped_and_the_next_one_heard_by_itself() -> None:
    speech = spelled("sheet metal", SAID, 12.2)
    sound = np.concatenate([room(1), speech, room(1.5), spelled("i'm done", SAID), room(1.5)])
    found = heard(sound)
    dropped = [each for each in found if isinstance(each, Overlong)]
    assert [each.at_s for each in dropped] == [pytest.approx(13.0, abs=0.2)]
    assert [each.hearing.words for each in utterances(found)] == [("i'm", "done")]


def test_the_end_of_too_long_a_speech_is_no_command() -> None:
    sound = np.concatenate([room(1), spelled("i'm done", SAID, 13.0), room(2)])
    assert [type(each) for each in heard(sound)] == [Onset, Overlong]
    assert [type(each) for each in heard(sound[: 13 * 16_000])] == [
        Onset,
        Overlong,
    ]  # flushed in it


def test_a_language_asked_for_in_a_speech_that_is_dropped_is_taken_after_it() -> None:
    listening, recogniser = listener(CHOICE)
    list(listening.feed(Frame(np.concatenate([room(1), spelled("sheet metal", SAID, 2.0)]))))
    listening.listen_for(STEPS)
    found = list(listening.feed(Frame(spelled("sheet metal", SAID, 10.5))))
    assert [type(each) for each in found] == [Overlong]
    assert recogniser.asked == [("choice", "")]
    list(listening.feed(Frame(room(1))))
    assert recogniser.asked == [("choice", ""), ("steps", "")]


def test_silence_is_nothing() -> None:
    assert heard(room(3)) == []
    assert heard(np.zeros(48_000, np.int16)) == []
    assert heard(np.zeros(0, np.int16)) == []


def test_the_time_that_decoding_took_is_told() -> None:
    (only,) = utterances(heard(np.concatenate([room(1), spelled("i'm done", SAID), room(1)])))
    assert only.decoding_s >= only.late_s >= 0.0
    assert only.decoding_s < 1.0


WHOLE = np.concatenate(
    [room(0.8), spelled("i'm done", SAID), room(0.7), spelled("supply point four", SAID), room(1)]
)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.integers(0, len(WHOLE)), max_size=20))
def test_any_split_of_the_sound_is_heard_alike(cuts: list[int]) -> None:
    whole = [(each.hearing, each.span) for each in utterances(heard(WHOLE))]
    listening, _ = listener()
    found: list[Listened] = []
    for piece in np.split(WHOLE, sorted(cuts)):
        found.extend(listening.feed(Frame(piece)))
    found.extend(listening.flush())
    assert [(each.hearing, each.span) for each in utterances(found)] == whole
    assert len(WHOLE) > SAMPLE_RATE_HZ
