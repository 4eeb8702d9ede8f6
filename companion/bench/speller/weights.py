"""The speller's weights: drawn afresh, read, and written for `companion.hearing.speller`."""

from __future__ import annotations

import tempfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zipfile import BadZipFile

import numpy as np

from companion.errors import InputError, ModelError
from companion.hearing.speller import ALPHABET

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    Floats = npt.NDArray[np.float32]
    Weights = Mapping[str, Floats]

STATE_SIZE = 288  # of the encoder
WIDTH = 256
TAPS = 5
_LETTERS = len(ALPHABET) + 1  # and none
_UNREADABLE = (OSError, ValueError, TypeError, AttributeError, EOFError, BadZipFile, zlib.error)
_REMEDY = "Name a speller.npz that this benchmark wrote."


def shapes(width: int = WIDTH) -> dict[str, tuple[int, ...]]:
    """Return the name and shape of every weight.

    Args:
        width: how many channels the convolutions have.
    """
    return {
        "norm.scale": (STATE_SIZE,),
        "norm.shift": (STATE_SIZE,),
        "first.weight": (width, STATE_SIZE, TAPS),
        "first.bias": (width,),
        "second.weight": (width, width, TAPS),
        "second.bias": (width,),
        "third.weight": (width, width, TAPS),
        "third.bias": (width,),
        "letters.weight": (_LETTERS, width),
        "letters.bias": (_LETTERS,),
    }


def fresh(seed: int, width: int = WIDTH) -> dict[str, Floats]:
    """Return weights to begin with: even within one over the root of what each sums, float32.

    Args:
        seed: which ones.
        width: how many channels the convolutions have.
    """
    chance = np.random.default_rng(seed)
    wanted = shapes(width)
    drawn = {}
    for name, shape in wanted.items():
        layer = name.partition(".")[0]
        if layer == "norm":
            drawn[name] = np.full(shape, float(name == "norm.scale"), np.float32)
            continue
        most = np.prod(wanted[f"{layer}.weight"][1:]) ** -0.5
        drawn[name] = chance.uniform(-most, most, shape).astype(np.float32)
    return drawn


def read(path: Path) -> dict[str, Floats]:
    """Return weights that were written before, float32.

    Raises:
        ModelError: they are missing, damaged or no speller's.
    """
    try:
        with path.open("rb") as file, np.load(file) as kept:
            found = {name: kept[name].astype(np.float32) for name in kept.files}
    except _UNREADABLE as exc:
        raise ModelError("These are no weights", _REMEDY, where=str(path)) from exc
    width = found.get("first.bias", np.zeros(0)).size
    if {name: weight.shape for name, weight in found.items()} != shapes(width):
        raise ModelError("These are not a speller's weights", _REMEDY, where=str(path))
    return found


def write(weights: Weights, path: Path) -> None:
    """Write weights in half precision, whole or not at all.

    Raises:
        InputError: the file cannot be written.
    """
    halves: dict[str, Any] = {name: weight.astype(np.float16) for name, weight in weights.items()}
    try:
        with tempfile.TemporaryDirectory(dir=path.parent) as folder:
            begun = Path(folder, path.name)
            np.savez_compressed(begun, **halves)
            begun.replace(path)
    except OSError as exc:
        raise InputError(
            f"'{path}' cannot be written", "Free some room, or name another folder with --out."
        ) from exc
