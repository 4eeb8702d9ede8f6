"""How it speaks: louder, slower, another voice, with cues or without; kept between jobs.

And how long: what is longer than a breath is said in two or more, the next on "go on".
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from companion.dialogue.outcome import Turn

LOUDER_DB, SOFTEST_DB, LOUDEST_DB = 3.0, -9.0, 12.0
FASTER, SLOWEST, FASTEST = 1.15, 0.7, 1.6
BREATH_WORDS = 22  # what is a little longer is still said at once
_LONGEST_WORDS = 26


@dataclass(frozen=True, slots=True)
class Manner:
    """How it speaks.

    Attributes:
        gain_db: louder (above 0) or softer than the voice is made, -9 to 12.
        pace: on words a minute, 0.7 to 1.6.
        voice: which of the voices that there are, counted round and round.
        cues: whether soft cues are played.
    """

    gain_db: float = 0.0
    pace: float = 1.0
    voice: int = 0
    cues: bool = True


def speak_up(turn: Turn) -> None:
    """'Louder'."""
    _take(turn, gain_db=turn.session.manner.gain_db + LOUDER_DB, told="loud")


def speak_softly(turn: Turn) -> None:
    """'Softer'."""
    _take(turn, gain_db=turn.session.manner.gain_db - LOUDER_DB, told="soft")


def slow_down(turn: Turn) -> None:
    """'Slower'."""
    _take(turn, pace=turn.session.manner.pace / FASTER, told="slow")


def speak_faster(turn: Turn) -> None:
    """'Faster'."""
    _take(turn, pace=turn.session.manner.pace * FASTER, told="fast")


def another_voice(turn: Turn) -> None:
    """'Another voice': the next of those there are; what it says is its sample."""
    _take(turn, voice=turn.session.manner.voice + 1, told="voice")


def cues_off(turn: Turn) -> None:
    """'Cues off'."""
    _take(turn, cues=False, told="cues-off")


def cues_on(turn: Turn) -> None:
    """'Cues on'."""
    _take(turn, cues=True, told="cues-on")


def bounded(manner: Manner) -> Manner:
    """Return a manner within its ranges."""
    return replace(
        manner,
        gain_db=min(LOUDEST_DB, max(SOFTEST_DB, manner.gain_db)),
        pace=min(FASTEST, max(SLOWEST, manner.pace)),
    )


def _take(turn: Turn, *, told: str, **changes: float | bool) -> None:
    wanted = replace(turn.session.manner, **changes)  # type: ignore[arg-type]
    found = bounded(wanted)
    if found == turn.session.manner and found != wanted:
        turn.tell_aside("listening.no-further")
        return
    turn.speak_so(found)
    turn.tell_aside(f"listening.{told}")


def breaths(text: str) -> tuple[str, ...]:
    """Return a text in pieces of a breath: at the end of sentences, else behind a comma.

    >>> breaths("Short.")
    ('Short.',)
    """
    if len(text.split()) <= _LONGEST_WORDS:
        return (text,)
    pieces: list[str] = []
    for part in re.split(r"(?<=[.?!;,:])\s+", text):
        for shorter in _by_words(part):
            joined = f"{pieces[-1]} {shorter}" if pieces else shorter
            if pieces and len(joined.split()) <= BREATH_WORDS:
                pieces[-1] = joined
            else:
                pieces.append(shorter)
    return tuple(pieces)


def _by_words(part: str) -> tuple[str, ...]:
    """Return a part without a comma in pieces that are no longer than a breath."""
    words = part.split()
    starts = range(0, len(words), BREATH_WORDS)
    return tuple(" ".join(words[start : start + BREATH_WORDS]) for start in starts)


def say_in_breaths(turn: Turn, text: str) -> None:
    """Say the first breath of a text; the rest on 'go on'."""
    first, *rest = breaths(text)
    turn.say(first)
    turn.remember(rest=tuple(rest))
    if rest:
        turn.tell_aside("listening.more")


def go_on(turn: Turn) -> None:
    """'Go on': the next breath of what was too long for one."""
    if not turn.session.rest:
        turn.tell_aside("listening.no-more")
        return
    first, *rest = turn.session.rest
    turn.say(first)
    turn.remember(rest=tuple(rest))
    if rest:
        turn.tell_aside("listening.more")


MANNER: Mapping[str, Callable[[Turn], None]] = {
    "speak-up": speak_up,
    "speak-softly": speak_softly,
    "slow-down": slow_down,
    "speak-faster": speak_faster,
    "another-voice": another_voice,
    "cues-off": cues_off,
    "cues-on": cues_on,
    "go-on": go_on,
}
