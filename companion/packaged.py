"""Where the packaged data is (in the wheel, or beside the package in a checkout), and the cache."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

from companion.errors import ModelError


def packaged_folder(name: str) -> Path:
    """Return the folder `grammars` or `models`, in the wheel or in a checkout.

    Args:
        name: 'grammars' or 'models'.

    Raises:
        ModelError: the installation is incomplete.
    """
    package = Path(str(files("companion")))
    for folder in (package / "_data" / name, package.parent / name):
        if folder.is_dir():
            return folder
    raise ModelError(
        f"The folder '{name}' is missing from this installation",
        "Install the package again: pip install --force-reinstall .",
    )


def cache_folder() -> Path:
    """Return the user's cache folder for this program; it may not be there yet."""
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "companion"
