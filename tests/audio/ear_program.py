"""Programs that listen on the sound card, started by the tests of the ear in its environment."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from time import perf_counter
from typing import TYPE_CHECKING, Any

import numpy as np

from companion.audio.headset_ear import HeadsetEar
from companion.errors import DeviceError
from companion.ports import SAMPLE_RATE_HZ
from companion.sound_card import microphone, sounddevice

if TYPE_CHECKING:
    from companion.sound_card import Device


def tell(**what: object) -> None:
    print(json.dumps(what), flush=True)  # noqa: T201 - what it is for


def only(rate_hz: int) -> Device:
    """Return the microphone as one that runs at a single rate, in stereo.

    The virtual card takes any form, so PortAudio's answer to the others is given here; the stream
    itself is opened in that form for true.
    """
    module = sounddevice()
    asked = module.check_input_settings

    def check(device: Any, channels: int, *rest: Any) -> None:  # noqa: ANN401 - as sounddevice
        if channels != 2 or rest[-1] != rate_hz:
            raise module.PortAudioError("Invalid sample rate", -9997)
        asked(device, channels, *rest)

    module.check_input_settings = check
    return replace(microphone("pulse"), inputs=2, rate_hz=float(rate_hz))


def hear(seconds: float, device: Device) -> None:
    """Capture for so long; tell what came, and when its loudest sample was handed over."""
    with HeadsetEar(device) as ear:
        tell(ready=True)
        samples, count = [], 0
        for frame in ear.frames():
            samples.append(frame.samples)
            count += len(frame.samples)
            if count >= seconds * SAMPLE_RATE_HZ:
                break
        sound = np.concatenate(samples)
        loudest_s = float(np.argmax(np.abs(sound.astype(np.int32)))) / SAMPLE_RATE_HZ
        tell(
            sound=sound.tolist(),
            overruns=ear.overruns,
            loudest_at=ear.arrived_at(loudest_s),
            form=[ear._stream.samplerate, ear._stream.channels],
        )


def hear_until_gone() -> None:
    """Capture until no more comes; tell how that was told, and when the last came."""
    last_at = 0.0
    try:
        with HeadsetEar(microphone()) as ear:
            for _ in ear.frames():
                if not last_at:
                    tell(ready=True)
                last_at = perf_counter()
    except DeviceError as problem:
        tell(problem=str(problem), after_s=perf_counter() - last_at)


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["hear", seconds]:
            hear(float(seconds), microphone())
        case ["hear-only", rate_hz, seconds]:
            hear(float(seconds), only(int(rate_hz)))
        case ["hear-until-gone"]:
            hear_until_gone()
