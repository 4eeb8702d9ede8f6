"""Judging a hearing before it is accepted: never wrong in silence.

The measure is the cost of being wrong. A hearing is accepted when it matches well and nothing else
plausible comes near; asked about when two things are close, or when a known confusion (fifteen and
fifty, five and nine, a lost 'minus') is plausible too; 'say again' when it is poor; and ignored
when it does not match the grammar at all, because then it was not meant for the companion.

The thresholds stand in `thresholds.toml` with how they were measured.
"""

from __future__ import annotations

import tomllib
from contextlib import suppress
from dataclasses import dataclass, replace
from enum import IntEnum
from functools import cache
from importlib.resources import files
from itertools import groupby
from typing import TYPE_CHECKING, TypeAlias

from rapidfuzz import fuzz

from companion.dialogue.between import difference
from companion.errors import NotANumberError
from companion.language.meanings import (
    TAKING_BACK,
    Candidate,
    Change,
    Choice,
    Command,
    Correction,
    Emergency,
    Question,
    Reading,
    Talk,
    TimerFor,
    Value,
)
from companion.number_words import TEENS, TIES
from companion.numbers import NUMBER_WORDS, confusions, is_confusion, parse

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from companion.language.meanings import Meaning


_NEVER = 2.0  # more than any match
_QUIET_DB = 15.0  # from here on the margins stay as they are: a first value
WAKE = Command("wake")
QUIET = Command("quiet")
_EASILY_SAID = frozenset({"yes", "no", "go-to"})  # by anybody, of anything
_FEW_WORDS = 2
_ABOUT_THE_TALK = frozenset(
    {
        "quiet",
        "hold-on",
        "repeat",
        "which-step",
        "steps-to-go",
        "what-next",
        "caution",
        "is-it-safe",
        "tell-me-more",
        "what-can-i-say",
        "tools",
        "read-it-back",
        "why",
        "source",
        "speak-up",
        "slow-down",
    }
)


class Likelihood(IntEnum):
    """How likely a meaning is at its test point; what has none is `EXPECTED`."""

    IMPLAUSIBLE = 0  # outside the plausible range
    OUTSIDE = 1  # plausible, but outside its limit
    EXPECTED = 2


@dataclass(frozen=True, slots=True)
class Thresholds:
    """Where the lines are drawn.

    `ignore_match`, `accept_match`, `slight_match`, `sure_match`, `emergency_match`,
    `emergency_word_match`, `emergency_ask_match`, `asleep_match`, `asleep_ask_match` and
    `wake_match` are matches, 0 to 1. `slight_match` is what `is_slight` needs to be accepted,
    `slight_answer_match` a yes or a no, `slight_reading_match` what of that is logged, a reading or
    a correction; `emergency_word_match` an emergency of one word, `asleep_match` any emergency
    while standing by, and from `asleep_ask_match` on it is asked there whether it was one. Margins
    are differences of log-probability in nats, >= 0. A number that
    matches by `fitting_match` is asked about within `fitting_margin_nats`, anything with a word of
    everyday talk within `everyday_margin_nats`. `noise_nats`: how much wider the margins are where
    speech drowns in noise, `noise_match` how much more a yes, a no and a bare reading must match.
    `talk_ignore_match`, `talk_accept_match` and, for an emergency of one word,
    `talk_emergency_match`: the lines right behind talk that was not for the companion.
    """

    ignore_match: float
    accept_match: float
    slight_match: float
    slight_answer_match: float
    slight_reading_match: float
    sure_match: float
    emergency_match: float
    emergency_word_match: float
    emergency_ask_match: float
    asleep_match: float
    asleep_ask_match: float
    wake_match: float
    emergency_margin_nats: float
    margin_nats: float
    confusion_margin_nats: float
    fitting_match: float
    fitting_margin_nats: float
    run_together_margin_nats: float
    settling_margin_nats: float
    everyday_margin_nats: float
    outside_margin_nats: float
    noise_nats: float
    noise_match: float
    talk_ignore_match: float
    talk_accept_match: float
    talk_emergency_match: float

    def in_noise(self, snr_db: float | None) -> Thresholds:
        """Return those for a signal-to-noise ratio: in noise numbers are mistaken more easily.

        Args:
            snr_db: speech over noise; None where it is not known, taken as quiet.
        """
        if snr_db is None or snr_db >= _QUIET_DB:
            return self
        noisy = 1.0 - max(0.0, snr_db) / _QUIET_DB
        wider = self.noise_nats * noisy
        return replace(
            self,
            slight_answer_match=min(1.0, self.slight_answer_match + self.noise_match * noisy),
            slight_reading_match=min(1.0, self.slight_reading_match + self.noise_match * noisy),
            margin_nats=self.margin_nats + wider,
            confusion_margin_nats=self.confusion_margin_nats + wider,
        )

    def amid_talk(self) -> Thresholds:
        """Return those for what comes right behind talk: most likely it is more of it."""
        return replace(
            self,
            ignore_match=self.talk_ignore_match,
            accept_match=self.talk_accept_match,
            slight_match=_NEVER,
            slight_answer_match=_NEVER,
            slight_reading_match=_NEVER,
            emergency_word_match=max(self.emergency_word_match, self.talk_emergency_match),
        )

    def drawn_out(self) -> Thresholds:
        """Return those for a value that took far longer than its words: no short one is taken."""
        return replace(self, slight_match=_NEVER, slight_reading_match=_NEVER)

    def asleep(self) -> Thresholds:
        """Return those while standing by: hours of talk go by, and nothing of it is for it."""
        return replace(
            self,
            emergency_match=max(self.emergency_match, self.asleep_match),
            emergency_word_match=max(self.emergency_word_match, self.asleep_match),
            emergency_ask_match=self.asleep_ask_match,
        )

    def settling(self) -> Thresholds:
        """Return those for the answer to 'this or that?': it is the second time of hearing it."""
        return replace(
            self,
            sure_match=0.0,
            slight_match=self.accept_match,
            slight_answer_match=self.accept_match,
            slight_reading_match=self.accept_match,
            margin_nats=self.settling_margin_nats,
            confusion_margin_nats=self.settling_margin_nats,
            fitting_margin_nats=self.settling_margin_nats,
            run_together_margin_nats=self.settling_margin_nats,
        )


