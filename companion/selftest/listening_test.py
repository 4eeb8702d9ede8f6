"""The listening test: a user reads, every recogniser hears it, the better one is kept."""

from __future__ import annotations

from dataclasses import dataclass, replace
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.clipping import clipped_share
from companion.errors import CompanionError
from companion.loop import recogniser_for
from companion.selftest.phrases import phrases
from companion.selftest.reading import takes
from companion.selftest.scoring import better, score
from companion.settings import save_settings

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from contextlib import AbstractContextManager

    from companion.ports import Ear
    from companion.selftest.reading import Take
    from companion.selftest.scoring import Score
    from companion.settings import Settings

LEAST_READ = 10  # phrases; fewer tell nothing: common practice, no source


@dataclass(frozen=True, slots=True)
class Level:
    """How loud it was: medians over what was read, in dBFS and dB; the share clipped, 0 to 1."""

    speech_dbfs: float
    noise_dbfs: float
    snr_db: float
    clipped_share: float


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a listening test.

    Attributes:
        asked: how many phrases were shown.
        takes: those that were read.
        level: how loud; None where nothing was read.
        scores: of each recogniser that could be loaded, the best first.
        unusable: what kept the others from it, by name.
        before: the recogniser in use before.
        now: the one in use from now on.
    """

    asked: int
    takes: tuple[Take, ...]
    level: Level | None
    scores: tuple[Score, ...]
    unusable: Mapping[str, str]
    before: str
    now: str


def listening_test(
    opened: Callable[[], AbstractContextManager[Ear]],
    settings: Settings,
    show: Callable[[str], None],
) -> Result:
    """Have the phrases read, compare the recognisers, and keep the better one in the settings.

    Args:
        opened: opens the microphone, once all is loaded; it is closed before the comparison.
        settings: what the user has chosen.
        show: puts a line before the user.

    Raises:
        ModelError: the recogniser in use cannot be loaded.
        DeviceError: nothing is heard.
        InputError: the choice cannot be kept.
    """
    there, recogniser = phrases(), recogniser_for(settings)
    for phrase in there:  # now, so that none is waited for between phrases
        recogniser.listen_for(phrase.language.grammar, phrase.moment.expect)
    with opened() as ear:
        read = takes(there, ear.frames(), recogniser, show)
    show("\nOne moment: every recogniser hears it again.\n")
    scores, unusable = compared(engines(settings), settings, read)
    now = settings.recogniser
    if len(read) >= LEAST_READ:
        now = better(scores, now)
    if now != settings.recogniser:
        save_settings(replace(settings, recogniser=now))
    return Result(
        len(there), read, level(read) if read else None, scores, unusable, settings.recogniser, now
    )


def engines(settings: Settings) -> tuple[str, ...]:
    """Return the recognisers that this user has, by their names in the settings."""
    vosk = ("vosk",) if settings.vosk_model else ()
    return ("bundled", "bundled-original", *vosk)


def compared(
    names: Sequence[str], settings: Settings, read: Sequence[Take]
) -> tuple[tuple[Score, ...], dict[str, str]]:
    """Return each recogniser's score, the best first, and why others have none."""
    scores, unusable = [], {}
    for name in names if read else ():
        try:
            scores.append(score(name, recogniser_for(replace(settings, recogniser=name)), read))
        except CompanionError as problem:
            unusable[name] = str(problem)
    return tuple(sorted(scores, key=lambda each: each.rank)), unusable


def level(read: Sequence[Take]) -> Level:
    """Return how loud the takes were, at least one."""
    return Level(
        speech_dbfs=median(take.span.speech_dbfs for take in read),
        noise_dbfs=median(take.span.noise_dbfs for take in read),
        snr_db=median(take.span.snr_db for take in read),
        clipped_share=clipped_share(np.concatenate([take.speech for take in read])),
    )
