"""Where the model's files are, and whether they are the ones we know.

`models/catalogue.toml` lists each file with its size, sha256, licence and where it comes from. The
sha256 is worked out once for a file: a note in the user's cache folder remembers path, size and
time of change. Where that folder cannot be written, every start works it out (about 0.1 s).
"""

from __future__ import annotations

import hashlib
import importlib.metadata
import json
import os
import tomllib
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from companion.errors import ModelError
from companion.packaged import cache_folder, packaged_folder

_NOTE = "model-checks.json"


@dataclass(frozen=True, slots=True)
class ModelFile:
    """A file of the catalogue.

    Attributes:
        name: its key in the catalogue ('encoder-hardened').
        file: its name on disk.
        size_bytes: its size.
        sha256: its digest, hexadecimal.
        licence: its licence.
        package: the distribution that brings it, '' where it is packaged with us.
        version: that distribution's version.
        inside: its folder within that distribution.
    """

    name: str
    file: str
    size_bytes: int
    sha256: str
    licence: str
    source: str
    package: str = ""
    version: str = ""
    inside: str = ""


def catalogue(path: Path | None = None) -> dict[str, ModelFile]:
    """Read the catalogue.

    Args:
        path: another one than the packaged `models/catalogue.toml`.

    Returns:
        The files by name.

    Raises:
        ModelError: it cannot be read or a key is wrong.
    """
    path = path or packaged_folder("models") / "catalogue.toml"
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
        return {name: ModelFile(name=name, **keys) for name, keys in table["file"].items()}
    except (OSError, tomllib.TOMLDecodeError, TypeError, KeyError, AttributeError) as exc:
        raise ModelError(
            f"The catalogue of models cannot be read: {exc}",
            "Install the package again: pip install --force-reinstall .",
            where=str(path),
        ) from exc


def checked(model: ModelFile, folder: Path | None = None) -> Path:
    """Return where a model file is, once it is known to be the right one.

    Args:
        model: the catalogue's entry.
        folder: a local folder that is looked in first.

    Raises:
        ModelError: it is missing or altered.
    """
    path = found(model, folder)
    _check(model, path)
    return path


def found(model: ModelFile, folder: Path | None = None) -> Path:
    """Return where a model file is: in `folder`, in our package or in the one that brings it.

    Args:
        model: the catalogue's entry.
        folder: a local folder that is looked in first.

    Raises:
        ModelError: it is in none of them.
    """
    if folder is not None and (folder / model.file).is_file():
        return folder / model.file
    expected = _installed(model) if model.package else packaged_folder("models") / model.file
    if expected.is_file():
        return expected
    raise ModelError(f"The model file {model.file} is missing", _remedy(model), where=str(expected))


def _installed(model: ModelFile) -> Path:
    """Where the distribution keeps the file; the package itself is not imported."""
    try:
        distribution = importlib.metadata.distribution(model.package)
    except importlib.metadata.PackageNotFoundError as exc:
        raise ModelError(
            f"The package {model.package}, which brings {model.file}, is not installed",
            _remedy(model),
        ) from exc
    return Path(str(distribution.locate_file(f"{model.inside}/{model.file}")))


def _remedy(model: ModelFile) -> str:
    if not model.package:
        return "Install this program again: pip install --force-reinstall ."
    return (
        f"Install it: pip install --force-reinstall {model.package}=={model.version}, "
        "or point to a folder that holds the file."
    )


def _check(model: ModelFile, path: Path) -> None:
    state = path.stat()
    seen = [state.st_size, state.st_mtime_ns, model.sha256]
    note = _read_note()
    if note.get(str(path)) == seen:
        return
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if digest != model.sha256:
        raise ModelError(
            f"The model file was altered: expected {model.size_bytes} bytes, sha256 "
            f"{model.sha256}, found {state.st_size} bytes, sha256 {digest}",
            _remedy(model),
            where=str(path),
        )
    _write_note(note | {str(path): seen})


def _read_note() -> dict[str, Any]:
    with suppress(OSError, ValueError, RuntimeError):
        note = json.loads((cache_folder() / _NOTE).read_text(encoding="utf-8"))
        if isinstance(note, dict):
            return note
    return {}


def _write_note(note: dict[str, Any]) -> None:
    """Remember what was checked; a cache folder that cannot be written costs time, nothing else."""
    with suppress(OSError, RuntimeError):
        folder = cache_folder()
        folder.mkdir(parents=True, exist_ok=True)
        fresh = folder / f"{_NOTE}.{os.getpid()}"
        fresh.write_text(json.dumps(note), encoding="utf-8")
        fresh.replace(folder / _NOTE)
