"""How it speaks: louder, slower, another voice, cues; and long answers in breaths."""

from __future__ import annotations

import string

import pytest
from hypothesis import given
from hypothesis import strategies as st
from talk import Talk

from companion.dialogue.events import Adjust, Cue
from companion.dialogue.manner import (
    BREATH_WORDS,
    FASTEST,
    LOUDEST_DB,
    SLOWEST,
    SOFTEST_DB,
    Manner,
    breaths,
)
from companion.dialogue.session import Session


def adjusted(talk: Talk, line: str) -> list[Manner]:
    found: list[Manner] = []
    talk.loop.watch = lambda happened: found.extend(
        act.manner for act in happened.outcome.acts if isinstance(act, Adjust)
    )
    talk.say(line)
    return found


@pytest.mark.parametrize(
    ("line", "manner"),
    [
        ("louder", Manner(gain_db=3.0)),
        ("softer", Manner(gain_db=-3.0)),
        ("slower", Manner(pace=1 / 1.15)),
        ("speak faster", Manner(pace=1.15)),
        ("another voice", Manner(voice=1)),
        ("cues off", Manner(cues=False)),
    ],
)
def test_it_speaks_as_it_is_asked_to(line: str, manner: Manner) -> None:
    assert adjusted(Talk(), line) == [manner]


@pytest.mark.parametrize(
    ("line", "end"),
    [
        ("louder", Manner(gain_db=LOUDEST_DB)),
        ("softer", Manner(gain_db=SOFTEST_DB)),
        ("slower", Manner(pace=SLOWEST)),
        ("faster", Manner(pace=FASTEST)),
    ],
)
def test_there_is_an_end_to_it_which_is_told(line: str, end: Manner) -> None:
    talk = Talk()
    for _ in range(8):
        told = talk.say(line)
    assert talk.loop.session.manner == end
    assert told == "That's as far as it goes."


def test_without_cues_none_is_played() -> None:
    talk = Talk()
    cues: list[Cue] = []
    talk.loop.watch = lambda happened: cues.extend(
        act for act in happened.outcome.acts if isinstance(act, Cue)
    )
    talk.say("cues off", "blue elephants everywhere")
    assert not cues
    talk.say("cues on", "blue elephants everywhere")
    assert cues


LONG = "One two three, four five six. " * 12


def long_answer() -> Talk:
    talk = Talk()
    talk.say("what gauge for half an amp at sixty feet")
    return talk


def test_a_long_source_comes_in_breaths_and_anything_else_drops_the_rest() -> None:
    talk = long_answer()
    first = talk.say("source")
    assert first.endswith("Say go on for more.")
    rest = talk.loop.session.rest
    assert rest
    assert talk.say("go on").startswith(rest[0])
    talk.say("which step")
    assert not talk.loop.session.rest
    step = talk.job.step
    assert talk.say("go on") == "That was all."
    assert talk.job.step == step  # never the next step


def test_quiet_keeps_the_rest() -> None:
    talk = long_answer()
    talk.say("source")
    rest = talk.loop.session.rest
    talk.say("quiet")
    assert talk.say("go on").startswith(rest[0])


def test_go_on_completes_no_step() -> None:
    talk = long_answer()
    before = len(talk.entries)
    talk.say("go on", "keep going", "tell me the rest")
    assert len(talk.entries) == before


words = st.text(string.ascii_lowercase + ",.;", min_size=1, max_size=9)


@given(st.lists(words, max_size=150))
def test_breaths_are_short_and_together_they_are_the_whole(said: list[str]) -> None:
    text = " ".join(said)
    pieces = breaths(text)
    assert " ".join(pieces) == text
    assert len(pieces) == 1 or all(len(piece.split()) <= BREATH_WORDS for piece in pieces)


def test_a_session_begins_as_the_voice_is_made() -> None:
    assert Session().manner == Manner()
