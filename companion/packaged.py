"""Where the packaged data is: inside the wheel, or beside the package in a checkout."""

from __future__ import annotations

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
