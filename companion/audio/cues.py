"""Soft cues: short tones that say 'heard', 'not understood', 'logged' or 'attention' without words.

Under 150 ms each, with slow edges, between 500 and 1,600 Hz: above a blower's hum and below where
hearing is lost first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from companion.ports import Clip

if TYPE_CHECKING:
    import numpy.typing as npt

RATE_HZ = 22_050
EDGE_S = 0.012  # rise and fall, so that no cue clicks
PEAK = 6_500  # about -14 dBFS: beside a voice, not over it


@dataclass(frozen=True, slots=True)
class Tone:
    """A part of a cue: its pitch at start and end, and how long it lasts."""

    from_hz: float
    to_hz: float
    duration_s: float


CUES: dict[str, tuple[Tone, ...]] = {
    "heard": (Tone(880.0, 880.0, 0.060),),
    "logged": (Tone(784.0, 784.0, 0.060), Tone(1175.0, 1175.0, 0.080)),  # a fifth up: done
    "not understood": (Tone(620.0, 520.0, 0.140),),  # falling: nothing came of it
    "attention": (
        Tone(1047.0, 1047.0, 0.045),
        Tone(1568.0, 1568.0, 0.045),
        Tone(1047.0, 1047.0, 0.045),
    ),
}


def cue(name: str) -> Clip:
    """Return a cue at 22,050 Hz; the same samples each time.

    Args:
        name: one of `CUES`.

    Raises:
        KeyError: no such cue; a fault of the caller.

    >>> cue("logged").duration_s < 0.15
    True
    """
    sound = np.concatenate([_tone(tone) for tone in CUES[name]])
    return Clip(np.rint(sound * PEAK).astype(np.int16), RATE_HZ)


def _tone(tone: Tone) -> npt.NDArray[np.float64]:
    count = round(tone.duration_s * RATE_HZ)
    pitch_hz = np.linspace(tone.from_hz, tone.to_hz, count)
    phase = 2 * np.pi * np.cumsum(pitch_hz) / RATE_HZ
    warm = np.sin(phase) + 0.15 * np.sin(2 * phase)
    edge = round(EDGE_S * RATE_HZ)
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(edge) / edge)
    shape = np.ones(count)
    shape[:edge], shape[-edge:] = ramp, ramp[::-1]
    sound: npt.NDArray[np.float64] = warm * shape / np.max(np.abs(warm))
    return sound
