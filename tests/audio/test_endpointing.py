"""The state machine under a scripted voice activity, where every time is known by construction."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.audio.endpointing import (
    STEP_S,
    Endpointer,
    Endpointing,
    Event,
    Paused,
    Sound,
    SpeechBegan,
    TooLong,
    UtteranceSpan,
)
from companion.audio.voice_activity import STEP_SAMPLES, SileroActivity
from companion.ports import Frame

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from companion.ports import Samples

VOICED, SOFT, QUIET = 10_000, 450, 100


class LoudIsSpeech:
    """A voice activity that can be scripted: a step's probability is its first sample / 1000."""

    def probability(self, step: Samples) -> float:
        assert len(step) == STEP_SAMPLES
        return min(1.0, float(step[0]) / 1_000)


def script(*parts: tuple[int, int]) -> Samples:
    """Sound of (value, steps) parts."""
    return np.concatenate(
        [np.full(steps * STEP_SAMPLES, value, np.int16) for value, steps in parts]
    )


def split(sound: Samples, cuts: Iterable[int]) -> list[Frame]:
    places = sorted({0, len(sound), *(cut % (len(sound) + 1) for cut in cuts)})
    return [Frame(sound[a:b]) for a, b in itertools.pairwise(places)]


def cut_out(
    frames: Sequence[Frame], patience_s: float = 0.4, endpointer: Endpointer | None = None
) -> tuple[list[Event], list[UtteranceSpan]]:
    """Do as the loop does: close at the first pause that is long enough, or when it is too long."""
    endpointer = endpointer or Endpointer(LoudIsSpeech())
    happened: list[Event] = []
    spans: list[UtteranceSpan] = []

    def take(events: Iterable[Event]) -> None:
        for event in events:
            happened.append(event)
            ended = isinstance(event, Paused) and event.silence_s >= patience_s
            if ended or isinstance(event, TooLong):
                spans.append(endpointer.close())

    for frame in frames:
        take(endpointer.feed(frame))
    take(endpointer.flush())
    return happened, spans


def heard(events: Iterable[Event]) -> Samples:
    return np.concatenate([event.frame.samples for event in events if isinstance(event, Sound)])


def test_an_utterance_is_cut_out_with_its_pre_roll() -> None:
    sound = script((QUIET, 40), (VOICED, 20), (QUIET, 40))
    events, spans = cut_out([Frame(sound)])
    assert events[0] == SpeechBegan(40 * STEP_S)
    assert [event.frame.voiced for event in events if isinstance(event, Sound)] == (
        [False] * 8 + [True] * 20 + [False] * 11
    )
    (span,) = spans
    assert span.start_s == 40 * STEP_S
    # The model notices an end late, so two steps are taken off the last voiced one.
    assert span.end_of_speech_s == pytest.approx(58 * STEP_S)
    assert span.closed_s == pytest.approx(71 * STEP_S)  # 13 steps of silence are 0.416 s
    assert span.noise_dbfs == pytest.approx(20 * math.log10(QUIET / 32_768), abs=0.01)
    assert span.speech_dbfs == pytest.approx(20 * math.log10(VOICED / 32_768), abs=0.01)
    assert span.snr_db == pytest.approx(40.0, abs=0.01)


def test_every_step_of_silence_within_an_utterance_is_told() -> None:
    events, _ = cut_out([Frame(script((VOICED, 5), (QUIET, 20)))])
    pauses = [event for event in events if isinstance(event, Paused)]
    assert [round(pause.silence_s / STEP_S) for pause in pauses] == list(range(3, 14))
    assert [round(pause.at_s / STEP_S) for pause in pauses] == list(range(6, 17))


@pytest.mark.parametrize("steps", [1, 2])
def test_a_click_begins_nothing(steps: int) -> None:
    events, spans = cut_out([Frame(script((QUIET, 10), (VOICED, steps), (QUIET, 30)))])
    assert events == []
    assert spans == []


def test_a_soft_stretch_neither_begins_nor_ends_an_utterance() -> None:
    assert cut_out([Frame(script((QUIET, 9), (SOFT, 30), (QUIET, 30)))]) == ([], [])
    _, spans = cut_out([Frame(script((VOICED, 5), (SOFT, 30), (VOICED, 5), (QUIET, 30)))])
    assert len(spans) == 1


def test_a_pause_shorter_than_patience_keeps_the_utterance_whole() -> None:
    _, spans = cut_out([Frame(script((VOICED, 9), (QUIET, 8), (VOICED, 9), (QUIET, 30)))])
    assert len(spans) == 1


def test_speech_right_after_a_close_is_the_next_utterance_and_nothing_is_lost() -> None:
    sound = script((VOICED, 9), (QUIET, 11), (VOICED, 9), (QUIET, 30))
    events, spans = cut_out([Frame(sound)])
    assert [span.start_s for span in spans] == [0.0, pytest.approx(20 * STEP_S)]
    began = [place for place, event in enumerate(events) if isinstance(event, SpeechBegan)]
    second = heard(events[began[1] :])
    pre_roll = second[: 8 * STEP_SAMPLES]
    assert set(pre_roll) == {QUIET}
    assert set(second[8 * STEP_SAMPLES : 17 * STEP_SAMPLES]) == {VOICED}