@cache
def thresholds(*, calibrated: bool = True) -> Thresholds:
    """Return the packaged thresholds.

    Args:
        calibrated: those for hearings that say so of themselves (`Hearing.is_calibrated`).
    """
    text = files("companion.dialogue").joinpath("thresholds.toml").read_text("utf-8")
    return Thresholds(**tomllib.loads(text)["calibrated" if calibrated else "uncalibrated"])


_WITH_NUMBERS = (Reading, Value, Correction, Question, Change, TimerFor)


@dataclass(frozen=True, slots=True)
class Accept:
    """Clear: take it."""

    candidate: Candidate


@dataclass(frozen=True, slots=True)
class AskBetween:
    """Two things may have been said."""

    first: Candidate
    second: Candidate


@dataclass(frozen=True, slots=True)
class AskAgain:
    """It was addressed, but poor; `best` is what it may have been, if nothing else comes near."""

    best: Candidate | None = None


@dataclass(frozen=True, slots=True)
class Ignore:
    """Not for the companion."""


Judgement: TypeAlias = Accept | AskBetween | AskAgain | Ignore


def judge(
    candidates: Sequence[Candidate],
    likelihood: Callable[[Meaning], Likelihood],
    limits: Thresholds | None = None,
) -> Judgement:
    """Return what to do with a hearing.

    A question about what no sizing holds for ("a twenty eighteen inch face") was most likely not
    said like that.

    Args:
        candidates: what it can mean here, best first.
        likelihood: how likely a meaning is at its test point.
        limits: other thresholds than the packaged ones.
    """
    limits = limits or thresholds()
    if not candidates:
        return Ignore()
    urgent = _judged_urgent(candidates, limits)
    if urgent is not None:
        return urgent
    best = candidates[0]
    if best.match < limits.ignore_match:
        return Ignore()
    if isinstance(best.meaning, Talk):
        return _judged_talk(candidates, limits)
    rival = None if _is_harmless(candidates) else _rival(candidates, likelihood, limits)
    if rival is None:
        odd = isinstance(best.meaning, Question) and not likelihood(best.meaning)
        return Accept(best) if best.match >= _needed(best, limits) and not odd else AskAgain(best)
    return AskBetween(best, rival) if _can_ask_between(best, rival) else AskAgain(best)


def _needed(best: Candidate, limits: Thresholds) -> float:
    """Return the match from which a sentence is accepted."""
    if not is_slight(best):
        return limits.accept_match
    if isinstance(best.meaning, Reading | Correction):
        return limits.slight_reading_match
    is_answer = isinstance(best.meaning, Command) and best.meaning.name in _EASILY_SAID
    return limits.slight_answer_match if is_answer else limits.slight_match


