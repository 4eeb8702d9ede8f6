"""How each recogniser does on what a user read, and which one to keep.

Every recogniser hears the same sound by the same way: endpointing, its own partials and the
patience that they lead to, then the judging of a job at that moment. Taken wrong counts most: what
is asked about costs a breath, what is taken wrong is on the log.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from statistics import median
from typing import TYPE_CHECKING, Literal, TypeAlias

import numpy as np

from companion.bench.rates import wilson
from companion.dialogue.judging import Accept, Ignore, judge
from companion.dialogue.outcome import Turn
from companion.dialogue.readings import likelihood
from companion.listening import Utterance
from companion.loop import sound_listener
from companion.ports import Frame

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from companion.bench.rates import Rate
    from companion.ports import Recogniser, Samples
    from companion.selftest.phrases import Phrase
    from companion.selftest.reading import Take

Taken: TypeAlias = Literal["right", "wrong", "asked", "missed"]

MARGIN = 2  # phrases; fewer of twenty are chance: common practice, no source
_GRAVEST: tuple[Taken, ...] = ("wrong", "right", "asked", "missed")
_FRAME_SAMPLES = 320  # 20 ms
_THEN = datetime(2000, 1, 1, tzinfo=UTC)  # judging wants a time, and none matters here


@dataclass(frozen=True, slots=True)
class Heard:
    """What a recogniser made of a phrase.

    Attributes:
        sentence: the best sentence of the grammar, '' where nothing came near.
        taken: 'right'; 'wrong': accepted with another meaning; 'asked': which of two, or again;
            'missed': ignored, or not heard at all.
        response_s: from the end of the last word until it is decided, seconds; None where nothing
            was heard.
    """

    sentence: str
    taken: Taken
    response_s: float | None


@dataclass(frozen=True, slots=True)
class Score:
    """How a recogniser did.

    Attributes:
        engine: its name in the settings.
        heard: what it made of each take, in order.
        missing_words: words of the phrases' grammars that it cannot hear.
    """

    engine: str
    heard: tuple[Heard, ...]
    missing_words: tuple[str, ...] = ()

    def count(self, taken: Taken) -> int:
        """Return how many phrases were taken so."""
        return sum(each.taken == taken for each in self.heard)

    @property
    def accuracy(self) -> Rate:
        """The share that was right, with its bound."""
        return wilson(self.count("right"), len(self.heard))

    @property
    def responses_s(self) -> tuple[float, float] | None:
        """The median response and the 95th percentile, seconds; None where nothing was heard."""
        known = [each.response_s for each in self.heard if each.response_s is not None]
        return (median(known), float(np.percentile(known, 95))) if known else None

    @property
    def rank(self) -> tuple[int, int, float]:
        """What they are sorted by, the best first: fewest wrong, most right, fastest."""
        responses = self.responses_s
        return (
            self.count("wrong"),
            -self.count("right"),
            responses[0] if responses else float("inf"),
        )


def score(engine: str, recogniser: Recogniser, takes: Sequence[Take]) -> Score:
    """Let a recogniser hear all takes.

    Args:
        engine: its name in the settings.
        recogniser: loaded.
        takes: what was read, at least one.
    """
    heard, missing = [], set[str]()
    for take in takes:
        heard.append(_heard(take, recogniser))
        missing.update(recogniser.missing_words)
    return Score(engine, tuple(heard), tuple(sorted(missing)))


def _heard(take: Take, recogniser: Recogniser) -> Heard:
    """Return what is made of a take; where it falls into two utterances, the gravest counts."""
    utterances = list(_utterances(take, recogniser))
    if not utterances:
        return Heard("", "missed", None)
    heard = [_judged(utterance, take.phrase) for utterance in utterances]
    return min(heard, key=lambda each: _GRAVEST.index(each.taken))


def _utterances(take: Take, recogniser: Recogniser) -> Iterator[Utterance]:
    recogniser.reset()
    listener = sound_listener(take.phrase.language, recogniser)
    listener.listen_for(take.phrase.language, take.phrase.moment.expect)
    for frame in _frames(take.sound):
        yield from _only_utterances(listener.feed(frame))
    yield from _only_utterances(listener.flush())


def _frames(sound: Samples) -> Iterator[Frame]:
    for start in range(0, len(sound), _FRAME_SAMPLES):
        yield Frame(sound[start : start + _FRAME_SAMPLES])


def _only_utterances(happened: Iterable[object]) -> Iterator[Utterance]:
    return (each for each in happened if isinstance(each, Utterance))


def _judged(utterance: Utterance, phrase: Phrase) -> Heard:
    sentence = " ".join(utterance.hearing.words)
    return Heard(sentence, _taken(utterance, phrase), utterance.response_s)


def _taken(utterance: Utterance, phrase: Phrase) -> Taken:
    """Return how a job at that moment would take it."""
    turn = Turn(phrase.moment.job, phrase.moment.session, _THEN)
    candidates = phrase.language.candidates(utterance.hearing)
    judgement = judge(candidates, lambda meaning: likelihood(turn, meaning))
    if isinstance(judgement, Accept):
        return "right" if judgement.candidate.meaning in phrase.meanings else "wrong"
    return "missed" if isinstance(judgement, Ignore) else "asked"


def better(scores: Sequence[Score], current: str) -> str:
    """Return the recogniser to keep: another one only if it is better by at least `MARGIN`.

    Args:
        scores: of all that were compared.
        current: the one in use; kept too where it has no score to beat.

    >>> better((), "bundled")
    'bundled'
    """
    now = next((each for each in scores if each.engine == current), None)
    if now is None:
        return current
    ahead = [each for each in scores if _is_clearly_better(each, now)]
    return min(ahead, key=lambda each: each.rank).engine if ahead else current


def _is_clearly_better(other: Score, now: Score) -> bool:
    fewer_wrong = now.count("wrong") - other.count("wrong")
    more_right = other.count("right") - now.count("right")
    return fewer_wrong >= MARGIN or (fewer_wrong >= 0 and more_right >= MARGIN)
