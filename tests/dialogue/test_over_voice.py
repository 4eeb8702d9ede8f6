"""Over its own voice in a loudspeaker: quiet and cries for help, and never what it says itself."""

from __future__ import annotations

import pytest
from talk import Talk, small

from companion.dialogue.events import Cue, Heard, Hush, Say
from companion.dialogue.over_voice import OVER_VOICE
from companion.language.compose import compose
from companion.ports import Alternative, Hearing


def over_voice(talk: Talk, words: str, own: str, match: float = 0.99) -> list[object]:
    """Hear words while it says something; return what comes of it."""
    talk.said.clear()
    hearing = Hearing((Alternative(tuple(words.split()), match, -1.0),), is_calibrated=True)
    acts: list[object] = []
    talk.loop.watch = lambda happened: acts.extend(happened.outcome.acts)
    before = len(talk.entries)
    candidates = compose(OVER_VOICE).candidates(hearing)
    event = Heard(hearing, candidates, talk.loop.now(), own_words=tuple(own.split()))
    talk.loop.happen(event)
    assert talk.job.emergency or len(talk.entries) == before
    return [act for act in acts if isinstance(act, Say | Cue | Hush)]


def test_quiet_silences_it() -> None:
    assert over_voice(Talk(small()), "quiet", "look at the duct") == [Hush()]


@pytest.mark.parametrize(("words", "match"), [("quiet", 0.7), ("fire", 0.8), ("i smell gas", 0.6)])
def test_a_doubtful_word_over_its_voice_is_its_voice(words: str, match: float) -> None:
    talk = Talk(small())
    assert over_voice(talk, words, "look at the duct", match) == []
    assert not talk.job.emergency


def test_a_cry_for_help_over_its_voice_is_an_emergency() -> None:
    talk = Talk(small())
    over_voice(talk, "i smell gas", "look at the duct")
    assert talk.job.emergency == "gas"


@pytest.mark.parametrize(
    ("words", "own"),
    [("i smell gas", "i smell gas yes or no"), ("quiet", "say quiet and i am quiet")],
)
def test_what_it_says_itself_is_never_obeyed(words: str, own: str) -> None:
    talk = Talk(small())
    assert over_voice(talk, words, own) == []
    assert not talk.job.emergency


def test_nothing_else_can_be_said_there() -> None:
    language = compose(OVER_VOICE)
    for words in ("done", "yes", "confirmed", "one nineteen", "toolbox listen up"):
        assert not language.interpret(tuple(words.split()))
