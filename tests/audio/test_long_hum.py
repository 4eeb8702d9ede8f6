"""A short word after a long steady hum: the model of voice activity must not have dozed off."""

from __future__ import annotations

import numpy as np
import pytest

from companion.audio.endpointing import Endpointer, SpeechBegan
from companion.audio.voice_activity import FORGET_AFTER_STEPS, STEP_SAMPLES, SileroActivity
from companion.ports import SAMPLE_RATE_HZ, Frame
from companion.rehearsal.hum import active_dbfs, hum
from companion.rehearsal.speakers import speaker


@pytest.mark.sound
def test_a_short_word_is_noticed_after_a_long_hum() -> None:
    word = speaker("espeak:en-us+m3", 1).say("done")
    silence = np.zeros(25 * SAMPLE_RATE_HZ, np.int16)
    after = np.zeros(SAMPLE_RATE_HZ, np.int16)
    said = np.concatenate([silence, word, after, silence, word, after])
    noise = hum(len(said), active_dbfs(word) - 20, seed=7)
    sound = np.clip(said.astype(np.int32) + noise, -32768, 32767).astype(np.int16)
    endpointer, begun = Endpointer(), []
    for event in endpointer.feed(Frame(sound)):
        if isinstance(event, SpeechBegan):
            begun.append(event.at_s)
        if endpointer.is_speaking and getattr(event, "silence_s", 0.0) > 0.5:
            endpointer.close()
    assert [round(at_s) for at_s in begun] == [25, 51]


@pytest.mark.sound
def test_after_four_seconds_without_speech_the_model_hears_as_if_it_began() -> None:
    """Why: after twenty seconds of hum one voice's 'done', 20 dB above it, fell to 0.01."""
    word = speaker("espeak:en-us+f2", 1).say("done")
    steps = [
        word[at : at + STEP_SAMPLES] for at in range(0, len(word) - STEP_SAMPLES, STEP_SAMPLES)
    ]
    dozing, fresh = SileroActivity(), SileroActivity()
    for at in range(FORGET_AFTER_STEPS):
        dozing.probability(hum(STEP_SAMPLES, -40.0, 7, at * STEP_SAMPLES))
    assert [dozing.probability(each) for each in steps] == [
        fresh.probability(each) for each in steps
    ]
