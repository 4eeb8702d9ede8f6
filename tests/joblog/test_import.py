"""Out and in again, byte for byte; and what does not hold is refused whole."""

from __future__ import annotations

import hashlib
import io
import json
import stat
import zipfile
from typing import TYPE_CHECKING, Any

import jsonschema
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jobs_made import HOSTILE, JOB, NOON, drafts, exported_zip, job_with_sounds

from companion.chain import canonical, payload_digest
from companion.cli import main
from companion.dialogue.forgetting import ToForget
from companion.errors import (
    CompanionError,
    DamagedLogError,
    ForeignJobError,
    JobThereError,
    NewerLogError,
    StoreFullError,
)
from companion.joblog import SqliteStore
from companion.joblog.archive import write_archive
from companion.joblog.export import job_json
from companion.joblog.incoming import job_from_json
from companion.joblog.job_schema import schema_text
from companion.joblog.sounds import sounds_folder
from companion.joblog.taking_in import take_in
from companion.ports import Draft, KeptSound

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

SCHEMA = json.loads(schema_text())


def as_json(store: SqliteStore, job: str = JOB) -> str:
    whole = store.whole(job)
    return job_json(whole.entries, whole.salts, whole.removals)


def as_zip(store: SqliteStore, job: str = JOB) -> bytes:
    out = io.BytesIO()
    write_archive(store.whole(job), store.sounds, out)
    return out.getvalue()


def taken(path: Path, log: Path) -> None:
    with SqliteStore(log) as store:
        take_in(path, store, lambda _: None)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "jobs.sqlite3"
    with SqliteStore(path) as store:
        job_with_sounds(store)
    return path


@pytest.fixture
def packed(log: Path, tmp_path: Path) -> Path:
    exported_zip(log, JOB, tmp_path / "job.zip")
    return tmp_path / "job.zip"


# ---------------------------------------------------------------- the schema, and lossless


