"""What every job log must do, whichever it is."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.chain import GENESIS, head, header_digest, verify
from companion.errors import JobNotFoundError
from companion.joblog import MemoryStore, SqliteStore
from companion.ports import Draft

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from companion.ports import Json, Store

AnyStore: TypeAlias = SqliteStore | MemoryStore
NOON = datetime(2026, 3, 4, 12, 0, 0, 123456, tzinfo=UTC)


@pytest.fixture(params=["sqlite", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[AnyStore]:
    if request.param == "memory":
        yield MemoryStore()
        return
    with SqliteStore(tmp_path / "jobs.sqlite3") as made:
        yield made


def draft(kind: str, minute: int = 0, **payload: Json) -> Draft:
    return Draft(kind, payload, NOON + timedelta(minutes=minute))


def test_it_is_a_store(store: AnyStore) -> None:
    port: Store = store
    assert port.append("a", []) == ()


def test_entries_come_back_as_append_returned_them(store: AnyStore) -> None:
    first = store.append("a", [draft("job-opened", title="Damper"), draft("step-entered", 1)])
    second = store.append("a", [draft("note", 2, words=["one", "two"], deep={"x": [None, True]})])
    assert tuple(store.entries("a")) == first + second
    assert [entry.number for entry in first + second] == [1, 2, 3]
    assert first[0].at == NOON


def test_a_tuple_comes_back_as_the_list_that_json_has(store: AnyStore) -> None:
    (entry,) = store.append("a", [draft("note", words=("one", "two"))])
    assert entry.payload == {"words": ["one", "two"]}
    assert list(store.entries("a")) == [entry]


def test_each_entry_carries_the_digest_of_the_header_before(store: AnyStore) -> None:
    entries = [e for i in range(5) for e in store.append("a", [draft("note", i, i=i)])]
    assert entries[0].previous == GENESIS
    for before, after in pairwise(entries):
        assert after.previous == header_digest(before)
    verify(entries, store.salts("a"))


def test_jobs_do_not_mix(store: AnyStore) -> None:
    store.append("a", [draft("job-opened")])
    store.append("b", [draft("job-opened", 1)])
    store.append("a", [draft("note", 2)])
    assert [entry.kind for entry in store.entries("a")] == ["job-opened", "note"]
    assert [entry.number for entry in store.entries("b")] == [1]
    assert head(list(store.entries("a"))) != head(list(store.entries("b")))


def test_nothing_of_a_turn_is_stored_when_one_draft_cannot_be(store: AnyStore) -> None:
    store.append("a", [draft("job-opened")])
    for bad in (
        Draft("note", {"x": float("nan")}, NOON),
        Draft("note", {"x": object()}, NOON),
        Draft("note", {}, NOON.replace(tzinfo=None)),
    ):
        with pytest.raises((ValueError, TypeError)):
            store.append("a", [draft("note"), bad])
    assert [entry.kind for entry in store.entries("a")] == ["job-opened"]
    assert store.append("a", [draft("note")])[0].number == 2


def test_an_unknown_job_is_refused_at_once(store: AnyStore) -> None:
    with pytest.raises(JobNotFoundError, match="No job 'nowhere'"):
        store.entries("nowhere")
    with pytest.raises(JobNotFoundError):
        store.salts("nowhere")


def test_times_are_kept_in_utc_whatever_zone_they_come_in(store: AnyStore) -> None:
    mountain = timezone(timedelta(hours=-7))
    (entry,) = store.append("a", [Draft("note", {}, NOON.astimezone(mountain))])
    assert entry.at == NOON
    assert entry.at.utcoffset() == timedelta(0)


def test_the_list_of_jobs_tells_how_each_stands(store: AnyStore) -> None:
    assert store.jobs() == []
    assert store.latest_open() is None
    store.append("a", [draft("job-opened", title="First"), draft("finished", 9)])
    store.append("b", [draft("job-opened", 1, title="Second"), draft("note", 30)])
    store.append("c", [draft("job-opened", 2, title="Third"), draft("left-safe", 20)])
    store.append("d", [draft("job-opened", 3, title="Fourth")])
    told = [(job.id, job.title, job.state, job.entries) for job in store.jobs()]
    assert told == [
        ("a", "First", "finished", 2),
        ("b", "Second", "open", 2),
        ("c", "Third", "left safe", 2),
        ("d", "Fourth", "open", 1),
    ]
    assert store.jobs()[1].opened == NOON + timedelta(minutes=1)
    assert store.jobs()[1].last_entry == NOON + timedelta(minutes=30)
    latest = store.latest_open()
    assert latest is not None
    assert latest.id == "b"


def test_a_job_left_safe_and_taken_up_again_is_open(store: AnyStore) -> None:
    store.append("a", [draft("job-opened"), draft("left-safe", 1), draft("resumed", 2)])
    assert store.jobs()[0].state == "open"


def test_a_new_job_gets_the_date_and_the_next_free_number(store: AnyStore) -> None:
    local = datetime(2026, 3, 4, 21, 30).astimezone()
    assert store.new_job_id(local) == "2026-03-04-1"
    store.append("2026-03-04-1", [draft("job-opened")])
    assert store.new_job_id(local.astimezone(UTC)) == "2026-03-04-2"
    assert store.new_job_id(local + timedelta(days=1)) == "2026-03-05-1"


_text = st.text(st.characters(), max_size=30)  # half surrogate pairs and NUL as well
_json = st.recursive(
    st.none() | st.booleans() | st.integers() | _text,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_text, inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(payload=st.dictionaries(_text, _json, max_size=4))
def test_any_payload_comes_back_unchanged(store: AnyStore, payload: dict[str, Json]) -> None:
    (entry,) = store.append("any", [Draft("note", payload, NOON)])
    assert entry.payload == payload
    assert list(store.entries("any"))[-1] == entry
