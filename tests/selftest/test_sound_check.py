"""What is said about a recording of the microphone: the gravest matter, and what to do about it."""

from __future__ import annotations

import pytest

from companion.selftest.levels import Room
from companion.selftest.sound import _judged

QUIET = Room(noise_dbfs=-60.0, peak_dbfs=-30.0, clipped_share=0.0, is_silent=False)
MUTED = Room(noise_dbfs=-96.0, peak_dbfs=-96.0, clipped_share=0.0, is_silent=True)
CLIPPED = Room(noise_dbfs=-20.0, peak_dbfs=0.0, clipped_share=0.02, is_silent=False)
LOUD = Room(noise_dbfs=-25.0, peak_dbfs=-10.0, clipped_share=0.0, is_silent=False)


# Expected: the limits beside the code, common practice, no source.
@pytest.mark.parametrize(
    ("heard", "overruns", "verdict", "says", "remedy"),
    [
        (QUIET, 0, "ok", "noise -60 dBFS, peak -30 dBFS, no clipping, nothing dropped", ""),
        (MUTED, 0, "failed", "muted", "Unmute"),
        (MUTED, 9, "failed", "muted", "Unmute"),
        (CLIPPED, 3, "warning", "2.00% of the sound clipped", "Turn its level down"),
        (QUIET, 3, "warning", "3 blocks dropped", "close other programs"),
        (LOUD, 0, "warning", "noise -25 dBFS", "Loud"),
    ],
)
def test_the_gravest_matter_is_told(
    heard: Room, overruns: int, verdict: str, says: str, remedy: str
) -> None:
    finding = _judged(heard, overruns)
    assert finding.verdict == verdict
    assert says in finding.says
    assert remedy in finding.remedy
