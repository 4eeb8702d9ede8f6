"""The room of a rehearsal: the microphone's sound, the two tracks, the companion's process."""

from __future__ import annotations

import multiprocessing
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.sound_files import write_stereo
from companion.errors import CompanionError, EngineError
from companion.ports import SAMPLE_RATE_HZ, Clip
from companion.rehearsal.companion_side import Assignment, companion_side
from companion.rehearsal.hum import hum
from companion.speaking.loudness import at_rate

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Samples
    from companion.rehearsal.wire import Cut, Note, Said

FRAME_SAMPLES = SAMPLE_RATE_HZ // 50  # 20 ms, as a headset gives
QUIET_ROOM_DBFS = -75.0


class Companion:
    """The companion's process. `hear` gives it a frame and returns what came of it."""

    def __init__(self, given: Assignment) -> None:
        context = multiprocessing.get_context("spawn")
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=companion_side, args=(theirs, given), daemon=True)
        self._process.start()
        theirs.close()
        self.ended = False

    def started(self) -> list[Note]:
        """Wait until it listens; return what it did on starting."""
        return self._received()

    def hear(self, frame: Samples) -> list[Note]:
        """Give it a frame; return the notes that came of it."""
        self._pipe.send_bytes(frame.tobytes())
        return self._received()

    def _received(self) -> list[Note]:
        try:
            notes = self._pipe.recv()
        except (EOFError, ConnectionResetError) as gone:
            self._process.join()
            raise EngineError(
                f"The companion's process ended with code {self._process.exitcode}",
                "Run the rehearsal again; if it stays, run companion work --typed and report it.",
            ) from gone
        if isinstance(notes, CompanionError):
            raise notes
        return list(notes)

    def kill_amid(self, frame: Samples, after_s: float) -> None:
        """Give it a frame and kill it in the middle of its work, whatever that is."""
        self._pipe.send_bytes(frame.tobytes())
        time.sleep(after_s)
        self._process.kill()

    def kill(self) -> None:
        """Kill it where it stands, as a dead battery would (SIGKILL)."""
        self._process.kill()
        self._process.join()
        self._pipe.close()

    def end(self) -> None:
        """Let it end by itself."""
        if self._process.is_alive():
            self._pipe.send_bytes(b"")
            self._process.join(timeout=10)
        self.kill()


@dataclass(slots=True)
class Room:
    """Where both are heard: mixes the microphone's frames and keeps both tracks.

    Args:
        noise_dbfs: the level of the blower hum, or None for a quiet room.
        seed: which blower.
        real_time: hold every frame back until its time has come.
    """

    noise_dbfs: float | None
    seed: int
    real_time: bool = False
    samples: int = 0
    quiet_from_s: float = 0.0
    offset_s: float = 0.0
    microphone: list[Samples] = field(default_factory=list)
    said: dict[tuple[float, int], tuple[Said, float]] = field(default_factory=dict)
    _speech: Samples = field(default_factory=lambda: np.zeros(0, np.int16))
    _began: float = field(default_factory=time.monotonic)

    @property
    def at_s(self) -> float:
        """Where the rehearsal is, seconds of sound."""
        return self.samples / SAMPLE_RATE_HZ

    @property
    def is_speaking(self) -> bool:
        """Whether the technician is speaking."""
        return len(self._speech) > 0

    def speak(self, speech: Samples) -> None:
        """Let the technician speak from the next frame on."""
        self._speech = speech
        self.quiet_from_s = max(self.quiet_from_s, self.at_s + len(speech) / SAMPLE_RATE_HZ)

    def frame(self) -> Samples:
        """Return the next frame of the microphone."""
        frame = np.zeros(FRAME_SAMPLES, np.int32)
        piece, self._speech = self._speech[:FRAME_SAMPLES], self._speech[FRAME_SAMPLES:]
        frame[: len(piece)] += piece
        level = QUIET_ROOM_DBFS if self.noise_dbfs is None else self.noise_dbfs
        frame += hum(FRAME_SAMPLES, level, self.seed, self.samples)
        sound = np.clip(frame, -32768, 32767).astype(np.int16)
        self.microphone.append(sound)
        self.samples += FRAME_SAMPLES
        if self.real_time:
            time.sleep(max(0.0, self._began + self.at_s - time.monotonic()))
        return sound

    def restart_clock(self) -> None:
        """Start pacing from now: loading a model is no part of the conversation."""
        self._began = time.monotonic() - self.at_s

    def place(self, note: Said) -> None:
        """Put a clip of the companion on its track."""
        start_s = self.offset_s + note.start_s
        end_s = start_s + len(note.samples) / note.rate_hz
        self.said[(self.offset_s, note.number)] = (note, end_s)
        self.quiet_from_s = max((end for _, end in self.said.values()), default=0.0)

    def cut(self, note: Cut) -> None:
        """Cut a clip on the companion's track."""
        key = (self.offset_s, note.number)
        said, end_s = self.said[key]
        self.said[key] = (said, min(end_s, self.offset_s + note.at_s))
        self.quiet_from_s = max(end for _, end in self.said.values())

    def companion_died(self) -> None:
        """What the companion was saying breaks off; its next process counts from here."""
        for key, (said, end_s) in self.said.items():
            self.said[key] = (said, min(end_s, self.at_s))
        self.offset_s = self.at_s
        self.quiet_from_s = self.at_s

    def write(self, path: Path) -> None:
        """Write both tracks as one stereo file: technician left, companion right."""
        left = np.concatenate([*self.microphone, np.zeros(1, np.int16)])
        last_s = max((end for _, end in self.said.values()), default=0.0)
        right = np.zeros(max(len(left), round(last_s * SAMPLE_RATE_HZ) + 1), np.int32)
        for (offset_s, _), (note, end_s) in self.said.items():
            sound = at_rate(Clip(note.samples, note.rate_hz), SAMPLE_RATE_HZ)
            start = round((offset_s + note.start_s) * SAMPLE_RATE_HZ)
            heard = sound[: max(0, round(end_s * SAMPLE_RATE_HZ) - start)]
            right[start : start + len(heard)] += heard[: len(right) - start]
        left = np.concatenate([left, np.zeros(len(right) - len(left), np.int16)])
        clipped = np.clip(right, -32768, 32767).astype(np.int16)
        write_stereo(path, left, clipped, SAMPLE_RATE_HZ)
