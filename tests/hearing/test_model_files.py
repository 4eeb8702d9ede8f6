from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import pytest

from companion.errors import ModelError
from companion.hearing.model_files import ModelFile, catalogue, checked, found
from companion.packaged import packaged_folder

if TYPE_CHECKING:
    from io import BufferedReader
    from pathlib import Path

CONTENT = b"weights"
MODEL = ModelFile(
    name="encoder-test",
    file="encoder.onnx",
    size_bytes=len(CONTENT),
    sha256=hashlib.sha256(CONTENT).hexdigest(),
    licence="MIT",
    source="made here",
)


@pytest.fixture(autouse=True)
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache" / "companion" / "model-checks.json"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / MODEL.file).write_bytes(CONTENT)
    return tmp_path


def test_every_file_of_the_catalogue_is_there_and_right() -> None:
    for model in catalogue().values():
        path = checked(model)
        assert path.stat().st_size == model.size_bytes


def test_the_hardened_encoder_is_the_file_that_was_measured() -> None:
    # source: its size in the model card, models/README.md
    assert catalogue()["encoder-hardened"].size_bytes == 13_015_004
    card = (packaged_folder("models") / "README.md").read_text(encoding="utf-8")
    assert "13,015,004 bytes" in card


def test_a_local_folder_is_looked_in_first(folder: Path) -> None:
    assert checked(MODEL, folder) == folder / MODEL.file


def test_a_missing_file_is_told_with_where_and_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(ModelError) as caught:
        found(MODEL, tmp_path)
    assert MODEL.file in str(caught.value)
    assert str(packaged_folder("models")) in str(caught.value)
    assert "pip install" in caught.value.remedy


def test_a_missing_package_is_named_with_its_version() -> None:
    model = ModelFile("x", "x.ort", 1, "0", "MIT", "made here", "no-such-package", "0.1.0", "in")
    with pytest.raises(ModelError) as caught:
        found(model)
    assert "no-such-package" in caught.value.problem
    assert "no-such-package==0.1.0" in caught.value.remedy


def test_an_altered_file_is_told_with_expected_and_found(folder: Path) -> None:
    (folder / MODEL.file).write_bytes(b"weighted")
    with pytest.raises(ModelError) as caught:
        checked(MODEL, folder)
    told = str(caught.value)
    assert str(folder / MODEL.file) in told
    assert MODEL.sha256 in told
    assert hashlib.sha256(b"weighted").hexdigest() in told
    assert "expected 7 bytes" in told
    assert "found 8 bytes" in told


def test_a_file_is_digested_once_and_again_after_a_change(
    folder: Path, cache: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checked(MODEL, folder)
    assert str(folder / MODEL.file) in json.loads(cache.read_text())
    digests: list[str] = []
    digest = hashlib.file_digest

    def counted(file: BufferedReader, name: str) -> Any:  # noqa: ANN401 -- the library's own type

        digests.append(name)
        return digest(file, name)

    monkeypatch.setattr(hashlib, "file_digest", counted)
    checked(MODEL, folder)
    assert digests == []
    (folder / MODEL.file).write_bytes(b"WEIGHTS")
    with pytest.raises(ModelError):
        checked(MODEL, folder)
    assert digests == ["sha256"]


@pytest.mark.parametrize("note", ["", "[]", "{", '{"x": 1}'])
def test_a_damaged_note_is_ignored(folder: Path, cache: Path, note: str) -> None:
    cache.parent.mkdir(parents=True)
    cache.write_text(note)
    assert checked(MODEL, folder).is_file()


def test_a_cache_that_cannot_be_written_costs_nothing_but_time(
    folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_the_way = tmp_path / "a file"
    in_the_way.touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(in_the_way))
    assert checked(MODEL, folder).is_file()


@pytest.mark.parametrize(
    "text", ["[file.x]\nfile = 'x'\nweight = 3\n", "[files]\n", "file = 3\n", "[file"]
)
def test_a_broken_catalogue_is_told(text: str, tmp_path: Path) -> None:
    path = tmp_path / "catalogue.toml"
    path.write_text(text)
    with pytest.raises(ModelError, match=r"catalogue\.toml"):
        catalogue(path)


def test_the_package_that_brings_the_model_is_never_imported() -> None:
    code = (
        "import sys; from companion.hearing.bundled import BundledRecogniser; BundledRecogniser();"
        "sys.exit('moonshine_voice' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
