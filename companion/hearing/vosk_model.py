"""A Vosk model as it lies on disk: whether it is one, and loading it.

It is loaded through a folder of links with settings of our own in place of its own: without the
noise that Kaldi's features add, which makes the same sound score differently each time.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from companion.errors import ModelError

# Where a model of any age keeps what makes it one; one of each pair must be there.
_NEEDED = (("am/final.mdl", "final.mdl"), ("graph/HCLr.fst", "graph/HCLG.fst", "HCLr.fst"))
_SETTINGS = "mfcc.conf"
_REMEDY = "Fetch one: companion models get. Or take one from disk: companion models use DIR"


def check(folder: Path) -> None:
    """Refuse what is no model before Vosk does, which tells nothing.

    Raises:
        ModelError: the folder is missing, or lacks what every model has.
    """
    if not folder.is_dir():
        raise ModelError(f"There is no Vosk model folder '{folder}'", _REMEDY)
    for either in _NEEDED:
        if not any((folder / name).is_file() for name in either):
            raise ModelError(f"'{folder}' is no Vosk model: it lacks {either[0]}", _REMEDY)


def loaded(folder: Path) -> Any:  # noqa: ANN401 - without types
    """Return Vosk's own model.

    Raises:
        ModelError: Vosk is not installed, or refuses the model.
    """
    try:
        import vosk  # noqa: PLC0415 - engines load when needed
    except (ImportError, OSError) as problem:
        raise ModelError(
            f"Vosk cannot be loaded ({problem})", "Install it: pip install vosk"
        ) from problem
    vosk.SetLogLevel(-1)  # it writes on the screen otherwise
    try:
        with TemporaryDirectory(prefix="vosk-") as links:
            link(folder.resolve(), Path(links))
            return vosk.Model(model_path=links)
    except Exception as problem:  # it raises nothing more exact
        raise ModelError(f"Vosk refuses the model in '{folder}' ({problem})", _REMEDY) from problem


def link(folder: Path, links: Path) -> None:
    """Fill a folder with links to a model's files, its feature settings without noise.

    Args:
        folder: the model, an absolute path.
        links: an empty folder.
    """
    for path in folder.iterdir():
        if path.name == "conf":
            (links / path.name).mkdir()
            link(path, links / path.name)
        elif path.name == _SETTINGS:
            (links / path.name).write_text(_without_noise(path.read_text("utf-8")), "utf-8")
        else:
            (links / path.name).symlink_to(path)


def _without_noise(settings: str) -> str:
    kept = [line for line in settings.splitlines() if not line.strip().startswith("--dither")]
    return "\n".join([*kept, "--dither=0.0", ""])
