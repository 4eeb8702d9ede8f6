"""Finding jobs: by day, procedure, test point, verdict, and words of notes and names.

What narrows cheaply comes first (day, procedure), then one pass over the payloads for each of the
others. Payloads are canonical JSON, so that a key with its value is one exact piece of text; what
that cannot decide (struck and corrected readings, letters beyond ASCII) is decided on the entries
themselves. The log needs no index for it: one that holds words could not be emptied on request.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from companion.chain import canonical
from companion.dialogue.record import logged_readings
from companion.joblog.listing import summaries
from companion.joblog.rows import ENTRIES, entry_of

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Collection, Sequence
    from datetime import date

    from companion.dialogue.record import LoggedReading
    from companion.joblog.rows import Row
    from companion.joblog.summary import JobSummary

# Payload first: it is narrowed by its text, and only what is left is looked up among the headers.
_PAYLOADS = """
FROM payload CROSS JOIN header USING (job, number)
WHERE {within}
"""
_SLUG = "(instr(body, :point) > 0)"
_NAME = "(body LIKE :name ESCAPE '!')"  # slower: tried where no test point has such a slug
_VERDICT = "(instr(body, :verdict) > 0)"
_IDS = "json_extract(body, '$.id', '$.of')"  # an array, its texts with their escapes as they are
_ID_OF = f"SELECT {_IDS} FROM payload WHERE job = ? AND number = ?"  # noqa: S608 -- ours
_CHANGED = f"""
SELECT job, {_IDS},
  kind = 'struck' OR (instr(body, '"point":') > 0 AND instr(body, '"verdict":') > 0)
FROM header CROSS JOIN payload USING (job, number)
WHERE {{within}} AND kind IN ('struck', 'correction')
"""  # noqa: S608 -- ours
_PROCEDURES = """
SELECT DISTINCT job FROM header JOIN payload USING (job, number)
WHERE {within} AND kind IN ('job-opened', 'fault-begun') AND instr(body, :key) > 0
"""
_OF_READINGS = ENTRIES.replace(
    "ORDER BY", "AND kind IN ('reading', 'correction', 'struck', 'reading-confirmed') ORDER BY"
)
_SAID = ("words", "name", "told", "reason")
_PLAIN = re.compile(r"[A-Za-z0-9]+")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a job must have, all of it; what is None or empty does not narrow.

    `text`: words that stand, in any order and as parts of words, in one note, one name of a test
    point or timer, one reason, who was told, or the job's title. `since` and `until`: local days,
    both included, on which the job was under way. `procedure`: the job's, or that of a fault that
    was looked for. `point`: a test point's slug or name; `verdict`: 'within' or 'outside'; with
    both, of one and the same reading that stands.
    """

    text: str = ""
    since: date | None = None
    until: date | None = None
    procedure: str = ""
    point: str = ""
    verdict: str = ""


def find(connection: sqlite3.Connection, wanted: Wanted) -> list[JobSummary]:
    """Return the jobs that have all that is wanted, the one last opened last.

    Raises:
        DamagedLogError: a job cannot be read.
    """
    every = summaries(connection)
    jobs = {job.id: job for job in every if _is_of_day(job, wanted)}
    if wanted.procedure:
        key = f'"procedure":{canonical(wanted.procedure)}'
        narrowed = len(jobs) < len(every)
        rows = _rows(connection, _PROCEDURES, {"key": key}, jobs, narrowed=narrowed)
        having = {job for (job,) in rows}
        jobs = {name: job for name, job in jobs.items() if name in having}
    if wanted.point or wanted.verdict:
        read = _with_reading(connection, jobs, wanted, narrowed=len(jobs) < len(every))
        jobs = {name: job for name, job in jobs.items() if name in read}
    if wanted.text:
        words = wanted.text.lower().split()
        told = _with_words(connection, jobs, words, narrowed=len(jobs) < len(every))
        jobs = {n: j for n, j in jobs.items() if n in told or _has(words, j.title)}
    return list(jobs.values())


def _is_of_day(job: JobSummary, wanted: Wanted) -> bool:
    first, last = (at.astimezone().date() for at in (job.opened, job.last_entry))
    return (wanted.since is None or last >= wanted.since) and (
        wanted.until is None or first <= wanted.until
    )


# ---------------------------------------------------------------- readings


