"""Programs that speak on the sound card, started by the tests of the mouth in its environment."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from threading import Event
from time import perf_counter

import numpy as np

from companion.errors import DeviceError
from companion.ports import Clip
from companion.sound_card import headphones
from companion.speaking.headset_mouth import HeadsetMouth

UNTIL_GONE_S = 20.0


def tell(**what: object) -> None:
    print(json.dumps(what), flush=True)  # noqa: T201 - what it is for


def wait(seconds: float) -> None:
    Event().wait(seconds)


def beep(level: int, seconds: float, rate_hz: int) -> Clip:
    """A square tone: as loud as its level from the first sample to the last."""
    half = rate_hz // 441
    at = np.arange(round(seconds * rate_hz)) // half % 2
    return Clip(np.where(at, level, -level).astype(np.int16), rate_hz, "beep")


def line(rate_hz: int) -> None:
    """Play three clips of other rates at once in line; tell how much of each was heard, when."""
    clips = [beep(4_000, 0.30, 8_000), beep(12_000, 0.20, 22_050), beep(8_000, 0.25, 48_000)]
    heard: list[tuple[float, float]] = []
    with HeadsetMouth(replace(headphones(), rate_hz=float(rate_hz))) as mouth:
        asked_at = perf_counter()
        played = [mouth.play(clip) for clip in clips]
        while played[-1].heard_s < clips[-1].duration_s and perf_counter() < asked_at + 5:
            heard.append((perf_counter(), sum(each.heard_s for each in played)))
            wait(0.01)
        tell(
            asked_at=asked_at,
            first_samples_at=[each.first_sample_at for each in played],
            heard=heard,
            heard_s=[each.heard_s for each in played],
            underruns=mouth.underruns,
        )


def cut() -> None:
    """Play and cut, ten times; tell when each was cut and how much was heard by then."""
    cuts: list[tuple[float, float]] = []
    with HeadsetMouth(headphones()) as mouth:
        for number in range(10):
            playing = mouth.play(beep(9_000, 2.0, 22_050))
            wait(0.2 + number * 0.003)  # at another place in the block each time
            cut_at = perf_counter()
            playing.stop()
            cuts.append((cut_at, playing.heard_s))
            wait(0.3)
        tell(cuts=cuts)


def until_gone() -> None:
    """Speak until the headphones are gone; tell how that was told, and how much was heard."""
    with HeadsetMouth(headphones()) as mouth:
        playing = mouth.play(beep(9_000, UNTIL_GONE_S, 22_050))
        wait(0.3)
        tell(ready=True)
        first_at, until = playing.first_sample_at or 0.0, perf_counter() + UNTIL_GONE_S
        try:
            while perf_counter() < until:
                mouth.play(Clip(np.zeros(0, np.int16), 22_050))
                wait(0.02)
        except DeviceError as problem:
            playing.stop()  # what was heard by now; asked without it, the device is told as gone
            tell(problem=str(problem), at=perf_counter(), first_at=first_at, heard=playing.heard_s)


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["line", rate_hz]:
            line(int(rate_hz))
        case ["cut"]:
            cut()
        case ["until-gone"]:
            until_gone()
