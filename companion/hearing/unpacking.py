"""Unpack a zip file that may be hostile: nothing outside its folder, nothing without bounds.

Every entry is looked at before the first byte is written: no absolute path, no `..`, no backslash,
no drive, no link or device, no name twice, nothing encrypted, one top folder. Bytes are counted as
they come out, whatever the headers say. All goes into a folder beside the place where it will be;
only what is complete is renamed to it, and what is not is gone again.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import tempfile
import unicodedata
import zipfile
import zlib
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from companion.errors import DiskError, ModelError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

ASIDE = ".unpacking-"  # how the folder is called in which something is unpacked
_BLOCK = 1 << 18
_ENCRYPTED = (
    0x1 | 0x40 | 0x2000
)  # bits of the flags: plain, strong, hidden directory (APPNOTE 4.4.4)
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_REMEDY = "Nothing was unpacked. Take the file from another place."
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Bounds:
    """What may come out of an archive.

    Attributes:
        most_bytes: of all files together, unpacked.
        most_entries: files and folders.
    """

    most_bytes: int
    most_entries: int


def unpack(path: Path, into: Path, bounds: Bounds, check: Callable[[Path], None]) -> Path:
    """Unpack a zip file's one top folder.

    Args:
        path: the zip file.
        into: the folder that shall hold its top folder; made where it is missing.
        bounds: what may come out.
        check: looks at the unpacked folder before it takes its place; raises to refuse it.

    Returns:
        The top folder's place in `into`. What was there before is replaced, once all is complete.

    Raises:
        ModelError: the archive is damaged or hostile.
        DiskError: there is no room, or it cannot be written.
    """
    with _in_our_words(path), zipfile.ZipFile(path) as archive:
        entries = archive.infolist()
        top = _one_top_folder(path, entries, bounds)
        into.mkdir(parents=True, exist_ok=True)
        _check_room(path, into, sum(entry.file_size for entry in entries))
        aside = Path(tempfile.mkdtemp(prefix=ASIDE, dir=into))
        try:
            _write(archive, entries, aside / "new", bounds.most_bytes)
            check(aside / "new" / top)
            _put(aside / "new" / top, into / top, aside / "old")
        finally:
            shutil.rmtree(aside, ignore_errors=True)
    return into / top


def top_folder(path: Path, bounds: Bounds) -> str:
    """Return the name of a zip file's one top folder, once every entry was found harmless.

    Args:
        path: the zip file.
        bounds: what may come out.

    Raises:
        ModelError: the archive is damaged or hostile.
    """
    with _in_our_words(path), zipfile.ZipFile(path) as archive:
        return _one_top_folder(path, archive.infolist(), bounds)


@contextmanager
def _in_our_words(path: Path) -> Iterator[None]:
    """Translate what zipfile and the disk raise."""
    try:
        yield
    except _DAMAGED as problem:
        raise _refused(path, f"it is no whole zip file ({problem})") from problem
    except OSError as problem:
        if problem.errno == errno.EINVAL:  # a damaged directory leads before the file's beginning
            raise _refused(path, "it is no whole zip file") from problem
        raise DiskError(
            f"It cannot be unpacked: {problem.strerror or problem}",
            "Nothing was unpacked. Free some room or make the folder writable, then do it again.",
            where=str(path),
        ) from problem


def _one_top_folder(path: Path, entries: list[zipfile.ZipInfo], bounds: Bounds) -> str:
    """Look at every entry; return the name of the folder that holds them all."""
    if len(entries) > bounds.most_entries:
        raise _refused(path, f"it has {len(entries)} entries, more than {bounds.most_entries}")
    for entry in entries:
        if why := _wrong_name(entry.orig_filename) or _wrong_kind(entry):
            raise _refused(path, f"'{_shown(entry.orig_filename)}' {why}")
    _check_clashes(path, entries)
    stated = sum(entry.file_size for entry in entries)
    if stated > bounds.most_bytes:
        raise _refused(path, f"it unpacks to {stated} bytes, more than {bounds.most_bytes}")
    tops = {entry.orig_filename.partition("/")[0] for entry in entries}
    if len(tops) != 1 or any("/" not in entry.orig_filename for entry in entries):
        raise _refused(path, f"it holds {len(tops)} things at its top, not one folder")
    return tops.pop()


def _wrong_name(name: str) -> str:
    """Return what is wrong with an entry's name as it stands in the archive, '' if nothing is."""
    parts = name.removesuffix("/").split("/")
    if name.startswith("/"):
        return "is an absolute path"
    if ".." in parts:
        return "leads out of its folder"
    if "\\" in name or ":" in name:
        return "has a backslash or a drive in it"
    if not name.isprintable() or any(part in {"", "."} or part.strip() != part for part in parts):
        return "is no plain name"
    if parts[0].startswith("."):
        return "is hidden"
    return ""


