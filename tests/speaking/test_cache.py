from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from companion.ports import Clip
from companion.speaking.cache import CachedVoice

if TYPE_CHECKING:
    from pathlib import Path


class CountingVoice:
    """A voice that counts what it is asked for; its samples are the text's characters."""

    def __init__(self, identity: str = "plain") -> None:
        self.identity = identity
        self.rendered: list[str] = []

    def render(self, text: str) -> Clip:
        self.rendered.append(text)
        return Clip(np.array([ord(letter) for letter in text], np.int16), 22_050, text)


def test_a_sentence_is_rendered_once() -> None:
    voice = CountingVoice()
    cached = CachedVoice(voice)
    first, again = cached.render("Hold."), cached.render("Hold.")
    assert voice.rendered == ["Hold."]
    assert again is first


def test_the_sentence_unused_longest_is_forgotten_first() -> None:
    voice = CountingVoice()
    cached = CachedVoice(voice, limit=2)
    for text in "abacab":
        cached.render(text)
    assert voice.rendered == ["a", "b", "c", "b"]


def test_the_folder_keeps_sentences_between_runs(tmp_path: Path) -> None:
    CachedVoice(CountingVoice(), folder=tmp_path / "new" / "voice").render("Hold.")
    later = CountingVoice()
    clip = CachedVoice(later, folder=tmp_path / "new" / "voice").render("Hold.")
    assert later.rendered == []
    assert clip.samples.tolist() == [ord(letter) for letter in "Hold."]
    assert (clip.rate_hz, clip.text) == (22_050, "Hold.")


def test_another_voice_does_not_speak_with_this_ones_clips(tmp_path: Path) -> None:
    CachedVoice(CountingVoice(), folder=tmp_path).render("Hold.")
    other = CountingVoice("deep")
    CachedVoice(other, folder=tmp_path).render("Hold.")
    assert other.rendered == ["Hold."]


def test_the_folder_shows_nothing_of_what_was_said(tmp_path: Path) -> None:
    CachedVoice(CountingVoice(), folder=tmp_path).render("Twelve Elm Street")
    (path,) = tmp_path.iterdir()
    assert "Elm" not in path.name


def test_a_damaged_clip_is_rendered_again(tmp_path: Path) -> None:
    CachedVoice(CountingVoice(), folder=tmp_path).render("Hold.")
    (path,) = tmp_path.iterdir()
    whole = path.read_bytes()
    for damaged in (b"", b"no sound", whole[:20], whole[:-4]):
        path.write_bytes(damaged)
        voice = CountingVoice()
        assert len(CachedVoice(voice, folder=tmp_path).render("Hold.").samples) == 5
        assert voice.rendered == ["Hold."]


def test_a_folder_that_cannot_be_written_costs_time_only(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    clip = CachedVoice(CountingVoice(), folder=tmp_path / "file" / "voice").render("Hold.")
    assert len(clip.samples) == 5


def test_a_cached_voice_speaks_slower_too() -> None:
    class Paced:
        def __init__(self, pace: float = 1.0) -> None:
            self.pace = pace
            self.identity = f"at {pace}"

        def render(self, text: str) -> Clip:
            return Clip(np.zeros(round(1_000 / self.pace), np.int16), 16_000, text)

        def paced(self, factor: float) -> Paced:
            return Paced(self.pace * factor)

    voice = CachedVoice(Paced())
    assert len(voice.paced(0.5).render("done").samples) == 2 * len(voice.render("done").samples)
