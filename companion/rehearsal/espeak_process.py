"""Speak one sentence with eSpeak NG in a process of its own; run as a program.

The library keeps its random state from one sentence to the next, and the companion's own voice
uses it too. In a fresh process a sentence depends on nothing but its arguments.

Arguments: library, data folder ('' for the library's own), voice, words a minute, pitch.
The text comes on standard input as UTF-8; int16 samples at 22,050 Hz go to standard output.
"""

from __future__ import annotations

import ctypes
import sys

SYNCHRONOUS = 2
DO_NOT_EXIT = 0x8000
UTF8_WITH_END_PAUSE = 0x1001
RATE, PITCH = 1, 3  # numbers of the library's parameters
NO_LIBRARY, NO_VOICE = 2, 3  # what this process ends with


def speak(library: str, data: str, voice: str, rate_wpm: int, pitch: int) -> int:
    """Write the sentence on standard input to standard output as samples."""
    espeak = ctypes.CDLL(library)
    if espeak.espeak_Initialize(SYNCHRONOUS, 0, data.encode() or None, DO_NOT_EXIT) < 0:
        return NO_LIBRARY
    samples = bytearray()

    def collect(sound: int | None, count: int, _events: int) -> int:
        if sound and count > 0:
            samples.extend(ctypes.string_at(sound, count * 2))
        return 0

    signature = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_int, ctypes.c_void_p)
    callback = signature(collect)
    espeak.espeak_SetSynthCallback(callback)
    if not _set_voice(espeak, voice):
        return NO_VOICE
    espeak.espeak_SetParameter(RATE, rate_wpm, 0)
    espeak.espeak_SetParameter(PITCH, pitch, 0)
    text = sys.stdin.buffer.read()
    size = ctypes.c_size_t(len(text) + 1)
    espeak.espeak_Synth(text, size, 0, 0, 0, UTF8_WITH_END_PAUSE, None, None)
    espeak.espeak_Synchronize()
    sys.stdout.buffer.write(bytes(samples))
    return 0


class _Voice(ctypes.Structure):
    """The first members of the library's description of a voice."""

    _fields_ = (
        ("name", ctypes.c_char_p),
        ("languages", ctypes.c_char_p),
        ("identifier", ctypes.c_char_p),
    )


def _set_voice(espeak: ctypes.CDLL, voice: str) -> bool:
    """Choose the voice; False for an unknown one, or one whose variant was passed over."""
    if espeak.espeak_SetVoiceByName(voice.encode()) != 0:
        return False
    espeak.espeak_GetCurrentVoice.restype = ctypes.POINTER(_Voice)
    identifier = espeak.espeak_GetCurrentVoice().contents.identifier or b""
    _, _, variant = voice.partition("+")
    return not variant or identifier.endswith(f"+{variant}".encode())


if __name__ == "__main__":
    _, library, data, voice, rate_wpm, pitch = sys.argv
    sys.exit(speak(library, data, voice, int(rate_wpm), int(pitch)))
