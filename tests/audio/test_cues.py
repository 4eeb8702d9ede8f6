from __future__ import annotations

import numpy as np
import pytest

from companion.audio.cues import CUES, cue


@pytest.mark.parametrize("name", CUES)
def test_a_cue_is_short_soft_and_does_not_click(name: str) -> None:
    clip = cue(name)
    loudest = int(np.max(np.abs(clip.samples)))
    assert clip.rate_hz == 22_050
    assert clip.text == ""
    assert 0.05 <= clip.duration_s < 0.15
    assert 3_000 < loudest < 8_300  # -21 to -12 dBFS
    assert abs(int(clip.samples[0])) < 50
    assert abs(int(clip.samples[-1])) < 50
    assert np.max(np.abs(np.diff(clip.samples.astype(int)))) < loudest


def test_cues_differ_and_are_the_same_each_time() -> None:
    sounds = {name: cue(name).samples.tobytes() for name in CUES}
    assert len(set(sounds.values())) == len(CUES)
    assert all(cue(name).samples.tobytes() == sound for name, sound in sounds.items())


@pytest.mark.parametrize("name", ["heard", "not understood", "logged", "attention"])
def test_the_dialogue_finds_the_cues_it_names(name: str) -> None:
    assert name in CUES
