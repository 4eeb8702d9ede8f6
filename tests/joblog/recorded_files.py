"""The files of a log as a power cut may leave them: every write recorded, those not synced lost.

The log's own code runs over SQLite's VFS shim of apsw, which reaches the real file system and
records each write, truncation, sync, making and deleting of a file, in order. `after_power_cut`
then builds the files anew as the disk may hold them after a cut at any place of that record: what
was written before a file's last sync is there; of what came later each write is there, is not, or
is there in part, by sectors. A name in the folder counts as durable once the folder was synced.

The rules are those on which SQLite relies ('Atomic Commit In SQLite', sections 2 and 3; 'PRAGMA
synchronous'; power-safe overwrite: a torn write leaves the bytes beside it alone). apsw brings a
SQLite of its own, newer than Python's; what is written and when it is synced in this mode is the
same in both, by the documents named above.
"""

from __future__ import annotations

import os
import tempfile
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Literal, TypeAlias

import apsw

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator

    import pytest

SECTOR = 512
Do: TypeAlias = 'Literal["make", "write", "truncate", "sync", "delete", "folder", "said"]'


@dataclass(frozen=True, slots=True)
class Done:
    """One thing done to a file; `name` is the file's own, without its folder."""

    do: Do
    name: str = ""
    offset: int = 0  # of a write; the size of a truncation; how much was acknowledged
    data: bytes = b""


@dataclass(slots=True)
class Record:
    """All that was done, in order."""

    done: list[Done] = field(default_factory=list)

    def add(self, do: Do, name: str = "", offset: int = 0, data: bytes = b"") -> None:
        self.done.append(Done(do, name, offset, data))

    def said(self, acknowledged: int) -> None:
        """From here on so many entries are promised."""
        self.add("said", offset=acknowledged)


class _File(apsw.VFSFile):
    def __init__(self, name: apsw.URIFilename | str, flags: list[int], record: Record) -> None:
        path = name.filename() if isinstance(name, apsw.URIFilename) else name
        self._name, self._record = Path(path).name, record
        existed = Path(path).exists()
        super().__init__("", name, flags)
        if not existed:
            record.add("make", self._name)

    def xWrite(self, data: bytes, offset: int) -> None:  # noqa: N802 -- SQLite's name
        super().xWrite(data, offset)
        self._record.add("write", self._name, offset, bytes(data))

    def xTruncate(self, size: int) -> None:  # noqa: N802
        super().xTruncate(size)
        self._record.add("truncate", self._name, size)

    def xSync(self, flags: int) -> None:  # noqa: N802
        super().xSync(flags)
        self._record.add("sync", self._name)


class _Vfs(apsw.VFS):
    def __init__(self, record: Record) -> None:
        self._record = record
        super().__init__("recorded", "")

    def xOpen(self, name: apsw.URIFilename | str | None, flags: list[int]) -> apsw.VFSFile:  # noqa: N802
        if name is None:
            return super().xOpen(name, flags)  # a temporary file: nothing of it is kept
        return _File(name, flags, self._record)

    def xDelete(self, name: str, sync_folder: bool) -> None:  # noqa: N802, FBT001
        super().xDelete(name, sync_folder)
        self._record.add("delete", Path(name).name)
        if sync_folder:
            self._record.add("folder")


class _Connection(apsw.Connection):
    """Under the few names by which the store calls Python's own connection."""

    def executescript(self, text: str) -> None:
        self.execute(text).fetchall()


@contextmanager
def recorded(monkeypatch: pytest.MonkeyPatch) -> Iterator[Record]:
    """Let stores that are opened to write within record what they do to their files."""
    record = Record()
    vfs = _Vfs(record)
    writing = apsw.SQLITE_OPEN_READWRITE | apsw.SQLITE_OPEN_CREATE | apsw.SQLITE_OPEN_URI

    def connect(database: str, **_: object) -> _Connection:
        return _Connection(database, flags=writing, vfs="recorded")

    def fsync(descriptor: int) -> None:
        real(descriptor)
        if Path(f"/proc/self/fd/{descriptor}").resolve().is_dir():
            record.add("folder")

    real = os.fsync
    with monkeypatch.context() as patch:
        patch.setattr("companion.joblog.opening.sqlite3.connect", connect)
        patch.setattr("companion.joblog.opening.os.fsync", fsync)
        yield record
    vfs.unregister()


@contextmanager
def quick_folder(otherwise: Path) -> Iterator[Path]:
    """A new folder, in memory where there is such: what is left is opened many times."""
    memory = Path("/dev/shm")  # noqa: S108 -- a folder of our own in it, and it is removed
    place = memory if os.access(memory, os.W_OK) else otherwise
    with tempfile.TemporaryDirectory(dir=place) as folder:
        yield Path(folder)


