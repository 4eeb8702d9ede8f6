"""Is the headset there, how loud is it at the microphone, does anything come out of the headphones.

The limits of level and noise are common practice, no source.
"""

from __future__ import annotations

import threading
from typing import TYPE_CHECKING

import numpy as np

from companion.audio.cues import cue
from companion.audio.headset_ear import HeadsetEar
from companion.errors import DeviceError
from companion.ports import SAMPLE_RATE_HZ
from companion.selftest.findings import Finding
from companion.selftest.levels import CLIPPED_SHARE, room
from companion.sound_card import devices, headphones, microphone
from companion.speaking.headset_mouth import HeadsetMouth

if TYPE_CHECKING:
    from companion.ports import Playing, Samples
    from companion.selftest.levels import Room
    from companion.settings import Settings

RECORDING_S = 3.0
_LOUD_DBFS = -30.0
_CUE = "attention"
_CUE_WAIT_S = 3.0
_POLL_S = 0.02


def devices_check(settings: Settings) -> Finding:
    """Find the microphone and the headphones that a job would use.

    Raises:
        DeviceError: there is none, or PortAudio is missing.
    """
    there = devices()
    heard_by, spoken_by = microphone(settings.microphone), headphones(settings.headphones)
    others = len({each.index for each in there} - {heard_by.index, spoken_by.index})
    more = f"; {others} more (companion work --devices)" if others else ""
    return Finding(
        "devices", "ok", f'microphone "{heard_by.name}", headphones "{spoken_by.name}"{more}'
    )


def microphone_check(settings: Settings) -> Finding:
    """Record three seconds: noise, level, clipping, digital silence, dropped blocks.

    Raises:
        DeviceError: there is no microphone, or it delivers nothing.
    """
    with HeadsetEar(microphone(settings.microphone)) as ear:
        samples = _recorded(ear)
        overruns = ear.overruns
    return _judged(room(samples), overruns)


def _recorded(ear: HeadsetEar) -> Samples:
    frames, count = [], 0
    for frame in ear.frames():
        frames.append(frame.samples)
        count += len(frame.samples)
        if count >= RECORDING_S * SAMPLE_RATE_HZ:
            break
    return np.concatenate(frames) if frames else np.zeros(0, np.int16)


def _judged(heard: Room, overruns: int) -> Finding:
    """Return the finding, the gravest matter first."""
    if heard.is_silent:
        told = f"{RECORDING_S:.0f} s of digital silence: it is muted, or another device is meant"
        remedy = "Unmute it, or choose another: companion work --devices."
        return Finding("microphone", "failed", told, remedy)
    told = f"noise {heard.noise_dbfs:.0f} dBFS, peak {heard.peak_dbfs:.0f} dBFS"
    if heard.clipped_share > CLIPPED_SHARE:
        told += f", {heard.clipped_share:.2%} of the sound clipped"
        return Finding("microphone", "warning", told, "Turn its level down.")
    told += ", no clipping"
    if overruns:
        told += f", {overruns} blocks dropped"
        remedy = "This machine can't keep up: close other programs."
        return Finding("microphone", "warning", told, remedy)
    told += ", nothing dropped"
    if heard.noise_dbfs > _LOUD_DBFS:
        remedy = (
            "Loud: bring the microphone nearer to your mouth, or turn its level down. "
            "Say numbers figure by figure."
        )
        return Finding("microphone", "warning", told, remedy)
    return Finding("microphone", "ok", told)


def headphones_check(settings: Settings) -> Finding:
    """Play a cue.

    Raises:
        DeviceError: there are no headphones, or they take no sound.
    """
    clip = cue(_CUE)
    device = headphones(settings.headphones)
    with HeadsetMouth(device) as mouth:
        playing = mouth.play(clip)
        played_s = _played_s(playing, clip.duration_s)
    if played_s < clip.duration_s:
        raise DeviceError(
            f'"{device.name}" played {played_s:.2f} of {clip.duration_s:.2f} s',
            "Choose others: companion work --devices.",
        )
    return Finding(
        "headphones", "ok", f'played three short tones through "{device.name}"; did you hear them?'
    )


def _played_s(playing: Playing, duration_s: float) -> float:
    """Return how much was played, once all of it was, or waiting has no more sense."""
    waiting = threading.Event()  # never set: nothing tells the end
    waited_s = 0.0
    while playing.heard_s < duration_s and waited_s < _CUE_WAIT_S:
        waiting.wait(_POLL_S)
        waited_s += _POLL_S
    return playing.heard_s
