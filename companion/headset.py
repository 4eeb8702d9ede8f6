"""The headset as it is worn all day: ear and mouth in one, which come back when they were lost.

A cable snags, a radio link drops, another program takes the device: then `frames` or `play` raise
a `DeviceError`, and `come_back` closes both, starts PortAudio anew (its list of devices is made
when it starts) and opens the same devices again, by name; where none was chosen, what the system
now prefers. The sound right after counts as torn: what spans the gap is no utterance.
"""

from __future__ import annotations

from contextlib import ExitStack, suppress
from dataclasses import replace
from typing import TYPE_CHECKING, Self

from companion.audio.headset_ear import HeadsetEar
from companion.errors import DeviceError
from companion.sound_card import headphones, microphone, start_anew
from companion.speaking.headset_mouth import HeadsetMouth

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from types import TracebackType

    from companion.ports import Clip, Frame, Playing, Samples


_LOOKED_EVERY = 25  # frames: half a second


class Headset:
    """An `Ear` and a `Mouth`; a context manager that hears and plays from entry to exit.

    Args:
        heard_by: the microphone: '' for the system's own, a number, or a part of its name.
        spoken_by: the headphones, likewise.

    Attributes:
        on_sound: called with all that is captured, as it is taken; must return at once.
        losses: how often it was lost and came back.
    """

    def __init__(self, heard_by: str = "", spoken_by: str = "") -> None:
        self._wanted = (heard_by, spoken_by)
        self._open = ExitStack()
        self._is_torn = False
        self._lost_before = (0, 0)
        self.losses = 0
        self.on_sound: Callable[[Samples], None] | None = None
        self.ear: HeadsetEar
        self.mouth: HeadsetMouth

    def __enter__(self) -> Self:
        """Open both.

        Raises:
            DeviceError: one is not there or cannot be opened.
        """
        heard_by, spoken_by = microphone(self._wanted[0]), headphones(self._wanted[1])
        self._open_both(HeadsetEar(heard_by), HeadsetMouth(spoken_by))
        # A number is the device's as long as nothing is plugged in or out; its name stays.
        named = (heard_by.name, spoken_by.name)
        self._wanted = tuple(  # type: ignore[assignment]
            name if wanted else "" for wanted, name in zip(self._wanted, named, strict=True)
        )
        return self

    def _open_both(self, ear: HeadsetEar, mouth: HeadsetMouth) -> None:
        with ExitStack() as stack:
            stack.enter_context(mouth)
            stack.enter_context(ear)
            self._open = stack.pop_all()
        self.ear, self.mouth = ear, mouth

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close both."""
        self._open.close()

    def frames(self) -> Iterator[Frame]:
        """Yield what is captured, without an end.

        Raises:
            DeviceError: the microphone is gone, or the headphones are, which is looked for also
                while nothing is said; `come_back` may open them again.
        """
        for number, frame in enumerate(self.ear.frames()):
            if not number % _LOOKED_EVERY:
                self.mouth.check()
            if self.on_sound:
                self.on_sound(frame.samples)
            if self._is_torn:
                self._is_torn = False
                yield replace(frame, is_torn=True)
            else:
                yield frame

    def play(self, clip: Clip) -> Playing:
        """Play a clip, now or when the one before has ended.

        Raises:
            DeviceError: the headphones are gone; `come_back` may open them again.
        """
        return self.mouth.play(clip)

    def come_back(self) -> bool:
        """Try to open both again; return whether they are there.

        Whatever was being played is over, and was not heard.
        """
        with suppress(DeviceError):
            self._open.close()
        self._open = ExitStack()
        try:
            start_anew()
            ear = HeadsetEar(microphone(self._wanted[0]))
            mouth = HeadsetMouth(headphones(self._wanted[1]))
            before = (self.overruns, self.underruns)
            self._open_both(ear, mouth)
        except DeviceError:
            return False
        self._lost_before = before
        self._is_torn = True
        self.losses += 1
        return True

    @property
    def overruns(self) -> int:
        """How many blocks of sound were lost on the way in so far."""
        return self._lost_before[0] + self.ear.overruns

    @property
    def underruns(self) -> int:
        """How many blocks came too late on the way out so far."""
        return self._lost_before[1] + self.mouth.underruns