def _with_reading(
    connection: sqlite3.Connection, jobs: Collection[str], wanted: Wanted, *, narrowed: bool
) -> set[str]:
    """Return the jobs that have such a reading, one that stands.

    One that no correction and no strike names stands. Only where all are named, or where a
    correction leaves out what is as it was, the job's readings are gone through.
    """
    matches = _matches(connection, jobs, wanted, _SLUG, narrowed=narrowed)
    if wanted.point and not matches:
        matches = _matches(connection, jobs, wanted, _NAME, narrowed=narrowed)
    changed: dict[str, set[str]] = {}
    partly: set[str] = set()
    for job, ids, is_whole in _rows(connection, _CHANGED, {}, jobs, narrowed=narrowed):
        changed.setdefault(job, set()).add(str(json.loads(ids)[1]))
        partly.update(() if is_whole else (job,))
    found: set[str] = set()
    for job in jobs:
        touched = changed.get(job, set())
        numbers = matches.get(job, ())
        rows = (connection.execute(_ID_OF, (job, number)).fetchone() for number in numbers)
        if (
            (numbers and not touched)
            or any(_is_untouched(json.loads(ids), touched) for (ids,) in rows)
            or ((numbers or job in partly) and _stands(connection, job, wanted))
        ):
            found.add(job)
    return found


def _is_untouched(ids: Sequence[object], changed: Collection[str]) -> bool:
    """Return whether an entry is a reading (no correction) that nothing was changed about."""
    own, corrects = ids
    return corrects is None and own is not None and str(own) not in changed


def _matches(
    connection: sqlite3.Connection,
    jobs: Collection[str],
    wanted: Wanted,
    of_point: str,
    *,
    narrowed: bool,
) -> dict[str, list[int]]:
    """Return, by job, the entries that hold such a reading or correction."""
    conditions = [of_point] * bool(wanted.point) + [_VERDICT] * bool(wanted.verdict)
    name = re.sub(r"([!%_])", r"!\1", canonical(wanted.point))
    values = {
        "point": f'"point":{canonical(_slug(wanted.point))}',
        "name": f'%"name":{name}%',
        "verdict": f'"verdict":{canonical(wanted.verdict)}',
    }
    where = " AND ".join([*conditions, "kind IN ('reading', 'correction')"])
    query = f"SELECT job, number {_PAYLOADS} AND {where}"
    found: dict[str, list[int]] = {}
    for job, number in _rows(connection, query, values, jobs, narrowed=narrowed):
        found.setdefault(job, []).append(number)
    return found


def _stands(connection: sqlite3.Connection, job: str, wanted: Wanted) -> bool:
    rows: list[Row] = connection.execute(_OF_READINGS, (job,)).fetchall()
    readings = logged_readings(entry_of(row)[0] for row in rows)
    return any(reading.status == "stands" and _is_wanted(reading, wanted) for reading in readings)


def _is_wanted(reading: LoggedReading, wanted: Wanted) -> bool:
    is_point = (
        not wanted.point
        or reading.point == _slug(wanted.point)
        or reading.name.lower() == wanted.point.lower()
    )
    return is_point and (not wanted.verdict or reading.verdict == wanted.verdict)


def _slug(name: str) -> str:
    return "-".join(name.lower().split())


# ---------------------------------------------------------------- words


def _with_words(
    connection: sqlite3.Connection, jobs: Collection[str], words: list[str], *, narrowed: bool
) -> set[str]:
    """Return the jobs where one entry says all of the words."""
    conditions = ["kind <> 'job-opened'"]  # it holds a whole procedure; its title is known
    values: dict[str, str] = {}
    for place, word in enumerate(words):
        part = max(_PLAIN.findall(word), key=len, default="")
        if part:
            conditions.append(f"body LIKE :word{place}")
            values[f"word{place}"] = f"%{part}%"
    where = " AND ".join(conditions)
    query = f"SELECT job, body {_PAYLOADS} AND {where}"
    rows = _rows(connection, query, values, jobs, narrowed=narrowed)
    return {
        job for job, body in rows if any(_has(words, text) for text in _texts(json.loads(body)))
    }


def _texts(payload: object) -> list[str]:
    if not isinstance(payload, dict):
        return []
    return [text for key in _SAID if isinstance(text := payload.get(key), str)]


def _has(words: Collection[str], text: str) -> bool:
    folded = text.lower()
    return all(word in folded for word in words)


# ---------------------------------------------------------------- one pass


def _rows(
    connection: sqlite3.Connection,
    query: str,
    values: dict[str, str],
    jobs: Collection[str],
    *,
    narrowed: bool,
) -> list[tuple[Any, ...]]:
    """Run one pass: over these jobs by their key where they are few of all, else over all."""
    within = "job IN (SELECT value FROM json_each(:jobs))" if narrowed else "1"
    named = {"jobs": json.dumps(list(jobs))} if narrowed else {}
    return connection.execute(query.format(within=within), {**values, **named}).fetchall()
