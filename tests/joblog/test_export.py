"""Exports: complete, in UTC, with units, and harmless in a spreadsheet."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.chain import GENESIS, canonical, head
from companion.joblog import MemoryStore
from companion.joblog.export import as_number, as_text, entries_csv, job_json, readings_csv
from companion.ports import Draft

if TYPE_CHECKING:
    from companion.ports import Entry

SAMPLE = json.loads(Path(__file__).with_name("sample_job.json").read_text("utf-8"))
JOB: str = SAMPLE["job"]


@pytest.fixture
def store() -> MemoryStore:
    opened = datetime.fromisoformat(SAMPLE["opened"])
    made = MemoryStore()
    for row in SAMPLE["entries"]:
        at = opened + timedelta(seconds=row["after_s"])
        made.append(JOB, [Draft(row["kind"], row["payload"], at)])
    return made


@pytest.fixture
def entries(store: MemoryStore) -> list[Entry]:
    return list(store.entries(JOB))


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), strict=True))


def of_kind(kind: str) -> list[dict[str, Any]]:
    return [row["payload"] for row in SAMPLE["entries"] if row["kind"] == kind]


def test_every_version_of_every_reading_is_a_row(entries: list[Entry]) -> None:
    table = rows(readings_csv(entries))
    taken = [e for e in entries if e.kind in {"reading", "correction"}]
    assert [row["value"] for row in table] == [e.payload["value"] for e in taken]
    assert [int(row["entry"]) for row in table] == [e.number for e in taken]
    counts = {
        status: [r["status"] for r in table].count(status) for status in ("struck", "corrected")
    }
    assert counts == {"struck": len(of_kind("struck")), "corrected": len(of_kind("correction"))}


def test_a_corrected_reading_and_its_correction_refer_to_each_other(entries: list[Entry]) -> None:
    (correction,) = (e for e in entries if e.kind == "correction")
    table = {row["entry"]: row for row in rows(readings_csv(entries))}
    new = table[str(correction.number)]
    old = table[new["replaces_entry"]]
    assert (old["value"], old["status"]) == ("190", "corrected")
    assert old["changed_by_entry"] == str(correction.number)
    assert old["changed_utc"] == new["time_utc"] == "2026-03-04T15:09:36.250000Z"
    assert (new["value"], new["status"], new["confirmed"]) == ("119", "stands", "yes")


def test_units_are_written_as_the_trade_does_and_minus_stays_a_number(
    entries: list[Entry],
) -> None:
    by_name = {(r["name"], r["phase"]): r for r in rows(readings_csv(entries))}
    static = by_name["Return static", "as found"]
    assert (static["value"], static["unit"]) == ("-0.20", "in. w.c.")
    assert Decimal(static["value"]) < 0
    assert by_name["Primary resistance", ""]["unit"] == "Ω"


def test_all_entries_are_rows_with_their_digests(entries: list[Entry]) -> None:
    table = rows(entries_csv(entries))
    assert [row["kind"] for row in table] == [row["kind"] for row in SAMPLE["entries"]]
    assert table[0]["previous_header_sha256"] == GENESIS
    assert table[-1]["header_sha256"] == head(entries)
    assert json.loads(table[3]["payload_json"]) == SAMPLE["entries"][3]["payload"]


def test_the_json_can_be_checked_by_anyone(store: MemoryStore, entries: list[Entry]) -> None:
    """Only hashlib and json: the rules are those of DESIGN's header and payload."""
    whole = json.loads(job_json(entries, store.salts(JOB)))
    before = GENESIS
    for entry in whole["entries"]:
        header = entry["header"]
        assert header["previous"] == before
        body = json.dumps(entry["payload"], sort_keys=True, separators=(",", ":"))
        salted = bytes.fromhex(entry["salt_hex"]) + body.encode()
        assert hashlib.sha256(salted).hexdigest() == header["digest"]
        text = json.dumps(header, sort_keys=True, separators=(",", ":"))
        before = hashlib.sha256(text.encode()).hexdigest()
        assert before == entry["header_sha256"]
    assert whole["chain"] == {"entries": len(entries), "head_sha256": before}


def test_the_json_tells_the_job_and_folds_its_readings(entries: list[Entry]) -> None:
    whole = json.loads(job_json(entries))
    assert whole["job"] == {
        "id": JOB,
        "title": of_kind("job-opened")[0]["title"],
        "opened_utc": "2026-03-04T15:06:07.250000Z",
        "last_entry_utc": "2026-03-04T15:24:17.250000Z",
        "state": "left safe",
    }
    assert [r["status"] for r in whole["readings"]].count("struck") == len(of_kind("struck"))
    assert whole["readings"][0]["unit_written"] == "in. w.c."
    assert whole["entries"][0]["salt_hex"] is None


def test_a_job_without_readings_is_a_head_line_alone(entries: list[Entry]) -> None:
    assert rows(readings_csv(entries[:1])) == []
    assert readings_csv([]).count("\r\n") == 1


_hostile = st.text(max_size=12) | st.sampled_from(
    ['=HYPERLINK("http://x")', "+1+1", "-2+3", "@SUM(A1)", "\t=1", " =1", "a\r\n=1", 'a","=1', "|x"]
)


@given(name=_hostile, words=_hostile, value=_hostile)
def test_no_text_becomes_a_formula_or_another_cell(name: str, words: str, value: str) -> None:
    payload = {"id": 1, "name": name, "words": words, "value": value, "unit": value}
    store = MemoryStore()
    store.append("j", [Draft("reading", payload, datetime(2026, 3, 4, tzinfo=UTC))])
    parsed = list(
        csv.reader(io.StringIO(readings_csv(list(store.entries("j"))), newline=""), strict=True)
    )
    assert [len(row) for row in parsed] == [len(parsed[0])] * 2
    for cell in parsed[1]:
        assert not cell.lstrip(" ").startswith(("=", "+", "@", "\t", "\r", "\n", "|", "%"))
        assert not cell.lstrip(" ").startswith("-") or Decimal(cell) < 0 or Decimal(cell) == 0
    assert name.replace("\0", "\N{REPLACEMENT CHARACTER}") in parsed[1][5]


@pytest.mark.parametrize("number", ["0.45", "-0.20", "119", "1E+2", "+5", "0"])
def test_a_number_stays_a_number(number: str) -> None:
    assert as_number(number) == number


@pytest.mark.parametrize(
    "text", ["=1", "-1-1", "-OL", "@x", "NaN", "Infinity", "1_0", " -1", "-1 "]
)
def test_what_only_looks_like_a_number_is_text(text: str) -> None:
    assert as_number(text) == as_text(text)
    assert as_number(text).startswith("'") or text[0] in "NI1"


def test_half_a_surrogate_pair_can_be_written_out() -> None:
    store = MemoryStore()
    at = datetime(2026, 3, 4, tzinfo=UTC)
    store.append("j", [Draft("reading", {"id": 1, "words": "\udce9t\u00e9"}, at)])
    entries = list(store.entries("j"))
    for text in (readings_csv(entries), entries_csv(entries), job_json(entries)):
        text.encode("utf-8")
    assert json.loads(job_json(entries))["entries"][0]["payload"]["words"] == "\udce9t\u00e9"
    assert canonical({"words": "\udce9"}) == '{"words":"\\udce9"}'
