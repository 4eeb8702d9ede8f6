"""Sounds beside the log: lossless, durable first, bounded, removed with what named them."""

from __future__ import annotations

import errno
import os
import signal
import stat
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as stnp

from companion.dialogue.forgetting import ToForget
from companion.errors import SoundAlteredError, SoundFileError, SoundShelfError
from companion.joblog import SoundFolder, SqliteStore
from companion.joblog.sounds import sounds_folder
from companion.ports import Draft, KeptSound

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
JOB = "2026-03-04-1"
SOUND = np.arange(-800, 800, dtype=np.int16)
RATE_HZ = 16_000


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "jobs.sqlite3"


def files(log: Path) -> list[Path]:
    return sorted(path for path in sounds_folder(log).rglob("*") if path.is_file())


def test_two_logs_never_share_a_folder(tmp_path: Path) -> None:
    names = ("jobs.sqlite3", "jobs.db", "jobs", "jobs.old.sqlite3")
    folders = [sounds_folder(tmp_path / name).name for name in names]
    assert folders == ["jobs-sounds", "jobs.db.sounds", "jobs.sounds", "jobs.old-sounds"]


@given(stnp.arrays(np.int16, st.integers(1, 3_000)), st.sampled_from([8_000, 16_000, 48_000]))
def test_what_is_kept_is_got_back_bit_for_bit(
    tmp_path_factory: pytest.TempPathFactory, samples: np.ndarray, rate_hz: int
) -> None:
    folder = SoundFolder(tmp_path_factory.mktemp("log") / "jobs.sqlite3")
    clip = folder.clip(folder.keep(JOB, samples, rate_hz))
    assert clip.samples.dtype == np.int16
    assert np.array_equal(clip.samples, samples)
    assert clip.rate_hz == rate_hz


def test_a_sound_is_for_this_user_alone_and_a_standard_file(log: Path) -> None:
    kept = SoundFolder(log).keep(JOB, SOUND, RATE_HZ)
    [path] = files(log)
    assert path.relative_to(sounds_folder(log)).as_posix() == kept.file
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700
    assert path.read_bytes()[:4] == b"fLaC"  # RFC 9639, section 6: the stream marker
    assert kept.length_s == "0.100"


