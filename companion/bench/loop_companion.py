"""The companion's side of the `loop` benchmark: the product's own live path, telling its turns.

Run as a program with the virtual card's environment. It prints a JSON line a turn, with
`time.perf_counter()` seconds: Linux's CLOCK_MONOTONIC, the same in every process of a machine. It
ends when its input ends, and tells what it has cost.
"""

from __future__ import annotations

import json
import signal
import sys
import time
import tomllib
from dataclasses import asdict
from datetime import UTC, datetime
from importlib.resources import files
from pathlib import Path
from tempfile import TemporaryDirectory
from threading import Event, Thread
from typing import TYPE_CHECKING, Any

import numpy as np

from companion.audio.cues import cue
from companion.audio.headset_ear import HeadsetEar
from companion.bench.hearing.moments import meter_procedure
from companion.dialogue.events import Heard, Say
from companion.headset import Headset
from companion.joblog import SqliteStore
from companion.loop import Loop, recogniser_for, run, sound_listener, spoken_voice, typed
from companion.ports import Clip
from companion.settings import Settings
from companion.sound_card import headphones, microphone
from companion.speaking.headset_mouth import HeadsetMouth

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.errors import DeviceError
    from companion.loop import Happened
    from companion.ports import Frame

KB_IN_MB = 1024
CLICK_ABOVE = 3_000
STEP = "anything"  # of the meter procedure
CLICK = Clip(np.tile(np.array([12_000, -12_000], np.int16), 200), 16_000)


class Ending:
    """A headset's ear that ends when the program's input does."""

    def __init__(self, ear: Headset | HeadsetEar) -> None:
        self._ear, self._over = ear, Event()
        self.marked: tuple[float, float, float] | None = None  # time, processor time, memory
        Thread(target=self._await_end, daemon=True).start()

    def _await_end(self) -> None:
        for _ in sys.stdin:  # "mark"
            self.marked = (time.perf_counter(), time.process_time(), _memory_mb("VmRSS"))
        self._over.set()

    def frames(self) -> Iterator[Frame]:
        """Yield frames until the input ends."""
        for frame in self._ear.frames():
            if self._over.is_set():
                return
            yield frame

    def come_back(self) -> bool:
        """Try to open the headset again."""
        return isinstance(self._ear, Headset) and self._ear.come_back()


class Telling:
    """Tells each turn: when it began, what was heard, what was said, and the time's parts."""

    def __init__(self) -> None:
        self._began = 0.0
        self.readings = 0  # that turns led to

    def foresee(self, _event: object) -> None:
        """Note when a turn begins: what was heard is known from here on."""
        self._began = time.perf_counter()

    def watch(self, happened: Happened) -> None:
        """Tell the turn."""
        event = happened.event
        self.readings += sum(draft.kind == "reading" for draft in happened.outcome.drafts)
        heard = event.hearing if isinstance(event, Heard) else None
        tell(
            event=type(event).__name__,
            began=self._began,
            words=" ".join(heard.words) if heard else "",
            said=[act.text for act in happened.outcome.acts if isinstance(act, Say)],
            parts=asdict(happened.timing),
        )


def tell(**what: Any) -> None:  # noqa: ANN401 - JSON is open
    """Print a line of JSON."""
    print(json.dumps(what), flush=True)


def work() -> None:
    """Run a job on the headset until the input ends."""
    telling = Telling()
    voice, recogniser = spoken_voice(), recogniser_for(Settings())
    with (
        TemporaryDirectory() as folder,
        SqliteStore(Path(folder, "jobs.sqlite3")) as store,
        Headset() as headset,
    ):
        loop = Loop(store, "loop-1", voice, headset, lambda: datetime.now(UTC), cue=cue)
        loop.open(meter_procedure())
        _prepare(loop)
        loop.foresee, loop.watch = telling.foresee, telling.watch
        before = _readings(store)
        tell(event="ready")
        began, cpu_s = time.perf_counter(), time.process_time()
        ear = Ending(headset)
        run(loop, ear, sound_listener(loop.language, recogniser), _tell_lost)
        ended, ended_cpu_s = time.perf_counter(), time.process_time()
        marked, marked_cpu_s, marked_mb = ear.marked or (began, cpu_s, _memory_mb("VmRSS"))
        idle_s = marked - began
        tell(
            event="cost",
            overruns=headset.overruns,
            underruns=headset.underruns,
            losses=headset.losses,
            readings_taken=telling.readings,
            readings_logged=_readings(store) - before,
            logged=_logged(store)[before:],
            processor_share_idle=(marked_cpu_s - cpu_s) / idle_s if idle_s else None,
            processor_share=(ended_cpu_s - marked_cpu_s) / (ended - marked),
            memory_at_work_mb=(marked_mb, _memory_mb("VmRSS")),
            peak_memory_mb=_memory_mb("VmHWM"),
        )


def _readings(store: SqliteStore) -> int:
    return len(_logged(store))


def _logged(store: SqliteStore) -> list[dict[str, Any]]:
    """Return the readings on the log, as they were heard."""
    readings = (e.payload for e in store.entries("loop-1") if e.kind == "reading")
    return [{key: said.get(key) for key in ("point", "value", "words")} for said in readings]


def _tell_lost(lost: DeviceError | None) -> None:
    tell(event="lost" if lost else "back", began=time.perf_counter())


def _prepare(loop: Loop) -> None:
    """Go to the step where every test point is live, and ask something to ask on."""
    while loop.job.current and loop.job.current.slug != STEP:
        for said in ("five", "done"):
            typed(loop, (said,))
    typed(loop, tuple(script()["before"].split()))


def script() -> dict[str, Any]:
    """Return what the technician says."""
    text = files("companion.bench").joinpath("loop_sentences.toml").read_text("utf-8")
    return tomllib.loads(text)


def echo() -> None:
    """Answer every click with a click: what the card itself costs."""
    with HeadsetMouth(headphones()) as mouth, HeadsetEar(microphone()) as ear:
        tell(event="ready")
        quiet = True
        for frame in Ending(ear).frames():
            loud = int(np.abs(frame.samples.astype(np.int32)).max(initial=0)) > CLICK_ABOVE
            if loud and quiet:
                mouth.play(CLICK)
            quiet = not loud


def _memory_mb(which: str) -> float:
    """Return the resident memory now (VmRSS) or at its peak (VmHWM)."""
    status = Path("/proc/self/status").read_text("ascii")
    kb = next(int(line.split()[1]) for line in status.splitlines() if line.startswith(which))
    return kb / KB_IN_MB


if __name__ == "__main__":
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the one who started it
    {"work": work, "echo": echo}[sys.argv[1]]()
