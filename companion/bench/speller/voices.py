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

_ESPEAK = (
    "en-us", "en-us+m1", "en-us+m3", "en-us+m4", "en-us+m5", "en-us+m7", "en-us+m8",
    "en-us+f1", "en-us+f2", "en-us+f4", "en-us+f5", "en-gb-scotland",
    "en-gb-scotland+f3", "en-gb-x-rp", "en-gb-x-rp+f3",
)  # fmt: skip
# flite has few voices, so each comes as often as four of espeak's: both engines have their half.
VOICES = tuple(f"espeak:{voice}" for voice in _ESPEAK) + 4 * tuple(
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
