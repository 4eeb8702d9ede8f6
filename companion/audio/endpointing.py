"""Cutting utterances out of a stream of sound.

Sound of any split is gathered into steps of 512 samples (32 ms), because that is what the voice
activity model takes; every decision is made a step at a time and every time is counted in
samples, so the same sound gives the same utterances however it arrives.

Between utterances the last quarter of a second is kept back. When speech has lasted for
`onset_steps`, `SpeechBegan` is followed by that pre-roll and by every step of the utterance as
`Sound`. Once it falls silent, each step of silence also gives a `Paused`. Whether a pause ends the
utterance is not decided here: the caller weighs it against what was heard, and calls `close`.
What arrives after that belongs to the next utterance, even within the same frame.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from companion.audio.noise_floor import (
    SILENCE_DBFS,
    NoiseFloor,
    is_digital_silence,
    level_dbfs,
    power_dbfs,
)
from companion.audio.voice_activity import STEP_SAMPLES, SileroActivity, VoiceActivity
from companion.ports import SAMPLE_RATE_HZ, Frame

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.ports import Samples

STEP_S = STEP_SAMPLES / SAMPLE_RATE_HZ


@dataclass(frozen=True, slots=True)
class SpeechBegan:
    """Someone began to speak at `at_s`, seconds from the start of the stream."""

    at_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Sound:
    """A step of the utterance: 512 samples, 32 ms, `voiced` filled in."""

    frame: Frame


@dataclass(frozen=True, slots=True)
class Paused:
    """The utterance has been silent for `silence_s`; infinite once the stream has ended.

    `at_s` is where the stream is now, seconds from its start.
    """

    silence_s: float
    at_s: float


@dataclass(frozen=True, slots=True)
class TooLong:
    """The utterance is longer than any command; given each step until it is closed."""

    at_s: float


Event: TypeAlias = SpeechBegan | Sound | Paused | TooLong


@dataclass(frozen=True, slots=True)
class UtteranceSpan:
    """Where an utterance lay, seconds from the start of the stream, and how loud it was."""

    start_s: float
    end_of_speech_s: float
    closed_s: float
    noise_dbfs: float
    speech_dbfs: float

    @property
    def snr_db(self) -> float:
        """Speech against the noise before it, decibels, at least 0."""
        clean = 10 ** (self.speech_dbfs / 10) - 10 ** (self.noise_dbfs / 10)
        if clean <= 0:
            return 0.0
        return max(0.0, 10 * math.log10(clean) - self.noise_dbfs)


@dataclass(frozen=True, slots=True)
class Endpointing:
    """When speech counts as begun and as paused.

    Args:
        onset_probability: a step begins speech from this probability on, 0 to 1.
        stay_probability: a step of an utterance stays voiced from this one on, 0 to 1; lower, so
            that soft ends and consonants are not cut.
        lag_steps: how much later than it fell silent a voice is taken to end. The model notices
            an end 60 to 90 ms late (median over 12 synthetic voices, clean to a blower at 5 dB).
        onset_steps: how many steps in a row begin an utterance; three are 96 ms, longer than a
            click or a dropped screw.
        pre_roll_steps: how many steps before the onset are heard too; eight are 256 ms.
        longest_s: from here on an utterance is `TooLong`.
    """

    onset_probability: float = 0.5
    stay_probability: float = 0.4
    lag_steps: int = 2
    onset_steps: int = 3
    pre_roll_steps: int = 8
    longest_s: float = 12.0


@dataclass(slots=True)
class _Utterance:
    """The utterance at hand; places are steps from the start of the stream."""

    first_voiced: int
    after_voiced: int  # the step after the last voiced one
    quietest_dbfs: float  # of all its steps
    voiced_power: float = 0.0  # sum of the mean squares of the voiced steps
    voiced_steps: int = 0

    def hear(self, samples: Samples) -> None:
        """Take a step, voiced or not."""
        if not is_digital_silence(samples):
            self.quietest_dbfs = min(self.quietest_dbfs, level_dbfs(samples))

    def hear_voice(self, samples: Samples, step: int) -> None:
        """Take a voiced step and its place."""
        self.hear(samples)
        self.after_voiced = step + 1
        self.voiced_power += float(np.mean(np.square(samples.astype(np.float64))))
        self.voiced_steps += 1


class Endpointer:
    """Feed it frames, act on its events, close the utterance when the pause is long enough.

    Args:
        activity: what tells speech from noise; silero unless given.
        settings: when speech counts as begun and as paused.
    """

    def __init__(
        self, activity: VoiceActivity | None = None, settings: Endpointing | None = None
    ) -> None:
        self._activity = activity if activity is not None else SileroActivity()
        self._settings = settings if settings is not None else Endpointing()
        self._noise = NoiseFloor()
        self._pending = np.zeros(0, np.int16)  # less than fed so far, not yet a whole step
        self._steps = 0  # taken so far
        self._onset: deque[Samples] = deque()  # voiced steps that may become an utterance
        self._kept: deque[Samples] = deque()  # the latest steps that were none
        self._learn_from = 0  # the step from which on the noise is free of the last word
        self._utterance: _Utterance | None = None
        self._ready: deque[Event] = deque()  # happened, but not yet asked for

    @property
    def is_speaking(self) -> bool:
        """Whether an utterance is open."""
        return self._utterance is not None

    @property
    def at_s(self) -> float:
        """How much of the stream has been looked at, seconds."""
        return self._steps * STEP_S

    @property
    def noise_dbfs(self) -> float:
        """The noise floor now, dBFS; -96 while nothing but digital silence was heard."""
        return SILENCE_DBFS if self._noise.dbfs is None else self._noise.dbfs

    def feed(self, frame: Frame) -> Iterator[Event]:
        """Take sound; return what happens in it, worked out as the caller asks for it.

        `close` may be called between two events. Events not asked for are not lost: the sound is
        kept, and they come with the next call.

        Args:
            frame: int16 mono PCM at 16 kHz, any length.
        """
        self._pending = np.concatenate([self._pending, frame.samples])
        return self._events()

    def flush(self) -> Iterator[Event]:
        """Return what happens in the last, incomplete step, now that the stream has ended.

        An utterance still open then gives a `Paused` of infinite silence.
        """
        lacking = -len(self._pending) % STEP_SAMPLES
        self._pending = np.concatenate([self._pending, np.zeros(lacking, np.int16)])
        yield from self._events()
        if self._utterance is not None:
            yield Paused(math.inf, self.at_s)

    def close(self) -> UtteranceSpan:
        """End the utterance at hand, say where it lay, and wait for the next.

        Raises:
            RuntimeError: no utterance is open; a fault of the caller.
        """
        utterance = self._utterance
        if utterance is None:
            message = "close() without an utterance"
            raise RuntimeError(message)
        self._utterance = None
        self._ready.clear()  # a `TooLong` beside the `Paused` that led here
        self._learn_from = utterance.after_voiced + self._settings.pre_roll_steps
        power = utterance.voiced_power / utterance.voiced_steps
        known = self._noise.dbfs
        return UtteranceSpan(
            start_s=utterance.first_voiced * STEP_S,
            end_of_speech_s=(utterance.after_voiced - self._settings.lag_steps) * STEP_S,
            closed_s=self.at_s,
            noise_dbfs=known if known is not None else utterance.quietest_dbfs,
            speech_dbfs=power_dbfs(power),
        )

    def _events(self) -> Iterator[Event]:
        while True:
            while self._ready:
                yield self._ready.popleft()
            if len(self._pending) < STEP_SAMPLES:
                return
            step, self._pending = self._pending[:STEP_SAMPLES], self._pending[STEP_SAMPLES:]
            self._take(step, self._activity.probability(step))

    def _take(self, step: Samples, probability: float) -> None:
        """Take a step; what happens in it is put in line."""
        self._steps += 1
        if self._utterance is None:
            self._wait(step, probability)
        else:
            self._follow(self._utterance, step, probability)

    def _wait(self, step: Samples, probability: float) -> None:
        """Take a step between utterances: keep it back, and see whether speech begins."""
        if probability >= self._settings.onset_probability:
            self._onset.append(step)
            if len(self._onset) >= self._settings.onset_steps:
                self._begin()
            return
        self._kept.extend(self._onset)
        self._onset.clear()
        self._keep(step)

    def _keep(self, step: Samples) -> None:
        """Keep a step back; what is older than a pre-roll was no speech, and tells the noise."""
        self._kept.append(step)
        while len(self._kept) > self._settings.pre_roll_steps:
            old = self._kept.popleft()
            if self._utterance is None and self._steps - len(self._kept) > self._learn_from:
                self._noise.hear(old, STEP_S)

    def _begin(self) -> None:
        """Open an utterance with the onset just seen and the pre-roll before it."""
        first = self._steps - len(self._onset)
        self._utterance = _Utterance(first, first, quietest_dbfs=0.0)
        for step in self._kept:
            self._utterance.hear(step)
        for number, step in enumerate(self._onset):
            self._utterance.hear_voice(step, first + number)
        self._ready.append(SpeechBegan(first * STEP_S))
        self._ready.extend(Sound(Frame(step, voiced=False)) for step in self._kept)
        self._ready.extend(Sound(Frame(step, voiced=True)) for step in self._onset)
        self._kept.clear()
        self._onset.clear()

    def _follow(self, utterance: _Utterance, step: Samples, probability: float) -> None:
        """Take a step of the utterance."""
        voiced = probability >= self._settings.stay_probability
        self._ready.append(Sound(Frame(step, voiced=voiced)))
        if voiced:
            utterance.hear_voice(step, self._steps - 1)
            self._kept.clear()
        else:
            utterance.hear(step)
            self._keep(step)  # after `close` this is the next utterance's pre-roll
            silent_steps = self._steps - utterance.after_voiced + self._settings.lag_steps
            self._ready.append(Paused(silent_steps * STEP_S, self.at_s))
        if (self._steps - utterance.first_voiced) * STEP_S >= self._settings.longest_s:
            self._ready.append(TooLong(self.at_s))
