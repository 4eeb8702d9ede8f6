"""The sound devices of this machine, through PortAudio: which there are, and which is meant.

Both the ear and the mouth of a headset come this way, so the reasons why there is no sound are
told in one place and alike.
"""

from __future__ import annotations

import ctypes
import os
import sys
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any

from companion.errors import DeviceError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

WITHOUT = "Without a headset: companion work --typed"
_STDERR = 2


@dataclass(frozen=True, slots=True)
class Device:
    """A sound device.

    Attributes:
        index: PortAudio's number for it, as long as nothing is plugged in or out.
        name: what the system calls it.
        host: the sound system that it is reached through ('ALSA').
        inputs: how many channels it records, 0 for headphones alone.
        outputs: how many channels it plays, 0 for a microphone alone.
        rate_hz: the rate that it runs at by itself.
        is_default_input: whether it is the microphone that the system prefers.
        is_default_output: whether it is the system's preferred way out.
    """

    index: int
    name: str
    host: str
    inputs: int
    outputs: int
    rate_hz: float
    is_default_input: bool
    is_default_output: bool


@cache
def sounddevice() -> Any:  # noqa: ANN401 - a module without types
    """Return the module sounddevice, PortAudio started.

    Raises:
        DeviceError: PortAudio is not there or does not start.
    """
    try:
        with quiet_start():
            import sounddevice as module  # noqa: PLC0415 - most commands need no sound card

            _silence_alsa()
    except OSError as problem:
        raise DeviceError(
            f"The headset needs PortAudio, which cannot be loaded ({problem})",
            f"Install it: sudo apt-get install libportaudio2. {WITHOUT}",
        ) from problem
    except ImportError as problem:
        raise DeviceError(
            "The headset needs the package sounddevice, which is not installed",
            f"Install it: pip install sounddevice. {WITHOUT}",
        ) from problem
    except Exception as problem:  # PortAudio starts on import: the name of its error is not there
        raise DeviceError(f"PortAudio does not start ({problem})", WITHOUT) from problem
    return module


def _silence_alsa() -> None:
    """Keep ALSA from writing on the screen from its own thread, where there is ALSA.

    Overruns and underruns are counted by the streams. What it calls instead is no Python function:
    a Ctrl-C that comes while one runs inside of a call to C is lost. `getpid` takes no arguments,
    changes nothing, and is safe in any thread.
    """
    with suppress(OSError):
        alsa = ctypes.CDLL("libasound.so.2")
        alsa.snd_lib_error_set_handler(ctypes.cast(ctypes.CDLL(None).getpid, ctypes.c_void_p))


@contextmanager
def quiet_start() -> Iterator[None]:
    """Keep the sound system's chatter about devices that it tried in vain off the screen."""
    try:
        kept = os.dup(_STDERR)
    except OSError:  # closed: there is no screen to keep it off
        yield
        return
    if sys.stderr is not None:
        sys.stderr.flush()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, _STDERR)
        yield
    finally:
        os.dup2(kept, _STDERR)
        os.close(kept)
        os.close(nowhere)


def start_anew() -> None:
    """Start PortAudio again, so that it sees what was plugged in or out since; all streams closed.

    It lists the devices when it starts, and never again (PortAudio's API overview: Pa_Initialize).
    That is done in a thread of its own, so that a Ctrl-C comes behind it and not between its ending
    and its start.

    Raises:
        DeviceError: it does not start.
    """
    module = sounddevice()
    try:
        with quiet_start(), ThreadPoolExecutor(1) as aside:
            aside.submit(_start_anew, module).result()
    except module.PortAudioError as problem:
        raise DeviceError(f"PortAudio does not start ({problem})", WITHOUT) from problem


def _start_anew(module: Any) -> None:  # noqa: ANN401 - a module without types
    with suppress(module.PortAudioError):  # the last start failed: there is nothing to end
        module._terminate()  # noqa: SLF001 - sounddevice has no other way
    module._initialize()  # noqa: SLF001


def devices() -> tuple[Device, ...]:
    """Return the sound devices of this machine.

    Raises:
        DeviceError: PortAudio is not there, or fails.
    """
    module = sounddevice()
    try:
        with quiet_start():
            hosts, found = module.query_hostapis(), module.query_devices()
            default_input, default_output = module.default.device
    except module.PortAudioError as problem:
        raise DeviceError(f"The sound devices cannot be listed ({problem})", WITHOUT) from problem
    return tuple(
        Device(
            index=index,
            name=str(each["name"]),
            host=str(hosts[each["hostapi"]]["name"]),
            inputs=int(each["max_input_channels"]),
            outputs=int(each["max_output_channels"]),
            rate_hz=float(each["default_samplerate"]),
            is_default_input=index == default_input,
            is_default_output=index == default_output,
        )
        for index, each in enumerate(found)
    )


def microphone(wanted: str = "") -> Device:
    """Return the microphone that is meant.

    Args:
        wanted: '' for the system's own, a device's number, or a part of its name.

    Raises:
        DeviceError: there is none, or none of that name; the message lists those there are.
    """
    return _meant("microphone", wanted, lambda d: d.inputs > 0, lambda d: d.is_default_input)


def headphones(wanted: str = "") -> Device:
    """Return the way out that is meant; as `microphone`.

    Raises:
        DeviceError: there is none, or none of that name; the message lists those there are.
    """
    return _meant("headphones", wanted, lambda d: d.outputs > 0, lambda d: d.is_default_output)


def _meant(
    kind: str, wanted: str, fits: Callable[[Device], bool], is_default: Callable[[Device], bool]
) -> Device:
    there = [each for each in devices() if fits(each)]
    if not there:
        raise DeviceError(f"This machine has no {kind}", f"Plug in a headset. {WITHOUT}")
    if not wanted:
        return next((each for each in there if is_default(each)), there[0])
    wanted = wanted.strip()
    named = [each for each in there if wanted.lower() == each.name.lower()]
    part = [each for each in there if wanted.lower() in each.name.lower()]
    numbered = [each for each in there if wanted == str(each.index)]
    if not (found := numbered or named or part):
        listed = ", ".join(f"{each.index} {each.name}" for each in there)
        raise DeviceError(
            f"There {'are' if kind.endswith('s') else 'is'} no {kind} '{wanted}'",
            f"There are: {listed}. Choose with: companion work --devices",
        )
    return found[0]