def _wrong_kind(entry: zipfile.ZipInfo) -> str:
    """Return why an entry is more than a plain file or folder, '' if it is not."""
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if entry.flag_bits & _ENCRYPTED:
        return "is encrypted"
    if kind not in {0, stat.S_IFDIR if entry.is_dir() else stat.S_IFREG}:
        return "is a link or a special file"
    if entry.compress_type not in _METHODS:
        return "is packed in a way that is not known here"
    return ""


def _check_clashes(path: Path, entries: list[zipfile.ZipInfo]) -> None:
    """Refuse a name that comes twice, also where case or accents are written otherwise."""
    seen: dict[str, bool] = {}
    for entry in entries:
        key = unicodedata.normalize("NFC", entry.orig_filename.removesuffix("/")).casefold()
        if key in seen:
            raise _refused(path, f"'{_shown(entry.orig_filename)}' is in it twice")
        seen[key] = entry.is_dir()
    for key in seen:
        above = key.rpartition("/")[0]
        while above:
            if seen.get(above) is False:
                raise _refused(path, f"'{_shown(above)}' is a file and a folder in it")
            above = above.rpartition("/")[0]


def _check_room(path: Path, into: Path, wanted_bytes: int) -> None:
    free_bytes = shutil.disk_usage(into).free
    if free_bytes < wanted_bytes:
        raise DiskError(
            f"It needs {wanted_bytes} bytes, and {into} has {free_bytes} free",
            "Nothing was unpacked. Free some room, then do it again.",
            where=str(path),
        )


def _write(
    archive: zipfile.ZipFile, entries: list[zipfile.ZipInfo], into: Path, most_bytes: int
) -> None:
    """Write all entries below `into`, counting what comes out."""
    left = most_bytes
    for entry in entries:
        target = into / entry.orig_filename
        if entry.is_dir():
            target.mkdir(parents=True, exist_ok=True)
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        with archive.open(entry) as packed, target.open("xb") as file:
            while block := packed.read(_BLOCK):
                left -= len(block)
                if left < 0:
                    name = Path(str(archive.filename))
                    raise _refused(name, f"more than {most_bytes} bytes come out of it")
                file.write(block)
            if file.tell() != entry.file_size:
                name, size = Path(str(archive.filename)), entry.file_size
                raise _refused(name, f"'{target.name}' came out as {file.tell()} bytes, not {size}")
            file.flush()
            os.fsync(file.fileno())  # power may fail; what is renamed is whole


def _put(new: Path, place: Path, old: Path) -> None:
    """Rename the new folder to its place; what was there goes, or comes back if that fails."""
    if os.path.lexists(place):
        place.rename(old)
    try:
        new.rename(place)
    except BaseException:
        if os.path.lexists(old):
            old.rename(place)
        raise


def _shown(name: str) -> str:
    """A name from a stranger, fit for one line on a screen."""
    plain = name.encode("unicode_escape").decode("ascii").replace("\\\\", "\\")
    return plain if len(plain) <= 60 else f"{plain[:57]}..."  # noqa: PLR2004 - a line's worth


def _refused(path: Path, why: str) -> ModelError:
    return ModelError(f"The archive is refused: {why}", _REMEDY, where=str(path))