def _judged_talk(candidates: Sequence[Candidate], limits: Thresholds) -> Judgement:
    """Judge what sounds most like everyday talk: ask only where a sentence comes very near."""
    talk = candidates[0]
    near = (
        other
        for other in candidates[1:]
        if not isinstance(other.meaning, Talk)
        and talk.log_prob - other.log_prob < limits.everyday_margin_nats
    )
    other = next(near, None)
    return AskAgain(other) if other and other.match >= limits.ignore_match else Ignore()


def is_slight(candidate: Candidate) -> bool:
    """Return whether a sentence is so short that talk, or a noise, is easily taken for it.

    One or two words, or a number by itself; a yes or a no, however long, what leads elsewhere in
    the job, and "make it one ten", "what about lunch", said of anything. What silences or takes
    something back is none: it must be easy to say, and at worst nothing happens.

    >>> is_slight(Candidate(Command("yes"), ("yes",), 1.0, 0.0))
    True
    >>> is_slight(Candidate(Command("quiet"), ("stop",), 1.0, 0.0))
    False
    """
    if isinstance(candidate.meaning, Emergency) or candidate.meaning == WAKE:
        return False
    if isinstance(candidate.meaning, Command):
        if candidate.meaning.name in TAKING_BACK:
            return False
        if candidate.meaning.name in _EASILY_SAID:
            return True
    if isinstance(candidate.meaning, Correction | Change):
        return True
    few = len(candidate.words) <= _FEW_WORDS
    return few or NUMBER_WORDS.issuperset(candidate.words)


def _judged_urgent(candidates: Sequence[Candidate], limits: Thresholds) -> Judgement | None:
    """Judge an emergency or the attention phrase, which have lines of their own; None for others.

    An emergency that comes too near the best sentence is asked about.
    """
    best = candidates[0]
    if best.meaning == WAKE:
        return Accept(best) if best.match >= limits.wake_match else Ignore()
    if isinstance(best.meaning, Emergency):
        one_word = len(best.words) == 1
        if best.match >= (limits.emergency_word_match if one_word else limits.emergency_match):
            return Accept(best)
        return AskAgain(best) if best.match >= limits.emergency_ask_match else Ignore()
    for other in candidates[1:]:
        margin = best.log_prob - other.log_prob
        is_heard = other.match >= limits.emergency_ask_match
        is_near = margin < limits.emergency_margin_nats
        if isinstance(other.meaning, Emergency) and is_heard and is_near:
            return AskAgain(other)
    return None


def _is_harmless(candidates: Sequence[Candidate]) -> bool:
    """Return whether 'quiet' was heard, and nothing else that would be lost by being silent."""
    others = [each.meaning for each in candidates[1:]]
    return candidates[0].meaning == QUIET and all(
        isinstance(other, Talk) or (isinstance(other, Command) and other.name in _ABOUT_THE_TALK)
        for other in others
    )


def _rival(
    candidates: Sequence[Candidate],
    likelihood: Callable[[Meaning], Likelihood],
    limits: Thresholds,
) -> Candidate | None:
    """Return another meaning that comes too near, or None."""
    best = candidates[0]
    expected = likelihood(best.meaning)
    for other in candidates[1:]:
        if other.words == best.words or other.meaning == best.meaning:
            continue
        if _says_less(other.meaning, best.meaning):
            continue
        likely = likelihood(other.meaning)
        if likely is Likelihood.IMPLAUSIBLE:
            continue
        if expected is Likelihood.IMPLAUSIBLE or _is_near(best, other, limits):
            return other
        margin = best.log_prob - other.log_prob
        if likely > expected and margin < limits.outside_margin_nats:
            return other
    return _unheard_confusion(best, likelihood, limits)


def _is_loose(meaning: Meaning) -> bool:
    return isinstance(meaning, Question) and meaning.loosely


def _says_less(other: Meaning, best: Meaning) -> bool:
    """Return whether it is the same question in words of its own, some of its inputs lost."""
    if not (isinstance(other, Question) and isinstance(best, Question) and _is_loose(best)):
        return False
    return other.sizing == best.sizing and other.inputs.items() <= best.inputs.items()


