"""The whole listening test on recorded synthetic speech: compared, told, the better one kept."""

from __future__ import annotations

import json
from contextlib import nullcontext
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.ports import SAMPLE_RATE_HZ, Frame
from companion.rehearsal.speakers import speaker
from companion.selftest import listening_test as made
from companion.selftest.listening_test import Result, engines, listening_test
from companion.selftest.phrases import phrases
from companion.selftest.told import as_json, as_text
from companion.settings import Settings, load_settings, save_settings

if TYPE_CHECKING:
    from collections.abc import Iterator, Sized
    from pathlib import Path

    from companion.ports import Samples
    from companion.selftest.scoring import Score

READ = 11  # phrases: more than the least that is judged by
VOICE = "espeak:en-us+f2"


@pytest.fixture(autouse=True, scope="module")
def at_home(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Let nothing reach the user's own settings."""
    folder = tmp_path_factory.mktemp("config")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_CONFIG_HOME", str(folder))
        yield folder


@dataclass
class Recorded:
    """An ear for a recording."""

    sound: Samples

    def frames(self) -> Iterator[Frame]:
        for start in range(0, len(self.sound), 320):
            yield Frame(self.sound[start : start + 320])


def room(seconds: float) -> Samples:
    noise = np.random.default_rng(7).normal(0, 12, round(seconds * SAMPLE_RATE_HZ))
    return noise.astype(np.int16)


@pytest.fixture(scope="module")
def result() -> Result:
    """Some of the phrases, read by a synthetic speaker; no Vosk model where Vosk is told to be."""
    voice = speaker(VOICE)
    read = [
        piece
        for phrase in phrases()[:READ]
        for piece in (room(1.0), voice.say(" ".join(phrase.words)), room(1.6))
    ]
    ear = Recorded(np.concatenate([*read, room(1.0)]))
    settings = Settings(vosk_model="/no/such/model")
    return listening_test(lambda: nullcontext(ear), settings, lambda _: None)


@pytest.mark.sound
def test_every_recogniser_that_can_hears_all_that_was_read(result: Result) -> None:
    assert result.asked == 20
    assert len(result.takes) == READ
    assert {score.engine for score in result.scores} == {"bundled", "bundled-original"}
    assert list(result.unusable) == ["vosk"]
    for score in result.scores:
        counts = [score.count(taken) for taken in ("right", "wrong", "asked", "missed")]
        assert sum(counts) == len(score.heard) == READ
        # Loose: a synthetic voice is heard, not how well. Patience alone is 0.3 s and more.
        assert score.count("right") >= READ // 3
        assert score.responses_s
        assert 0.3 < score.responses_s[0] < 3.0
    assert [score.rank for score in result.scores] == sorted(s.rank for s in result.scores)


@pytest.mark.sound
def test_level_noise_and_clipping_are_those_of_the_recording(result: Result) -> None:
    assert result.level
    # Hiss of 12 root mean square: 20 log10(12 / 32,768) = -68.7 dBFS.
    assert result.level.noise_dbfs == pytest.approx(-68.7, abs=2.0)
    assert -30 < result.level.speech_dbfs < -10
    assert result.level.clipped_share == 0.0


@pytest.mark.sound
def test_it_is_told_as_a_table_and_as_json(result: Result) -> None:
    text = as_text(result)
    assert f"Read: {READ} of 20 phrases." in text
    for score in result.scores:
        rate = score.accuracy
        assert f"{rate.hits} of {rate.of} (" in text
    assert "vosk              not compared: " in text
    assert "% clipped" in text
    told = json.loads(json.dumps(as_json(result)))
    assert told["read"] == READ
    assert set(told["phrases"][0]["heard"]) == {"bundled", "bundled-original"}
    assert told["kept"] == told["before"] == "bundled"
    assert told["recognisers"][0]["accuracy"]["of"] == READ
    assert set(told["level"]) == {"speech_dbfs", "noise_dbfs", "snr_db", "clipped_share"}


@pytest.mark.sound
def test_what_was_taken_wrong_is_named(result: Result) -> None:
    best = result.scores[0]
    wrong = replace(best.heard[0], taken="wrong", sentence="supply static point five")
    worse = replace(best, heard=(wrong, *best.heard[1:]))
    text = as_text(replace(result, scores=(worse,)))
    assert f'{best.engine} took "supply static point four five" as "supply static point five".' in (
        text
    )


@pytest.mark.sound
def test_the_better_one_is_kept_and_the_way_back_told(
    result: Result, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The comparison is replaced by one with a known outcome; the rest is real."""
    good, other = result.scores
    wrong = tuple(replace(each, taken="wrong") for each in other.heard)
    scores = (
        replace(good, engine="bundled-original"),
        replace(other, engine="bundled", heard=wrong),
    )

    def compared(_: object, __: object, read: Sized) -> tuple[tuple[Score, ...], dict[str, str]]:
        return tuple(replace(each, heard=each.heard[: len(read)]) for each in scores), {}

    monkeypatch.setattr(made, "compared", compared)
    monkeypatch.setattr(made, "takes", lambda *_: result.takes)
    kept = Settings(microphone="Left ear")
    save_settings(kept)
    changed = listening_test(lambda: nullcontext(Recorded(room(0.1))), kept, lambda _: None)
    assert changed.now == "bundled-original"
    assert load_settings() == replace(kept, recogniser="bundled-original")
    assert "Change back with: companion models use bundled" in as_text(changed)

    monkeypatch.setattr(made, "takes", lambda *_: result.takes[:9])
    few = listening_test(lambda: nullcontext(Recorded(room(0.1))), kept, lambda _: None)
    assert few.now == "bundled"
    assert "fewer than 10 phrases tell nothing" in as_text(few)


def test_vosk_is_compared_where_a_model_was_chosen() -> None:
    assert engines(Settings()) == ("bundled", "bundled-original")
    assert engines(Settings(vosk_model="/a/model")) == ("bundled", "bundled-original", "vosk")


@pytest.mark.sound
def test_nothing_read_is_told_and_changes_nothing() -> None:
    nothing = listening_test(lambda: nullcontext(Recorded(room(0.5))), Settings(), lambda _: None)
    assert nothing.scores == ()
    assert as_text(nothing) == "Read: 0 of 20 phrases."
    assert as_json(nothing)["level"] is None
