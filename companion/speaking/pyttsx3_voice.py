"""The companion's voice: pyttsx3 renders into a file, and the samples are ours to play.

Why not `say`: on Linux it hands a finished file to an external player and cannot be cut. The
engine below pyttsx3 is one for the whole process, so there is one here too, under a lock, and each
rendering sets voice, pace and pitch again where another voice came between.
"""

from __future__ import annotations

import sys
import tempfile
import threading
import wave
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from time import monotonic, sleep
from typing import TYPE_CHECKING, Any

import numpy as np

from companion.errors import VoiceError
from companion.ports import Clip
from companion.speaking.espeak_library import NO_VOICE_REMEDY, speech_library
from companion.speaking.loudness import trimmed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.ports import Samples

DEFAULT_VOICE = "en-us"
VOICES = (DEFAULT_VOICE, "en-us+f3", "en-us+m7", "en-gb", "en-us+f5")  # apart by pitch and accent
DEFAULT_RATE_WPM = 165
DEFAULT_PITCH = 50
STUCK_S = 15.0  # the longest sentence takes a tenth of a second
IDLE_LOOK_S = 0.001
TRIES = 3  # a busy machine made the engine lose a sentence once in some hundred renderings
VOICES_NAMED = 6  # in the message about an unknown voice
# Drivers of pyttsx3 that use the library; on other systems voices are taken as they are named.
_ESPEAK_DRIVER = "espeak"


@dataclass(frozen=True, slots=True)
class _Manner:
    """What the engine is set to; `voice` is the engine's id, `named` how it was asked for."""

    named: str
    voice: str
    rate_wpm: int
    pitch: int


class Pyttsx3Voice:
    """A voice that works offline with what the wheels bring.

    Args:
        voice: 'en-us', 'en-gb-scotland', or with a variant 'en-us+m3'; a pyttsx3 voice id too.
        rate_wpm: pace in words a minute, 80 to 450.
        pitch: 0 to 99, 50 as the voice is made.

    Raises:
        VoiceError: no speech library, or no such voice; the message says what to do.
    """

    def __init__(
        self,
        voice: str = DEFAULT_VOICE,
        rate_wpm: int = DEFAULT_RATE_WPM,
        pitch: int = DEFAULT_PITCH,
    ) -> None:
        self._engine = _engine()
        self._manner = _Manner(voice, self._engine.known(voice), rate_wpm, pitch)
        self._engine.render("a", self._manner)  # an unknown variant shows only now

    @property
    def identity(self) -> str:
        """What distinguishes its sound from another voice's: a key for a cache."""
        return f"{self._manner.voice} {self._manner.rate_wpm} wpm, pitch {self._manner.pitch}"

    def paced(self, factor: float) -> Pyttsx3Voice:
        """Return the same voice, slower (below 1) or faster.

        Args:
            factor: on words a minute; the result is kept within 80 to 450.
        """
        other = object.__new__(Pyttsx3Voice)
        rate_wpm = min(450, max(80, round(self._manner.rate_wpm * factor)))
        other._engine = self._engine
        other._manner = replace(self._manner, rate_wpm=rate_wpm)
        return other

    def render(self, text: str) -> Clip:
        """Return the text as speech, without silence before or after; empty for empty text.

        Args:
            text: what to say, as it is spoken.

        Raises:
            VoiceError: the engine gave nothing.
        """
        if not any(character.isalnum() for character in text):
            return Clip(np.zeros(0, np.int16), self._engine.rate_hz, text)
        samples, rate_hz = self._engine.render(text, self._manner)
        return Clip(trimmed(samples, rate_hz), rate_hz, text)


class _NoSoundError(VoiceError):
    """The engine spoke and gave nothing."""

    def __init__(self, text: str) -> None:
        super().__init__(f"The voice gave no sound for '{text}'", NO_VOICE_REMEDY)