def _is_near(best: Candidate, other: Candidate, limits: Thresholds) -> bool:
    """Known confusions count as near from further off, and so does a number that fits as well.

    Some pairs sound the same whoever says them ("seventy milliamps", "seventeen milliamps"): the
    margin may be wide by habit, but either by itself matches the sound. A question in words of its
    own has many neighbours that match as well, with a small word more or less: where its numbers
    are the same, the margin alone decides.
    """
    margin = best.log_prob - other.log_prob
    if isinstance(other.meaning, Talk):
        return margin < limits.everyday_margin_nats
    fits = isinstance(other.meaning, _WITH_NUMBERS) and other.match >= limits.fitting_match
    same_numbers = number_runs(best.words) == number_runs(other.words)
    if (
        fits
        and not (_is_loose(best.meaning) and same_numbers)
        and margin < limits.fitting_margin_nats
    ):
        return True
    if margin < limits.run_together_margin_nats and _runs_together(best.words, other.words):
        return True
    confused = any(
        is_confusion(mine, theirs)
        for mine, theirs in zip(number_runs(best.words), number_runs(other.words), strict=False)
        if mine != theirs
    )
    return margin < (limits.confusion_margin_nats if confused else limits.margin_nats)


def _runs_together(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Return whether a -teen and its -ty differ, right before an 'm' or 'n'.

    "Seventy milliamps" is said "seventeen milliamps" by many (common practice, no source).

    >>> _runs_together(("seventy", "minutes"), ("seventeen", "minutes"))
    True
    """
    differing = [at for at, pair in enumerate(zip(one, other, strict=False)) if len({*pair}) > 1]
    if len(one) != len(other) or len(differing) != 1:
        return False
    at = differing[0]
    is_pair = {one[at], other[at]} & {*TEENS} and {one[at], other[at]} & {*TIES}
    return bool(is_pair) and at + 1 < len(one) and one[at + 1][0] in "mn"


def number_runs(words: tuple[str, ...]) -> tuple[tuple[str, ...], ...]:
    """Return the runs of number words in a sentence.

    >>> number_runs(("supply", "static", "point", "four", "five"))
    (('point', 'four', 'five'),)
    """
    runs = groupby(words, lambda word: word in NUMBER_WORDS)
    numbers = (_number_in(tuple(run)) for is_number, run in runs if is_number)
    return tuple(number for number in numbers if number)


def _number_in(run: tuple[str, ...]) -> tuple[str, ...]:
    """Return a run without the 'a' or 'and' around its number; nothing where there is none.

    >>> _number_in(("a", "seven"))
    ('seven',)
    """
    for start in range(len(run)):
        for end in range(len(run), start, -1):
            with suppress(NotANumberError):
                parse(run[start:end])
                return run[start:end]
    return ()


def _unheard_confusion(
    best: Candidate, likelihood: Callable[[Meaning], Likelihood], limits: Thresholds
) -> Candidate | None:
    """Return the -teen for a doubtful -ty that the search did not come up with.

    Only for readings, values and timers: their number is known exactly, and so is its confusion.
    """
    runs = number_runs(best.words)
    if best.match >= limits.sure_match or len(runs) != 1:
        return None
    for number in sorted(confusions(runs[0]), key=lambda other: _likeness(runs[0], other)):
        meaning = _renumbered(best.meaning, number)
        if meaning is not None and likelihood(meaning) is not Likelihood.IMPLAUSIBLE:
            words = tuple(" ".join(best.words).replace(" ".join(runs[0]), " ".join(number)).split())
            return Candidate(meaning, words, best.match, best.log_prob)
    return None


def _likeness(
    heard: tuple[str, ...], other: tuple[str, ...]
) -> tuple[bool, float, tuple[str, ...]]:
    """Sort the -teen for the -ty first (fourteen for forty, before four), then the most alike."""
    teens_and_tens = {*TEENS} & {*heard, *other} and {*TIES} & {*heard, *other}
    is_swap = bool(teens_and_tens) and len(heard) == len(other)
    return not is_swap, -fuzz.ratio(" ".join(heard), " ".join(other)), other


def _renumbered(meaning: Meaning, number: tuple[str, ...]) -> Meaning | None:
    """Return the same meaning with another number; None where it holds none."""
    if not isinstance(meaning, Reading | Value | Correction | TimerFor) or meaning.measure is None:
        return None
    return replace(meaning, measure=replace(meaning.measure, value=parse(number)))


def _can_ask_between(best: Candidate, rival: Candidate) -> bool:
    """Asking between helps where two options, or two numbers, are all that differs.

    Anything else (two commands, a question that lost half its words) is better said again.
    """
    if type(best.meaning) is not type(rival.meaning):
        return False
    if isinstance(best.meaning, Choice):
        return True
    sides = difference(best.words, rival.words)
    return isinstance(best.meaning, _WITH_NUMBERS) and all(_is_number(side) for side in sides)


def _is_number(side: tuple[str, ...]) -> bool:
    """Return whether a side is a number and nothing else ('supply static five' is more)."""
    return NUMBER_WORDS.issuperset(side) and bool(_number_in(side))
