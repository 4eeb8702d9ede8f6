"""The technician's side of the `loop` benchmark: speaks on the virtual card and measures there.

Times are those of the card's two recordings: what the microphone hears and what the headphones
play. Both are recorded alike, so what the recorders take cancels in a difference.
"""

from __future__ import annotations

import json
import queue
import subprocess
import sys
from dataclasses import dataclass
from threading import Thread
from time import perf_counter, sleep
from typing import IO, TYPE_CHECKING, Any, Self

import numpy as np

from companion.bench.virtual_card import last_loud, onset
from companion.errors import EngineError
from companion.ports import SAMPLE_RATE_HZ
from companion.speaking.loudness import at_rate

if TYPE_CHECKING:
    from types import TracebackType

    import numpy.typing as npt

    from companion.bench.virtual_card import Recorder, VirtualCard
    from companion.ports import Clip, Samples

QUIET_S = 0.4
SOONEST_S = 8.0  # an answer that takes longer is none
WINDOW_S = 0.010
DUCKED_BELOW, LIFTED_ABOVE = 0.4, 0.8  # of the loudness that it would have


class Companion:
    """A program on the virtual card that tells in JSON lines; ends with the context."""

    def __init__(self, card: VirtualCard, what: str) -> None:
        self._process = subprocess.Popen(  # noqa: S603 - our own program
            [sys.executable, "-m", "companion.bench.loop_companion", what],
            env=card.environment, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip
        self._told: queue.Queue[dict[str, Any] | None] = queue.Queue()
        self._listener = Thread(target=self._listen, daemon=True)
        self._listener.start()

    def _listen(self) -> None:
        lines: IO[str] = self._process.stdout  # type: ignore[assignment]
        for line in lines:
            self._told.put(json.loads(line))
        self._told.put(None)

    def next(self, event: str, timeout_s: float, after: float = 0.0) -> dict[str, Any] | None:
        """Return the next turn of that kind that began after a moment; None if none did in time.

        Raises:
            EngineError: the program has ended.
        """
        until = perf_counter() + timeout_s
        while (left_s := until - perf_counter()) > 0:
            try:
                told = self._told.get(timeout=left_s)
            except queue.Empty:
                return None
            if told is None:
                raise EngineError("The companion has ended", "See above why, and run it again.")
            if told["event"] == event and told.get("began", after) >= after:
                return told
        return None

    def mark(self) -> None:
        """Let it note what it has cost so far: from here on it works."""
        pipe: IO[str] = self._process.stdin  # type: ignore[assignment]
        pipe.write("mark\n")
        pipe.flush()

    def end(self) -> dict[str, Any]:
        """Let it end by itself; return what it has cost."""
        pipe: IO[str] = self._process.stdin  # type: ignore[assignment]
        pipe.close()
        return self.next("cost", SOONEST_S) or {}

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End it."""
        self._process.kill()
        self._process.wait()
        self._listener.join()
        for stream in (self._process.stdin, self._process.stdout):
            if stream:
                stream.close()


@dataclass(frozen=True, slots=True)
class Said:
    """Where something said lies, `time.perf_counter()` seconds: first and last sound of it."""

    began_at: float
    ended_at: float


class Room:
    """The technician, with the card.

    Args:
        card: the virtual card.
    """

    def __init__(self, card: VirtualCard) -> None:
        self._card = card

    def await_quiet(self, timeout_s: float = 60.0) -> None:
        """Wait until the headphones have been quiet for a while."""
        until = perf_counter() + timeout_s
        while perf_counter() < until and not self._card.headphones.is_quiet(QUIET_S):
            sleep(0.02)

    def await_speech(self, lasting_s: float) -> bool:
        """Wait until something has sounded in the headphones for so long; False if nothing did."""
        until = perf_counter() + SOONEST_S
        while perf_counter() < until:
            if not self._card.headphones.is_quiet(0.05):
                sleep(lasting_s)
                return not self._card.headphones.is_quiet(0.5)
            sleep(0.02)
        return False

    def say(self, speech: Samples, words: Samples | None = None) -> Said:
        """Say something, and find it in the microphone's recording.

        Args:
            speech: int16 mono PCM at 16 kHz.
            words: the same without noise, where there is noise: it tells where the words end.

        Raises:
            EngineError: it never got there.
        """
        before = perf_counter()
        self._card.say(speech).wait()
        first, last = onset(speech), last_loud(speech if words is None else words)
        began_at = _onset_after(self._card.microphone, before)
        if began_at is None or first is None or last is None:
            raise EngineError("The virtual microphone heard nothing", "Run it again.")
        return Said(began_at, began_at + (last - first) / SAMPLE_RATE_HZ)

    def answered_at(self, said: Said) -> float | None:
        """Return when the first sound of an answer came; None where there was none."""
        until = said.ended_at + SOONEST_S
        while perf_counter() < until:
            if (found := _onset_after(self._card.headphones, said.ended_at)) is not None:
                return found
            sleep(0.02)
        return None

    def silent_from(self, at: float) -> float:
        """Return when the last sound after a moment was heard; the moment itself if none was."""
        samples, first_at = self._card.headphones.since(at)
        last = last_loud(samples)
        return at if last is None else first_at + last / self._card.headphones.rate_hz

    def loudness(self, clip: Clip, began_at: float) -> tuple[npt.NDArray[np.float64], float]:
        """Return how loud a clip was played, window by window, against how it was rendered.

        Args:
            clip: what was played.
            began_at: a moment at or before its first sound.

        Returns:
            Factors, shape (windows,), NaN where the clip itself is soft; and when the first
            window began.
        """
        recorder = self._card.headphones
        played, first_at = recorder.since(began_at)
        start = onset(played) or 0
        wanted = at_rate(clip, recorder.rate_hz)
        wanted = wanted[onset(wanted) or 0 :]
        played = played[start : start + len(wanted)]
        size = round(WINDOW_S * recorder.rate_hz)
        one, other = (_windows(each, size) for each in (played, wanted[: len(played)]))
        factors = np.where(other > 0.2 * np.median(other), one / np.maximum(other, 1.0), np.nan)
        return factors, first_at + start / recorder.rate_hz


def first_below(factors: npt.NDArray[np.float64], from_window: int) -> int | None:
    """Return the first window that stays ducked for three, from a window on."""
    return _first(factors < DUCKED_BELOW, from_window)


def first_above(factors: npt.NDArray[np.float64], from_window: int) -> int | None:
    """Return the first window that is lifted for three, from a window on."""
    return _first(factors > LIFTED_ABOVE, from_window)


def _first(fits: npt.NDArray[np.bool_], from_window: int) -> int | None:
    for at in range(from_window, len(fits) - 2):
        if fits[at : at + 3].all():
            return at
    return None


def _windows(samples: Samples, size: int) -> npt.NDArray[np.float64]:
    """Return the root mean square of whole windows."""
    whole = samples[: len(samples) // size * size].reshape(-1, size).astype(np.float64)
    return np.asarray(np.sqrt(np.mean(np.square(whole), axis=1)))


def _onset_after(recorder: Recorder, at: float) -> float | None:
    samples, first_at = recorder.since(at)
    first = onset(samples)
    return None if first is None else first_at + first / recorder.rate_hz
