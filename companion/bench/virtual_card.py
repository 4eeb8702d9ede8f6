"""A sound card where there is none: a private PulseAudio server with a microphone and headphones.

What is said into the virtual microphone is what a program hears; what the program plays into the
virtual headphones is recorded. Both are watched by recorders of the same kind, so the time between
something said and something answered is the difference of two times taken alike: the recorders'
own delay cancels. How well: two recordings of one click have times within 0.2 ms at one rate and
within 5 ms at the two rates used here (30 clicks; `tests/bench/test_virtual_card.py`). Against the
clock both are off alike, by some 10 ms: the server deals in blocks, and a block comes as a whole.

Pulled out means gone: a sound server would rather move a program's sound to another device, so
this one is told not to, and the recorders listen where nothing is ever pulled out.

Needs Debian's pulseaudio, pulseaudio-utils and libasound2-plugins; the program that is to use it
needs libportaudio2.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path
from threading import Lock, Thread
from time import perf_counter, sleep
from typing import IO, TYPE_CHECKING, Self

import numpy as np

from companion.errors import EngineError
from companion.ports import SAMPLE_RATE_HZ

if TYPE_CHECKING:
    from types import TracebackType

    from companion.ports import Samples

HEADPHONES_RATE_HZ = 48_000
PROGRAMS = ("pulseaudio", "pactl", "pacat")
ALSA_PLUGINS = tuple(
    f"{folder}/alsa-lib/libasound_module_pcm_pulse.so" for folder in ("lib/*", "lib", "lib64")
)
PACKAGES = "pulseaudio pulseaudio-utils libportaudio2 libasound2-plugins alsa-utils"
MICROPHONE, HEADPHONES = "mic", "vspk"
_MODULES = {
    MICROPHONE: f"module-remap-source master=vmic.monitor source_name={MICROPHONE}",
    HEADPHONES: f"module-remap-sink master=speaker sink_name={HEADPHONES} remix=no",
}
_LASTING = (
    f"sink_name=vmic rate={SAMPLE_RATE_HZ} channels=1",
    f"sink_name=speaker rate={HEADPHONES_RATE_HZ} channels=2",
)
_INTO_MICROPHONE = (
    "pacat", "--playback", "--device=vmic", "--raw", "--format=s16le",
    f"--rate={SAMPLE_RATE_HZ}", "--channels=1",
)  # fmt: skip
# The silence of the room sets the server's pace; what is said has more in hand, or a busy machine
# tears holes into it. The first samples of a stream may be lost (64 seen), so they are silence.
_ROOM_MS, _SAYING_MS = 20, 10_000
_LEAD = bytes(2 * SAMPLE_RATE_HZ // 50)
_UP_WITHIN_S = 10.0
_LATENCY_MS = 5
_CHUNK_S = 0.005


@dataclass
class Recorder:
    """What a source of the server gives, as it comes, with the time at which it came.

    Args:
        process: `parec` writing int16 mono PCM.
        rate_hz: its rate.
    """

    process: subprocess.Popen[bytes]
    rate_hz: int
    _chunks: list[Samples] = field(default_factory=list)
    _came: list[tuple[int, float]] = field(default_factory=list)  # (samples so far, when)
    _lock: Lock = field(default_factory=Lock)

    def __post_init__(self) -> None:
        self._thread = Thread(target=self._record, daemon=True)
        self._thread.start()

    def _record(self) -> None:
        stream: IO[bytes] = self.process.stdout  # type: ignore[assignment]
        count = round(self.rate_hz * _CHUNK_S)
        while len(block := stream.read(count * 2)) == count * 2:
            with self._lock:
                self._chunks.append(np.frombuffer(block, np.int16))
                self._came.append((len(self._came) * count + count, perf_counter()))

    @property
    def samples(self) -> Samples:
        """All that was recorded so far, int16 mono PCM at `rate_hz`."""
        with self._lock:
            return np.concatenate([np.zeros(0, np.int16), *self._chunks])

    def since(self, at: float) -> tuple[Samples, float]:
        """Return what was recorded from a time on, and the exact time of its first sample."""
        with self._lock:
            count = round(self.rate_hz * _CHUNK_S)
            first = next((n for n, (_, came) in enumerate(self._came) if came >= at), None)
            if first is None:
                return np.zeros(0, np.int16), at
            return np.concatenate(self._chunks[first:]), self._time_of(first * count)

    def time_of(self, sample: int) -> float:
        """Return when a sample was recorded, `time.perf_counter()` seconds."""
        with self._lock:
            return self._time_of(sample)

    def _time_of(self, sample: int) -> float:
        """By the fastest of the chunks around it: a chunk may come late, but never early."""
        count = round(self.rate_hz * _CHUNK_S)
        at = min(sample // count, len(self._came) - 1)
        around = self._came[max(0, at - 40) : at + 40]
        starts = (came - samples / self.rate_hz for samples, came in around)
        return min(starts) + sample / self.rate_hz

    def is_quiet(self, for_s: float, below: int = 60) -> bool:
        """Whether nothing louder than `below` (of 32,768) came in the last seconds."""
        wanted = round(for_s / _CHUNK_S)
        with self._lock:
            last = self._chunks[-wanted:]
        return len(last) == wanted and all(int(np.abs(c).max(initial=0)) <= below for c in last)

    def stop(self) -> None:
        """End the recording; what was recorded stays."""
        self.process.kill()
        self.process.wait()
        self._thread.join(timeout=5)
        if self.process.stdout:
            self.process.stdout.close()


class VirtualCard:
    """A context manager: the server runs from entry to exit.

    Attributes:
        environment: the environment for programs that shall use it.
        microphone: recorder of what the microphone hears, 16 kHz.
        headphones: recorder of what the headphones play, 48 kHz.

    Raises:
        EngineError: on entry, if a program is missing or the server does not start.
    """

    def __init__(self) -> None:
        self._stack = ExitStack()
        self._modules: dict[str, str] = {}
        self.environment: dict[str, str] = {}

    @staticmethod
    def is_possible() -> str:
        """Return '' when it is possible here, else what is missing and how to install it."""
        absent = [program for program in PROGRAMS if shutil.which(program) is None]
        if not any(found for place in ALSA_PLUGINS for found in Path("/usr").glob(place)):
            absent.append("ALSA plugin for pulse")
        return f"no {', '.join(absent)}; apt-get install {PACKAGES}" if absent else ""

    def __enter__(self) -> Self:
        """Start the server, microphone, headphones and both recorders."""
        if lacking := self.is_possible():
            raise EngineError("A virtual sound card is not possible here", f"There is {lacking}.")
        with ExitStack() as stack:
            self._start(stack)
            self._stack = stack.pop_all()
        return self

    def _start(self, stack: ExitStack) -> None:
        home = stack.enter_context(tempfile.TemporaryDirectory(prefix="companion-card-"))
        self.environment = self._own_environment(Path(home))
        server = subprocess.Popen(
            [
                *_ends_with_us(),
                "pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--log-level=error",
                "--load=module-native-protocol-unix",
                *(f"--load=module-null-sink {each}" for each in _LASTING),
            ],
            env=self.environment, stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        self._server = server
        stack.callback(_end, server)
        self._await_server(server)
        self._pactl("set-default-sink", "vmic")  # what is no default takes no other's place
        self._pactl("set-default-source", "vmic.monitor")
        for name in _MODULES:
            self.plug_in(name)
        self._keep_awake(stack)
        self.microphone = self._recorder(stack, "vmic.monitor", SAMPLE_RATE_HZ)
        self.headphones = self._recorder(stack, "speaker.monitor", HEADPHONES_RATE_HZ)
        self._await_sound(server)

    def _own_environment(self, home: Path) -> dict[str, str]:
        run = home / "run"
        run.mkdir(mode=0o700)
        rules = home / "daemon.conf"
        # A thread with realtime rights that gets no rest on a busy machine is killed by the system.
        rules.write_text("rescue-streams = no\nrealtime-scheduling = no\n", "ascii")
        own = {
            "HOME": str(home),
            "XDG_RUNTIME_DIR": str(run),
            "PULSE_CONFIG": str(rules),
            "PULSE_SOURCE": MICROPHONE,
            "PULSE_SINK": HEADPHONES,
        }
        for name in ("CONFIG", "DATA", "CACHE"):
            own[f"XDG_{name}_HOME"] = str(home / name.lower())
        taken = ("PULSE_LATENCY_MSEC", "PULSE_SERVER", "DBUS_SESSION_BUS_ADDRESS")
        return {k: v for k, v in os.environ.items() if k not in taken} | own

    def _await_server(self, server: subprocess.Popen[bytes]) -> None:
        until = perf_counter() + _UP_WITHIN_S
        while perf_counter() < until and server.poll() is None:
            if self._pactl("info", check=False) is not None:
                return
            sleep(0.02)
        raise EngineError("The virtual sound card does not start", f"Install again: {PACKAGES}.")

    def _await_sound(self, server: subprocess.Popen[bytes]) -> None:
        """Wait until both recordings run: the server takes its first sound two seconds late."""
        until = perf_counter() + _UP_WITHIN_S
        while perf_counter() < until and server.poll() is None:
            if len(self.microphone.samples) and len(self.headphones.samples):
                return
            sleep(0.02)
        raise EngineError("The virtual sound card records nothing", f"Install again: {PACKAGES}.")

    def _pactl(self, *arguments: str, check: bool = True) -> str | None:
        done = subprocess.run(
            ["pactl", *arguments],
            env=self.environment, stdin=subprocess.DEVNULL, capture_output=True, check=False,
            timeout=_UP_WITHIN_S,
        )  # fmt: skip
        if done.returncode == 0:
            return done.stdout.decode().strip()
        if check:
            said = done.stderr.decode().strip()
            raise EngineError(f"The virtual sound card refuses {arguments} ({said})", "Try again.")
        return None

    def _keep_awake(self, stack: ExitStack) -> None:
        """Let silence be said all the time: a sink that nobody plays to gives nothing to record.

        A microphone gives sound without an end, whether somebody speaks or not.
        """
        silence = stack.enter_context(Path("/dev/zero").open("rb"))  # noqa: SIM115 - the stack ends it
        process = subprocess.Popen(
            [*_INTO_MICROPHONE, f"--latency-msec={_ROOM_MS}"],
            env=self.environment, stdin=silence,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        stack.callback(_end, process)

    def _recorder(self, stack: ExitStack, source: str, rate_hz: int) -> Recorder:
        process = subprocess.Popen(
            [
                "pacat", "--record", f"--device={source}", "--raw", "--format=s16le",
                f"--rate={rate_hz}", "--channels=1", f"--latency-msec={_LATENCY_MS}",
            ],
            env=self.environment, stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        recorder = Recorder(process, rate_hz)
        stack.callback(recorder.stop)
        return recorder

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """End all of it."""
        self._stack.close()

    def plug_in(self, name: str) -> None:
        """Plug in the microphone ('mic') or the headphones ('vspk')."""
        if name in self._modules:
            return
        kind, *rest = _MODULES[name].split()
        self._modules[name] = self._pactl("load-module", kind, *rest) or ""

    def unplug(self, name: str) -> None:
        """Pull it out."""
        if name in self._modules:
            self._pactl("unload-module", self._modules.pop(name))

    def hold(self, name: str) -> None:
        """Keep it plugged in, but let no more sound through: a radio link that hangs."""
        self._suspend(name, "1")

    def let_go(self, name: str) -> None:
        """Let sound through again."""
        self._suspend(name, "0")

    def _suspend(self, name: str, how: str) -> None:
        self._pactl("suspend-source" if name == MICROPHONE else "suspend-sink", name, how)

    def stop_server(self) -> None:
        """End the sound system itself: the worst that can happen to a headset."""
        _end(self._server)

    def say(self, samples: Samples) -> Saying:
        """Begin to say something into the microphone.

        Args:
            samples: int16 mono PCM at 16 kHz.
        """
        process = subprocess.Popen(
            [*_INTO_MICROPHONE, f"--latency-msec={_SAYING_MS}"],
            env=self.environment, stdin=subprocess.PIPE,
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        return Saying(process, samples)


class Saying:
    """Something being said into the virtual microphone; it goes on by itself."""

    def __init__(self, process: subprocess.Popen[bytes], samples: Samples) -> None:
        self._process = process
        self._thread = Thread(target=self._feed, args=(_LEAD + samples.tobytes(),), daemon=True)
        self._thread.start()

    def _feed(self, sound: bytes) -> None:
        pipe: IO[bytes] = self._process.stdin  # type: ignore[assignment]
        with suppress(BrokenPipeError):
            pipe.write(sound)
        with suppress(BrokenPipeError):
            pipe.close()

    def wait(self, timeout_s: float = 60.0) -> None:
        """Wait until it was said."""
        self._thread.join(timeout_s)
        self._process.wait(timeout_s)


def _ends_with_us() -> tuple[str, ...]:
    """Return what makes a program end with this thread, however that ends, where there is a way."""
    return ("setpriv", "--pdeathsig", "KILL") if shutil.which("setpriv") else ()


def _end(process: subprocess.Popen[bytes]) -> None:
    process.terminate()
    try:
        process.wait(timeout=5)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


def onset(samples: Samples, above: int = 200) -> int | None:
    """Return the first sample louder than `above` (of 32,768), or None."""
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > above)
    return int(loud[0]) if len(loud) else None


def last_loud(samples: Samples, above: int = 200) -> int | None:
    """Return the last sample louder than `above` (of 32,768), or None."""
    loud = np.flatnonzero(np.abs(samples.astype(np.int32)) > above)
    return int(loud[-1]) if len(loud) else None
