"""Is what hears and what speaks really there: the recogniser, its model's files, the voice."""

from __future__ import annotations

import hashlib
from pathlib import Path
from time import perf_counter
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.noise_floor import level_dbfs
from companion.audio.sound_files import from_int16, resampled, to_int16
from companion.dialogue.scopes import named_scopes
from companion.errors import ModelError, VoiceError
from companion.hearing.model_files import catalogue, checked
from companion.language.compose import compose
from companion.listening import Utterance
from companion.loop import recogniser_for, sound_listener, spoken_voice
from companion.ports import SAMPLE_RATE_HZ, Frame
from companion.procedures import procedure
from companion.selftest.findings import Finding
from companion.speaking.espeak_library import NO_VOICE_REMEDY, SONAME, speech_library

if TYPE_CHECKING:
    from companion.hearing.model_files import ModelFile
    from companion.language.compose import Language
    from companion.listening import Listened
    from companion.ports import Recogniser, Samples
    from companion.settings import Settings

SENTENCE = "supply static point four five"
PROCEDURE = "fresh-air-damper"
_ROOM_S = 0.8  # before and after the sentence: as quiet as a room, not as a file
_HISS = 8.0  # its root mean square, of 32,768
_FRAME_SAMPLES = 320  # 20 ms
_SLOW_S = 1.5  # decoding that takes longer makes every answer late: common practice, no source
_SHORTEST_S, _LONGEST_S = 0.8, 6.0  # the sentence, said by anyone
_QUIETEST_DBFS = -40.0  # a voice below is hardly heard beside a blower: common practice, no source


def recogniser_check(settings: Settings) -> Finding:
    """Let our own voice say a sentence, and hear it under all that may be said in a job.

    Args:
        settings: which recogniser.

    Raises:
        ModelError: it cannot be loaded.
    """
    began = perf_counter()
    recogniser = recogniser_for(settings)
    loaded_s = perf_counter() - began
    which = f"{_name(settings)}, {_why(settings)}; loaded in {loaded_s:.1f} s"
    language = compose(named_scopes(procedure(PROCEDURE))["everything"])
    recogniser.listen_for(language.grammar, None)
    unknown = [word for word in SENTENCE.split() if word in recogniser.missing_words]
    if unknown:  # not tried: it cannot be heard, whatever comes
        told = f"{which}; its model knows no {', '.join(unknown)}"
        return Finding("recogniser", "failed", told, "Take an English one: companion models list")
    try:
        sound = said(SENTENCE)
    except VoiceError:
        told = f"{which}; not tried, for want of a voice"
        return Finding("recogniser", "warning", told, "See to the voice, then run this again.")
    return _judged(which, _heard(sound, language, recogniser))


def _judged(which: str, heard: Utterance | None) -> Finding:
    words = " ".join(heard.hearing.words) if heard else ""
    told = f'{which}; heard its own voice say "{words}"' if words else f"{which}; heard nothing"
    if heard is None or words != SENTENCE:
        return Finding(
            "recogniser",
            "failed",
            f'{told}, which was "{SENTENCE}"',
            "See to the model files; with a model of your own, try: companion selftest --listen",
        )
    told = f"{told} in {heard.decoding_s:.2f} s"
    if heard.decoding_s > _SLOW_S:
        remedy = "This machine is slow for it: close other programs, or expect late answers."
        return Finding("recogniser", "warning", told, remedy)
    return Finding("recogniser", "ok", told)


def _name(settings: Settings) -> str:
    return {
        "bundled": "bundled (hardened encoder)",
        "bundled-original": "bundled (original encoder)",
        "vosk": f"vosk ({Path(settings.vosk_model).name or 'no model named'})",
    }[settings.recogniser]


def _why(settings: Settings) -> str:
    if settings.recogniser == "bundled" and not settings.vosk_model:
        return "because no Vosk model is in use"
    return "as your settings say"


def said(text: str) -> Samples:
    """Return a text in the companion's own voice, int16 mono at 16 kHz, in a quiet room.

    Raises:
        VoiceError: there is no voice.
    """
    clip = spoken_voice().render(text)
    speech = to_int16(resampled(from_int16(clip.samples), clip.rate_hz, SAMPLE_RATE_HZ))
    room = round(_ROOM_S * SAMPLE_RATE_HZ)
    sound = np.pad(speech.astype(np.float64), room)
    hiss = np.random.default_rng(1).normal(0.0, _HISS, len(sound))
    return np.clip(sound + hiss, -32_768, 32_767).astype(np.int16)


def _heard(sound: Samples, language: Language, recogniser: Recogniser) -> Utterance | None:
    """Return the one utterance in the sound; None where there is none, or more than one."""
    listener = sound_listener(language, recogniser)
    happened: list[Listened] = []
    for start in range(0, len(sound), _FRAME_SAMPLES):
        happened.extend(listener.feed(Frame(sound[start : start + _FRAME_SAMPLES])))
    happened.extend(listener.flush())
    utterances = [each for each in happened if isinstance(each, Utterance)]
    return utterances[0] if len(utterances) == 1 else None


def model_files_check() -> Finding:
    """Work out the sha256 of every file of the bundled model, whatever was noted before.

    Raises:
        ModelError: a file is missing or altered, or the catalogue cannot be read.
    """
    began = perf_counter()
    files = catalogue().values()
    size_bytes = sum(_size_checked(model) for model in files)
    seconds = perf_counter() - began
    return Finding(
        "model files",
        "ok",
        f"{len(files)} files, {size_bytes / 1e6:.0f} MB, sha256 as catalogued ({seconds:.1f} s)",
    )


def _size_checked(model: ModelFile) -> int:
    """Return a file's size in bytes, once its digest is right.

    `checked` trusts a note for a file whose time and size stand as they were; a disk that fails
    changes neither.
    """
    path = checked(model)
    try:
        with path.open("rb") as file:
            digest = hashlib.file_digest(file, "sha256").hexdigest()
    except OSError as problem:
        raise ModelError(
            f"The model file cannot be read: {problem.strerror}",
            "Look after the disk, then install this program again.",
            where=str(path),
        ) from problem
    if digest != model.sha256:
        raise ModelError(
            "The model file has changed since it was last checked, its time and size have not",
            "Look after the disk, then install again: pip install --force-reinstall .",
            where=str(path),
        )
    return path.stat().st_size


def voice_check() -> Finding:
    """Render a sentence: is there a voice, does it give sound, how loud.

    Raises:
        VoiceError: there is no voice.
    """
    voice = spoken_voice()
    began = perf_counter()
    clip = voice.render(SENTENCE)
    milliseconds = (perf_counter() - began) * 1000
    level = level_dbfs(clip.samples)
    told = (
        f"{_library()}; {clip.duration_s:.1f} s of speech at {level:.0f} dBFS, "
        f"rendered in {milliseconds:.0f} ms"
    )
    if not _SHORTEST_S <= clip.duration_s <= _LONGEST_S or level < _QUIETEST_DBFS:
        return Finding("voice", "failed", f"{told}: that is no sentence", NO_VOICE_REMEDY)
    return Finding("voice", "ok", told)


def _library() -> str:
    library = speech_library()
    if not library.path:
        return "the system's own voice"
    if library.path == SONAME:
        return "eSpeak NG of the system"
    return "eSpeak NG of the package espeakng-loader"
