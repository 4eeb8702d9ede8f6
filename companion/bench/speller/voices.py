"""Who says the training sentences: voices of eSpeak NG and flite, each time in another manner.

Never festival: its voices are held out of everything that is learnt or tuned.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.bench.hearing.spoken import spelled_for
from companion.rehearsal.speakers import FLITE_VOICES, EspeakSpeaker, FliteSpeaker, Manner

if TYPE_CHECKING:
    from random import Random

    from companion.ports import Samples
    from companion.rehearsal.speakers import Speaker

# Accents of English that eSpeak NG has, each by men and women of different pitch and throat.
_ACCENTS = (
    "en-us", "en-us-nyc", "en-gb-scotland", "en-gb-x-rp", "en-gb-x-gbclan",
    "en-gb-x-gbcwmd", "en-029",
)  # fmt: skip
_VARIANTS = ("m1", "m2", "m3", "m4", "m5", "m7", "m8", "f1", "f2", "f3", "f4", "f5")
# flite has few voices, so that they say a third of it each comes twelve times.
VOICES = tuple(f"espeak:{accent}+{each}" for accent in _ACCENTS for each in _VARIANTS) + 12 * tuple(
    f"flite:{voice}" for voice in FLITE_VOICES
)
_PACES = (0.82, 1.25)
_PITCH_STEPS = 25  # of 99, up or down


def check_voices() -> None:
    """See that every voice is on this machine.

    Raises:
        VoiceError: one is not; the message says what to install.
    """
    for name in dict.fromkeys(VOICES):
        _voice(name, Manner())


def said(name: str, words: tuple[str, ...], chance: Random) -> Samples:
    """Return words as a synthetic voice says them, int16 mono PCM at 16 kHz.

    Args:
        name: one of `VOICES`.
        words: in word form.
        chance: decides the pace (0.82 to 1.25) and the pitch.

    Raises:
        VoiceError: the voice is not there or gives no sound.
    """
    manner = Manner(chance.uniform(*_PACES), chance.randint(-_PITCH_STEPS, _PITCH_STEPS))
    return _voice(name, manner).say(spelled_for(name.partition(":")[0], words))


def _voice(name: str, manner: Manner) -> Speaker:
    engine, _, voice = name.partition(":")
    return EspeakSpeaker(voice, manner) if engine == "espeak" else FliteSpeaker(voice, manner)
