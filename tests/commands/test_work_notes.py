"""`companion work` and `companion jobs` with notes and sound: typed, kept, told, removed."""

from __future__ import annotations

import sys
from io import StringIO
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.cli import main
from companion.joblog import SqliteStore
from companion.settings import load_settings

if TYPE_CHECKING:
    from pathlib import Path


@pytest.fixture
def log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    return tmp_path / "jobs.sqlite3"


def work(
    log: Path, monkeypatch: pytest.MonkeyPatch, *lines: str, more: tuple[str, ...] = ()
) -> int:
    monkeypatch.setattr(sys, "stdin", StringIO("".join(f"{line}\n" for line in lines)))
    return main(["work", "--typed", "--log", str(log), *more])


def test_a_typed_note_is_on_the_log_and_can_be_removed(
    log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert work(log, monkeypatch, "note that the rack is bent: 2 places", "done") == 0
    assert "Note one kept." in capsys.readouterr().out
    with SqliteStore(log, read_only=True) as store:
        [job] = store.jobs()
        [note] = [entry for entry in store.entries(job.id) if entry.kind == "note"]
    assert note.payload["words"] == "the rack is bent: 2 places"
    remove = ["jobs", "remove", job.id, str(note.number), "--why", "asked for", "--log", str(log)]
    assert main(remove) == 0
    assert main(remove) == 3  # it is gone
    assert work(log, monkeypatch, "play the note") == 0  # and the job goes on
    assert "Note one was removed on request." in capsys.readouterr().out


@pytest.mark.parametrize(("entry", "says"), [("99", "There is no entry 99"), ("1", "still open")])
def test_what_can_t_be_removed_is_3_and_stays(
    log: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    entry: str,
    says: str,
) -> None:
    work(log, monkeypatch)
    with SqliteStore(log, read_only=True) as store:
        [job] = store.jobs()
    assert main(["jobs", "remove", job.id, entry, "--why", "x", "--log", str(log)]) == 3
    assert says in capsys.readouterr().err
    with SqliteStore(log, read_only=True) as store:
        assert next(store.entries(job.id)).payload


def test_whether_sound_is_kept_is_remembered_until_it_is_changed(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert load_settings().keep_sound == ""
    work(log, monkeypatch, more=("--keep-sound",))
    assert load_settings().keep_sound == "yes"
    work(log, monkeypatch)
    assert load_settings().keep_sound == "yes"
    work(log, monkeypatch, more=("--no-keep-sound",))
    assert load_settings().keep_sound == "no"


def test_a_sound_that_no_entry_names_is_removed_at_the_start_and_told(
    log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    work(log, monkeypatch)
    with SqliteStore(log) as store:
        kept = store.sounds.keep("any", np.ones(100, np.int16), 16_000)
        path = store.sounds.path(kept)
    work(log, monkeypatch)
    assert "Removed 1 sound that no entry names" in capsys.readouterr().err
    assert not path.exists()


def test_how_it_speaks_and_through_what_is_remembered(
    log: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    work(log, monkeypatch, more=("--pace", "1.2", "--voice", "2", "--loudspeaker"))
    kept = load_settings()
    assert (kept.manner.pace, kept.manner.voice, kept.loudspeaker) == (1.2, 1, "yes")
    work(log, monkeypatch, more=("--loudness", "-3", "--no-loudspeaker"))
    kept = load_settings()
    assert (kept.manner.gain_db, kept.manner.pace, kept.loudspeaker) == (-3.0, 1.2, "no")
    capsys.readouterr()
    assert main(["work", "--typed", "--pace", "3", "--log", str(log)]) == 3
    assert "--pace 3 is more or less than it can. Give 0.7 to 1.6" in capsys.readouterr().err
    assert load_settings() == kept
