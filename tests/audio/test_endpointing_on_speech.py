"""How well utterances are cut out of real sound, against where the speech was put by hand.

A place is known because each sentence was put there; its own edges are where a frame of 10 ms is
within 35 dB of its loudest. The bounds are what the design needs (a word must not be cut, an
answer must not wait), not what was measured.
"""

from __future__ import annotations

from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.audio.endpointing import Endpointer, Paused, UtteranceSpan
from companion.audio.sound_files import read_sound
from companion.ports import Frame
from companion.rehearsal.hum import hum, mix
from companion.rehearsal.speakers import ESPEAK_VOICES, speaker

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.ports import Samples

pytestmark = pytest.mark.sound
SENTENCES = ("supply static point four five", "done", "line voltage one nineteen", "i smell gas")
LEAD_S, TAIL_S = 1.5, 1.2
PATIENCE_S = 0.6
NOISES = Path(__file__).parents[2] / ".." / "shared" / "speech" / "noise"


def edges_s(said: Samples) -> tuple[float, float]:
    frames = said[: len(said) // 160 * 160].astype(float).reshape(-1, 160)
    level_db = 10 * np.log10(np.mean(frames**2, axis=1) + 1e-9)
    loud = np.flatnonzero(level_db > level_db.max() - 35)
    return float(loud[0]) * 0.01, float(loud[-1] + 1) * 0.01


def spans(sound: Samples) -> list[UtteranceSpan]:
    return list(utterances(sound))


def utterances(sound: Samples) -> Iterator[UtteranceSpan]:
    endpointer = Endpointer()
    for event in chain(endpointer.feed(Frame(sound)), endpointer.flush()):
        if isinstance(event, Paused) and event.silence_s >= PATIENCE_S:
            yield endpointer.close()


@pytest.fixture(scope="module")
def sentences() -> list[Samples]:
    return [speaker(f"espeak:{voice}").say(text) for voice in ESPEAK_VOICES for text in SENTENCES]


@pytest.mark.parametrize("snr_db", [None, 10.0])
def test_each_sentence_is_one_utterance_with_its_true_edges(
    sentences: list[Samples], snr_db: float | None
) -> None:
    late_s, early_s = [], []
    for number, said in enumerate(sentences):
        lead, tail = (np.zeros(round(s * 16_000), np.int16) for s in (LEAD_S, TAIL_S))
        sound = np.concatenate([lead, said, tail])
        (span,) = spans(sound if snr_db is None else mix(sound, snr_db, seed=number % 3))
        first, last = edges_s(said)
        late_s.append(span.end_of_speech_s - LEAD_S - last)
        early_s.append(span.start_s - LEAD_S - first)
        if snr_db is not None:
            assert span.snr_db == pytest.approx(snr_db, abs=5.0)
    assert abs(np.median(late_s)) < 0.060
    assert np.max(np.abs(late_s)) < 0.250
    assert np.max(early_s) < 0.256  # more, and the pre-roll would not reach back to the onset


def test_a_blower_alone_begins_nothing() -> None:
    for seed in range(3):
        assert spans(hum(20 * 16_000, -25.0, seed)) == []


@pytest.mark.skipif(not NOISES.is_dir(), reason="the shared recordings of noise are not here")
def test_recorded_noise_alone_rarely_begins_anything() -> None:
    paths = sorted(NOISES.glob("household_*.flac")) + sorted(NOISES.glob("*air_conditioner.flac"))
    sounds = [read_sound(path)[: 10 * 16_000] for path in paths]
    minutes = sum(len(sound) for sound in sounds) / 16_000 / 60
    assert sum(len(spans(sound)) for sound in sounds) < minutes
