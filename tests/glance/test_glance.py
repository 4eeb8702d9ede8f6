"""What the view takes from a job, and how loud the microphone is."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.dialogue.session import Between
from companion.errors import DeviceError
from companion.glance.level import Level
from companion.glance.state import (
    EMERGENCY,
    GONE,
    HEARS,
    LISTENING,
    NOTE,
    SPEAKING,
    STANDING_BY,
    Glance,
    glance,
)
from companion.glance.watching import Watching
from companion.joblog import MemoryStore
from companion.language.meanings import Candidate, Reading
from companion.loop import Loop, typed
from companion.ports import Clip
from companion.procedures.loader import load
from companion.speaking.mouths import FileMouth, SilentMouth, TextVoice

if TYPE_CHECKING:
    from companion.ports import Mouth

SMALL = Path(__file__).parents[1] / "dialogue" / "small.toml"


class SlowVoice:
    """A voice that takes its time: a second a sentence."""

    def render(self, text: str) -> Clip:
        return Clip(np.zeros(22_050, np.int16), 22_050, text)


def at_work(mouth: Mouth | None = None) -> Loop:
    now = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
    voice = SlowVoice() if mouth else TextVoice()
    loop = Loop(MemoryStore(), "job-1", voice, mouth or SilentMouth(), lambda: now)
    loop.open(load(SMALL.read_text("utf-8"), SMALL.name, safety=False))
    return loop


def say(loop: Loop, *lines: str) -> Glance:
    for line in lines:
        typed(loop, tuple(line.split()))
    return seen(loop)


def seen(loop: Loop, after_s: float = 0.0) -> Glance:
    at: datetime = loop.now() + timedelta(seconds=after_s)
    return glance(loop.job, loop.session, at)


def test_it_shows_step_question_and_what_can_be_said() -> None:
    shown = seen(at_work())
    assert shown.step
    assert shown.can_say.startswith("Say one of:")
    assert shown.mode == LISTENING
    assert not shown.value


def test_it_shows_the_last_reading_with_its_verdict() -> None:
    shown = say(at_work(), "sheet metal", "primary one nineteen")
    assert (shown.point, shown.value, shown.unit) == ("Primary", "119", "V")
    assert shown.verdict == "within limits"


def test_a_struck_reading_is_shown_no_more() -> None:
    assert not say(at_work(), "sheet metal", "primary one nineteen", "strike that").value


def test_nothing_of_a_line_voltage_step_is_shown_before_the_licence_is_known() -> None:
    loop = at_work()
    shown = say(loop, "sheet metal", "primary one nineteen", "return point two",
                "supply point three", "done")  # fmt: skip
    assert "licensed" in shown.asks.lower()
    assert not shown.step
    assert not shown.hold
    shown = say(loop, "yes", "ohio")
    assert shown.hold


def test_an_emergency_fills_the_view() -> None:
    shown = say(at_work(), "i smell gas")
    assert shown.mode == EMERGENCY
    assert shown.step.startswith("Touch no switch.")


def test_standing_by_tells_how_to_wake_it() -> None:
    shown = say(at_work(), "stand by")
    assert shown.mode == STANDING_BY
    assert "toolbox listen up" in shown.can_say


def test_a_note_that_is_taken_is_shown_with_what_ends_it() -> None:
    loop = at_work()
    shown = say(loop, "take a note")
    assert shown.mode == NOTE
    assert "End of note" in shown.can_say
    assert say(loop, "the rack is bent").mode == LISTENING


def test_timers_and_the_stopwatch_are_shown_as_clocks() -> None:
    loop = at_work()
    say(loop, "remind me in ten minutes", "time the blower delay")
    assert seen(loop, 75.0).timers == ("timer 8:45", "blower delay 1:15")


def watched(loop: Loop) -> Watching:
    watching = Watching(loop)
    loop.watch = watching.watch
    return watching


def test_the_view_tells_who_speaks() -> None:
    loop = at_work(FileMouth(lambda: 0.0))
    watching = watched(loop)
    modes = [watching.seen().mode]
    for change in (loop.duck, loop.fall_silent):
        change()
        watching.note()
        modes.append(watching.seen().mode)
    assert modes == [SPEAKING, HEARS, LISTENING]


def test_the_view_tells_what_was_heard_and_said_last() -> None:
    loop = at_work()
    watching = watched(loop)
    assert watching.seen().said
    typed(loop, ("sheet", "metal"))
    assert watching.seen().heard == "sheet metal"
    assert watching.seen().said
    before = watching.seen().said
    typed(loop, ("did", "you", "see", "the", "game"))
    assert watching.seen().heard == "(not for the companion)"
    assert watching.seen().said == before


def test_a_lost_headset_is_seen_and_its_level_is_none() -> None:
    loop = at_work()
    watching = watched(loop)
    watching.take(np.full(1_600, 8_000, np.int16))
    assert watching.seen().level_dbfs > -30
    watching.lost(DeviceError("The microphone is gone", "Plug it in"))
    assert watching.seen().mode == GONE
    assert watching.seen().level_dbfs == -90
    watching.lost(None)
    assert watching.seen().mode == LISTENING


def test_the_loop_is_never_asked_for_by_the_thread_that_draws() -> None:
    """Its deque of what is being said may change while it is looked through."""
    loop = at_work(FileMouth(lambda: 0.0))
    watching = watched(loop)
    loop.fall_silent()  # not noted yet
    assert watching.seen().mode == SPEAKING


def test_a_question_about_a_reading_is_shown_with_its_answers() -> None:
    shown = say(at_work(), "sheet metal", "primary nine hundred")
    assert shown.asks
    assert shown.can_say == "Say yes or no. Or never mind."
    assert not shown.value


def test_between_two_that_sound_alike_both_are_shown_and_how_to_choose() -> None:
    loop = at_work()
    say(loop, "sheet metal")
    first, second = (
        Candidate(Reading("primary", None), ("primary", "one", word), 0.9, -1.0)
        for word in ("fifteen", "fifty")
    )
    loop.session = replace(loop.session, pending=Between(first, second))
    shown = seen(loop)
    assert "fifteen" in shown.asks
    assert "fifty" in shown.asks
    assert shown.can_say == "Say which of the two, or never mind."


def test_in_an_emergency_nothing_else_is_shown() -> None:
    shown = say(at_work(), "sheet metal", "primary one nineteen", "fire")
    assert shown == Glance(title=shown.title, mode=EMERGENCY, step=shown.step)


@pytest.mark.parametrize("amplitude", [0.01, 0.1, 1.0])
def test_the_level_is_that_of_a_known_tone(amplitude: float) -> None:
    """A sine's mean square is half its amplitude's square: 3.01 dB below its peak."""
    level = Level()
    at = np.arange(16_000) / 16_000
    tone = (amplitude * 32_767 * np.sin(2 * np.pi * 440 * at)).astype(np.int16)
    fresh = [level.take(tone[start : start + 320]) for start in range(0, 16_000, 320)]
    assert sum(fresh) == 10
    assert level.level_dbfs == pytest.approx(20 * math.log10(amplitude) - 3.01, abs=0.1)
    for _ in range(25):
        level.take(np.zeros(320, np.int16))
    assert level.level_dbfs == -90.0
    assert level.peak_dbfs > -90.0
