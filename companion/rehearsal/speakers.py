"""The synthetic technician's voices: text in, 16 kHz sound out, from three synthesis engines.

`espeak` works from the wheels alone; `flite` and `festival` are programs that Debian has. A
recogniser finds each engine's accent differently hard, so a rehearsal should not rest on one.
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from companion.audio.sound_files import from_int16, read_sound, resampled, to_int16
from companion.errors import SoundFileError, VoiceError
from companion.ports import SAMPLE_RATE_HZ
from companion.rehearsal.espeak_process import NO_VOICE
from companion.speaking.espeak_library import NO_VOICE_REMEDY, speech_library
from companion.speaking.loudness import trimmed

if TYPE_CHECKING:
    from collections.abc import Callable

    import numpy.typing as npt

    from companion.ports import Samples

DEFAULT_SPEAKER = "espeak:en-us+m3"
ESPEAK_VOICES = (
    "en-us+m3",
    "en-us+f2",
    "en-us+m7",
    "en-us+f4",
    "en-gb-scotland",
    "en-gb-x-rp+f3",
)
ESPEAK_NAMES = {"en-gb": "en"}  # the library lists British English so, but knows it by its file
FLITE_VOICES = ("slt", "rms", "awb", "kal")
# Festival's voices and the Debian package that brings each.
FESTIVAL_VOICES = {
    "cmu_us_slt_arctic_hts": "festvox-us-slt-hts",
    "kal_diphone": "festvox-kallpc16k",
}
ESPEAK_RATE_HZ = 22_050
ESPEAK_RATE_WPM = 160
ESPEAK_PITCH = 50
PACE_SPREAD = 0.08  # a seeded speaker is up to this share slower or faster
PITCH_SPREAD = 8  # of 99
PEAK = 0.5  # of full scale: each engine is brought to one loudness
SLOWEST_S = 30.0


class Speaker(Protocol):
    """Someone who can say a sentence."""

    def say(self, text: str) -> Samples:
        """Return the sentence as int16 mono PCM at 16 kHz, without silence around it."""


@dataclass(frozen=True, slots=True)
class Manner:
    """How a speaker differs from the engine's own way.

    Args:
        pace: a factor on speed, above 1 faster.
        pitch: steps of 99 up or down; for espeak only.
    """

    pace: float = 1.0
    pitch: int = 0


def speaker(name: str = DEFAULT_SPEAKER, seed: int | None = None) -> Speaker:
    """Return a speaker; the same name and seed speak the same.

    Args:
        name: 'espeak:en-us+m3', 'flite:slt', 'festival:kal_diphone'.
        seed: varies pace and pitch slightly; None speaks as the engine does.

    Raises:
        VoiceError: the engine or its voice is not there; the message says what to install.
    """
    engine, _, voice = name.partition(":")
    makers: dict[str, Callable[[str, Manner], Speaker]]
    makers = {"espeak": EspeakSpeaker, "flite": FliteSpeaker, "festival": FestivalSpeaker}
    if engine not in makers or not voice:
        raise VoiceError(
            f"There is no speaker '{name}'", f"Use one of these: {', '.join(available_speakers())}."
        )
    return makers[engine](voice, _manner(seed))


def available_speakers() -> list[str]:
    """Return the names of the speakers that this machine has, the default first."""
    names = [f"espeak:{voice}" for voice in ESPEAK_VOICES]
    names += [f"flite:{voice}" for voice in FLITE_VOICES if voice in _flite_voices()]
    if shutil.which("text2wave"):
        names += [f"festival:{voice}" for voice in FESTIVAL_VOICES if _festival_has(voice)]
    return names


def _manner(seed: int | None) -> Manner:
    if seed is None:
        return Manner()
    rng = random.Random(seed)
    pace = rng.uniform(1 - PACE_SPREAD, 1 + PACE_SPREAD)
    return Manner(pace, rng.randint(-PITCH_SPREAD, PITCH_SPREAD))


@dataclass(frozen=True)
class EspeakSpeaker:
    """A voice of eSpeak NG, in a process of its own for each sentence.

    Args:
        voice: 'en-us', or with a variant 'en-us+m3'.
        manner: how it differs.
    """

    voice: str
    manner: Manner = Manner()

    def __post_init__(self) -> None:
        self.say("a")  # so that a voice that is not there is told at once

    def say(self, text: str) -> Samples:
        """Return the sentence as int16 mono PCM at 16 kHz, without silence around it."""
        library = speech_library()
        rate_wpm = round(ESPEAK_RATE_WPM * self.manner.pace)
        pitch = ESPEAK_PITCH + self.manner.pitch
        program = str(Path(__file__).with_name("espeak_process.py"))
        voice = ESPEAK_NAMES.get(self.voice, self.voice)
        where = (library.path, library.data, voice, str(rate_wpm), str(pitch))
        done = _run([sys.executable, "-I", "-S", program, *where], text)
        if done.returncode == NO_VOICE:
            raise VoiceError(
                f"eSpeak NG has no voice '{self.voice}'",
                f"Use one of these: {', '.join(ESPEAK_VOICES)}.",
            )
        if done.returncode or not done.stdout:
            raise VoiceError("eSpeak NG gave no sound", NO_VOICE_REMEDY)
        sound = from_int16(np.frombuffer(done.stdout, "<i2").astype(np.int16))
        return _levelled(resampled(sound, ESPEAK_RATE_HZ, SAMPLE_RATE_HZ))


@dataclass(frozen=True)
class FliteSpeaker:
    """A voice of the program flite.

    Args:
        voice: one of `FLITE_VOICES`.
        manner: how it differs; pitch is left as it is.
    """

    voice: str
    manner: Manner = Manner()

    def __post_init__(self) -> None:
        _require_program("flite", "flite")
        if self.voice not in _flite_voices():
            raise VoiceError(
                f"flite has no voice '{self.voice}'",
                f"Use one of these: {', '.join(FLITE_VOICES)}.",
            )

    def say(self, text: str) -> Samples:
        """Return the sentence as int16 mono PCM at 16 kHz, without silence around it."""
        stretch = f"duration_stretch={1 / self.manner.pace:.3f}"
        with tempfile.TemporaryDirectory(prefix="companion-speaker-") as folder:
            path = Path(folder, "speech.wav")
            _run(["flite", "-voice", self.voice, "--setf", stretch, "-t", text, "-o", str(path)])
            return _read("flite", path)


@dataclass(frozen=True)
class FestivalSpeaker:
    """A voice of the program festival.

    Args:
        voice: one of `FESTIVAL_VOICES`.
        manner: how it differs; pitch is left as it is, pace is heard in diphone voices only.
    """

    voice: str
    manner: Manner = Manner()

    def __post_init__(self) -> None:
        _require_program("text2wave", "festival")
        if self.voice not in FESTIVAL_VOICES or not _festival_has(self.voice):
            package = FESTIVAL_VOICES.get(self.voice)
            raise VoiceError(
                f"festival has no voice '{self.voice}'",
                f"Install it: sudo apt-get install {package}."
                if package
                else f"Use one of these: {', '.join(FESTIVAL_VOICES)}.",
            )

    def say(self, text: str) -> Samples:
        """Return the sentence as int16 mono PCM at 16 kHz, without silence around it."""
        stretch = f"(Parameter.set 'Duration_Stretch {1 / self.manner.pace:.3f})"
        with tempfile.TemporaryDirectory(prefix="companion-speaker-") as folder:
            path = Path(folder, "speech.wav")
            choose = f"(voice_{self.voice})"
            _run(["text2wave", "-eval", choose, "-eval", stretch, "-o", str(path)], text)
            return _read("festival", path)


def _require_program(program: str, package: str) -> None:
    if shutil.which(program) is None:
        raise VoiceError(
            f"The program '{package}' is not on this machine",
            f"Install it: sudo apt-get install {package}.",
        )


@cache
def _flite_voices() -> tuple[str, ...]:
    """Return the voices built into flite, none where it is absent."""
    if shutil.which("flite") is None:
        return ()
    _, _, names = _run(["flite", "-lv"]).stdout.decode().partition(":")
    return tuple(names.split())


@cache
def _festival_has(voice: str) -> bool:
    asked = f'(if (member \'{voice} (voice.list)) (print "yes"))'
    done = _run(["festival", "--batch", asked])
    return b"yes" in done.stdout


def _run(command: list[str], text: str = "") -> subprocess.CompletedProcess[bytes]:
    try:
        return subprocess.run(  # noqa: S603 -- fixed programs, arguments never pass a shell
            command, input=text.encode(), capture_output=True, timeout=SLOWEST_S, check=False
        )
    except (OSError, subprocess.TimeoutExpired) as exc:
        raise VoiceError(f"'{command[0]}' does not answer", "Install it again.") from exc


def _read(program: str, path: Path) -> Samples:
    try:
        return _levelled(from_int16(read_sound(path)))
    except SoundFileError as exc:
        raise VoiceError(f"'{program}' gave no sound", "Install it again.") from exc


def _levelled(sound: npt.NDArray[np.float32]) -> Samples:
    """Bring a sentence to one loudness and cut the silence around it."""
    peak = float(np.max(np.abs(sound), initial=0.0))
    if peak == 0.0:
        return np.zeros(0, np.int16)
    return trimmed(to_int16(sound * (PEAK / peak)), SAMPLE_RATE_HZ)
