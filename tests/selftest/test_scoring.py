"""Which recogniser is kept: wrong counts most, and a small difference is chance."""

from __future__ import annotations

import math
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.audio.endpointing import UtteranceSpan
from companion.listening import Utterance
from companion.loop import recogniser_for
from companion.ports import Alternative, Hearing
from companion.rehearsal.speakers import speaker
from companion.selftest.phrases import phrases
from companion.selftest.reading import Take
from companion.selftest.scoring import Heard, Score, _judged, better, score
from companion.settings import Settings

if TYPE_CHECKING:
    from companion.ports import Recogniser, Samples
    from companion.selftest.phrases import Phrase
    from companion.selftest.scoring import Taken


def scored(
    engine: str, *, right: int = 0, wrong: int = 0, asked: int = 0, response_s: float = 0.5
) -> Score:
    counts: dict[Taken, int] = {"right": right, "wrong": wrong, "asked": asked}
    counts["missed"] = 20 - right - wrong - asked
    heard = (
        Heard("done", taken, None if taken == "missed" else response_s)
        for taken, count in counts.items()
        for _ in range(count)
    )
    return Score(engine, tuple(heard))


# Expected: the rule as README tells it: fewest wrong, then most right, then fastest; at least two.
@pytest.mark.parametrize(
    ("now", "other", "kept"),
    [
        (scored("bundled", right=15), scored("vosk", right=17), "vosk"),
        (scored("bundled", right=15), scored("vosk", right=16), "bundled"),
        (scored("bundled", right=18, wrong=2), scored("vosk", right=5), "vosk"),
        (scored("bundled", right=18, wrong=1), scored("vosk", right=18), "bundled"),
        (scored("bundled", right=10, wrong=1), scored("vosk", right=18, wrong=2), "bundled"),
        (scored("bundled", right=10, wrong=1), scored("vosk", right=12, wrong=1), "vosk"),
        (scored("bundled", right=17), scored("vosk", right=17, response_s=0.1), "bundled"),
    ],
)
def test_another_one_is_kept_only_if_clearly_better(now: Score, other: Score, kept: str) -> None:
    assert better((now, other), "bundled") == kept
    assert better((other, now), "bundled") == kept


def test_of_several_better_ones_the_best_is_kept() -> None:
    now = scored("bundled", right=10)
    fine, fast = scored("vosk", right=14), scored("bundled-original", right=14, response_s=0.2)
    assert better((now, fine, fast), "bundled") == "bundled-original"


def test_one_that_was_not_compared_is_kept() -> None:
    assert better((scored("bundled", right=20),), "vosk") == "vosk"


def test_responses_leave_out_what_was_not_heard() -> None:
    assert scored("bundled", right=5, response_s=0.4).responses_s == (0.4, 0.4)
    assert scored("bundled").responses_s is None
    assert scored("bundled").rank == (0, 0, math.inf)


# ---------------------------------------------------------------- judged


@cache
def phrase(words: str) -> Phrase:
    return next(each for each in phrases() if " ".join(each.words) == words)


SPAN = UtteranceSpan(1.0, 2.0, 2.5, -60.0, -20.0)


def hearing_of(*sentences: tuple[str, float, float]) -> Hearing:
    return Hearing(
        tuple(Alternative(tuple(words.split()), match, log) for words, match, log in sentences)
    )


@pytest.mark.parametrize(
    ("sentences", "taken"),
    [
        ([("outdoor temperature fifteen", 0.99, -1.0)], "right"),
        ([("outside temperature fifteen", 0.99, -1.0)], "right"),  # the same meaning
        ([("outdoor temperature fifty", 0.99, -1.0)], "wrong"),
        ([("done", 0.99, -1.0)], "wrong"),
        (
            [
                ("outdoor temperature fifteen", 0.99, -1.0),
                ("outdoor temperature fifty", 0.98, -1.1),
            ],
            "asked",
        ),
        ([("outdoor temperature fifteen", 0.01, -40.0)], "missed"),
        ([], "missed"),
    ],
)
def test_what_a_hearing_is_taken_for(
    sentences: list[tuple[str, float, float]], taken: Taken
) -> None:
    said = phrase("outdoor temperature fifteen")
    utterance = Utterance(hearing_of(*sentences), said.language, SPAN, 0.1, 0.0)
    assert _judged(utterance, said).taken == taken


# Waited 0.5 s; decoding begins 0.184 s after the last word and runs meanwhile; what comes late is
# on top.
@pytest.mark.parametrize(
    ("decoding_s", "late_s", "response_s"), [(0.3, 0.0, 0.5), (0.7, 0.0, 0.884), (0.5, 0.2, 0.7)]
)
def test_the_response_is_patience_and_late_decoding(
    decoding_s: float, late_s: float, response_s: float
) -> None:
    said = phrase("done")
    utterance = Utterance(hearing_of(), said.language, SPAN, decoding_s, late_s)
    assert _judged(utterance, said).response_s == pytest.approx(response_s)


# ---------------------------------------------------------------- real sound


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return recogniser_for(Settings())


def take(words: str, *spoken: str) -> Take:
    """A phrase, and what is said instead of it: stretches with a long pause between."""
    room = np.random.default_rng(4).normal(0, 10, 20_000).astype(np.int16)
    voice = speaker("espeak:en-us+m3")
    pieces: list[Samples] = [room]
    for text in spoken:
        pieces += [voice.say(text), room, room]
    sound = np.concatenate(pieces)
    return Take(phrase(words), sound, sound, SPAN, "")


@pytest.mark.sound
def test_sound_is_heard_and_judged_at_its_moment(recogniser: Recogniser) -> None:
    heard = score(
        "bundled",
        recogniser,
        [
            take("supply static point four five", "supply static point four five"),
            take("strike that", "done"),
            take("stand by"),
            take("control voltage twenty five point nine", "done", "control voltage twenty four"),
        ],
    )
    assert [each.sentence for each in heard.heard[:3]] == [
        "supply static point four five",
        "done",
        "",
    ]
    assert [each.taken for each in heard.heard] == ["right", "wrong", "missed", "wrong"]
    assert heard.heard[2].response_s is None
    assert heard.missing_words == ()
    assert heard.accuracy.hits == 1
