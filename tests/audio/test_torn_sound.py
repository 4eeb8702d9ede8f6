"""Sound that was lost is told with the sound that follows it, so that nobody takes it for words."""

from __future__ import annotations

from dataclasses import dataclass

from companion.audio.headset_ear import BLOCK_S, KEPT_S, HeadsetEar
from companion.sound_card import Device

DEVICE = Device(0, "a microphone", "ALSA", 1, 0, 16_000.0, True, False)  # noqa: FBT003
BLOCK = bytes(640)


@dataclass
class Status:
    input_overflow: bool = False


def test_what_the_sound_system_lost_is_told_with_the_next_frame() -> None:
    ear = HeadsetEar(DEVICE)
    for lost in (False, True, False):
        ear._capture(BLOCK, 320, None, Status(lost))
    frames = ear.frames()
    assert [next(frames).is_torn for _ in range(3)] == [False, True, False]
    assert ear.overruns == 1


def test_what_did_not_fit_any_more_is_told_where_it_goes_on() -> None:
    ear = HeadsetEar(DEVICE)
    most = round(KEPT_S / BLOCK_S)
    for _ in range(most + 5):
        ear._capture(BLOCK, 320, None, Status())
    frames = ear.frames()
    assert not any(next(frames).is_torn for _ in range(most))
    ear._capture(BLOCK, 320, None, Status())
    assert next(frames).is_torn
    assert ear.overruns == 5
