"""`companion jobs verify`, `forget` and `remove`: what holds, what does not, what was removed."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from io import StringIO
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.chain import head
from companion.cli import main
from companion.dialogue.forgetting import removals, to_forget
from companion.dialogue.state import fold
from companion.errors import StoreError
from companion.joblog import SqliteStore
from companion.ports import Draft
from companion.procedures import procedure

if TYPE_CHECKING:
    from pathlib import Path

    from companion.dialogue.forgetting import ToForget
    from companion.ports import Entry, Json

Captured = pytest.CaptureFixture[str]
NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
JOB, OTHER = "2026-03-04-1", "2026-03-04-2"
NOTE, READING, AGAIN = 3, 4, 5
DAMPER = procedure("fresh-air-damper")
OPENED: dict[str, Json] = {"title": "Damper", "procedure": DAMPER.slug, "text": DAMPER.text}
SECRET = "the key is under the blue pot"  # noqa: S105 -- what a customer would not want kept


def reading(value: str, **more: Json) -> Draft:
    said: dict[str, Json] = {
        "id": 1, "step": "s", "point": "supply-static", "name": "Supply static", "value": value,
        "unit": "inH2O", "low": "", "high": "", "source": "", "verdict": "none", "phase": "",
        "words": "supply static point four", "match": "1.00", "confirmed": True,
    }  # fmt: skip
    return Draft("reading", said | more, NOON)


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """A finished job with a note, a reading that has sound, and a doubt; and an open one."""
    path = tmp_path / "jobs.sqlite3"
    with SqliteStore(path) as store:
        sound = [store.sounds.keep(JOB, np.ones(800, np.int16), 16_000).payload for _ in range(2)]
        store.append(JOB, [Draft("job-opened", OPENED, NOON)])
        store.append(JOB, [Draft("hold-opened", {"step": "s", "hold": "H2", "why": "x"}, NOON)])
        store.append(JOB, [Draft("note", {"id": 1, "words": SECRET, "sound": sound[0]}, NOON)])
        store.append(JOB, [reading("0.40", sound=sound[1])])
        store.append(JOB, [Draft("asked-again", {"words": SECRET, "why": "unclear"}, NOON)])
        store.append(JOB, [Draft("finished", {}, NOON + timedelta(hours=2))])
        store.append(OTHER, [Draft("job-opened", {"title": "Open one"}, NOON)])
        store.append(OTHER, [Draft("note", {"id": 1, "words": SECRET}, NOON)])
    return path


def entries(log: Path, job: str = JOB) -> list[Entry]:
    with SqliteStore(log, read_only=True) as store:
        return list(store.entries(job))


def jobs(log: Path, *arguments: str) -> int:
    return main(["jobs", *arguments, "--log", str(log)])


def tampered(log: Path, *statements: str) -> None:
    with closing(sqlite3.connect(log)) as raw, raw:
        for (name,) in raw.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'"):
            raw.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            raw.execute(statement)


# ---------------------------------------------------------------- verify


def test_a_whole_log_holds_with_a_line_a_job_and_its_head(log: Path, capsys: Captured) -> None:
    assert jobs(log, "verify") == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == [
        f"{JOB}  holds  6 entries, 2 sounds  {head(entries(log))}",
        f"{OTHER}  holds  2 entries  {head(entries(log, OTHER))}",
    ]
    assert jobs(log, "verify", OTHER) == 0
    assert capsys.readouterr().out.splitlines() == lines[1:]


@pytest.mark.parametrize(
    ("tampering", "entry"),
    [
        ("UPDATE payload SET body = '{}' WHERE job = '2026-03-04-1' AND number = 4", 4),
        ("UPDATE header SET kind = 'note' WHERE job = '2026-03-04-1' AND number = 2", 2),
        ("UPDATE header SET at = '2026-03-05' WHERE job = '2026-03-04-1' AND number = 6", 6),
        ("DELETE FROM payload WHERE job = '2026-03-04-1' AND number = 5", 5),
        ("DELETE FROM header WHERE job = '2026-03-04-1' AND number = 3", 3),
        ("DELETE FROM header WHERE job = '2026-03-04-1' AND number = 6", 6),
    ],
)
def test_the_first_entry_that_does_not_hold_is_named_and_it_is_5(
    log: Path, tampering: str, entry: int, capsys: Captured
) -> None:
    tampered(log, tampering)
    assert jobs(log, "verify") == 5
    told = capsys.readouterr()
    assert f"{JOB}  DOES NOT HOLD  job {JOB}, entry {entry}: " in told.out
    assert f"{OTHER}  holds" in told.out  # the others are looked at all the same
    assert f"1 of 2 jobs do not hold; the first: job {JOB}, entry {entry}: " in told.err
    assert jobs(log, "verify", OTHER) == 0


def test_of_several_that_do_not_hold_the_first_is_named(log: Path, capsys: Captured) -> None:
    tampered(
        log,
        "UPDATE header SET kind = 'note' WHERE job = '2026-03-04-1' AND number = 6",
        "DELETE FROM payload WHERE job = '2026-03-04-1' AND number = 5",
        "UPDATE payload SET body = '{}' WHERE job = '2026-03-04-1' AND number = 4",
    )
    assert jobs(log, "verify") == 5
    assert f"job {JOB}, entry 4: its content was altered" in capsys.readouterr().out


def test_a_cut_off_tail_shows_against_the_hash_of_the_report(
    log: Path, tmp_path: Path, capsys: Captured
) -> None:
    page = tmp_path / "report.html"
    assert jobs(log, "report", JOB, "--out", str(page)) == 0
    printed = head(entries(log))
    assert printed in page.read_text("utf-8")
    assert jobs(log, "verify", "--head", f" {printed.upper()} ") == 0
    assert f"{JOB}  holds up to that hash: entry 6, the last one" in capsys.readouterr().out
    tampered(
        log,
        "DELETE FROM payload WHERE job = '2026-03-04-1' AND number = 6",
        "DELETE FROM header WHERE job = '2026-03-04-1' AND number = 6",
    )
    assert jobs(log, "verify") == 0  # what the chain cannot show by itself
    assert jobs(log, "verify", JOB, "--head", printed) == 5
    assert "entries at the end are gone" in capsys.readouterr().err


def test_a_job_that_went_on_since_the_report_holds_up_to_its_hash(
    log: Path, capsys: Captured
) -> None:
    printed = head(entries(log, OTHER))
    with SqliteStore(log) as store:
        store.append(OTHER, [Draft("woken", {}, NOON)])
    assert jobs(log, "verify", OTHER, "--head", printed) == 0
    assert "entry 2; 1 came later" in capsys.readouterr().out


@pytest.mark.parametrize("text", ["abc", "g" * 64, "0" * 63])
def test_what_is_no_hash_is_3(log: Path, text: str) -> None:
    assert jobs(log, "verify", "--head", text) == 3


def test_an_altered_sound_does_not_hold_and_a_missing_one_is_told(
    log: Path, capsys: Captured
) -> None:
    one, other = sorted(log.with_name("jobs-sounds").glob("*/*.flac"))
    one.unlink()
    assert jobs(log, "verify", JOB) == 0
    assert "1 sounds, 1 sounds not there" in capsys.readouterr().out
    other.write_bytes(other.read_bytes()[:-1] + b"!")
    assert jobs(log, "verify", JOB) == 5
    assert ": its sound " in capsys.readouterr().out


def test_a_removal_that_no_entry_tells_of_is_told(log: Path, capsys: Captured) -> None:
    """As versions up to 0.4.0 removed; or as somebody does who wants to hide it."""
    tampered(
        log,
        "INSERT INTO redaction VALUES ('2026-03-04-1', 3, '2026-03-05T00:00:00.000000Z', 'x')",
        "DELETE FROM payload WHERE job = '2026-03-04-1' AND number = 3",
    )
    assert jobs(log, "verify", JOB) == 0
    told = capsys.readouterr().out
    assert "1 emptied on request, 1 of them without an entry that says so" in told


def test_content_that_is_put_back_does_not_hold(log: Path, capsys: Captured) -> None:
    with closing(sqlite3.connect(log)) as raw:
        kept = raw.execute(
            "SELECT * FROM payload WHERE job = ? AND number = ?", (JOB, NOTE)
        ).fetchone()
    assert jobs(log, "forget", JOB, "--yes") == 0
    tampered(log)
    with closing(sqlite3.connect(log)) as raw, raw:
        raw.execute("DELETE FROM redaction WHERE number = ?", (NOTE,))
        raw.execute("INSERT INTO payload VALUES (?, ?, ?, ?)", kept)
    assert jobs(log, "verify", JOB) == 5
    assert "says that its content was removed, and it is there" in capsys.readouterr().out


def test_a_job_whose_header_was_altered_is_told_in_the_list(log: Path, capsys: Captured) -> None:
    tampered(log, "UPDATE header SET kind = 'woken' WHERE job = '2026-03-04-1' AND number = 6")
    assert jobs(log, "list") == 5
    told = capsys.readouterr()
    assert len(told.out.splitlines()) == 2
    assert f"job {JOB}, entry 6: its header was altered" in told.err


# ---------------------------------------------------------------- forget


def test_a_forgotten_job_says_nothing_of_its_customer_and_the_chain_holds(
    log: Path, tmp_path: Path, capsys: Captured
) -> None:
    before = entries(log)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("sys.stdin", StringIO(f"{JOB}\n"))
        assert jobs(log, "forget", JOB, "--why", "asked in writing") == 0
    told = capsys.readouterr().out
    assert "What 1 x note said" in told
    assert "The sound of 1 more; what they say stays" in told
    after = entries(log)  # verified
    assert [entry.previous for entry in after[:-1]] == [entry.previous for entry in before]
    assert removals(after)[0].entries == (NOTE, AGAIN)
    assert removals(after)[0].sounds == (READING,)
    assert removals(after)[0].why == "asked in writing"
    assert after[READING - 1].payload["value"] == "0.40"
    assert not list(log.with_name("jobs-sounds").glob("*/*.flac"))
    with SqliteStore(log) as store:  # the other job is left alone
        assert store.tidy_sounds() == 0
        store.redact(OTHER, _note_of(store), why="asked", at=NOON)
    for file in tmp_path.iterdir():
        assert file.is_dir() or SECRET.encode() not in file.read_bytes()
    assert jobs(log, "verify") == 0
    assert "7 entries, 2 emptied on request  " in capsys.readouterr().out
    assert jobs(log, "forget", JOB) == 0
    assert "says nothing (any more)" in capsys.readouterr().out


def _note_of(store: SqliteStore) -> ToForget:
    return to_forget(list(store.entries(OTHER)))


@pytest.mark.parametrize("more", [(), ("--everything",)])
def test_a_forgotten_job_still_opens_everywhere_and_says_what_was_removed(
    log: Path, more: tuple[str, ...], capsys: Captured
) -> None:
    assert jobs(log, "forget", JOB, "--yes", "--why", "asked in writing", *more) == 0
    capsys.readouterr()
    assert jobs(log, "list") == 0
    listed = capsys.readouterr().out.splitlines()[0]
    assert listed == f"{JOB}  2026-03-04 12:00 UTC  finished      7 entries  Damper"
    assert jobs(log, "show", JOB) == 0
    assert "why=asked in writing" in capsys.readouterr().out
    assert jobs(log, "report", JOB) == 0
    page = capsys.readouterr().out
    assert SECRET not in page
    assert "Its content was removed on request." in page  # the note
    gone = 4 if more else 2
    assert f"The content of {gone} entries was removed on request." in page
    assert "Why: asked in writing." in page
    assert "4 March 2026, 14:00" in page  # it ended then, not when it was forgotten
    for way in ("csv", "entries-csv", "json"):
        assert jobs(log, "export", JOB, "--format", way) == 0
        exported = capsys.readouterr().out
        assert SECRET not in exported
    told = json.loads(exported)
    assert told["job"]["last_entry_utc"] == "2026-03-04T14:00:00.000000Z"
    assert told["notes"][0]["words_are"] == "removed"
    assert told["readings"][0]["status"] == ("removed" if more else "stands")
    assert told["readings"][0]["sound_file"] == ""
    job = fold(entries(log))
    assert [each.is_removed for each in job.notes] == [True]
    assert job.ended == "finished"
    assert len(job.readings) == (0 if more else 1)


def test_unless_the_jobs_id_is_typed_nothing_is_removed(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = entries(log)
    for typed in ("", "y\n", f"{OTHER}\n"):
        monkeypatch.setattr("sys.stdin", StringIO(typed))
        assert jobs(log, "forget", JOB) == 3
    assert entries(log) == before


def test_an_open_job_loses_its_notes_only_and_goes_on(log: Path, capsys: Captured) -> None:
    assert jobs(log, "forget", OTHER, "--yes", "--everything") == 3
    assert "still open" in capsys.readouterr().err
    assert jobs(log, "forget", OTHER, "--yes") == 0
    assert [entry.kind for entry in entries(log, OTHER) if entry.payload] == [
        "job-opened",
        "forgotten",
    ]


def test_a_job_that_lost_what_was_done_is_not_resumed(log: Path, capsys: Captured) -> None:
    assert jobs(log, "forget", JOB, "--yes", "--everything") == 0
    assert main(["work", "--typed", "--job", JOB, "--log", str(log)]) == 3
    assert "cannot be resumed" in capsys.readouterr().err


def test_remove_writes_its_entry_too_and_that_one_stays(log: Path, capsys: Captured) -> None:
    assert jobs(log, "remove", JOB, str(NOTE), "--why", "asked") == 0
    assert "entry 7 tells of it" in capsys.readouterr().out
    assert removals(entries(log))[0].entries == (NOTE,)
    assert jobs(log, "remove", JOB, "7", "--why", "hide it") == 3
    assert "has to stay" in capsys.readouterr().err


def test_what_is_removed_and_the_entry_that_says_so_are_one_commit(log: Path) -> None:
    """Refused while content goes, the entry is not there either."""
    before = entries(log)
    with SqliteStore(log) as store:
        store._connection.execute(
            "CREATE TEMP TRIGGER fails BEFORE DELETE ON payload BEGIN SELECT RAISE(ABORT, 'x'); END"
        )
        with pytest.raises(StoreError):
            store.redact(OTHER, _note_of(store), why="asked", at=NOON)
    assert entries(log) == before
    assert len(entries(log, OTHER)) == 2
