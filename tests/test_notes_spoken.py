"""A note by a synthetic voice, through real endpointing and the real recogniser."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from noted_room import NotedRoom
from rapidfuzz import fuzz
from test_note_taking import is_in

from companion.audio.endpointing import Endpointer
from companion.hearing.bundled import BundledRecogniser
from companion.language.phrasing import phrase
from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Samples

REMARK = "the filter rack is bent on the return side"
ALIKE = 60.0  # rapidfuzz's ratio: words are a best effort, but they are about the remark


def spoken(*lines: str | float) -> Samples:
    """Return lines said by a voice, in a quiet room; a number is a pause of so many seconds."""
    voice = speaker()
    pieces = [
        voice.say(line) if isinstance(line, str) else np.zeros(round(line * 16_000), np.int16)
        for line in lines
    ]
    sound = np.concatenate(pieces)
    noise = np.random.default_rng(0).normal(0, 10, len(sound))
    return np.asarray(np.clip(sound + noise, -32_768, 32_767), np.int16)


@pytest.mark.sound
def test_a_spoken_note_is_kept_bit_for_bit_and_its_words_are_a_best_effort(tmp_path: Path) -> None:
    sound = spoken(2.0, "take a note", 1.5, REMARK, 5.0, "sheet metal", 3.0)
    there = NotedRoom(
        tmp_path / "jobs.sqlite3",
        sound,
        recogniser=BundledRecogniser(),
        endpointer=Endpointer(),
    ).run()
    assert phrase("note.go-ahead") in there.said
    [note] = there.logged("note")
    assert note["ended"] == "silence"
    assert is_in(there.kept(note).samples, sound) > 0
    assert note["words_are"] == "unverified"
    assert fuzz.ratio(note["words"].lower(), REMARK) >= ALIKE, note["words"]
    assert there.logged("choice")  # and then it listens as before


@pytest.mark.sound
def test_end_of_note_and_a_cry_for_help_are_heard_in_a_pause(tmp_path: Path) -> None:
    sound = spoken(
        2.0, "take a note", 1.5, REMARK, 1.8, "end of note", 2.0,
        "make a note", 1.5, "the plenum is rusty", 2.0, "i smell gas", 4.0,
    )  # fmt: skip
    there = NotedRoom(
        tmp_path / "jobs.sqlite3",
        sound,
        recogniser=BundledRecogniser(),
        endpointer=Endpointer(),
    ).run()
    assert [note["ended"] for note in there.logged("note")] == ["end of note", "emergency"]
    assert len(there.logged("emergency")) == 1
