"""An engine in a process of its own, hearing sound the way the product does.

The sound goes through the product's own endpointing and listener, in frames of 20 ms, as it would
from a headset. A process each, so that memory and time are that engine's alone; one thread each.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter, process_time
from typing import TYPE_CHECKING, Any, Self

from companion.errors import CompanionError, EngineError
from companion.ports import SAMPLE_RATE_HZ, Frame

if TYPE_CHECKING:
    from collections.abc import Sequence
    from multiprocessing.connection import Connection
    from types import TracebackType

    from companion.language.compose import Language
    from companion.ports import Expectation, Grammar, Hearing, Partial, Recogniser, Samples, Scope

FRAME_SAMPLES = SAMPLE_RATE_HZ // 50
LONGEST_S = 120.0  # no case takes so long: an engine that does hangs
KB_IN_MB = 1024


@dataclass(frozen=True, slots=True)
class Ask:
    """A sound to be heard in a scope: int16 mono PCM at 16 kHz."""

    scope: Scope
    expect: Expectation | None
    samples: Samples


@dataclass(frozen=True, slots=True)
class HeardUtterance:
    """An utterance as heard; `response_s` as `listening.Utterance` has it, voice and log apart."""

    hearing: Hearing
    patience_s: float
    decoding_s: float
    late_s: float
    response_s: float


@dataclass(frozen=True, slots=True)
class Cost:
    """What an engine has cost so far.

    Attributes:
        peak_memory_mb: peak resident memory of its process.
        start_s: from the start of the process until it could hear.
        recogniser_cpu_s: processor time of the recogniser.
        cpu_s: processor time of all, endpointing included, since it could hear.
        utterance_s: sound of the utterances that it heard.
        sound_s: all sound.
    """

    peak_memory_mb: float = 0.0
    start_s: float = 0.0
    recogniser_cpu_s: float = 0.0
    cpu_s: float = 0.0
    utterance_s: float = 0.0
    sound_s: float = 0.0


_START = object()  # nothing is asked: it tells by itself that it can hear


class EngineProcess:
    """An engine in its process; a context manager.

    Args:
        name: which engine.
        sentences: the corpus's own sentences, for a peer that needs them.

    Raises:
        InputError: there is no engine of that name.
        EngineError: it is not installed, or its model is missing.
    """

    def __init__(self, name: str, sentences: Sequence[tuple[str, ...]] = ()) -> None:
        self.name, self._sentences = name, tuple(sentences)
        self._begin()

    def _begin(self) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        began = perf_counter()
        self._process = context.Process(
            target=_work, args=(theirs, self.name, self._sentences), daemon=True
        )
        self._process.start()
        theirs.close()
        self._answered(_START, "starting")
        self._start_s = perf_counter() - began

    def __enter__(self) -> Self:
        """Return itself."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End the process."""
        self.close()

    def close(self) -> None:
        """End the process."""
        self._process.kill()
        self._process.join()
        self._pipe.close()

    def hear(self, ask: Ask) -> list[HeardUtterance]:
        """Return the utterances found in a sound.

        Raises:
            EngineError: the engine died or hangs; it was started anew.
        """
        return list(self._answered(ask, ask.scope.name))

    def cost(self) -> Cost:
        """Return what it has cost so far."""
        found: Cost = self._answered(None, "telling its cost")
        return replace(found, start_s=self._start_s)

    def _answered(self, asked: object, doing: str) -> Any:  # noqa: ANN401 - what was asked for
        try:
            if asked is not _START:
                self._pipe.send(asked)
            answer = self._answer()
        except (EOFError, ConnectionResetError, BrokenPipeError) as gone:
            self.close()
            code = self._process.exitcode
            if doing != "starting":
                self._begin()
            raise EngineError(
                f"The engine {self.name} died or hung while {doing} (exit {code})",
                "Its result for that sound is missing; run it again.",
            ) from gone
        if isinstance(answer, CompanionError):
            self.close()
            raise answer
        return answer

    def _answer(self) -> Any:  # noqa: ANN401 - what was asked for
        if not self._pipe.poll(LONGEST_S):
            raise EOFError
        return self._pipe.recv()


class TimedRecogniser:
    """A recogniser whose processor time is counted."""

    def __init__(self, inner: Recogniser) -> None:
        self._inner = inner
        self.cpu_s, self.samples = 0.0, 0

    @property
    def missing_words(self) -> tuple[str, ...]:
        """As the recogniser within says."""
        return self._inner.missing_words

    def listen_for(self, grammar: Grammar, expect: Expectation | None) -> None:
        """As the recogniser within; not counted: it happens between utterances."""
        self._inner.listen_for(grammar, expect)

    def feed(self, frame: Frame) -> Partial | None:
        """As the recogniser within."""
        began = process_time()
        self.samples += len(frame.samples)
        partial = self._inner.feed(frame)
        self.cpu_s += process_time() - began
        return partial

    def finish(self) -> Hearing:
        """As the recogniser within."""
        began = process_time()
        hearing = self._inner.finish()
        self.cpu_s += process_time() - began
        return hearing

    def reset(self) -> None:
        """As the recogniser within."""
        self._inner.reset()


def _work(pipe: Connection, name: str, sentences: tuple[tuple[str, ...], ...]) -> None:
    """The process: hear what comes, until the pipe ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the one who started it
    os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
    from companion.bench.hearing.engines import engine  # noqa: PLC0415 - threads are set first
    from companion.language.compose import compose  # noqa: PLC0415

    languages: dict[str, Language] = {}
    try:
        made = engine(name, lambda grammar: languages[grammar.digest], sentences)
    except CompanionError as problem:
        pipe.send(problem)
        return
    recogniser = TimedRecogniser(made)
    pipe.send("ready")
    began, sound_s = process_time(), 0.0
    while (ask := _asked(pipe)) is not _OVER:
        if ask is None:
            cost = Cost(
                peak_memory_mb=_peak_mb(),
                recogniser_cpu_s=recogniser.cpu_s,
                cpu_s=process_time() - began,
                utterance_s=recogniser.samples / SAMPLE_RATE_HZ,
                sound_s=sound_s,
            )
            pipe.send(cost)
            continue
        language = compose(ask.scope)
        languages[language.grammar.digest] = language
        pipe.send(_heard(ask, language, recogniser))
        sound_s += len(ask.samples) / SAMPLE_RATE_HZ


_OVER = object()


def _asked(pipe: Connection) -> Any:  # noqa: ANN401 - an Ask, None for the cost, or _OVER
    try:
        return pipe.recv()
    except EOFError:
        return _OVER


def _heard(ask: Ask, language: Language, recogniser: Recogniser) -> list[HeardUtterance]:
    from companion.audio.endpointing import Endpointer  # noqa: PLC0415
    from companion.listening import Listener, Utterance  # noqa: PLC0415

    listener = Listener(Endpointer(), recogniser, language)
    listener.listen_for(language, ask.expect)
    found: list[Any] = []
    for at in range(0, len(ask.samples), FRAME_SAMPLES):
        found += listener.feed(Frame(ask.samples[at : at + FRAME_SAMPLES]))
    found += listener.flush()
    return [
        HeardUtterance(
            each.hearing,
            each.span.closed_s - each.span.end_of_speech_s,
            each.decoding_s,
            each.late_s,
            each.response_s,
        )
        for each in found
        if isinstance(each, Utterance)
    ]


def _peak_mb() -> float:
    status = Path("/proc/self/status").read_text("ascii")
    kb = next(int(line.split()[1]) for line in status.splitlines() if line.startswith("VmHWM"))
    return kb / KB_IN_MB
