"""What every voice does, run over each one that we have."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.speaking.cache import CachedVoice
from companion.speaking.mouths import TextVoice
from companion.speaking.pyttsx3_voice import Pyttsx3Voice

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Voice

VOICES = ["pyttsx3", "slower", "cached", "cached on disk", "text"]


@pytest.fixture(params=VOICES)
def voice(request: pytest.FixtureRequest, tmp_path: Path) -> Voice:
    match request.param:
        case "pyttsx3":
            return Pyttsx3Voice()
        case "slower":
            return Pyttsx3Voice().paced(0.8)
        case "cached":
            return CachedVoice(Pyttsx3Voice())
        case "cached on disk":
            return CachedVoice(Pyttsx3Voice(), limit=1, folder=tmp_path)
        case _:
            return TextVoice()


def test_a_clip_is_int16_mono_and_knows_its_text(voice: Voice) -> None:
    clip = voice.render("Primary, one one nine volts. Within limits.")
    assert clip.samples.dtype == np.int16
    assert clip.samples.ndim == 1
    assert clip.rate_hz >= 16_000
    assert clip.text == "Primary, one one nine volts. Within limits."


@pytest.mark.parametrize("text", ["", "  ", "...", "\n", "?!"])
def test_nothing_to_say_is_an_empty_clip(voice: Voice, text: str) -> None:
    clip = voice.render(text)
    assert len(clip.samples) == 0
    assert clip.text == text


@pytest.mark.parametrize("text", ["<b> & \"quotes\" 'n' all", "Ω ² – °", "--help", "a\nb", "0.45"])
def test_odd_characters_are_no_trouble(voice: Voice, text: str) -> None:
    assert voice.render(text).text == text


def test_two_sentences_do_not_run_into_one_another(voice: Voice) -> None:
    voice.render("A long sentence about a damper, a transformer and a relay, said first.")
    short = voice.render("Done.")
    assert short.text == "Done."
    assert short.duration_s < 1.5
