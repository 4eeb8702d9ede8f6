"""From frames to hearings: endpointing cuts, the recogniser hears, language is patient."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from time import perf_counter
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from companion.audio.endpointing import STEP_S, Paused, Sound, SpeechBegan, TooLong
from companion.audio.stream_memory import StreamMemory
from companion.language.patience import patience

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from companion.audio.endpointing import Endpointer, Event, UtteranceSpan
    from companion.language.compose import Language
    from companion.ports import Expectation, Frame, Hearing, Partial, Recogniser, Samples


@dataclass(frozen=True, slots=True)
class Utterance:
    """An utterance as heard, in the language that was active when it began.

    `decoding_s` is the wall time that the recogniser took after the last word, of which
    `late_s` came after patience had run out. `samples` is its sound as it came, int16 mono PCM at
    16 kHz, `MARGIN_S` on each side, the last `MOST_SAMPLES_S` of it.
    """

    hearing: Hearing
    language: Language
    span: UtteranceSpan
    decoding_s: float
    late_s: float
    samples: Samples = field(default_factory=lambda: np.zeros(0, np.int16), compare=False)

    @property
    def response_s(self) -> float:
        """From the end of the last word until the sentence is known, live, seconds.

        Decoding begins when the pause is noticed and runs while patience does; what takes longer
        than patience, and what comes after it, comes on top.
        """
        patience_s = self.span.closed_s - self.span.end_of_speech_s
        early_s = self.decoding_s - self.late_s
        return max(patience_s, NOTICED_S + early_s) + self.late_s


@dataclass(frozen=True, slots=True)
class Overlong:
    """Speech longer than any command was dropped; `at_s` from the start of the stream."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Onset:
    """Someone began to speak at `at_s` from the start of the stream; what was said comes later."""

    at_s: float


@dataclass(frozen=True, slots=True)
class Torn:
    """An utterance of which sound was lost: what is left may be other words. `at_s`: its start."""

    at_s: float


Listened: TypeAlias = Onset | Utterance | Overlong | Torn
NOTICED_S = 0.12 + 2 * STEP_S  # how long after the last word the recogniser begins to decode
MARGIN_S = 0.3  # of the sound that is kept
MOST_SAMPLES_S = 10.0  # a number is said at the end of what goes on for longer
PRE_ROLL_S = 0.3  # sound from before an utterance belongs to it


class Listener:
    """Feed it frames; it gives what was heard.

    Args:
        endpointer: cuts utterances out of the stream.
        recogniser: hears them.
        language: what may be said at first.
    """

    def __init__(self, endpointer: Endpointer, recogniser: Recogniser, language: Language) -> None:
        self._endpointer = endpointer
        self._recogniser = recogniser
        self._partial: Partial | None = None
        self._may_not_wait = False
        self._decoding_s = 0.0
        self._is_dropping = False
        self._memory = StreamMemory()
        self._spoke_until_s = 0.0
        self._torn_at_s = -math.inf  # where sound was last lost, of the stream as it came
        self._active = language
        self._wanted: tuple[Language, Expectation | None] | None = (language, None)
        self._take_language()

    def listen_for(self, language: Language, expect: Expectation | None = None) -> None:
        """Take a language: now, or after the utterance that is being spoken."""
        self._wanted = (language, expect)
        if not self._endpointer.is_speaking:
            self._take_language()

    def feed(self, frame: Frame) -> Iterator[Listened]:
        """Take sound; yield what was heard in it."""
        if frame.is_torn:
            self._torn_at_s = self._endpointer.at_s
        self._memory.hear(frame.samples)
        yield from self._follow(self._endpointer.feed(frame))

    def flush(self) -> Iterator[Listened]:
        """The stream has ended: yield what was still open."""
        yield from self._follow(self._endpointer.flush())

    @property
    def language(self) -> Language:
        """What may be said in the utterance that is being spoken, or in the next."""
        return self._active

    @property
    def at_s(self) -> float:
        """How much of the stream has been looked at, seconds."""
        return self._endpointer.at_s

    @property
    def quiet_s(self) -> float:
        """For how long nobody has spoken, seconds; 0 while someone does, or may go on."""
        return 0.0 if self._endpointer.is_speaking else self.at_s - self._spoke_until_s

    def hold(self, from_s: float | None) -> None:
        """Remember all sound from that time of the stream on; None: the last seconds only."""
        self._memory.hold(from_s)

    def between(self, start_s: float, end_s: float) -> Samples:
        """Return what was heard between two times of the stream; see `StreamMemory.between`."""
        return self._memory.between(start_s, end_s)

    def _follow(self, events: Iterable[Event]) -> Iterator[Listened]:
        for event in events:
            match event:
                case SpeechBegan(at_s=at_s):
                    self._recogniser.reset()
                    self._partial, self._may_not_wait, self._decoding_s = None, False, 0.0
                    yield Onset(at_s)
                case Sound(frame=frame):
                    if not self._is_dropping:
                        self._hear(frame)
                case Paused(silence_s=silence_s):
                    if silence_s >= self._patience_s():
                        yield from self._end()
                case TooLong(at_s=at_s):
                    yield from self._drop(at_s)

    def _hear(self, frame: Frame) -> None:
        began = perf_counter()
        partial = self._recogniser.feed(frame)
        if partial is not None:
            self._partial = partial
            self._may_not_wait = self._active.may_not_wait(partial.words)
            self._decoding_s = perf_counter() - began

    def _patience_s(self) -> float:
        return patience(self._partial, self._endpointer.noise_dbfs, may_not_wait=self._may_not_wait)

    def _end(self) -> Iterator[Listened]:
        """The utterance is over: yield it, unless it was dropped."""
        if not self._is_dropping:
            yield self._close()
            return
        self._is_dropping = False
        self._spoke_until_s = self._endpointer.close().end_of_speech_s
        self._take_language()

    def _close(self) -> Utterance | Torn:
        span = self._endpointer.close()
        self._spoke_until_s = span.end_of_speech_s
        if self._torn_at_s >= span.start_s - PRE_ROLL_S:
            self._recogniser.reset()
            self._take_language()
            return Torn(span.start_s)
        began = perf_counter()
        hearing = self._recogniser.finish()
        late_s = perf_counter() - began
        heard = replace(
            hearing,
            start_s=span.start_s,
            end_s=span.end_of_speech_s,
            noise_dbfs=span.noise_dbfs,
            snr_db=span.snr_db,
        )
        language = self._active
        self._take_language()
        end_s = span.end_of_speech_s + MARGIN_S
        start_s = max(span.start_s - MARGIN_S, end_s - MOST_SAMPLES_S)
        samples = self._memory.between(start_s, end_s)
        return Utterance(heard, language, span, self._decoding_s + late_s, late_s, samples)

    def _drop(self, at_s: float) -> Iterator[Overlong]:
        """Hear no more of it until it pauses: its last words by themselves may be a command."""
        if self._is_dropping:
            return
        self._is_dropping, self._partial, self._may_not_wait = True, None, False
        self._recogniser.reset()
        yield Overlong(at_s)

    def _take_language(self) -> None:
        if self._wanted is not None:
            self._active, expect = self._wanted
            self._recogniser.listen_for(self._active.grammar, expect)
            self._wanted = None
