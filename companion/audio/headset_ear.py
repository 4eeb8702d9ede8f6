"""The microphone of a headset: frames as they are captured.

PortAudio calls from a thread of its own; that call copies the block into a bounded queue and
returns, so nothing that the program does can hold the capture up. If the program falls behind by
more than the queue holds, blocks are lost and counted.
"""

from __future__ import annotations

import queue
from collections import deque
from time import perf_counter
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from companion.errors import DeviceError
from companion.ports import SAMPLE_RATE_HZ, Frame
from companion.sound_card import quiet_start, sounddevice

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import TracebackType

    from companion.ports import Samples
    from companion.sound_card import Device

BLOCK_S = 0.02
KEPT_S = 10.0  # how far the program may fall behind before sound is lost
SILENT_S = 3.0  # a microphone that gives nothing for so long is gone
_BLOCKS_KEPT = round(KEPT_S / BLOCK_S)
_ARRIVALS_KEPT = 1500  # blocks of 20 ms: longer than any utterance
_STEREO = 2


class HeadsetEar:
    """An `Ear` on a sound device; a context manager that captures from entry to exit.

    Args:
        device: the microphone. It is opened at 16 kHz if it can, else at its own rate and
            resampled; of several channels the mean is taken, because a headset that shows two
            carries the one microphone in either or both.

    Attributes:
        overruns: how many blocks were lost so far, by the program or the sound system.
    """

    def __init__(self, device: Device) -> None:
        self.device = device
        self.overruns = 0
        self._blocks: queue.SimpleQueue[tuple[bytes, float, bool] | None] = queue.SimpleQueue()
        self._arrivals: deque[tuple[int, float]] = deque(maxlen=_ARRIVALS_KEPT)
        self._samples = 0
        self._is_torn = False  # a block was lost since the last one in the queue
        self._stream: Any = None
        self._resampling: Any = None
        self._channels = 1

    def __enter__(self) -> Self:
        """Open the microphone.

        Raises:
            DeviceError: it cannot be opened.
        """
        module = sounddevice()
        import soxr  # noqa: PLC0415 - before anything is open that would stay so

        try:
            with quiet_start():
                rate_hz, self._channels = self._form(module)
                self._stream = module.RawInputStream(
                    samplerate=rate_hz,
                    blocksize=round(rate_hz * BLOCK_S),
                    device=self.device.index,
                    channels=self._channels,
                    dtype="int16",
                    latency="low",
                    callback=self._capture,
                    finished_callback=self._finished,
                )
                self._stream.start()
        except module.PortAudioError as problem:
            self._close()
            raise DeviceError(
                f"The microphone '{self.device.name}' cannot be opened ({problem})",
                "Close what else uses it, or choose another: companion work --devices",
            ) from problem
        if rate_hz != SAMPLE_RATE_HZ:
            self._resampling = soxr.ResampleStream(rate_hz, SAMPLE_RATE_HZ, 1, dtype="int16")
        return self

    def _form(self, module: Any) -> tuple[int, int]:  # noqa: ANN401 - a module without types
        """Return the rate and channels to open it with, the plainest that it takes."""
        own_hz = round(self.device.rate_hz)
        for rate_hz in (SAMPLE_RATE_HZ, own_hz):
            for channels in (1, min(_STEREO, self.device.inputs)):
                try:
                    module.check_input_settings(self.device.index, channels, "int16", None, rate_hz)
                except module.PortAudioError:
                    continue
                return rate_hz, channels
        return own_hz, self.device.inputs

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the microphone."""
        self._close()

    def _close(self) -> None:
        if self._stream is not None:
            with quiet_start():
                self._stream.close(ignore_errors=True)

    def _capture(self, block: Any, _count: int, _time: Any, status: Any) -> None:  # noqa: ANN401
        """Called by PortAudio: copy and return."""
        if status.input_overflow:
            self.overruns, self._is_torn = self.overruns + 1, True
        if self._blocks.qsize() < _BLOCKS_KEPT:
            self._blocks.put((bytes(block), perf_counter(), self._is_torn))
            self._is_torn = False
        else:
            self.overruns, self._is_torn = self.overruns + 1, True

    def _finished(self) -> None:
        """Called by PortAudio when the stream has ended; the reader is told when it gets there."""
        self._blocks.put(None)

    def frames(self) -> Iterator[Frame]:
        """Yield what is captured, int16 mono at 16 kHz, some 20 ms a frame, without an end.

        Raises:
            DeviceError: the microphone is gone: it ended, or gave nothing for three seconds.
        """
        while True:
            samples, came_at, is_torn = self._next()
            if len(samples) or is_torn:
                self._samples += len(samples)
                self._arrivals.append((self._samples, came_at))
                yield Frame(samples, is_torn=is_torn)

    def _next(self) -> tuple[Samples, float, bool]:
        try:
            found = self._blocks.get(timeout=SILENT_S)
        except queue.Empty:
            found = None
        if found is None:
            raise DeviceError(
                f"The microphone '{self.device.name}' gives no more sound",
                "Plug it in again and start: companion work",
            )
        block, came_at, is_torn = found
        samples = np.frombuffer(block, np.int16)
        if self._channels > 1:
            samples = samples.reshape(-1, self._channels).mean(axis=1).astype(np.int16)
        if self._resampling is not None:
            samples = self._resampling.resample_chunk(samples)
        return samples, came_at, is_torn

    def arrived_at(self, stream_s: float) -> float:
        """Return when a moment of the stream was handed over by the sound system.

        Args:
            stream_s: seconds of sound since the start; of the last 30 seconds.

        Returns:
            `time.perf_counter()` seconds; the first or last known one outside of that.
        """
        wanted = stream_s * SAMPLE_RATE_HZ
        arrivals = tuple(self._arrivals)  # another thread may be taking frames
        later = (came_at for samples, came_at in arrivals if samples >= wanted)
        return next(later, arrivals[-1][1] if arrivals else perf_counter())