# ---------------------------------------------------------------- the cut


@dataclass(slots=True)
class _OnDisk:
    durable: bytearray = field(default_factory=bytearray)
    pending: list[Done] = field(default_factory=list)
    is_named: bool = False  # its name in the folder is durable
    is_deleted: bool = False  # not durably yet


def after_power_cut(record: Record, at: int, chance: random.Random) -> tuple[dict[str, bytes], int]:
    """Return the files as they may be when the power goes before `record.done[at]`.

    Args:
        record: what was done.
        at: 0 to the length of the record.
        chance: which of the writes that were not synced are on the disk, and how much of them.

    Returns:
        Each file's content by its name, and how many entries had been acknowledged.
    """
    disk: dict[str, _OnDisk] = {}
    acknowledged = 0
    for each in record.done[:at]:
        match each.do:
            case "make":
                disk[each.name] = _OnDisk()
            case "write" | "truncate":
                disk[each.name].pending.append(each)
            case "sync":
                _sync(disk[each.name], disk)
            case "delete":
                disk[each.name].is_deleted = True
            case "folder":
                _sync_folder(disk)
            case "said":
                acknowledged = each.offset
    keep = chance.choice(("none", "all", "some"))
    return {
        name: bytes(_left(file, keep, chance))
        for name, file in disk.items()
        if _is_there(file, keep, chance)
    }, acknowledged


def _sync(file: _OnDisk, disk: dict[str, _OnDisk]) -> None:
    """SQLite syncs the folder too, at the first sync of a file beside the log that it made."""
    for each in file.pending:
        _apply(file.durable, each)
    file.pending.clear()
    if not file.is_named and file is not next(iter(disk.values())):
        _sync_folder(disk)


def _sync_folder(disk: dict[str, _OnDisk]) -> None:
    for name, file in list(disk.items()):
        file.is_named = True
        if file.is_deleted:
            del disk[name]


def _is_there(file: _OnDisk, keep: str, chance: random.Random) -> bool:
    if file.is_named and not file.is_deleted:
        return True
    return {"none": file.is_named, "all": not file.is_deleted}.get(keep, chance.random() < 0.5)


def _left(file: _OnDisk, keep: str, chance: random.Random) -> bytearray:
    left = bytearray(file.durable)
    for each in file.pending if keep != "none" else ():
        if keep == "all" or chance.random() < 0.5:
            _apply(left, each)
        elif each.do == "write" and chance.random() < 0.5:
            for sector in _sectors(each):
                if chance.random() < 0.5:
                    _apply(left, sector)
    return left


def _sectors(write: Done) -> Iterator[Done]:
    """Cut a write where the disk's sectors end."""
    begun = 0
    while begun < len(write.data):
        ends = begun + SECTOR - (write.offset + begun) % SECTOR
        yield Done("write", write.name, write.offset + begun, write.data[begun:ends])
        begun = ends


def _apply(content: bytearray, each: Done) -> None:
    if each.do == "truncate":
        del content[each.offset :]
        return
    gap = each.offset - len(content)
    if gap > 0:
        content.extend(bytes(gap))
    content[each.offset : each.offset + len(each.data)] = each.data


# ---------------------------------------------------------------- the copy

PAGE = 4096


def as_copied(
    record: Record, names: tuple[str, ...], chance: random.Random, most_pause: int = 12
) -> dict[str, bytes]:
    """Return files as a program copies them that reads page after page while they are written.

    Args:
        record: what was done to them meanwhile.
        names: which are copied, in this order.
        chance: when it begins, and how much is done between two pages.
        most_pause: at most so many things are done between two pages.
    """
    place = chance.randrange(len(record.done))
    slow = chance.random() < 0.7  # else all pages of a file are of one moment
    files: dict[str, bytearray] = {}
    for each in record.done[:place]:
        _happen(files, each)
    copies: dict[str, bytes] = {}
    for name in names:
        if name not in files:
            continue
        copy = bytearray()
        while name in files and len(copy) < len(files[name]):
            copy += files[name][len(copy) : len(copy) + PAGE]
            for _ in range(chance.randrange(most_pause) if slow else 0):
                if place < len(record.done):
                    _happen(files, record.done[place])
                    place += 1
        copies[name] = bytes(copy)
    return copies


def _happen(files: dict[str, bytearray], each: Done) -> None:
    match each.do:
        case "make":
            files[each.name] = bytearray()
        case "write" | "truncate":
            _apply(files[each.name], each)
        case "delete":
            files.pop(each.name, None)
        case _:
            pass
