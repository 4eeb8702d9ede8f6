"""Jobs for the tests of export and import: hypothesis's, and a log with sounds."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from hypothesis import strategies as st

from companion.dialogue.forgetting import ToForget
from companion.ports import Draft

if TYPE_CHECKING:
    from pathlib import Path

    from companion.joblog import SqliteStore

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
JOB = "2026-03-04-1"

# Names and notes as an ill-meaning or unlucky hand may give them: for a spreadsheet (OWASP, 'CSV
# Injection'), a calendar (RFC 5545's own syntax), a terminal, a path.
HOSTILE = (
    '=HYPERLINK("http://x")',
    "+1+1",
    "@SUM(A1)",
    "\t=1",
    'a"b,c\r\nd',
    "BEGIN:VEVENT\r\nSUMMARY:x",
    "a;b,c\\n:d",
    "\x1b[2J\x07\x00",
    "../../etc/x",
    "\u2028\u0085\u202e",
    "\udce9t\u00e9 \U0001f525",
    "x" * 3_000,
)
texts = st.sampled_from(HOSTILE) | st.text(max_size=20)
json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | texts,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(texts, inner, max_size=3),
    max_leaves=8,
)  # fmt: skip


def _payloads(kind: str) -> st.SearchStrategy[dict[str, object]]:
    match kind:
        case "reading" | "correction":
            keys = ("id", "of", "point", "name", "value", "unit", "verdict", "words", "phase")
            return st.fixed_dictionaries({}, optional=dict.fromkeys(keys, texts))
        case "note":
            made = {"words": texts, "words_are": st.sampled_from(["typed", "unverified"])}
            return st.fixed_dictionaries(made, optional={"gaps": st.integers(0, 3), "step": texts})
        case "struck":
            return st.fixed_dictionaries({"of": texts})
        case "timer-set":
            due = st.just((NOON + timedelta(hours=1)).isoformat()) | texts
            return st.fixed_dictionaries({"id": st.integers(1, 9), "name": texts, "due": due})
        case _:
            return st.dictionaries(texts, json_values, max_size=3)


KINDS = ("reading", "correction", "struck", "note", "timer-set", "choice", "something new")


@st.composite
def drafts(draw: st.DrawFn) -> Draft:
    """Any entry: of a known kind with whatever texts, or of an unknown one with whatever JSON."""
    kind = draw(st.sampled_from(KINDS))
    at = NOON + timedelta(microseconds=draw(st.integers(0, 10**12)))
    return Draft(kind, draw(_payloads(kind)), at)


def job_with_sounds(store: SqliteStore, job: str = JOB) -> None:
    """Append a job with two notes that have sound, a reading, and one note that was removed."""
    wave = np.arange(-800, 800, dtype=np.int16)
    first, second, third = (store.sounds.keep(job, wave + place, 16_000) for place in range(3))
    reading = {"id": 1, "point": "supply-static", "name": "Supply static", "value": "0.45",
               "unit": "inH2O", "verdict": "within", "words": ["supply", "static"]}  # fmt: skip
    store.append(
        job,
        [
            Draft("job-opened", {"title": "Damper", "text": "", "procedure": "damper"}, NOON),
            Draft("note", {"id": 1, "words": "one", "sound": first.payload}, NOON),
            Draft("note", {"id": 2, "words": "secret", "sound": second.payload}, NOON),
            Draft("note", {"id": 3, "words": "three", "sound": third.payload}, NOON),
            Draft("reading", reading, NOON),
        ],
    )
    store.redact(job, ToForget((3,)), why="the customer asked", at=NOON)


def exported_zip(log: Path, job: str, out: Path) -> bytes:
    """Return the zip of a job, as the command writes it."""
    from companion.cli import main  # noqa: PLC0415 -- the command line is what is tested

    assert (
        main(["jobs", "export", job, "--format", "zip", "--out", str(out), "--log", str(log)]) == 0
    )
    return out.read_bytes()
