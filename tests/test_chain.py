"""The chain against digests worked out with another program, and against tampering."""

from __future__ import annotations

import tomllib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.chain import GENESIS, canonical, chain, head, header, header_digest, verify
from companion.errors import DamagedLogError
from companion.ports import Draft

if TYPE_CHECKING:
    from companion.ports import Entry

GOLDEN = tomllib.loads((Path(__file__).parent / "golden" / "chain.toml").read_text("utf-8"))
AT = datetime(2026, 3, 4, 15, 6, 7, 250000, tzinfo=UTC)
SALTS = [bytes([n] * 16) for n in range(1, 7)]


def entries(count: int = 6) -> tuple[Entry, ...]:
    drafts = [Draft("reading", {"value": str(n)}, AT) for n in range(count)]
    return chain(None, "2026-03-04-1", drafts, SALTS[:count])


def golden_chain() -> tuple[Entry, ...]:
    drafts = [
        Draft(row["kind"], row["payload"], datetime.fromisoformat(row["at"]))
        for row in GOLDEN["entry"]
    ]
    salts = [bytes.fromhex(row["salt_hex"]) for row in GOLDEN["entry"]]
    return chain(None, GOLDEN["job"], drafts, salts)


def test_bodies_headers_and_digests_are_those_worked_out_with_sha256sum() -> None:
    for entry, row in zip(golden_chain(), GOLDEN["entry"], strict=True):
        assert canonical(dict(entry.payload)) == row["body"]
        assert entry.digest == row["payload_sha256"]
        assert canonical(header(entry)) == row["header"]
        assert header_digest(entry) == row["header_sha256"]
    assert head(golden_chain()) == GOLDEN["entry"][-1]["header_sha256"]


def test_a_chain_may_be_joined_in_any_pieces() -> None:
    whole = entries()
    drafts = [Draft(e.kind, e.payload, e.at) for e in whole]
    first = chain(None, "2026-03-04-1", drafts[:2], SALTS[:2])
    assert first + chain(first[-1], "2026-03-04-1", drafts[2:], SALTS[2:]) == whole


def test_no_entries_have_the_first_digest_as_their_head() -> None:
    assert head(()) == GENESIS
    verify(())


@given(place=st.integers(0, 5), field=st.sampled_from(["kind", "digest", "previous", "job"]))
def test_an_altered_header_is_found_by_the_next_one(place: int, field: str) -> None:
    whole = list(entries())
    before = head(whole)
    whole[place] = replace(whole[place], **{field: "altered"})  # type: ignore[arg-type]
    if place < 5 or field == "previous":
        with pytest.raises(DamagedLogError, match="The job log does not hold"):
            verify(whole, SALTS)
    elif field == "digest":
        with pytest.raises(DamagedLogError, match="content was altered"):
            verify(whole, SALTS)
    else:  # the last header is held by the head alone, which report and export print
        assert head(whole) != before


@given(place=st.integers(0, 5))
def test_an_altered_payload_is_found_and_named(place: int) -> None:
    whole = list(entries())
    whole[place] = replace(whole[place], payload={"value": "119"})
    with pytest.raises(DamagedLogError) as caught:
        verify(whole, SALTS)
    assert caught.value.where == f"job 2026-03-04-1, entry {place + 1}"
    verify(whole)  # without the salts only the headers can be checked


@given(place=st.integers(0, 4))
def test_a_missing_entry_is_found(place: int) -> None:
    whole = list(entries())
    del whole[place]
    with pytest.raises(DamagedLogError, match="missing"):
        verify(whole, SALTS[:place] + SALTS[place + 1 :])


def test_a_removed_payload_leaves_the_chain_whole() -> None:
    whole = list(entries())
    whole[2] = replace(whole[2], payload={})
    verify(whole, [salt if place != 2 else None for place, salt in enumerate(SALTS)])
