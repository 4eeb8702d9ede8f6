"""Finding: what SQL narrows is what going through every entry by its definition gives."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jobs_made import HOSTILE, NOON

from companion.cli import main
from companion.dialogue.forgetting import ToForget
from companion.dialogue.record import logged_readings
from companion.joblog import SqliteStore
from companion.joblog.finding import Wanted
from companion.ports import Draft

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Entry

POINTS = {"supply-static": "Supply static", "return-static": "Return static", "ödd": "100% Ödd_"}
WORDS = ("Miller", "filter", "été", "50%", 'a"b', "back\\slash", "Straße", "\U0001f525")
NAMES = ("fresh-air-damper", "humidifier", 'my "own" one')


def reading(point: str, verdict: str) -> dict[str, object]:
    return {"point": point, "name": POINTS[point], "value": "1", "unit": "V", "verdict": verdict}


points, verdicts = st.sampled_from(sorted(POINTS)), st.sampled_from(["within", "outside", ""])
ids = st.integers(1, 4)


@st.composite
def entry_drafts(draw: st.DrawFn) -> Draft:
    kind = draw(st.sampled_from(["reading", "reading", "correction", "struck", "note", "choice"]))
    at = NOON + timedelta(days=draw(st.integers(0, 3)))
    match kind:
        case "reading":
            return Draft(kind, reading(draw(points), draw(verdicts)) | {"id": draw(ids)}, at)
        case "correction":
            said = reading(draw(points), draw(verdicts))
            left_out = draw(st.sets(st.sampled_from(sorted(said))))
            said = {key: value for key, value in said.items() if key not in left_out}
            return Draft(kind, {**said, "of": draw(ids), "id": draw(ids)}, at)
        case "struck":
            return Draft(kind, {"of": draw(ids)}, at)
        case "note":
            words = " ".join(draw(st.lists(st.sampled_from(WORDS), max_size=3)))
            return Draft(kind, {"words": words}, at)
        case _:
            return Draft(kind, {"choice": "x", "option": "within"}, at)


@st.composite
def jobs(draw: st.DrawFn) -> list[Draft]:
    name = draw(st.sampled_from(NAMES))
    opened = {"procedure": name, "title": f"A {name}", "text": '"procedure":"humidifier" Miller'}
    day = NOON + timedelta(days=draw(st.integers(-3, 3)))
    return [Draft("job-opened", opened, day), *draw(st.lists(entry_drafts(), max_size=8))]


wants = st.builds(
    Wanted,
    text=st.sampled_from(
        ["", "", "miller", "FILTER mill", "50%", "ÉTÉ", 'a"b', "\\", "ß", "damper"]
    ),
    since=st.none() | st.dates(date(2026, 3, 1), date(2026, 3, 9)),
    until=st.none() | st.dates(date(2026, 3, 1), date(2026, 3, 9)),
    procedure=st.sampled_from(["", "", *NAMES]),
    point=st.sampled_from(["", "supply-static", "Return  Static", "100% Ödd_", "nothing", "%"]),
    verdict=st.sampled_from(["", "within", "outside"]),
)


def is_one(entries: list[Entry], wanted: Wanted) -> bool:
    """The definition, gone through entry by entry."""
    latest = max(entry.at for entry in entries)  # the clock may have been set back
    first, last = (at.astimezone().date() for at in (entries[0].at, latest))
    said = [str(e.payload.get(k, "")) for e in entries for k in ("words", "name", "title")
            if k != "title" or e.kind == "job-opened"]  # fmt: skip
    words = wanted.text.lower().split()
    slug = "-".join(wanted.point.lower().split())
    standing = [r for r in logged_readings(entries) if r.status == "stands"]
    return (
        (wanted.since is None or last >= wanted.since)
        and (wanted.until is None or first <= wanted.until)
        and wanted.procedure in ("", entries[0].payload["procedure"])
        and (not words or any(all(w in text.lower() for w in words) for text in said))
        and (
            not (wanted.point or wanted.verdict)
            or any(
                (not wanted.point or r.point == slug or r.name.lower() == wanted.point.lower())
                and wanted.verdict in ("", r.verdict)
                for r in standing
            )
        )
    )


@given(st.lists(jobs(), min_size=1, max_size=5), st.lists(wants, min_size=3, max_size=8))
@settings(max_examples=150, suppress_health_check=[HealthCheck.too_slow])
def test_what_is_found_is_what_the_definition_says(
    tmp_path_factory: pytest.TempPathFactory, made: list[list[Draft]], wanted: list[Wanted]
) -> None:
    with SqliteStore(tmp_path_factory.mktemp("find") / "jobs.sqlite3") as store:
        for number, drafts in enumerate(made):
            store.append(f"job-{number}", drafts)
        for each in wanted:
            names = [job.id for job in store.jobs() if is_one(list(store.entries(job.id)), each)]
            assert [job.id for job in store.find(each)] == names


@pytest.mark.parametrize("words", HOSTILE)
def test_no_words_to_find_break_the_search(tmp_path: Path, words: str) -> None:
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        store.append("a", [Draft("note", {"words": f"x {words}"}, NOON)])
        store.append("b", [Draft("note", {"words": "other"}, NOON)])
        assert [job.id for job in store.find(Wanted(text=words))] in (["a"], ["a", "b"])
        assert store.find(Wanted(point=words)) == []
        assert store.find(Wanted(procedure=words)) == []


def test_a_removed_note_is_found_no_more(tmp_path: Path) -> None:
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        store.append("a", [Draft("note", {"words": "miller"}, NOON)])
        assert len(store.find(Wanted(text="miller"))) == 1
        store.redact("a", ToForget((1,)), why="asked", at=NOON)
        assert store.find(Wanted(text="miller")) == []


def test_a_fault_that_was_looked_for_is_found_by_its_procedure(tmp_path: Path) -> None:
    with SqliteStore(tmp_path / "jobs.sqlite3") as store:
        store.append("a", [Draft("fault-begun", {"procedure": "blown-fuse"}, NOON)])
        assert len(store.find(Wanted(procedure="blown-fuse"))) == 1


def test_the_command_narrows_the_list_and_keeps_the_terminal_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "jobs.sqlite3"
    with SqliteStore(log) as store:
        store.append("one", [Draft("job-opened", {"title": "Fan\x1b[2J\n"}, NOON),
                             Draft("note", {"words": "the miller house"}, NOON)])  # fmt: skip
        at = datetime(2026, 5, 1, tzinfo=UTC)
        store.append("two", [Draft("job-opened", {"title": "Fan"}, at)])
    command = ["jobs", "list", "--log", str(log)]
    assert main([*command, "--customer", "Miller"]) == 0
    line = capsys.readouterr().out
    assert line.startswith("one ")
    assert line.count("\n") == 1
    assert "\x1b" not in line
    assert main([*command, "--since", "2026-04-01", "--until", "2026-05-31"]) == 0
    assert capsys.readouterr().out.startswith("two ")
    assert main([*command, "--verdict", "outside"]) == 0
    assert capsys.readouterr().out == ""
    with pytest.raises(SystemExit, match="2"):
        main([*command, "--since", "yesterday"])
