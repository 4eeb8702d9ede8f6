"""Choosing a headset: list what there is, ask at a terminal, remember the answer."""

from __future__ import annotations

import sys
from dataclasses import replace
from typing import TYPE_CHECKING

from companion.errors import DeviceError
from companion.settings import load_settings, save_settings
from companion.sound_card import Device, devices, headphones, microphone

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable


def choose_devices() -> int:
    """List microphones and headphones; where somebody can answer, ask which, and keep it.

    Raises:
        DeviceError: no sound devices can be reached.
    """
    settings, there = load_settings(), devices()
    heard_by = _chosen(microphone, settings.microphone)
    spoken_by = _chosen(headphones, settings.headphones)
    _list("Microphones", (each for each in there if each.inputs), heard_by)
    _list("Headphones", (each for each in there if each.outputs), spoken_by)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        print("Take others, once: companion work --microphone NUMBER --headphones NUMBER")
        return 0
    try:
        settings = replace(
            settings,
            microphone=_asked("Microphone", microphone, settings.microphone),
            headphones=_asked("Headphones", headphones, settings.headphones),
        )
    except EOFError:  # Ctrl-D
        print("\nNothing was changed.")
        return 0
    save_settings(settings)
    print("Kept. Try them with: companion selftest")
    return 0


def _chosen(find: Callable[[str], Device], wanted: str) -> Device | None:
    """Return the device in use; None where the one that was chosen is not there now."""
    try:
        return find(wanted)
    except DeviceError as problem:
        print(f"companion: {problem}", file=sys.stderr)
        return None


def _list(title: str, there: Iterable[Device], in_use: Device | None) -> None:
    print(title)
    for each in there:
        mark = "  (in use)" if in_use and each.index == in_use.index else ""
        print(f"  {each.index:3}  {each.name}{mark}")


def _asked(title: str, find: Callable[[str], Device], kept: str) -> str:
    """Return a device's name, asked for until there is one; Enter keeps what was."""
    while True:
        answer = input(f"{title}, a number or part of a name; Enter keeps it: ").strip()
        if not answer:
            return kept
        try:
            return find(answer).name
        except DeviceError as problem:
            print(f"  {problem}")
