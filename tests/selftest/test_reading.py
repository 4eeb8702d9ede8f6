"""Phrases read aloud by synthetic speakers, as frames of a stream: shown, waited for, kept."""

from __future__ import annotations

import shutil
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.errors import DeviceError
from companion.loop import recogniser_for
from companion.ports import SAMPLE_RATE_HZ, Frame
from companion.rehearsal.speakers import speaker
from companion.selftest.phrases import phrases
from companion.selftest.reading import NOTHING_FOR_S, takes
from companion.settings import Settings

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.ports import Recogniser, Samples

SPEAKERS = ("espeak:en-us+m3", "flite:slt", "festival:kal_diphone")
NEEDED = {"espeak": "", "flite": "flite", "festival": "festival"}


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return recogniser_for(Settings())


class Screen:
    """What the user sees."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def __call__(self, line: str) -> None:
        self.lines.append(line)

    def count(self, text: str) -> int:
        return sum(text in line for line in self.lines)


def room(seconds: float) -> Samples:
    noise = np.random.default_rng(7).normal(0, 12, round(seconds * SAMPLE_RATE_HZ))
    return noise.astype(np.int16)


def in_frames(*sounds: Samples, size: int = 320) -> Iterator[Frame]:
    whole = np.concatenate(sounds)
    for start in range(0, len(whole), size):
        yield Frame(whole[start : start + size])


def read_by(name: str, *texts: str) -> list[Samples]:
    """Return the texts as read: a second to look, the text, and silence until the next appears."""
    voice = speaker(name)
    return [piece for text in texts for piece in (room(1.0), voice.say(text), room(1.6))]


@pytest.mark.sound
@pytest.mark.parametrize("name", SPEAKERS)
def test_every_phrase_is_shown_heard_and_kept(name: str, recogniser: Recogniser) -> None:
    needed = NEEDED[name.partition(":")[0]]
    if needed and not shutil.which(needed):
        pytest.skip(f"{needed} is missing")
    some, screen = phrases()[:4], Screen()
    texts = [" ".join(phrase.words) for phrase in some]
    sounds = read_by(name, *texts)
    read = takes(some, in_frames(*sounds, room(2.0)), recogniser, screen)
    assert [take.phrase for take in read] == list(some)
    assert screen.count("Read aloud") == 4
    assert screen.count("heard:") == 4
    for number, take in enumerate(read):
        spoken_s = len(sounds[3 * number + 1]) / SAMPLE_RATE_HZ
        assert take.span.end_of_speech_s - take.span.start_s == pytest.approx(spoken_s, abs=0.35)
        assert len(take.speech) / SAMPLE_RATE_HZ == pytest.approx(spoken_s, abs=0.35)
        after_s = len(take.sound) / SAMPLE_RATE_HZ - spoken_s
        assert after_s > 1.5  # longer than any patience: every recogniser hears it end
        assert take.span.snr_db > 20
        assert screen.count(f"heard: {take.heard}") >= 1


@pytest.mark.sound
def test_the_split_of_the_sound_changes_nothing(recogniser: Recogniser) -> None:
    some = phrases()[:2]
    sounds = [*read_by("espeak:en-us+m3", *(" ".join(p.words) for p in some)), room(2.0)]
    screens = [Screen(), Screen()]
    first = takes(some, in_frames(*sounds, size=320), recogniser, screens[0])
    other = takes(some, in_frames(*sounds, size=517), recogniser, screens[1])
    assert screens[0].lines == screens[1].lines
    assert [take.span for take in first] == [take.span for take in other]


@pytest.mark.sound
def test_what_is_not_read_is_asked_for_once_more_then_passed_over(recogniser: Recogniser) -> None:
    some, screen = phrases()[14:16], Screen()
    silence = room(2 * NOTHING_FOR_S + 0.1)
    read = takes(
        some,
        in_frames(silence, *read_by("espeak:en-us+m3", "done"), room(2.0)),
        recogniser,
        screen,
    )
    assert screen.count("Please read it once more") == 1
    assert screen.count("Passed over") == 1
    assert [take.phrase.reads for take in read] == ["done"]


def test_when_nothing_is_ever_heard_it_stops(recogniser: Recogniser) -> None:
    screen = Screen()
    with pytest.raises(DeviceError, match="Nothing was heard of 3 phrases"):
        takes(phrases(), in_frames(room(6 * NOTHING_FOR_S + 1)), recogniser, screen)
    assert screen.count("Read aloud") == 3


@pytest.mark.sound
def test_the_rest_of_a_phrase_is_not_taken_for_the_next(recogniser: Recogniser) -> None:
    """He falters for longer than patience lasts; the next phrase is on the screen by then."""
    some, screen = phrases()[14:16], Screen()
    voice = speaker("espeak:en-us+m3")
    first, rest = voice.say("what comes after"), voice.say("that")
    faltered = (room(1.0), first, room(0.5), rest, room(1.2))
    read = takes(
        some,
        in_frames(*faltered, *read_by("espeak:en-us+m3", "done"), room(2.0)),
        recogniser,
        screen,
    )
    assert [take.heard for take in read] == ["what comes after", "done"]
    assert len(read[0].sound) > sum(len(piece) for piece in faltered[:4])


def test_a_stream_that_ends_at_once_gives_nothing(recogniser: Recogniser) -> None:
    assert takes(phrases(), in_frames(room(0.5)), recogniser, Screen()) == ()
