"""Which sound device is meant, and what is told when there is none.

What PortAudio itself does is shown in programs of their own: it starts once a process.
"""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from companion import sound_card
from companion.errors import DeviceError
from companion.sound_card import Device, headphones, microphone, quiet_start

if TYPE_CHECKING:
    from pathlib import Path


def device(index: int, name: str, inputs: int, outputs: int, default: str = "") -> Device:
    return Device(
        index, name, "ALSA", inputs, outputs, 48_000.0,
        is_default_input=default == "input", is_default_output=default == "output",
    )  # fmt: skip


THERE = (
    device(0, "Built-in: Analog", 2, 2),
    device(1, "Headset", 1, 2, "output"),
    device(2, "Headset microphone 7", 1, 0, "input"),
    device(7, "Monitor", 0, 8),
)


@pytest.fixture
def there(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sound_card, "devices", lambda: THERE)


@pytest.mark.usefixtures("there")
@pytest.mark.parametrize(
    ("wanted", "index"),
    [("", 2), ("0", 0), ("analog", 0), ("HEADSET", 1), ("headset mic", 2), ("7", 2), (" 1 ", 1)],
)
def test_a_microphone_is_meant_by_default_number_or_name(wanted: str, index: int) -> None:
    """'7' is the number of a device that records nothing, so it is a part of a name."""
    assert microphone(wanted).index == index


@pytest.mark.usefixtures("there")
@pytest.mark.parametrize(("wanted", "index"), [("", 1), ("7", 7), ("monitor", 7), ("headset", 1)])
def test_headphones_are_meant_by_default_number_or_name(wanted: str, index: int) -> None:
    assert headphones(wanted).index == index


@pytest.mark.usefixtures("there")
def test_an_unknown_name_lists_those_that_fit() -> None:
    with pytest.raises(DeviceError) as told:
        microphone("monitor")
    assert "no microphone 'monitor'" in str(told.value)
    assert "0 Built-in: Analog, 1 Headset, 2 Headset microphone 7" in told.value.remedy
    with pytest.raises(DeviceError, match="There are no headphones 'microphone'"):
        headphones("microphone")


def test_without_a_default_the_first_that_fits_is_taken(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sound_card, "devices", lambda: THERE[3:] + THERE[:2])
    assert microphone().index == 0


def test_a_machine_that_cannot_record_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sound_card, "devices", lambda: THERE[3:])
    with pytest.raises(DeviceError, match=r"no microphone\. Plug in a headset.*--typed"):
        microphone()
    assert headphones().index == 7


def test_only_chatter_is_kept_off_the_screen(capfd: pytest.CaptureFixture[str]) -> None:
    def fails() -> None:
        with quiet_start():
            os.write(2, b"ALSA lib chatter\n")
            raise ValueError("ours")

    with pytest.raises(ValueError, match="ours"):
        fails()
    os.write(2, b"after\n")
    assert capfd.readouterr().err == "after\n"


def told_by(program: str, **environment: str) -> str:
    """Return what a program that looks for a microphone is told, on one line."""
    ending = """
from companion.errors import DeviceError
from companion.sound_card import microphone
try:
    print(microphone())
except DeviceError as problem:
    print(problem)
"""
    done = subprocess.run(
        [sys.executable, "-c", program + ending],
        env={**os.environ, **environment}, stdin=subprocess.DEVNULL, capture_output=True,
        text=True, timeout=60, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    [line] = done.stdout.splitlines()
    return line


def test_without_portaudio_it_is_told_how_to_install_it() -> None:
    """sounddevice asks ctypes for the library; here it finds none, as on a bare machine."""
    told = told_by("import ctypes.util; ctypes.util.find_library = lambda name: None")
    assert "PortAudio" in told
    assert "apt-get install libportaudio2" in told


def test_without_sounddevice_it_is_told_how_to_install_it() -> None:
    told = told_by("import sys; sys.modules['sounddevice'] = None")
    assert "pip install sounddevice" in told


def portaudio() -> str:
    """Return '' where PortAudio can be loaded, else what is missing."""
    try:
        ctypes.CDLL("libportaudio.so.2")
    except OSError:
        return "no PortAudio; apt-get install libportaudio2"
    return ""


needs_portaudio = pytest.mark.skipif(bool(portaudio()), reason=portaudio())


@pytest.fixture
def no_devices(tmp_path: Path) -> str:
    """ALSA finds its devices by its configuration; this one names none (PortAudio wants a word)."""
    named = tmp_path / "asound.conf"
    named.write_text("pcm { none 1 }\nctl { }\n")
    return str(named)


@pytest.mark.card
@needs_portaudio
def test_a_machine_without_any_device_is_told(no_devices: str) -> None:
    assert "This machine has no microphone. Plug in" in told_by("", ALSA_CONFIG_PATH=no_devices)


@pytest.mark.card
@needs_portaudio
def test_a_portaudio_that_does_not_start_is_told() -> None:
    """Its start fails as it would without memory: error -9992 of PortAudio's own list."""
    told = told_by("""
class Failing:
    def __init__(self, library): self.library = library
    def __getattr__(self, name): return getattr(self.library, name)
    def Pa_Initialize(self): return -9992
import _sounddevice
real = _sounddevice.ffi
class Ffi:
    def __getattr__(self, name): return getattr(real, name)
    def dlopen(self, *names): return Failing(real.dlopen(*names))
_sounddevice.ffi = Ffi()
""")
    assert told.startswith("PortAudio does not start (")


@pytest.mark.card
@needs_portaudio
def test_a_closed_standard_error_is_no_hindrance(no_devices: str) -> None:
    assert "no microphone" in told_by("import os; os.close(2)", ALSA_CONFIG_PATH=no_devices)


@pytest.mark.card
@needs_portaudio
def test_an_interrupt_while_the_sound_system_is_started_anew_is_never_lost() -> None:
    """Without a sound server ALSA complains often; Ctrl-C must come through each time."""
    program = """
import random, signal, sys, time
from companion.sound_card import start_anew
lost = []
sys.unraisablehook = lambda told: lost.append(told.exc_value)
def interrupted(*_): raise KeyboardInterrupt
signal.signal(signal.SIGALRM, interrupted)
start_anew()
began = time.perf_counter()
start_anew()
takes_s = time.perf_counter() - began
chance = random.Random(7)
for _ in range(150):
    try:
        signal.setitimer(signal.ITIMER_REAL, chance.uniform(0.05, 1.0) * takes_s)
        start_anew()
        signal.setitimer(signal.ITIMER_REAL, 0)
        time.sleep(0.001)  # one that came just now is told here
    except KeyboardInterrupt:
        pass
print(len(lost), lost[:3])
"""
    done = subprocess.run(
        [sys.executable, "-c", program],
        env={**os.environ, "PULSE_SERVER": "unix:/nowhere"}, stdin=subprocess.DEVNULL,
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert done.stdout.split()[0] == "0", done.stdout