class _Engine:
    """The one pyttsx3 engine of the process."""

    rate_hz = 22_050

    def __init__(self) -> None:
        speech_library()
        try:
            import pyttsx3  # noqa: PLC0415 -- loaded when used

            self._pyttsx3 = pyttsx3.init()
        except Exception as exc:  # pyttsx3 lets whatever its driver meets pass
            raise VoiceError("The voice cannot be started", NO_VOICE_REMEDY) from exc
        self._lock = threading.Lock()
        self._manner: _Manner | None = None
        self._failed: list[Exception] = []
        self._finished = threading.Event()
        self._pyttsx3.connect("error", self._remember)
        self._pyttsx3.connect("finished-utterance", self._note_end)
        driver: Any = sys.modules.get("pyttsx3.drivers.espeak")
        self._is_espeak = driver is not None
        if driver is not None:
            # It prints after each file; standard output belongs to the commands. Shadowing the
            # name in its module leaves the other threads' output alone.
            driver.print = lambda *_args, **_kwargs: None

    def _remember(self, exception: Exception, **_rest: object) -> None:
        self._failed.append(exception)

    def _note_end(self, **_rest: object) -> None:
        self._finished.set()

    def known(self, voice: str) -> str:
        """Return the engine's id for a voice named any of the ways it may be.

        Raises:
            VoiceError: none is named so.
        """
        base, plus, variant = voice.strip().partition("+")
        with self._lock:
            voices = self._pyttsx3.getProperty("voices")
        for each in voices:
            names = {each.id, each.id.rpartition("/")[2], each.name, *each.languages}
            if base.lower() in {str(name).lower() for name in names}:
                return f"{each.id}{plus}{variant}"
        raise _unknown(voice, [each.id.rpartition("/")[2] for each in voices])

    def render(self, text: str, manner: _Manner) -> tuple[Samples, int]:
        """Return the samples of a text and their rate.

        Raises:
            VoiceError: the engine refused the voice, stuck, or wrote nothing.
        """
        with self._lock, tempfile.TemporaryDirectory(prefix="companion-voice-") as folder:
            for _ in range(TRIES - 1):
                with suppress(_NoSoundError):
                    return self._rendered(text, manner, Path(folder, "speech.wav"))
            return self._rendered(text, manner, Path(folder, "speech.wav"))

    def _rendered(self, text: str, manner: _Manner, path: Path) -> tuple[Samples, int]:
        """Let the engine speak into a file, and read it."""
        self._await_idle()
        changed = manner != self._manner
        self._manner = None
        self._failed.clear()
        if changed:
            self._set(manner)
        self._pyttsx3.save_to_file(text, str(path))
        is_whole = self._run()
        if changed:
            self._check_voice(manner)
        if not is_whole:
            raise _NoSoundError(text)
        samples = _samples(path, text)
        self._manner = manner
        return samples

    def _set(self, manner: _Manner) -> None:
        """Ask for voice, pace and pitch; the engine may take them up only when it runs."""
        self._pyttsx3.setProperty("voice", manner.voice)
        self._pyttsx3.setProperty("rate", manner.rate_wpm)
        if self._is_espeak:
            self._pyttsx3.setProperty("pitch", manner.pitch)

    def _check_voice(self, manner: _Manner) -> None:
        """Refuse what the engine passes over: it speaks on in another voice and says nothing."""
        taken = self._pyttsx3.getProperty("voice") == manner.voice.lower()
        if self._is_espeak and (self._failed or not taken):
            raise _unknown(manner.named)

    def _run(self) -> bool:
        """Let the engine work, but not for ever; return whether it came to its end.

        Whether `runAndWait` returns before the file is written depends on how the library was
        built, so the end is taken from the engine's own notice.
        """
        self._finished.clear()
        watchdog = threading.Timer(STUCK_S, self._pyttsx3.endLoop)
        watchdog.daemon = True
        watchdog.start()
        try:
            self._pyttsx3.runAndWait()
        finally:
            watchdog.cancel()
        is_whole = self._finished.wait(STUCK_S)
        self._await_idle()
        return is_whole

    def _await_idle(self) -> None:
        """Wait until eSpeak's own thread is done: its notice comes a little before that.

        What is asked of it while it is busy is cancelled, the sentence or its pace with it.
        """
        library: Any = sys.modules.get("pyttsx3.drivers._espeak")
        until = monotonic() + STUCK_S
        while library is not None and library.IsPlaying() and monotonic() < until:
            sleep(IDLE_LOOK_S)


@cache
def _engine() -> _Engine:
    return _Engine()


def _samples(path: Path, text: str) -> tuple[Samples, int]:
    try:
        with wave.open(str(path), "rb") as file:
            sound = file.readframes(file.getnframes())
            rate_hz = file.getframerate()
    except (OSError, EOFError, wave.Error) as exc:
        raise _NoSoundError(text) from exc
    if not any(sound) and any(letter.isalnum() for letter in text):  # a caution must not go unsaid
        raise _NoSoundError(text)
    return np.frombuffer(sound, "<i2").astype(np.int16), rate_hz


def _unknown(voice: str, voices: Sequence[str] = ()) -> VoiceError:
    """Name a few voices that exist, the default first."""
    english = [name for name in voices if name.startswith("en-") and name != DEFAULT_VOICE]
    some = [DEFAULT_VOICE, f"{DEFAULT_VOICE}+m3", f"{DEFAULT_VOICE}+f2", *english]
    return VoiceError(
        f"There is no voice '{voice}'", f"Use one of these: {', '.join(some[:VOICES_NAMED])}."
    )
