"""Settings are kept whole, read strictly, and told with their file where they cannot be used."""

from __future__ import annotations

import errno
import json
from pathlib import Path

import pytest

from companion.dialogue.manner import Manner
from companion.errors import InputError
from companion.settings import (
    RECOGNISERS,
    Settings,
    load_settings,
    save_settings,
    settings_path,
)

MINE = Settings("vosk", "/models/small", "USB headset", "USB headset")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "settings.json"


def test_nothing_kept_is_the_defaults(path: Path) -> None:
    assert load_settings(path) == Settings()
    assert Settings().recogniser == "bundled"  # DESIGN.md, section 7: the embedded default


@pytest.mark.parametrize(
    "settings",
    [
        MINE,
        Settings(),
        Settings(keep_sound="yes"),
        Settings(loudspeaker="yes"),
        Settings(microphone='Kopfhörer "µ" (2-Wege)\n', headphones="헤드셋"),
        *(Settings(recogniser=each) for each in RECOGNISERS),
    ],
)
def test_what_is_kept_is_read_again(settings: Settings, tmp_path: Path) -> None:
    path = tmp_path / "new" / "folder" / "settings.json"
    save_settings(settings, path)
    assert load_settings(path) == settings
    assert [each.name for each in path.parent.iterdir()] == ["settings.json"]


def test_a_setting_that_is_not_there_is_the_default(path: Path) -> None:
    path.write_text('{"microphone": "USB"}')
    assert load_settings(path) == Settings(microphone="USB")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "it cannot be read"),
        ('{"recogniser": "vosk"', "it cannot be read"),
        ("[]", "it holds no settings"),
        ("null", "it holds no settings"),
        (
            '{"mircophone": "USB"}',
            "'mircophone' is no setting; there are cues, headphones, keep_sound",
        ),
        ('{"microphone": 3}', "'microphone' is 3, not a text"),
        ('{"microphone": null}', "'microphone' is null, not a text"),
        ('{"loudspeaker": "loud"}', "'loudspeaker' is 'loud', not yes or no"),
        ('{"keep_sound": "maybe"}', "'keep_sound' is 'maybe', not yes or no"),
        ('{"recogniser": "best"}', "there is no recogniser 'best'"),
    ],
)
def test_what_is_no_setting_is_told_with_its_file(text: str, says: str, path: Path) -> None:
    path.write_text(text)
    with pytest.raises(InputError, match=says) as caught:
        load_settings(path)
    assert str(caught.value).startswith(f"{path}: The settings cannot be used: ")
    assert str(caught.value).endswith("Mend or remove the file.")
    assert path.read_text() == text


def test_bytes_that_are_no_text_are_told(path: Path) -> None:
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="it cannot be read"):
        load_settings(path)


def test_a_folder_in_its_place_is_told(path: Path) -> None:
    path.mkdir()
    with pytest.raises(InputError, match="it cannot be read"):
        load_settings(path)


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "companion").write_text("a file where the folder should be")
    with pytest.raises(InputError, match=r"cannot be kept: .*Make the folder writable"):
        save_settings(MINE, tmp_path / "companion" / "settings.json")


def test_a_full_disk_leaves_the_old_ones(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    save_settings(MINE, path)

    def full(*_: object, **__: object) -> int:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_text", full)
    with pytest.raises(InputError, match="The settings cannot be kept: No space left on device"):
        save_settings(Settings(), path)
    assert load_settings(path) == MINE


@pytest.mark.parametrize(
    ("environment", "expected"),
    [
        ({"XDG_CONFIG_HOME": "/config"}, "/config/companion/settings.json"),
        ({"XDG_CONFIG_HOME": ""}, "~/.config/companion/settings.json"),
        ({}, "~/.config/companion/settings.json"),
    ],
)
def test_they_are_kept_where_settings_belong(environment: dict[str, str], expected: str) -> None:
    # XDG Base Directory Specification 0.8, section 3.
    assert settings_path(environment) == Path(expected).expanduser()


def test_the_users_own_file_is_used_unless_another_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    save_settings(MINE)
    assert load_settings(tmp_path / "companion" / "settings.json") == MINE
    assert load_settings() == MINE


def test_how_it_speaks_is_kept(tmp_path: Path) -> None:
    path = tmp_path / "settings.json"
    manner = Manner(6.0, 1.15, 2, cues=False)
    save_settings(Settings().speaking(manner), path)
    found = load_settings(path).manner
    assert (found.gain_db, found.voice, found.cues) == (6.0, 2, False)
    assert found.pace == pytest.approx(1.15)


@pytest.mark.parametrize("wrong", [{"pace": "quick"}, {"cues": "maybe"}, {"voice": "1.5"}])
def test_a_way_to_speak_that_is_none_is_refused(tmp_path: Path, wrong: dict[str, str]) -> None:
    path = tmp_path / "settings.json"
    path.write_text(json.dumps(wrong), "utf-8")
    with pytest.raises(InputError, match="cannot be used"):
        load_settings(path)
