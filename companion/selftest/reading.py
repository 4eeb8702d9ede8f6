"""A user reads phrases aloud: each shown, waited for, heard at once, its sound kept.

Time is counted in samples of the stream, never read off a clock, so a recording does as well as a
microphone. The sound goes through the same endpointing and listening as a job's.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from companion.errors import DeviceError
from companion.listening import Onset, Overlong, Utterance
from companion.loop import sound_listener
from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from companion.audio.endpointing import UtteranceSpan
    from companion.listening import Listened
    from companion.ports import Frame, Recogniser, Samples
    from companion.selftest.phrases import Phrase

NOTHING_FOR_S = 10.0  # then it is said, once more shown, and after as long again passed over
UNHEARD_IN_A_ROW = 3  # phrases: then it is the microphone, not the reader
TOO_SOON_S = 0.4  # after a phrase appears nobody reads it yet: the rest of the one before
TAIL_S = 1.5  # kept after an utterance: longer than any patience
PRE_ROLL_S = 0.4  # kept before one


@dataclass(frozen=True, slots=True, eq=False)
class Take:
    """A phrase as it was read.

    Attributes:
        phrase: what was to be read.
        sound: int16 mono PCM at 16 kHz: the silence before, the utterance, the silence after.
        speech: the stretch that was spoken, as `sound`.
        span: where in the stream it lay, how loud it and the noise were.
        heard: what the recogniser in use made of it, as words.
    """

    phrase: Phrase
    sound: Samples
    speech: Samples
    span: UtteranceSpan
    heard: str


@dataclass(slots=True)
class _Heard:
    """An utterance that was taken as a phrase; times are seconds of the stream."""

    phrase: Phrase
    from_s: float
    to_s: float
    utterance: Utterance


def takes(
    phrases: Sequence[Phrase],
    frames: Iterable[Frame],
    recogniser: Recogniser,
    show: Callable[[str], None],
) -> tuple[Take, ...]:
    """Have the phrases read; return those that were, each with its sound.

    Args:
        phrases: what to read, at least one.
        frames: what the microphone hears, int16 mono PCM at 16 kHz.
        recogniser: hears it at once.
        show: puts a line before the user.

    Raises:
        DeviceError: nothing was heard for several phrases in a row.
    """
    reading = _Reading(phrases, recogniser, show)
    for frame in frames:
        reading.hear(frame)
        if reading.is_over:
            break
    return reading.takes()


class _Reading:
    """The phrases on their way through: what is shown, what was heard, all the sound."""

    def __init__(
        self, phrases: Sequence[Phrase], recogniser: Recogniser, show: Callable[[str], None]
    ) -> None:
        self._phrases = phrases
        self._show = show
        self._listener = sound_listener(phrases[0].language, recogniser)
        self._place = 0
        self._sound: list[Samples] = []
        self._samples = 0
        self._shown_s = 0.0  # when the phrase appeared
        self._waiting_since_s = 0.0
        self._is_speaking = False
        self._is_repeated = False
        self._unheard = 0  # phrases in a row
        self._heard: list[_Heard] = []
        self._prompt()

    @property
    def is_over(self) -> bool:
        """Whether all were read, or passed over, and the silence after the last one is kept."""
        if self._place < len(self._phrases):
            return False
        return not self._heard or self._at_s >= self._heard[-1].to_s + TAIL_S

    @property
    def _at_s(self) -> float:
        return self._samples / SAMPLE_RATE_HZ

    def hear(self, frame: Frame) -> None:
        """Take sound."""
        self._sound.append(frame.samples)
        self._samples += len(frame.samples)
        for listened in self._listener.feed(frame):
            self._take(listened)
        waited_s = self._at_s - self._waiting_since_s
        if not self._is_speaking and waited_s >= NOTHING_FOR_S and not self._is_done:
            self._nothing("Nothing was heard.")

    @property
    def _is_done(self) -> bool:
        return self._place >= len(self._phrases)

    def _take(self, listened: Listened) -> None:
        match listened:
            case Onset():
                self._is_speaking = True
            case Overlong():
                self._is_speaking = False
                if not self._is_done:
                    self._nothing("That went on for too long.")
            case Utterance():
                self._is_speaking = False
                self._hear_out(listened)

    def _hear_out(self, utterance: Utterance) -> None:
        """Take an utterance: the phrase that is shown, or the rest of the one before."""
        start_s = utterance.span.start_s
        if self._is_done or (self._heard and start_s < self._shown_s + TOO_SOON_S):
            if self._heard and start_s < self._heard[-1].to_s + TAIL_S:
                self._heard[-1].to_s = utterance.span.closed_s
            self._waiting_since_s = self._at_s
            return
        words = " ".join(utterance.hearing.words)
        self._show(f"          heard: {words or '(nothing that fits here)'}")
        self._heard.append(_Heard(self._phrases[self._place], self._shown_s, self._at_s, utterance))
        self._unheard = 0
        self._next()

    def _nothing(self, why: str) -> None:
        """Say so and wait once more; the second time pass the phrase over."""
        if not self._is_repeated:
            self._is_repeated = True
            self._waiting_since_s = self._at_s
            self._show(f"          {why} Please read it once more.")
            return
        self._unheard += 1
        if self._unheard >= UNHEARD_IN_A_ROW:
            raise DeviceError(
                f"Nothing was heard of {self._unheard} phrases in a row",
                "Look after the microphone: companion selftest.",
            )
        self._show(f"          {why} Passed over.")
        self._next()

    def _next(self) -> None:
        self._place += 1
        self._is_repeated = False
        self._prompt()

    def _prompt(self) -> None:
        """Show the phrase, and listen for what may be said at its moment."""
        self._shown_s = self._waiting_since_s = self._at_s
        if self._is_done:
            return
        phrase = self._phrases[self._place]
        self._listener.listen_for(phrase.language, phrase.moment.expect)
        self._show(f"\n{self._place + 1:3} of {len(self._phrases)}   Read aloud:\n")
        self._show(f"          {phrase.reads}\n")

    def takes(self) -> tuple[Take, ...]:
        """Return the phrases that were read, each with its sound."""
        whole = np.concatenate(self._sound) if self._sound else np.zeros(0, np.int16)
        return tuple(self._cut(whole, number) for number in range(len(self._heard)))

    def _cut(self, whole: Samples, number: int) -> Take:
        """Return one with the silence around it, as far as nobody else speaks in it."""
        heard, span = self._heard[number], self._heard[number].utterance.span
        later = self._heard[number + 1 :]
        end_s = min(
            [heard.to_s + TAIL_S, *(each.utterance.span.start_s - PRE_ROLL_S for each in later)]
        )
        began_s = max([heard.from_s, *(each.to_s for each in self._heard[:number])])
        return Take(
            phrase=heard.phrase,
            sound=_between(whole, began_s, max(end_s, span.closed_s)),
            speech=_between(whole, span.start_s, span.end_of_speech_s),
            span=span,
            heard=" ".join(heard.utterance.hearing.words),
        )


def _between(whole: Samples, start_s: float, end_s: float) -> Samples:
    return whole[round(start_s * SAMPLE_RATE_HZ) : round(end_s * SAMPLE_RATE_HZ)].copy()
