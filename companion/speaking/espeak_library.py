"""Finding the speech library: the system's own, or the one of the wheel espeakng-loader."""

from __future__ import annotations

import ctypes
import os
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from companion.errors import VoiceError

SONAME = "libespeak-ng.so.1"
NO_VOICE_REMEDY = (
    "Install one: sudo apt-get install espeak-ng, or pip install --force-reinstall espeakng-loader."
)


@dataclass(frozen=True, slots=True)
class SpeechLibrary:
    """Where the library is and, for the wheel's, where its data is; '' means that it knows."""

    path: str
    data: str


@cache
def speech_library() -> SpeechLibrary:
    """Return the speech library of this machine, loaded, so that pyttsx3 finds it by its name.

    Raises:
        VoiceError: neither the system nor the wheel has one.
    """
    if sys.platform != "linux":  # elsewhere pyttsx3 has the system's own voices
        return SpeechLibrary("", "")
    if _loads(SONAME):
        return SpeechLibrary(SONAME, "")
    found = _from_wheel()
    # The library ends the whole process when it finds no data, or data of another version.
    if not Path(found.data, "phontab").is_file() or not _loads(found.path):
        raise VoiceError(f"The speech library in {found.path} is damaged", NO_VOICE_REMEDY)
    os.environ["ESPEAK_DATA_PATH"] = found.data
    return found


def _loads(name: str) -> bool:
    try:
        ctypes.CDLL(name, mode=ctypes.RTLD_GLOBAL)
    except OSError:
        return False
    return True


def _from_wheel() -> SpeechLibrary:
    try:
        import espeakng_loader  # noqa: PLC0415 -- loaded when used

        return SpeechLibrary(espeakng_loader.get_library_path(), espeakng_loader.get_data_path())
    except (ImportError, RuntimeError) as exc:
        raise VoiceError("There is no speech library on this machine", NO_VOICE_REMEDY) from exc
