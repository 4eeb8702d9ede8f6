"""The headphones of a headset: clips that start at once, and can be lowered, lifted and cut.

The stream stays open and plays silence between clips, because opening one takes longer than an
answer may. What counts as heard is what has left the device, by the sound system's own account of
its delay, not what was handed over to it.
"""

from __future__ import annotations

from collections import deque
from threading import Event, Lock
from time import perf_counter
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from companion.errors import DeviceError
from companion.ports import Clip
from companion.sound_card import quiet_start, sounddevice
from companion.speaking.loudness import at_rate
from companion.speaking.mixing import ClipLine, Track

if TYPE_CHECKING:
    from collections.abc import Callable
    from types import TracebackType

    from companion.sound_card import Device

BLOCK_S = 0.01
LATENCY_S = 0.04  # less ran dry here now and then, while the recogniser was at work
STALLED_S = 3.0  # headphones that ask for no sound for so long are gone
_RUNNING_AFTER = round(LATENCY_S / BLOCK_S) + 2  # blocks; the first fill what is not yet running
_RUNNING_WITHIN_S = 1.0
_MOST_DELAY_S = 1.0  # more than this is no delay but a clock that was not kept
_STEREO = 2
_SHORTEST = Clip(np.zeros(2, np.int16), 8_000)


class HeadsetPlaying:
    """A clip being played by a `HeadsetMouth`; any thread may ask or tell it.

    Args:
        clip: what is played.
        track: the same, in the line.
        rate_hz: the stream's rate.
        check: raises a `DeviceError` where the device is gone.
        lock: held while the sound system's thread takes sound from the track.

    Attributes:
        first_sample_at: `time.perf_counter()` when its first sound leaves the device; None before
            that was handed over.
    """

    def __init__(
        self,
        clip: Clip,
        track: Track,
        rate_hz: int,
        lock: Lock,
        check: Callable[[], None],
    ) -> None:
        self._check = check
        self._clip, self._track, self._rate_hz, self._lock = clip, track, rate_hz, lock
        self._pieces: deque[tuple[float, int]] = deque(maxlen=2 * round(1 / BLOCK_S))
        self._heard_at_stop_s: float | None = None
        self.first_sample_at: float | None = None

    def handed_over(self, sounds_at: float, samples: int) -> None:
        """Note that the next samples will be heard at a time; called with the lock held."""
        if self.first_sample_at is None:
            self.first_sample_at = sounds_at
        self._pieces.append((sounds_at, samples))

    def duck(self) -> None:
        """Lower it by 12 dB while someone speaks."""
        with self._lock:
            self._track.duck()

    def lift(self) -> None:
        """Bring it back."""
        with self._lock:
            self._track.lift()

    def stop(self) -> None:
        """Cut it; what the device still holds of it, and a fade, come after."""
        with self._lock:
            if self._heard_at_stop_s is None:
                self._heard_at_stop_s = self._heard_now_s()
                self._track.stop()

    @property
    def heard_s(self) -> float:
        """How much of it has left the device, seconds; at a cut it stays what it was.

        Raises:
            DeviceError: the device is gone, and the rest of it will never be heard.
        """
        with self._lock:
            stopped_s = self._heard_at_stop_s
            heard_s = self._heard_now_s() if stopped_s is None else stopped_s
        if stopped_s is None and heard_s < self._clip.duration_s:
            self._check()
        return heard_s

    def _heard_now_s(self) -> float:
        now, waiting = perf_counter(), 0.0
        for sounds_at, samples in reversed(self._pieces):
            if sounds_at + samples / self._rate_hz <= now:
                break
            waiting += samples - max(0.0, now - sounds_at) * self._rate_hz
        heard = (self._track.position - waiting) / self._rate_hz
        is_out = self._track.is_over and waiting <= 0.0
        return self._clip.duration_s if is_out else max(0.0, min(heard, self._clip.duration_s))


class HeadsetMouth:
    """A `Mouth` on a sound device; a context manager that plays from entry to exit.

    Args:
        device: the headphones; every channel gets the same.

    Attributes:
        underruns: how many blocks came too late so far: a gap or a click in what is heard.
    """

    def __init__(self, device: Device) -> None:
        self.device = device
        self.underruns = 0
        self.rate_hz = round(device.rate_hz)
        self._line = ClipLine()
        self._sounding: dict[Track, HeadsetPlaying] = {}
        self._lock = Lock()
        self._channels = min(_STEREO, device.outputs)
        self._asked_at, self._asked = perf_counter(), 0
        self._running = Event()
        self._stream: Any = None

    def __enter__(self) -> Self:
        """Open the headphones.

        Raises:
            DeviceError: they cannot be opened.
        """
        module = sounddevice()
        at_rate(_SHORTEST, self.rate_hz)  # what it needs is loaded now, not when something is said
        try:
            with quiet_start():
                self._stream = module.OutputStream(
                    samplerate=self.rate_hz,
                    blocksize=round(self.rate_hz * BLOCK_S),
                    device=self.device.index,
                    channels=self._channels,
                    dtype="int16",
                    latency=LATENCY_S,
                    callback=self._fill,
                )
                self._stream.start()
        except module.PortAudioError as problem:
            self._close()
            raise DeviceError(
                f"The headphones '{self.device.name}' cannot be opened ({problem})",
                "Close what else uses them, or choose others: companion work --devices",
            ) from problem
        self._running.wait(_RUNNING_WITHIN_S)  # until then nothing is known of the delay
        self._asked_at = perf_counter()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the headphones; what still sounds is cut."""
        self._close()

    def _close(self) -> None:
        if self._stream is not None:
            with quiet_start():
                self._stream.close(ignore_errors=True)

    def play(self, clip: Clip) -> HeadsetPlaying:
        """Play a clip, now or when the one before has ended.

        Args:
            clip: speech or a cue, any rate.

        Raises:
            DeviceError: the headphones are gone.
        """
        self.check()
        track = Track(at_rate(clip, self.rate_hz), self.rate_hz)
        playing = HeadsetPlaying(clip, track, self.rate_hz, self._lock, self.check)
        with self._lock:
            self._sounding[track] = playing
            self._line.add(track)
        return playing

    def check(self) -> None:
        """Look whether they still play.

        Raises:
            DeviceError: the headphones are gone.
        """
        try:
            active = bool(self._stream.active)
        except sounddevice().PortAudioError:
            active = False
        if not active or perf_counter() - self._asked_at > STALLED_S:
            raise DeviceError(
                f"The headphones '{self.device.name}' play no more",
                "Plug them in again and start: companion work",
            )

    def _fill(self, block: Any, count: int, times: Any, status: Any) -> None:  # noqa: ANN401
        """Called by PortAudio: hand over the next block."""
        self._asked_at, self._asked = perf_counter(), self._asked + 1
        if self._asked == _RUNNING_AFTER:
            self._running.set()
        self.underruns += bool(status.output_underflow)
        with self._lock:
            sound, placed = self._line.block(count)
            block[:] = sound[:, None]
            sounds_at = self._asked_at + self._delay_s(times)
            for track, start, samples in placed:
                self._sounding[track].handed_over(sounds_at + start / self.rate_hz, samples)
            self._sounding = {t: p for t, p in self._sounding.items() if not t.is_over}

    def _delay_s(self, times: Any) -> float:  # noqa: ANN401 - PortAudio's own struct
        """Return how long until a block that is handed over now is heard."""
        delay_s = float(times.outputBufferDacTime - times.currentTime)
        return delay_s if 0.0 < delay_s < _MOST_DELAY_S else float(self._stream.latency)
