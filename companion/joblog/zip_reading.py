"""Reading a zip file that may be hostile: names looked at first, bytes counted as they come.

Nothing is ever written under a name from the zip: its files are asked for one by one. What has
another shape than ours is refused all the same, with its reason.
"""

from __future__ import annotations

import stat
import zipfile
import zlib
from contextlib import contextmanager
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from companion.errors import ForeignJobError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

MOST_FILES = 20_000
MOST_BYTES = 4_000_000_000  # of all files together, and of the zip itself
_BLOCK_BYTES = 1 << 20
_ENCRYPTED = 0x1 | 0x40 | 0x2000  # APPNOTE 4.4.4: plain, strong, hidden directory
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAMAGED = (
    zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, ValueError,
)  # fmt: skip


class HostileZip:
    """A zip file, open to read.

    Args:
        archive: the open file.
    """

    def __init__(self, archive: zipfile.ZipFile) -> None:
        self._archive = archive
        entries = archive.infolist()
        if len(entries) > MOST_FILES:
            raise ForeignJobError(f"the zip holds {len(entries)} files, more than {MOST_FILES}")
        if sum(entry.file_size for entry in entries) > MOST_BYTES:
            raise ForeignJobError(f"the zip holds more than {MOST_BYTES} bytes")
        self._entries: dict[str, zipfile.ZipInfo] = {}
        seen: set[str] = set()
        for entry in entries:
            problem = _problem(entry) or ("twice" if entry.filename.casefold() in seen else "")
            if problem:
                raise ForeignJobError(f"the zip holds {entry.filename[:80]!a}: {problem}")
            seen.add(entry.filename.casefold())
            self._entries[entry.filename] = entry

    @property
    def names(self) -> frozenset[str]:
        """The names of its files."""
        return frozenset(self._entries)

    def blocks(self, name: str, most_bytes: int) -> Iterator[bytes]:
        """Yield a file's bytes, counted as they come out, whatever its header says.

        Raises:
            ForeignJobError: it is not there, damaged, or larger than `most_bytes`.
        """
        entry = self._entries.get(name)
        if entry is None:
            raise ForeignJobError(f"the zip lacks {name[:80]!a}")
        count = 0
        try:
            with self._archive.open(entry) as file:
                while block := file.read(_BLOCK_BYTES):
                    count += len(block)
                    if count > most_bytes:
                        raise ForeignJobError(f"{name[:80]!a} has more than {most_bytes} bytes")
                    yield block
        except _DAMAGED as exc:
            raise ForeignJobError(f"{name[:80]!a} is damaged in the zip") from exc

    def data(self, name: str, most_bytes: int) -> bytes:
        """Return a file's bytes; see `blocks`."""
        return b"".join(self.blocks(name, most_bytes))


@contextmanager
def hostile_zip(path: Path) -> Iterator[HostileZip]:
    """Open a zip file.

    Raises:
        ForeignJobError: it is damaged, hostile or too large.
        OSError: it cannot be read.
    """
    if path.stat().st_size > MOST_BYTES:
        raise ForeignJobError(f"the zip has more than {MOST_BYTES} bytes")
    try:
        archive = zipfile.ZipFile(path)
    except _DAMAGED as exc:
        raise ForeignJobError("it is no zip file, or a damaged one") from exc
    with archive:
        yield HostileZip(archive)


def _problem(entry: zipfile.ZipInfo) -> str:
    """Return why an entry is refused, or ''."""
    name = entry.filename
    parts = PurePosixPath(name).parts
    if entry.orig_filename != name or "\\" in name or ":" in name or not name.isprintable():
        return "that is no plain name"
    if name.startswith("/") or ".." in parts or str(PurePosixPath(name)) != name:
        return "its path leads outside, or is not plain"
    mode = entry.external_attr >> 16
    if stat.S_IFMT(mode) not in {0, stat.S_IFREG}:
        return "it is a link, a folder or a device"
    if entry.flag_bits & _ENCRYPTED:
        return "it is encrypted"
    if entry.compress_type not in _METHODS:
        return "it is packed in a way that this program does not know"
    return ""