def test_it_is_flushed_before_it_gets_its_name_and_the_folder_after(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = SoundFolder(log)
    folder.keep(JOB, SOUND, RATE_HZ)  # the folders are there now
    seen: list[str] = []
    fsync, replace = os.fsync, Path.replace

    def flushed(descriptor: int) -> None:
        kind = "folder" if stat.S_ISDIR(os.fstat(descriptor).st_mode) else "file"
        seen.append(f"flush {kind}")
        fsync(descriptor)

    def renamed(path: Path, target: Path) -> Path:
        seen.append("rename")
        return replace(path, target)

    monkeypatch.setattr(os, "fsync", flushed)
    monkeypatch.setattr(Path, "replace", renamed)
    folder.keep(JOB, SOUND, RATE_HZ)
    assert seen == ["flush file", "rename", "flush folder"]


@pytest.mark.parametrize("step", ["write", "rename"])
def test_a_full_disk_keeps_nothing_and_says_so(
    log: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    if step == "write":
        monkeypatch.setattr(os, "fsync", full)
    else:
        monkeypatch.setattr(Path, "replace", full)
    sounds_folder(log).joinpath(JOB).mkdir(parents=True)
    with pytest.raises(SoundShelfError, match="No space left on device") as caught:
        SoundFolder(log).keep(JOB, SOUND, RATE_HZ)
    assert not caught.value.is_bound
    assert files(log) == []


def test_up_to_the_bound_spare_sound_is_kept_and_nothing_is_removed(log: Path) -> None:
    noise = np.random.default_rng(1).integers(-3_000, 3_000, 4_000).astype(np.int16)
    one = SoundFolder(log).keep(JOB, noise, RATE_HZ)
    size = files(log)[0].stat().st_size
    folder = SoundFolder(log, most_bytes=2 * size + size // 2)  # counted anew, as at a start
    folder.keep(JOB, noise, RATE_HZ, spare=True)
    with pytest.raises(SoundShelfError) as caught:
        folder.keep(JOB, noise, RATE_HZ, spare=True)
    assert caught.value.is_bound
    folder.keep(JOB, noise, RATE_HZ)  # a note was asked for by name
    assert len(files(log)) == 3
    assert np.array_equal(folder.clip(one).samples, noise)


def test_an_altered_and_a_missing_sound_are_told_apart(log: Path) -> None:
    folder = SoundFolder(log)
    kept = folder.keep(JOB, SOUND, RATE_HZ)
    path = folder.path(kept)
    path.write_bytes(path.read_bytes() + b"\0")
    with pytest.raises(SoundAlteredError, match="its digest differs"):
        folder.clip(kept)
    path.unlink()
    with pytest.raises(SoundFileError, match="cannot be read"):
        folder.clip(kept)


@pytest.mark.parametrize(
    "name", ["../jobs.sqlite3", "/elsewhere/jobs/a.flac", "", "a/../../x", "."]
)
def test_a_name_that_leads_elsewhere_is_refused(log: Path, name: str) -> None:
    folder = SoundFolder(log)
    folder.keep(JOB, SOUND, RATE_HZ)
    log.write_bytes(b"precious")
    stranger = KeptSound(name, "0" * 64, "1.0")
    with pytest.raises(SoundFileError):
        folder.clip(stranger)
    folder.remove([stranger])
    assert log.read_bytes() == b"precious"


@given(st.text(min_size=1, max_size=20))
def test_a_job_called_anything_has_a_folder_of_its_own(
    tmp_path_factory: pytest.TempPathFactory, job: str
) -> None:
    log = tmp_path_factory.mktemp("log") / "jobs.sqlite3"
    kept = SoundFolder(log).keep(job.encode("utf-8", "replace").decode(), SOUND, RATE_HZ)
    [path] = files(log)
    assert path.parent.parent == sounds_folder(log)
    assert kept.file.count("/") == 1


# ---------------------------------------------------------------- with the log


def entry(kept: KeptSound) -> Draft:
    return Draft("note", {"id": 1, "words": "", "sound": kept.payload}, NOON)


def test_what_an_entry_names_stays_and_the_rest_is_removed(log: Path) -> None:
    with SqliteStore(log) as store:
        mine = store.sounds.keep(JOB, SOUND, RATE_HZ)
        store.append(JOB, [entry(mine)])
        store.sounds.keep(JOB, SOUND, RATE_HZ)
        (sounds_folder(log) / JOB / "half.part").write_bytes(b"fLaC")
        (sounds_folder(log) / JOB / "my own remarks.txt").write_text("not of the program's making")
    with SqliteStore(log) as store:
        assert store.tidy_sounds() == 2
        assert store.tidy_sounds() == 0
        assert np.array_equal(store.sounds.clip(mine).samples, SOUND)
    assert len(files(log)) == 2


def test_a_sound_goes_with_the_payload_that_is_removed(log: Path) -> None:
    with SqliteStore(log) as store:
        first, second = (store.sounds.keep(JOB, SOUND, RATE_HZ) for _ in range(2))
        store.append(JOB, [entry(first), entry(second)])
        store.redact(JOB, ToForget((1,)), why="asked for", at=NOON)
        assert [path.name for path in files(log)] == [Path(second.file).name]
        assert next(dict(e.payload) for e in store.entries(JOB)) == {}


def test_a_sound_that_was_left_when_its_payload_went_is_removed_at_the_next_start(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with SqliteStore(log) as store:
        store.append(JOB, [entry(store.sounds.keep(JOB, SOUND, RATE_HZ))])
        monkeypatch.setattr(SoundFolder, "remove", lambda *_: None)  # as if killed before it
        store.redact(JOB, ToForget((1,)), why="asked for", at=NOON)
    assert len(files(log)) == 1
    with SqliteStore(log) as store:
        assert store.tidy_sounds() == 1


KILLED_BETWEEN = """
import os, signal, sys
import numpy as np
from companion.joblog import SqliteStore
store = SqliteStore(sys.argv[1])
store.sounds.keep("2026-03-04-1", np.arange(-800, 800, dtype=np.int16), 16000)
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_killed_between_sound_and_entry_there_is_no_entry_and_the_sound_is_cleaned_up(
    log: Path,
) -> None:
    with SqliteStore(log) as store:
        mine = store.sounds.keep(JOB, SOUND, RATE_HZ)
        store.append(JOB, [entry(mine)])
    done = subprocess.run([sys.executable, "-c", KILLED_BETWEEN, str(log)], check=False)
    assert done.returncode == -signal.SIGKILL
    assert len(files(log)) == 2
    with SqliteStore(log) as store:
        assert len(list(store.entries(JOB))) == 1
        assert store.tidy_sounds() == 1
    assert [path.name for path in files(log)] == [Path(mine.file).name]


def test_a_log_that_cannot_be_read_loses_no_sound(log: Path) -> None:
    with SqliteStore(log) as store:
        store.append(JOB, [entry(store.sounds.keep(JOB, SOUND, RATE_HZ))])
    with SqliteStore(log, read_only=True) as store:
        assert store.tidy_sounds() == 0
    assert len(files(log)) == 1
