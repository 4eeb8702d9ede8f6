"""Hostile, broken and oversized archives leave nothing behind, and nothing outside."""

from __future__ import annotations

import os
import shutil
import stat
import struct
import zipfile
from io import BytesIO
from typing import TYPE_CHECKING

import pytest

from companion.errors import ModelError
from companion.hearing import unpacking
from companion.hearing.unpacking import Bounds, unpack

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

BOUNDS = Bounds(most_bytes=1_000_000, most_entries=20)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def fine(folder: Path) -> None:
    """Accept what was unpacked; it is all there when this is asked."""
    assert folder.is_dir()


def zipped(*entries: tuple[str | zipfile.ZipInfo, bytes]) -> bytes:
    made = BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in entries:
            archive.writestr(name, content)
    return made.getvalue()


def special(name: str, kind: int) -> zipfile.ZipInfo:
    entry = zipfile.ZipInfo(name)
    entry.create_system = 3  # Unix (APPNOTE 4.4.2)
    entry.external_attr = (kind | 0o777) << 16
    return entry


GOOD = zipped(("small/", b""), ("small/README", b"read me"), ("small/am/final.mdl", b"model"))


def contents(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Where the archive lies; beside it, 'models' and something that must not be touched."""
    (tmp_path / "beside").write_text("untouched")
    (tmp_path / "models").mkdir()
    return tmp_path


def test_one_top_folder_is_unpacked(place: Path) -> None:
    (place / "a.zip").write_bytes(GOOD)
    assert unpack(place / "a.zip", place / "models", BOUNDS, fine) == place / "models" / "small"
    assert contents(place / "models") == {
        "small/README": b"read me",
        "small/am/final.mdl": b"model",
    }
    assert names(place / "models") == ["small"]


def test_the_folder_is_made_and_can_be_read_by_others(tmp_path: Path) -> None:
    (tmp_path / "a.zip").write_bytes(GOOD)
    folder = unpack(tmp_path / "a.zip", tmp_path / "new" / "models", BOUNDS, fine)
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(folder.stat().st_mode) == 0o777 & ~mask


def headers_lie(content: bytes, size_bytes: int) -> bytes:
    """Write another unpacked size into the last entry's two headers (APPNOTE 4.3.7, 4.3.12)."""
    made = bytearray(content)
    struct.pack_into("<I", made, content.rindex(b"PK\x03\x04") + 22, size_bytes)
    struct.pack_into("<I", made, content.rindex(b"PK\x01\x02") + 24, size_bytes)
    return bytes(made)


def encrypted(content: bytes) -> bytes:
    """Set the flag 'encrypted' in the last entry's two headers (APPNOTE 4.4.4)."""
    made = bytearray(content)
    made[content.rindex(b"PK\x03\x04") + 6] |= 1
    made[content.rindex(b"PK\x01\x02") + 8] |= 1
    return bytes(made)


def duplicate() -> bytes:
    with pytest.warns(UserWarning, match="Duplicate"):
        return zipped(("small/a", b"1"), ("small/a", b"2"))


def altered() -> bytes:
    made = bytearray(zipped(("small/a", os.urandom(500))))
    made[200] ^= 0xFF
    return bytes(made)


HOSTILE: dict[str, tuple[Callable[[], bytes], str]] = {
    "absolute path": (lambda: zipped(("/beside", b"x")), "is an absolute path"),
    "out of its folder": (lambda: zipped(("small/../../beside", b"x")), "leads out"),
    "out at once": (lambda: zipped(("../beside", b"x")), "leads out of its folder"),
    "ends outside": (lambda: zipped(("small/..", b"x")), "leads out of its folder"),
    "backslash": (lambda: zipped(("small\\..\\beside", b"x")), "backslash or a drive"),
    "drive": (lambda: zipped(("C:/beside", b"x")), "backslash or a drive"),
    "dot": (lambda: zipped(("small/./a", b"x")), "is no plain name"),
    "two slashes": (lambda: zipped(("small//a", b"x")), "is no plain name"),
    "control sign": (lambda: zipped(("small/a\x1b[2J", b"x")), "is no plain name"),
    "zero byte": (
        lambda: zipped(("small/aXb", b"x")).replace(b"aXb", b"a\x00b"),
        "is no plain name",
    ),
    "hidden": (lambda: zipped((".ssh/a", b"x")), "is hidden"),
    "symlink": (
        lambda: zipped((special("small/a", stat.S_IFLNK), b"/etc/passwd")),
        "is a link or a special file",
    ),
    "folder by symlink": (
        lambda: zipped((special("small", stat.S_IFLNK), b".."), ("small/beside", b"x")),
        "is a link or a special file",
    ),
    "device": (lambda: zipped((special("small/a", stat.S_IFCHR), b"")), "special file"),
    "pipe": (lambda: zipped((special("small/a", stat.S_IFIFO), b"")), "special file"),
    "encrypted": (lambda: encrypted(zipped(("small/a", b"secret"))), "is encrypted"),
    "same name": (duplicate, "'small/a' is in it twice"),
    "same name but for case": (
        lambda: zipped(("small/a", b"1"), ("small/A", b"2")),
        "'small/A' is in it twice",
    ),
    "file and folder": (
        lambda: zipped(("small/a", b"1"), ("small/a/b", b"2")),
        "'small/a' is a file and a folder",
    ),
    "many entries": (
        lambda: zipped(*((f"small/{n}", b"") for n in range(21))),
        "it has 21 entries, more than 20",
    ),
    "bomb": (
        lambda: zipped(*((f"small/{n}", bytes(300_000)) for n in range(4))),
        "it unpacks to 1200000 bytes, more than 1000000",
    ),
    "two top folders": (
        lambda: zipped(("small/a", b"1"), ("other/a", b"2")),
        "it holds 2 things at its top, not one folder",
    ),
    "no top folder": (lambda: zipped(("a", b"1")), "not one folder"),
    "empty": (zipped, "it holds 0 things at its top"),
    "cut": (lambda: GOOD[:-30], "it is no whole zip file"),
    "cut in front": (lambda: GOOD[40:], "it is no whole zip file"),
    "no zip": (lambda: b"<html>Not found</html>", "it is no whole zip file"),
    "nothing": (lambda: b"", "it is no whole zip file"),
    "altered": (altered, "it is no whole zip file"),
    "bomb that says it is small": (
        lambda: headers_lie(zipped(("small/a", bytes(5_000_000))), 1_000),
        "it is no whole zip file",
    ),
    "says it is larger": (
        lambda: headers_lie(zipped(("small/a", b"x")), 900_000),
        "'a' came out as 1 bytes, not 900000",
    ),
}


@pytest.mark.parametrize(("make", "says"), HOSTILE.values(), ids=HOSTILE.keys())
def test_hostile_archives_leave_nothing(make: Callable[[], bytes], says: str, place: Path) -> None:
    (place / "a.zip").write_bytes(make())
    with pytest.raises(ModelError, match=says) as caught:
        unpack(place / "a.zip", place / "models", BOUNDS, fine)
    assert "\n" not in str(caught.value)
    assert "\x1b" not in str(caught.value)
    assert names(place) == ["a.zip", "beside", "models"]
    assert names(place / "models") == []
    assert (place / "beside").read_text() == "untouched"


def test_bytes_are_counted_as_they_come_out(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Even if the headers' sum were not looked at."""
    (place / "a.zip").write_bytes(zipped(("small/a", bytes(600_000)), ("small/b", bytes(600_000))))
    monkeypatch.setattr(unpacking, "_one_top_folder", lambda *_: "small")
    with pytest.raises(ModelError, match="more than 1000000 bytes come out of it"):
        unpack(place / "a.zip", place / "models", BOUNDS, fine)
    assert names(place / "models") == []


def test_a_disk_without_room_is_told_first(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (place / "a.zip").write_bytes(GOOD)
    usage = shutil.disk_usage(place)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=11))
    with pytest.raises(ModelError, match=r"needs 12 bytes, and .* has 11 free"):
        unpack(place / "a.zip", place / "models", BOUNDS, fine)


def test_no_such_archive_is_told(place: Path) -> None:
    with pytest.raises(ModelError, match=r"nowhere\.zip: It cannot be unpacked: No such file"):
        unpack(place / "nowhere.zip", place / "models", BOUNDS, fine)


def test_what_is_no_model_does_not_take_the_place_of_one(place: Path) -> None:
    def refuse(folder: Path) -> None:
        raise ModelError(f"'{folder.name}' is no model", "Take another.")

    (place / "models" / "small").mkdir()
    (place / "models" / "small" / "old").write_text("kept")
    (place / "a.zip").write_bytes(GOOD)
    with pytest.raises(ModelError, match="'small' is no model"):
        unpack(place / "a.zip", place / "models", BOUNDS, refuse)
    assert contents(place / "models") == {"small/old": b"kept"}


def test_a_model_of_the_same_name_is_replaced_whole(place: Path) -> None:
    (place / "models" / "small").mkdir()
    (place / "models" / "small" / "old").write_text("gone")
    (place / "a.zip").write_bytes(GOOD)
    unpack(place / "a.zip", place / "models", BOUNDS, fine)
    assert set(contents(place / "models")) == {"small/README", "small/am/final.mdl"}
    assert names(place / "models") == ["small"]


def test_being_stopped_leaves_nothing(place: Path) -> None:
    def stop(_: Path) -> None:
        raise KeyboardInterrupt

    (place / "a.zip").write_bytes(GOOD)
    with pytest.raises(KeyboardInterrupt):
        unpack(place / "a.zip", place / "models", BOUNDS, stop)
    assert names(place / "models") == []
