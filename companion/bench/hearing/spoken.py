"""A case as sound: a recording as it is, or a sentence said by a synthetic speaker.

What was said once is kept as FLAC under a digest of all that it depends on, so a run that was
stopped goes on where it was, and another seed does not meet old sounds.
"""

from __future__ import annotations

import hashlib
import math
import os
import re
import tempfile
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.sound_files import read_sound
from companion.errors import InputError, SoundFileError
from companion.ports import SAMPLE_RATE_HZ
from companion.rehearsal.performance import spelled
from companion.rehearsal.speakers import available_speakers, speaker

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.bench.hearing.case import Case
    from companion.ports import Samples

HELD_OUT = "festival"  # nothing may be tuned on it: it is for the figures alone
# How each engine is made to say the letter A behind another word, where it would read an article:
# found by the phonemes that each gives for "forty v a secondary".
_LETTER_A = {"espeak": "eh", "flite": "ay", "festival": "ay"}
_A_AS_LETTER = re.compile(r"\b(v|volts?(?= a c\b)) a\b")
BREATH_S = 0.8  # longer than the patience at most ends, shorter than at some; no source
_FORM = "1"  # rises when the same words would sound otherwise


def speakers_by_engine() -> dict[str, tuple[str, ...]]:
    """Return the synthetic speakers that this machine has, by engine ('flite': 'flite:slt', …)."""
    found: dict[str, tuple[str, ...]] = {}
    for name in available_speakers():
        engine = name.partition(":")[0]
        found[engine] = (*found.get(engine, ()), name)
    return found


def evenly(by_engine: Mapping[str, Sequence[str]]) -> tuple[str, ...]:
    """Return speakers in an order that, dealt out in turn, gives each engine the same share.

    >>> evenly({"one": ["a", "b"], "two": ["x"]})
    ('a', 'x', 'b', 'x')
    """
    if not by_engine:
        return ()
    rounds = math.lcm(*(len(names) for names in by_engine.values()))
    return tuple(names[turn % len(names)] for turn in range(rounds) for names in by_engine.values())


def sound(case: Case, cache: Path) -> Samples:
    """Return a case as int16 mono PCM at 16 kHz.

    Args:
        case: with a path, the recording is read, at any rate; without, its speaker says its
            words, at a pace and pitch that vary slightly with its id.
        cache: a folder for synthetic speech; made if it is not there.

    Raises:
        SoundFileError: the recording is missing or no sound.
        VoiceError: the speaker is not there; the message says what to install.
        InputError: the cache cannot be written.
    """
    if case.path is not None:
        return read_sound(case.path)
    kept = cache / f"{_digest(case)}.flac"
    if kept.exists():
        try:
            return read_sound(kept)
        except SoundFileError:
            kept.unlink()  # damaged by something else than us: said again
    said = _said(case)
    _keep(said, kept)
    return said


def _said(case: Case) -> Samples:
    """Return a case said by its synthetic speaker, silent where a breath is taken."""
    voice = speaker(case.speaker, _seed(case))
    ends = (*case.breaths, len(case.words))
    parts = [case.words[start:end] for start, end in pairwise((0, *ends))]
    sounds = [voice.say(spelled_for(case.synthesis, part)) for part in parts]
    silence = np.zeros(round(BREATH_S * SAMPLE_RATE_HZ), np.int16)
    return np.concatenate([sounds[0], *(each for s in sounds[1:] for each in (silence, s))])


def spelled_for(engine: str, words: Sequence[str]) -> str:
    """Return words as a synthesis engine ('flite') must get them, so that letters are spelled."""
    text = " ".join(words)
    letter = _LETTER_A.get(engine)
    return spelled(_A_AS_LETTER.sub(rf"\1 {letter}", text) if letter else text)


def _seed(case: Case) -> int:
    return int.from_bytes(hashlib.sha256(case.spoken.encode()).digest()[:4], "big")


def _digest(case: Case) -> str:
    breaths = [str(each) for each in case.breaths]
    ink = "\n".join((_FORM, case.speaker, str(_seed(case)), " ".join(case.words), *breaths))
    return hashlib.sha256(ink.encode()).hexdigest()[:32]


def _keep(said: Samples, kept: Path) -> None:
    """Write a sound so that it is there whole or not at all."""
    import soundfile  # noqa: PLC0415 - engines load when needed

    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        handle, begun = tempfile.mkstemp(dir=kept.parent, suffix=".part")
        os.close(handle)
        try:
            soundfile.write(begun, said, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
            Path(begun).replace(kept)
        finally:
            Path(begun).unlink(missing_ok=True)
    except (OSError, soundfile.LibsndfileError) as exc:
        raise InputError(
            f"The cache '{kept.parent}' cannot be written",
            "Free some room, or name another folder.",
        ) from exc
