"""How long to wait after the last word before answering.

It is the largest part of the response time, so it is as short as the words allow. All figures are
common practice to be measured by the bench, no source; the noise allowance is there because voice
activity loses the soft ends of words beside a blower.

| the words so far                         | example                           | seconds |
|------------------------------------------|-----------------------------------|---------|
| a sentence, nothing can follow           | "i'm done"                        | 0.32    |
| a sentence that hardly goes on           | "repeat", "line voltage ... volts"| 0.36    |
| a word that many a remark opens with     | "no", by itself                   | 0.60    |
| a number at the end: a figure may follow | "supply static point four"        | 0.55    |
| a question that could name more          | "what gauge for half an amp"      | 0.60    |
| the recogniser has not said yet          | (no partial)                      | 0.70    |
| no sentence yet                          | "supply static"                   | 1.10    |
| a sentence, but a doubtful one, or none  | (talk that sounds like one)       | 1.10    |

A quarter longer where it is loud (from -25 dBFS), in between from -50 dBFS on.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.numbers import NUMBER_WORDS
from companion.ports import Completeness

if TYPE_CHECKING:
    from companion.ports import Grammar, Partial

CLOSED_S = 0.32
HARDLY_GOES_ON_S = 0.36
NUMBER_MAY_GO_ON_S = 0.55
OPENS_A_REMARK_S = 0.60
QUESTION_MAY_GO_ON_S = 0.60
INCOMPLETE_S = 1.10
UNHEARD_S = 0.70

# "No … we don't carry those": said to the customer, it answers a hold point. People draw breath for
# 0.4 to 0.6 s behind such a word (seen in recordings and voices of the bench).
_OPENING = frozenset({"yes", "yeah", "yep", "no", "nope", "why"})
_ASKING = frozenset({"what", "what's", "how", "which", "do", "does", "is", "can", "size"})
_SHORT_QUESTION_WORDS = 4  # "what comes after" and "which tools" are commands
# A little below what the dialogue takes at once (thresholds.toml): the match so far does not know
# the noise yet.
_MATCH, _FEW_MATCH = 0.70, 0.84
_FEW_WORDS = 2
_QUIET_DBFS, _LOUD_DBFS = -50.0, -25.0
_IN_NOISE = 1.25  # times as long in a loud place, in between in between


def patience(
    partial: Partial | None, noise_dbfs: float | None, *, may_not_wait: bool = False
) -> float:
    """Return how many seconds to wait after the last voiced sound.

    Args:
        partial: what the recogniser makes of the utterance so far; None if nothing yet.
        noise_dbfs: the noise at hand in dB of full scale, None where unknown (taken as quiet).
        may_not_wait: it means an emergency, or what silences or takes back: that is not waited
            with for being doubtful, for what follows would swallow it.

    >>> from companion.ports import Completeness, Partial
    >>> patience(Partial(("done",), Completeness.CLOSED, 0.9), None)
    0.32
    >>> patience(Partial(("supply", "static"), Completeness.INCOMPLETE, 0.9), -20.0)
    1.375
    """
    if partial is not None and _is_doubtful(partial) and not may_not_wait:
        return round(INCOMPLETE_S * _noise_factor(noise_dbfs), 4)
    return round(_in_quiet_s(partial) * _noise_factor(noise_dbfs), 4)


def _in_quiet_s(partial: Partial | None) -> float:  # noqa: PLR0911 - a table
    if partial is None or not partial.words:
        return UNHEARD_S
    if len(partial.words) == 1 and partial.words[0] in _OPENING:
        return OPENS_A_REMARK_S
    if partial.completeness is Completeness.CLOSED:
        return CLOSED_S
    if partial.completeness is Completeness.INCOMPLETE:
        return INCOMPLETE_S
    if partial.words[-1] in NUMBER_WORDS:
        return NUMBER_MAY_GO_ON_S
    if partial.words[0] in _ASKING and len(partial.words) > _SHORT_QUESTION_WORDS:
        return QUESTION_MAY_GO_ON_S
    return HARDLY_GOES_ON_S


def _is_doubtful(partial: Partial) -> bool:
    """Return whether it would only be asked about, or ignored.

    Nothing is lost then by waiting: people who talk to each other go on, and the whole of it sounds
    like no sentence, where a piece of it may.
    """
    if not partial.words:
        return True
    few = len(partial.words) <= _FEW_WORDS
    return partial.match is not None and partial.match < (_FEW_MATCH if few else _MATCH)


def _noise_factor(noise_dbfs: float | None) -> float:
    """Return 1 where it is quiet, rising evenly to `_IN_NOISE` where it is loud."""
    if noise_dbfs is None:
        return 1.0
    share = (noise_dbfs - _QUIET_DBFS) / (_LOUD_DBFS - _QUIET_DBFS)
    return 1.0 + (_IN_NOISE - 1.0) * min(1.0, max(0.0, share))


def completeness(grammar: Grammar, words: tuple[str, ...]) -> Completeness:
    """Return how the words stand in a grammar: the sentence of any part counts.

    >>> from companion.ports import Automaton, Grammar
    >>> small = Automaton(({"go": 1}, {"back": 2}, {}), frozenset({2}))
    >>> completeness(Grammar("demo", (small,), ""), ("go",))
    <Completeness.INCOMPLETE: 'incomplete'>
    """
    is_sentence = goes_on = False
    for part in grammar.parts:
        state: int | None = 0
        for word in words:
            state = part.arcs[state].get(word) if state is not None else None
        if state is not None:
            is_sentence |= state in part.accepting
            goes_on |= bool(part.arcs[state])
    if not is_sentence:
        return Completeness.INCOMPLETE
    return Completeness.MAY_GO_ON if goes_on else Completeness.CLOSED
