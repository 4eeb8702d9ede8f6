from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import companion
from companion.errors import VoiceError
from companion.rehearsal.speakers import (
    DEFAULT_SPEAKER,
    ESPEAK_VOICES,
    FESTIVAL_VOICES,
    FLITE_VOICES,
    available_speakers,
    speaker,
)

SENTENCE = "supply static point four five"
EVERY_SPEAKER = [
    *(f"espeak:{voice}" for voice in ESPEAK_VOICES),
    *(f"flite:{voice}" for voice in FLITE_VOICES),
    *(f"festival:{voice}" for voice in FESTIVAL_VOICES),
]


@pytest.mark.parametrize("name", EVERY_SPEAKER)
def test_a_speaker_says_a_sentence_at_one_loudness_without_silence_around(name: str) -> None:
    if name not in available_speakers():
        pytest.skip(f"{name} is not on this machine")
    said = speaker(name).say(SENTENCE)
    loud = np.flatnonzero(np.abs(said.astype(int)) > 60)
    assert said.dtype == np.int16
    assert 1.5 < len(said) / 16_000 < 4.0
    assert 12_000 < np.max(np.abs(said)) < 20_000
    assert loud[0] < 0.010 * 16_000
    assert len(said) - loud[-1] < 0.050 * 16_000


def test_the_default_works_from_the_wheels_alone_and_comes_first() -> None:
    assert available_speakers()[0] == DEFAULT_SPEAKER
    assert len(available_speakers()) >= 5
    assert len(speaker().say(SENTENCE)) > 16_000


def test_a_sentence_depends_on_nothing_but_name_seed_and_words() -> None:
    first = speaker(seed=7).say(SENTENCE)
    speaker(seed=7).say("Something else entirely was said in between.")
    assert np.array_equal(speaker(seed=7).say(SENTENCE), first)


def test_seeds_vary_pace_and_pitch_slightly() -> None:
    lengths = {len(speaker(seed=seed).say(SENTENCE)) for seed in range(6)}
    assert len(lengths) >= 4
    assert max(lengths) < 1.3 * min(lengths)


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("espeak:nobody", "eSpeak NG has no voice 'nobody'. Use one of these: en-us+m3"),
        ("espeak:en-us+nobody", "no voice 'en-us+nobody'"),
        ("flute:slt", "There is no speaker 'flute:slt'. Use one of these: espeak:en-us+m3"),
        ("espeak", "There is no speaker 'espeak'"),
        ("espeak:", "There is no speaker 'espeak:'"),
    ],
)
def test_an_unknown_speaker_is_told_with_some_that_exist(name: str, says: str) -> None:
    with pytest.raises(VoiceError) as caught:
        speaker(name)
    assert says in str(caught.value)


@pytest.mark.skipif(shutil.which("flite") is None, reason="flite is not on this machine")
def test_flite_tells_its_voices() -> None:
    with pytest.raises(VoiceError, match="flite has no voice 'nobody'"):
        speaker("flite:nobody")


@pytest.mark.skipif(shutil.which("text2wave") is None, reason="festival is not on this machine")
def test_festival_tells_its_voices() -> None:
    with pytest.raises(VoiceError, match="festival has no voice 'nobody'"):
        speaker("festival:nobody")


@pytest.mark.parametrize(
    ("name", "package"), [("flite:slt", "flite"), ("festival:kal_diphone", "festival")]
)
def test_an_absent_program_is_named_with_its_package(name: str, package: str) -> None:
    program = f"""
from companion.errors import VoiceError
from companion.rehearsal.speakers import available_speakers, speaker
try:
    speaker({name!r})
except VoiceError as error:
    print(error)
print(all(each.startswith("espeak:") for each in available_speakers()))
"""
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=True,
        env={"PATH": "", "PYTHONPATH": str(Path(companion.__file__).parents[1])},
    )
    said, only_espeak = done.stdout.splitlines()
    assert said.endswith(f"Install it: sudo apt-get install {package}.")
    assert only_espeak == "True"
