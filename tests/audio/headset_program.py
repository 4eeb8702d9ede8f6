"""A small program on the sound card, started by the tests of the headset in its environment.

PortAudio takes its environment once a process, so each test has a program of its own.
"""

from __future__ import annotations

import json
import sys
import time

import numpy as np

from companion.audio.headset_ear import HeadsetEar
from companion.errors import DeviceError
from companion.ports import Clip
from companion.sound_card import headphones, microphone
from companion.speaking.headset_mouth import HeadsetMouth

RATE_HZ = 22_050


def tone(seconds: float, level: int = 10_000) -> Clip:
    at = np.arange(round(seconds * RATE_HZ))
    return Clip((level * np.sin(2 * np.pi * 440 * at / RATE_HZ)).astype(np.int16), RATE_HZ, "tone")


def tell(**what: object) -> None:
    print(json.dumps(what), flush=True)  # noqa: T201 - what it is for


def hear(seconds: float, stall_s: float) -> None:
    """Capture for so long, asleep in the middle; tell what came."""
    with HeadsetEar(microphone()) as ear:
        tell(ready=True)
        samples, count = [], 0
        for frame in ear.frames():
            samples.append(frame.samples)
            count += len(frame.samples)
            if stall_s and count > 16_000:
                time.sleep(stall_s)
                stall_s = 0.0
            if count >= seconds * 16_000:
                break
        sound = np.concatenate(samples)
        tell(sound=sound.tolist(), overruns=ear.overruns, late_s=time.perf_counter())


def hear_until_gone() -> None:
    """Capture until the microphone is gone; tell how that was told."""
    try:
        with HeadsetEar(microphone()) as ear:
            tell(ready=True)
            for _ in ear.frames():
                pass
    except DeviceError as problem:
        tell(problem=str(problem))


def play() -> None:
    """Play, duck, lift and cut; tell when each was asked for and how much was heard."""
    told: dict[str, float] = {}
    with HeadsetMouth(headphones()) as mouth:
        time.sleep(0.3)
        first, second = mouth.play(tone(3.0)), mouth.play(tone(0.3, 5_000))
        for name, act in (("duck", first.duck), ("lift", first.lift), ("stop", first.stop)):
            time.sleep(0.6)
            told[name] = time.perf_counter()
            act()
        told["heard_s"] = first.heard_s
        while second.heard_s < 0.3:
            time.sleep(0.01)
        told["second_heard"] = time.perf_counter()
        told["first_sample_at"] = first.first_sample_at or 0.0
        told["underruns"] = mouth.underruns
        time.sleep(0.2)
    tell(**told)


def play_until_gone() -> None:
    """Play again and again until the headphones are gone; tell how that was told."""
    try:
        with HeadsetMouth(headphones()) as mouth:
            tell(ready=True)
            while True:
                mouth.play(tone(0.1))
                time.sleep(0.1)
    except DeviceError as problem:
        tell(problem=str(problem))


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["hear", seconds, stall_s]:
            hear(float(seconds), float(stall_s))
        case ["hear-until-gone"]:
            hear_until_gone()
        case ["play"]:
            play()
        case ["play-until-gone"]:
            play_until_gone()
