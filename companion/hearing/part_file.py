"""What has come of an archive so far: the `.part` file beside its place, and its server's mark.

It is how a fetch that was cut goes on, in the same run or a later one.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
from contextlib import suppress
from typing import TYPE_CHECKING, Self

from companion.errors import ModelError

if TYPE_CHECKING:
    from io import BufferedRandom
    from pathlib import Path

    from companion.hearing.archives import Archive

PART = ".part"
MARK = ".part.json"  # the address and the server's mark of what the part is a part of


def part_bytes(archive: Archive, folder: Path) -> int:
    """Return how much of an archive an earlier fetch left, in bytes."""
    for name in (archive.file, f"{archive.file}{PART}"):
        with suppress(OSError):
            return (folder / name).stat().st_size
    return 0


def is_ours(archive: Archive, path: Path) -> bool:
    """Tell whether a file is the one that the catalogue knows; not where there is none.

    Raises:
        OSError: it cannot be read.
    """
    if not path.is_file() or path.stat().st_size != archive.size_bytes:
        return False
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest() == archive.sha256


class PartFile:
    """The part file, held while it is entered so that no second process writes to it.

    Args:
        archive: what it is a part of.
        folder: where it lies; made where it is missing.

    Raises:
        ModelError: another process holds it, on entering.
    """

    def __init__(self, archive: Archive, folder: Path) -> None:
        self.archive = archive
        self.path = folder / f"{archive.file}{PART}"
        self._mark = folder / f"{archive.file}{MARK}"

    def __enter__(self) -> Self:
        self.path.parent.mkdir(parents=True, exist_ok=True)
        self._file: BufferedRandom = self.path.open("a+b")
        try:
            fcntl.flock(self._file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as exc:
            self._file.close()
            raise ModelError(
                f"{self.archive.file} is being fetched by another companion", "Wait for it."
            ) from exc
        if self.size > self.archive.size_bytes:
            self.start_over()
        return self

    def __exit__(self, *_: object) -> None:
        if self.size == 0:
            self.path.unlink(missing_ok=True)  # while it is held: nobody else can be writing to it
            self.forget_mark()
        self._file.close()

    @property
    def size(self) -> int:
        """Bytes that are there."""
        return self._file.seek(0, 2)

    @property
    def left(self) -> int:
        """Bytes that are wanted still."""
        return self.archive.size_bytes - self.size

    def add(self, block: bytes) -> None:
        """Append; what is added is on disk when this returns, as far as the system knows."""
        try:
            self._file.write(block)
            self._file.flush()
        except OSError as problem:
            raise ModelError(
                f"{self.path} cannot be written: {problem.strerror}",
                "Free some room, then go on with: companion models get",
            ) from problem

    def start_over(self) -> None:
        """Drop what is there and go on writing."""
        self._file.truncate(0)
        self.forget_mark()

    def digest(self) -> str:
        """Return the sha256 of what is there."""
        self._file.seek(0)
        return hashlib.file_digest(self._file, "sha256").hexdigest()

    def mark_for(self, url: str) -> str:
        """Return the mark that this address gave for what the part is of; '' for none."""
        with suppress(OSError, ValueError, AttributeError):
            note = json.loads(self._mark.read_text("utf-8"))
            mark = str(note.get("mark", "")) if note.get("url") == url else ""
            return mark if mark.isascii() and mark.isprintable() else ""  # a header takes no other
        return ""

    def keep_mark(self, url: str, mark: str) -> None:
        """Remember the mark; '' forgets it."""
        if mark:
            self._mark.write_text(json.dumps({"url": url, "mark": mark}), "utf-8")
        else:
            self.forget_mark()

    def forget_mark(self) -> None:
        """Drop the mark."""
        self._mark.unlink(missing_ok=True)
