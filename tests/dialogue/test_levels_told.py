"""How he comes through is told once, in words that help, and never of what was not for it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from talk import Talk, small

from companion.dialogue.events import Heard, SoundDropped
from companion.dialogue.levels import LOOKED_AT, TOLD_EVERY, Level, finding
from companion.ports import Alternative, Hearing

CLIPPING = "You're too loud for the microphone. Move it away a little."


def say(
    talk: Talk,
    *,
    clipped: float = 0.0,
    match: float = 0.99,
    noise_dbfs: float = -60.0,
    snr_db: float = 30.0,
) -> str:
    """Say something that is understood, at a level; return what is said."""
    talk.said.clear()
    talk.seconds += 5
    at_s = 10.0 * talk.seconds
    alternatives = (Alternative(("which", "step"), match, -1.0),)
    hearing = Hearing(
        alternatives, start_s=at_s, end_s=at_s + 1.0, noise_dbfs=noise_dbfs, snr_db=snr_db,
        is_calibrated=True,
    )  # fmt: skip
    candidates = talk.loop.language.candidates(hearing)
    talk.loop.happen(Heard(hearing, candidates, talk.loop.now(), clipped_share=clipped))
    return " ".join(talk.said)


def at_work() -> Talk:
    talk = Talk(small())
    talk.say("sheet metal")
    return talk


@pytest.mark.parametrize(
    ("level", "told"),
    [
        ({"clipped": 0.01}, CLIPPING),
        ({"noise_dbfs": -80.0, "snr_db": 30.0}, "I hear you softly. Move the microphone closer."),
        ({"noise_dbfs": -30.0, "snr_db": 5.0}, "It's loud here."),
    ],
)
def test_a_level_that_does_not_do_is_told_once(level: dict[str, float], told: str) -> None:
    talk = at_work()
    for _ in range(LOOKED_AT - 1):
        assert told not in say(talk, **level)
    assert told in say(talk, **level)
    for _ in range(3 * LOOKED_AT):
        assert told not in say(talk, **level)
    talk.seconds += int(TOLD_EVERY.total_seconds())
    assert any(told in say(talk, **level) for _ in range(LOOKED_AT))


def test_talk_that_was_not_for_it_has_no_level() -> None:
    talk = at_work()
    for _ in range(4 * LOOKED_AT):
        assert CLIPPING not in say(talk, clipped=0.01, match=0.1)


def test_a_good_level_is_nothing_to_tell() -> None:
    talk = at_work()
    said = {say(talk) for _ in range(4 * LOOKED_AT)}
    assert len(said) == 1


def test_sound_that_was_lost_is_told_once_in_a_while() -> None:
    talk = at_work()

    def lose() -> str:
        talk.said.clear()
        talk.loop.happen(SoundDropped(3, talk.loop.now()))
        return " ".join(talk.said)

    assert lose() == "I lost some sound: this machine is busy. Say again what I don't answer."
    assert lose() == ""
    talk.seconds += int((TOLD_EVERY + timedelta(seconds=1)).total_seconds())
    assert lose() != ""


@given(
    st.lists(
        st.builds(Level, st.floats(0, 1), st.floats(-96, 0) | st.none(), st.floats(-20, 60)),
        max_size=LOOKED_AT,
    )
)
def test_a_finding_needs_most_of_the_last_things_said(levels: list[Level]) -> None:
    found = finding(levels)
    assert found in {"", "clipping", "soft", "noisy"}
    if found:
        assert len(levels) == LOOKED_AT
    clipped = sum(each.clipped_share >= 0.001 for each in levels)
    assert (found == "clipping") == (len(levels) == LOOKED_AT and 2 * clipped > LOOKED_AT)