def test_the_schema_is_one_of_draft_2020_12() -> None:
    """Judge: jsonschema's own meta-schema of the draft."""
    assert SCHEMA["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@given(st.lists(drafts(), min_size=1, max_size=12), st.data())
@settings(max_examples=40, suppress_health_check=[HealthCheck.too_slow])
def test_any_job_out_in_and_out_again_is_the_same_byte_for_byte(
    tmp_path_factory: pytest.TempPathFactory, made: list[Draft], data: st.DataObject
) -> None:
    folder = tmp_path_factory.mktemp("lossless")
    with SqliteStore(folder / "a.sqlite3") as store:
        store.append(JOB, made)
        said = [number for number, draft in enumerate(made, 1) if draft.payload]
        removed = data.draw(st.sets(st.sampled_from(said), max_size=3)) if said else set()
        if removed:
            store.redact(JOB, ToForget(tuple(sorted(removed))), why="asked", at=NOON)
        text, packed = as_json(store), as_zip(store)
    jsonschema.validate(json.loads(text), SCHEMA)
    (folder / "job.json").write_text(text, encoding="utf-8", newline="")
    (folder / "job.zip").write_bytes(packed)
    for name in ("job.json", "job.zip"):
        with SqliteStore(folder / f"{name}.sqlite3") as store:
            take_in(folder / name, store, lambda _: None)
            assert as_json(store) == text
            assert as_zip(store) == packed
            again = [e.number for e in store.entries(JOB) if not store.salts(JOB)[e.number - 1]]
    assert again == sorted(removed)


def test_sounds_come_back_bit_for_bit_and_what_was_removed_stays_removed(
    log: Path, packed: Path, tmp_path: Path
) -> None:
    other = tmp_path / "other" / "jobs.sqlite3"
    assert main(["jobs", "import", str(packed), "--log", str(other)]) == 0
    assert exported_zip(other, JOB, tmp_path / "again.zip") == packed.read_bytes()
    with SqliteStore(log) as ours, SqliteStore(other) as theirs:
        for kept in ours.whole(JOB).sounds():
            mine, back = ours.sounds.clip(kept), theirs.sounds.clip(kept)
            assert np.array_equal(mine.samples, back.samples)
        assert dict(list(theirs.entries(JOB))[2].payload) == {}
        assert theirs.whole(JOB).removals == ours.whole(JOB).removals
        assert theirs.append(JOB, [Draft("note", {"words": "on"}, NOON)])[0].number == 7
    assert b"secret" not in other.read_bytes()


def test_the_manifest_can_be_checked_by_anyone(packed: Path) -> None:
    """Only zipfile, json and hashlib."""
    with zipfile.ZipFile(packed) as archive:
        assert archive.testzip() is None
        manifest = json.loads(archive.read("manifest.json"))
        listed = {each["name"]: each["sha256"] for each in manifest["files"]}
        assert {*listed, "manifest.json"} == set(archive.namelist())
        for name, digest in listed.items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == digest
        assert sum(name.startswith("sounds/") for name in listed) == 2
        assert json.loads(archive.read("job.schema.json")) == SCHEMA


def test_a_sound_that_is_gone_is_told_and_the_rest_goes_out_and_in(
    log: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    gone = next(sounds_folder(log).rglob("*.flac"))
    gone.unlink()
    out = exported_zip(log, JOB, tmp_path / "job.zip")
    assert "missing or altered" in capsys.readouterr().err
    other = tmp_path / "other.sqlite3"
    assert main(["jobs", "import", str(tmp_path / "job.zip"), "--log", str(other)]) == 0
    assert "1 sound" in capsys.readouterr().out
    assert exported_zip(other, JOB, tmp_path / "again.zip") == out


# ---------------------------------------------------------------- a job that is there already


def test_the_same_job_again_says_so_and_brings_back_lost_sounds(
    log: Path, packed: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for sound in sounds_folder(log).rglob("*.flac"):
        sound.unlink()
    before = [e.number for e in SqliteStore(log, read_only=True).entries(JOB)]
    assert main(["jobs", "import", str(packed), "--log", str(log)]) == 0
    assert capsys.readouterr().out.startswith("Already here, the very same")
    with SqliteStore(log, read_only=True) as store:
        assert [e.number for e in store.entries(JOB)] == before
        for kept in store.whole(JOB).sounds():
            store.sounds.clip(kept)


@pytest.mark.parametrize("change", ["gone on", "removed here"])
def test_a_job_of_that_id_with_other_content_is_refused(
    log: Path, packed: Path, change: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with SqliteStore(log) as store:
        if change == "gone on":
            store.append(JOB, [Draft("note", {"words": "later"}, NOON)])
        else:
            store.redact(JOB, ToForget((2,)), why="asked", at=NOON)
        before = as_json(store)
    assert main(["jobs", "import", str(packed), "--log", str(log)]) == 5
    said = capsys.readouterr().err
    assert "in this log already, and it is not the same" in said
    assert "--log" in said
    with SqliteStore(log) as store:
        assert as_json(store) == before  # what was removed does not come back


# ---------------------------------------------------------------- JSON that does not hold


def altered(text: str, change: Callable[[Any], object]) -> bytes:
    whole = json.loads(text)
    change(whole)
    return json.dumps(whole).encode()


def _forge(whole: dict[str, Any]) -> None:
    """Alter a payload and its digest with it: only the chain can tell."""
    entry = whole["entries"][1]
    entry["payload"]["words"] = "two"
    digest = payload_digest(bytes.fromhex(entry["salt_hex"]), canonical(entry["payload"]))
    entry["header"]["digest"] = digest


BROKEN: dict[str, Callable[[Any], object]] = {
    "a payload altered": lambda w: w["entries"][1]["payload"].update(words="two"),
    "a payload and its digest altered": _forge,
    "a header altered": lambda w: w["entries"][1]["header"].update(kind="reading"),
    "an entry left out": lambda w: w["entries"].pop(1),
    "the last entry left out": lambda w: w["entries"].pop(),
    "two entries swapped": lambda w: w["entries"].insert(0, w["entries"].pop(1)),
    "an entry of another job": lambda w: w["entries"][1]["header"].update(job="x"),
    "a removal that is not told": lambda w: w["removals"].clear(),
    "a removal of what is there": lambda w: w["removals"][0].update(entry=2),
    "a removal of nothing": lambda w: w["removals"][0].update(entry=99),
    "a removed payload put back": lambda w: w["entries"][2]["payload"].update(words="secret"),
    "salts left out": lambda w: w["entries"][1].update(salt_hex=None),
    "a key too many": lambda w: w.update(more=1),
    "a number for a text": lambda w: w["entries"][0]["header"].update(kind=1),
    "a time that is none": lambda w: w["entries"][0]["header"].update(
        at="2026-13-41T25:00:00.000000Z"
    ),
    "no entries": lambda w: w["entries"].clear(),
    "no job at all": lambda w: w.update(format="something else"),
}


@pytest.mark.parametrize("how", BROKEN)
def test_a_job_that_does_not_hold_is_refused_whole(
    log: Path, tmp_path: Path, how: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with SqliteStore(log) as store:
        data = altered(as_json(store), BROKEN[how])
    file, other = tmp_path / "job.json", tmp_path / "other.sqlite3"
    file.write_bytes(data)
    assert main(["jobs", "import", str(file), "--log", str(other)]) == 3
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert str(file) in said
    with SqliteStore(other) as store:
        assert store.jobs() == []


@pytest.mark.parametrize("data", [
    b"", b"[]", b"null", b"{", b"\xff\xfe", b"[" * 200_000, b'{"format": "companion job 1"}',
    b'{"format": "companion job 1", "format": "companion job 1"}', b'{"format": NaN}',
    b'{"format": ' + b"9" * 5_000 + b"}",
])  # fmt: skip
def test_what_is_no_exported_job_is_refused(data: bytes) -> None:
    with pytest.raises(ForeignJobError):
        job_from_json(data)


@pytest.mark.parametrize("change", [
    lambda w: w.update(format="companion job 2"),
    lambda w: w["entries"][0]["header"].update(schema=2),
])  # fmt: skip
def test_a_newer_version_says_so(log: Path, change: Callable[[Any], None]) -> None:
    with SqliteStore(log) as store:
        data = altered(as_json(store), change)
    with pytest.raises(NewerLogError, match="newer version"):
        job_from_json(data)


@pytest.mark.parametrize("name", ["\x1b[2J", "a\nb", "\u202e", "x" * 500])
def test_a_job_whose_id_would_act_on_a_terminal_is_refused(tmp_path: Path, name: str) -> None:
    with SqliteStore(tmp_path / "a.sqlite3") as store:
        store.append(name, [Draft("note", {"words": "x"}, NOON)])
        data = as_json(store, name).encode()
    with pytest.raises(ForeignJobError, match="is no name for a job"):
        job_from_json(data)


@given(st.text(alphabet='{}[]",:0123456789abcdefnulltruE\\', max_size=60))
def test_no_text_brings_anything_but_our_own_error(text: str) -> None:
    with pytest.raises(CompanionError):
        job_from_json(text.encode())


@pytest.mark.parametrize("gaps", ["x", [], {}, None])
def test_an_entry_that_no_later_look_could_read_is_refused(tmp_path: Path, gaps: object) -> None:
    with SqliteStore(tmp_path / "a.sqlite3") as store:
        store.append(JOB, [Draft("note", {"words": "x", "gaps": 0}, NOON)])
        whole = json.loads(as_json(store))
    entry = whole["entries"][0]
    entry["payload"]["gaps"] = gaps
    _rechain(whole)
    with pytest.raises(ForeignJobError, match="cannot be read"):
        job_from_json(json.dumps(whole).encode())


def _rechain(whole: dict[str, Any]) -> None:
    """Make a one-entry job hold again: whoever forges a whole job can do that."""
    entry = whole["entries"][0]
    digest = payload_digest(bytes.fromhex(entry["salt_hex"]), canonical(entry["payload"]))
    entry["header"]["digest"] = digest
    own = hashlib.sha256(canonical(entry["header"]).encode()).hexdigest()
    entry["header_sha256"] = whole["chain"]["head_sha256"] = own


# ---------------------------------------------------------------- zips that do not hold


def repacked(packed: Path, change: Callable[[dict[str, bytes]], object]) -> None:
    with zipfile.ZipFile(packed) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    change(files)
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)


def listed(files: dict[str, bytes]) -> None:
    """Make the manifest tell of the files as they are now."""
    manifest = json.loads(files["manifest.json"])
    manifest["files"] = [
        {"name": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, data in files.items()
        if name != "manifest.json"
    ]
    files["manifest.json"] = json.dumps(manifest).encode()


def a_sound(files: dict[str, bytes]) -> str:
    return next(name for name in files if name.startswith("sounds/"))


def _swap_sound(files: dict[str, bytes]) -> None:
    files[a_sound(files)] = b"fLaC another"
    listed(files)


def _drop_sound(files: dict[str, bytes]) -> None:
    del files[a_sound(files)]
    listed(files)


def _add(name: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files[name] = b"fLaC"
        listed(files)

    return change


REPACKED: dict[str, Callable[[dict[str, bytes]], object]] = {
    "a file altered": lambda f: f.update({"readings.csv": b"x"}),
    "a file missing": lambda f: f.pop("readings.csv"),
    "a file too many": lambda f: f.update({"more.txt": b"x"}),
    "no manifest": lambda f: f.pop("manifest.json"),
    "a manifest that is none": lambda f: f.update({"manifest.json": b"[1]"}),
    "another job's manifest": lambda f: f.update(
        {"manifest.json": f["manifest.json"].replace(b'"job": "2026', b'"job": "2027')}
    ),
    "a sound swapped": _swap_sound,
    "a sound dropped": _drop_sound,
    "a sound that no entry names": _add("sounds/2026-03-04-1/" + "0" * 24 + ".flac"),
    "a path outside": _add("../outside.flac"),
    "a path outside below": _add("sounds/../../outside.flac"),
    "an absolute path": _add("/tmp/outside.flac"),  # noqa: S108 -- never written
    "a drive": _add("C:/outside.flac"),
    "a backslash": _add("sounds\\outside.flac"),
    "a folder": _add("sounds/"),
    "the same name in capitals": _add("JOB.JSON"),
}


def refused(packed: Path, tmp_path: Path) -> str:
    """Import into a fresh log; return the error, and see that nothing at all was left."""
    other = tmp_path / "fresh" / "jobs.sqlite3"
    with SqliteStore(other) as store:
        with pytest.raises(CompanionError) as caught:
            take_in(packed, store, lambda _: None)
        assert store.jobs() == []
    assert list(tmp_path.rglob("outside*")) == []
    assert [p for p in sounds_folder(other).rglob("*") if p.is_file()] == []
    assert caught.value.exit_code == 3
    return str(caught.value)


@pytest.mark.parametrize("how", REPACKED)
def test_a_zip_that_does_not_hold_leaves_nothing(packed: Path, tmp_path: Path, how: str) -> None:
    repacked(packed, REPACKED[how])
    refused(packed, tmp_path)


def test_a_name_that_stands_twice_is_refused(packed: Path, tmp_path: Path) -> None:
    with zipfile.ZipFile(packed, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr("job.json", b"{}")
    assert "twice" in refused(packed, tmp_path)


def test_a_link_is_refused(packed: Path, tmp_path: Path) -> None:
    about = zipfile.ZipInfo("sounds/link.flac")
    about.create_system, about.external_attr = 3, (stat.S_IFLNK | 0o777) << 16
    with zipfile.ZipFile(packed, "a") as archive:
        archive.writestr(about, "/etc/passwd")
    assert "a link" in refused(packed, tmp_path)


def test_a_file_that_swells_beyond_its_listed_size_is_cut_off(packed: Path, tmp_path: Path) -> None:
    """A 'zip bomb': 50 MB of zeros that the manifest calls 10 bytes."""
    with zipfile.ZipFile(packed) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    files["job.json"] = b"0" * 50_000_000
    manifest = json.loads(files["manifest.json"])
    next(f for f in manifest["files"] if f["name"] == "job.json")["bytes"] = 10
    files["manifest.json"] = json.dumps(manifest).encode()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    assert packed.stat().st_size < 1_000_000
    assert "more than 10 bytes" in refused(packed, tmp_path)


@pytest.mark.parametrize(("bound", "value"), [("MOST_FILES", 3), ("MOST_BYTES", 2_000)])
def test_more_than_the_bounds_is_refused(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, bound: str, value: int
) -> None:
    monkeypatch.setattr(f"companion.joblog.zip_reading.{bound}", value)
    assert "more than" in refused(packed, tmp_path)


def test_a_gigantic_json_is_refused_before_it_is_read(
    log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with SqliteStore(log) as store:
        (tmp_path / "job.json").write_text(as_json(store), encoding="utf-8")
    monkeypatch.setattr("companion.joblog.taking_in.MOST_JSON_BYTES", 1_000)
    assert "more than 1000 bytes" in refused(tmp_path / "job.json", tmp_path)


@given(st.integers(0, 10_000), st.integers(1, 255))
@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_flipped_byte_is_never_taken_in_as_another_job(
    log: Path, packed: Path, tmp_path_factory: pytest.TempPathFactory, place: int, flip: int
) -> None:
    """Either it is refused, or the flip was in a place (a date of zip's) that carries nothing."""
    data = bytearray(packed.read_bytes())
    data[place % len(data)] ^= flip
    folder = tmp_path_factory.mktemp("flipped")
    (folder / "job.zip").write_bytes(data)
    with SqliteStore(folder / "jobs.sqlite3") as store:
        try:
            take_in(folder / "job.zip", store, lambda _: None)
        except CompanionError:
            assert store.jobs() == []
        else:
            with SqliteStore(log, read_only=True) as ours:
                assert store.whole(JOB) == ours.whole(JOB)


def test_a_full_disk_in_the_middle_leaves_neither_entries_nor_sounds(
    packed: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise StoreFullError("The disk is full", "Free some.")

    other = tmp_path / "fresh" / "jobs.sqlite3"
    with SqliteStore(other) as store:
        monkeypatch.setattr(SqliteStore, "take_in", full)
        with pytest.raises(StoreFullError):
            take_in(packed, store, lambda _: None)
        assert store.jobs() == []
    assert [p for p in sounds_folder(other).rglob("*") if p.is_file()] == []


def test_a_file_that_is_not_there_or_no_file_is_3(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for path in (tmp_path / "none.zip", tmp_path):
        assert main(["jobs", "import", str(path), "--log", str(tmp_path / "a.sqlite3")]) == 3
        assert "cannot be read" in capsys.readouterr().err


# ---------------------------------------------------------------- the store's own guard


def test_the_store_takes_in_nothing_that_does_not_hold(log: Path, tmp_path: Path) -> None:
    with SqliteStore(log) as store:
        whole = store.whole(JOB)
    with SqliteStore(tmp_path / "b.sqlite3") as store:
        cut = type(whole)(whole.entries[1:], whole.salts[1:], whole.removals)
        with pytest.raises(ForeignJobError):
            store.take_in(cut)
        assert store.take_in(whole) is True
        assert store.take_in(whole) is False
        store.append(JOB, [Draft("note", {"words": "on"}, NOON)])
        with pytest.raises(JobThereError):
            store.take_in(whole)


def test_a_sound_name_that_leads_elsewhere_is_not_packed(tmp_path: Path) -> None:
    (tmp_path / "precious.flac").write_bytes(b"fLaC precious")
    digest = hashlib.sha256(b"fLaC precious").hexdigest()
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        for name in ("../precious.flac", "../../precious.flac", *HOSTILE[:6]):
            sound = KeptSound(name, digest, "1.0").payload
            store.append(JOB, [Draft("note", {"words": "", "sound": sound}, NOON)])
        packed = as_zip(store)
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        names = set(archive.namelist())
    assert names == {"job.json", "job.schema.json", "readings.csv", "manifest.json"}
    assert b"precious" not in packed.replace(b"precious.flac", b"")


def test_a_damaged_log_gives_no_export(log: Path, tmp_path: Path) -> None:
    import sqlite3  # noqa: PLC0415 -- only here the file is tampered with
    from contextlib import closing  # noqa: PLC0415

    with closing(sqlite3.connect(log)) as raw:
        raw.execute("DROP TRIGGER payload_no_update")
        raw.execute('UPDATE payload SET body = \'{"words":"x"}\' WHERE number = 2')
        raw.commit()
    with SqliteStore(log) as store, pytest.raises(DamagedLogError):
        store.whole(JOB)
    out = tmp_path / "job.zip"
    assert main(["jobs", "export", "--format", "zip", "--out", str(out), "--log", str(log)]) == 5
    assert not out.exists()


def test_a_gigantic_note_goes_out_and_in_and_leaves_the_screen_alone(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log, other = tmp_path / "jobs.sqlite3", tmp_path / "other.sqlite3"
    with SqliteStore(log) as store:
        store.append(JOB, [Draft("note", {"words": "=x\r\n" * 1_000_000}, NOON)])
        text = as_json(store)
    exported_zip(log, JOB, tmp_path / "job.zip")
    assert main(["jobs", "import", str(tmp_path / "job.zip"), "--log", str(other)]) == 0
    with SqliteStore(other) as store:
        assert as_json(store) == text
    capsys.readouterr()
    assert main(["jobs", "show", "--log", str(other)]) == 0
    assert len(capsys.readouterr().out) < 500


def test_a_zip_that_is_cut_off_leaves_no_file(
    log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def cut(*_: object) -> bytes:
        raise KeyboardInterrupt

    monkeypatch.setattr("companion.joblog.sounds.SoundFolder.data", cut)
    folder = tmp_path / "out"
    folder.mkdir()
    command = ["jobs", "export", "--format", "zip", "--out", str(folder / "job.zip")]
    assert main([*command, "--log", str(log)]) == 130
    assert list(folder.iterdir()) == []