def test_closed_at_the_first_pause_the_next_word_is_still_heard_from_its_start() -> None:
    sound = script((VOICED, 9), (QUIET, 1), (VOICED, 9), (QUIET, 30))
    events, spans = cut_out([Frame(sound)], patience_s=0.09)
    assert len(spans) == 2
    assert np.array_equal(heard(events)[: 19 * STEP_SAMPLES].nonzero()[0], np.arange(19 * 512))
    assert spans[1].start_s == pytest.approx(10 * STEP_S)


def test_speech_without_end_is_too_long_and_goes_on_as_the_next_utterance() -> None:
    sound = script((VOICED, round(30 / STEP_S)), (QUIET, 30))
    _, spans = cut_out([Frame(sound)])
    assert [round(span.closed_s - span.start_s) for span in spans] == [12, 12, 6]
    assert spans[1].start_s == pytest.approx(spans[0].closed_s)


def test_too_long_is_told_until_it_is_closed() -> None:
    endpointer = Endpointer(LoudIsSpeech(), Endpointing(longest_s=1.0))
    events = list(endpointer.feed(Frame(script((VOICED, 40)))))
    assert sum(isinstance(event, TooLong) for event in events) == 40 - 32 + 1


def test_the_end_of_the_stream_is_a_pause_without_end() -> None:
    sound = np.concatenate([script((QUIET, 9), (VOICED, 9)), np.full(100, VOICED, np.int16)])
    events, spans = cut_out([Frame(sound)])
    assert isinstance(events[-1], Paused)
    assert math.isinf(events[-1].silence_s)
    assert len(spans) == 1
    assert np.count_nonzero(heard(events) == VOICED) == 9 * STEP_SAMPLES + 100


def test_events_that_nobody_asked_for_come_with_the_next_call() -> None:
    sound = script((QUIET, 9), (VOICED, 9), (QUIET, 30))
    whole, _ = cut_out([Frame(sound)])
    endpointer = Endpointer(LoudIsSpeech())
    first = next(endpointer.feed(Frame(sound)))
    rest = list(endpointer.feed(Frame(np.zeros(0, np.int16))))
    assert first == whole[0]
    assert np.array_equal(heard(rest[: len(whole) - 1]), heard(whole))


def test_close_without_an_utterance_is_a_fault_of_the_caller() -> None:
    with pytest.raises(RuntimeError, match="without an utterance"):
        Endpointer(LoudIsSpeech()).close()


def test_the_noise_floor_is_not_learnt_from_the_edges_of_words() -> None:
    sound = script((QUIET, 30), (VOICED, 9), (390, 8), (QUIET, 20), (VOICED, 5), (QUIET, 30))
    _, spans = cut_out([Frame(sound)], patience_s=0.1)
    expected = pytest.approx(20 * math.log10(QUIET / 32_768), abs=0.01)
    assert [span.noise_dbfs for span in spans] == [expected, expected]


def test_speech_from_the_first_sample_takes_its_quietest_step_as_noise() -> None:
    _, (span,) = cut_out([Frame(script((VOICED, 9), (200, 40)))])
    assert span.noise_dbfs == pytest.approx(20 * math.log10(200 / 32_768), abs=0.01)


def comparable(events: Iterable[Event]) -> list[object]:
    return [
        (event.frame.voiced, event.frame.samples.tobytes()) if isinstance(event, Sound) else event
        for event in events
    ]


PARTS = st.lists(
    st.tuples(st.sampled_from([VOICED, SOFT, QUIET]), st.integers(1, 30)), min_size=1, max_size=8
)


@given(parts=PARTS, cuts=st.lists(st.integers(0, 10**6), max_size=40), odd=st.integers(0, 511))
def test_any_split_into_frames_gives_the_same_utterances(
    parts: list[tuple[int, int]], cuts: list[int], odd: int
) -> None:
    sound = script(*parts)[odd:]
    whole, spans = cut_out([Frame(sound)])
    pieces, spans_of_pieces = cut_out(split(sound, cuts))
    assert spans_of_pieces == spans
    assert comparable(pieces) == comparable(whole)


@given(parts=PARTS)
def test_what_is_heard_is_a_part_of_the_sound_in_its_order(parts: list[tuple[int, int]]) -> None:
    """Each utterance is one unbroken piece, and no two overlap."""
    sound = script(*parts) + np.arange(sum(n for _, n in parts) * 512, dtype=np.int16) % 7
    events, spans = cut_out([Frame(sound)])
    after = 0
    for number, span in enumerate(spans):
        began = [i for i, event in enumerate(events) if isinstance(event, SpeechBegan)]
        end = began[number + 1] if number + 1 < len(began) else len(events)
        piece = heard(events[began[number] : end])
        stop = round(span.closed_s * 16_000)
        assert np.array_equal(piece, sound[stop - len(piece) : stop])
        assert stop - len(piece) >= after
        assert stop - len(piece) <= round(span.start_s * 16_000)
        after = round(span.start_s * 16_000)


@pytest.mark.sound
@settings(max_examples=8, deadline=None)
@given(sizes=st.lists(st.integers(1, 4_000), min_size=1, max_size=60))
def test_any_split_of_real_speech_gives_the_same_utterances(
    sizes: list[int], spoken: Samples
) -> None:
    whole, spans = cut_out([Frame(spoken)], endpointer=Endpointer(SileroActivity()))
    pieces, spans_of_pieces = cut_out(
        split(spoken, np.cumsum(sizes).tolist()), endpointer=Endpointer(SileroActivity())
    )
    assert len(spans) == 2
    assert spans_of_pieces == spans
    assert comparable(pieces) == comparable(whole)
