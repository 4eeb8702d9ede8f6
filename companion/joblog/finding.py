"""Finding jobs: by day, procedure, test point, verdict, and words of notes and names.

What narrows cheaply comes first (day, procedure), then one pass over the payloads for each of the
others. Payloads are canonical JSON, so that a key with its value is one exact piece of text; what
that cannot decide (struck and corrected readings, letters beyond ASCII) is decided on the entries
themselves. The log needs no index for it: one that holds words could not be emptied on request.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from companion.chain import canonical
from companion.dialogue.record import logged_readings
from companion.joblog.rows import ENTRIES, SUMMARIES, entry_of, summary_of

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Collection
    from datetime import date

    from companion.dialogue.record import LoggedReading
    from companion.joblog.rows import Row
    from companion.joblog.summary import JobSummary

# Payload first: it is narrowed by its text, and only what is left is looked up among the headers.
_PAYLOADS = """
FROM payload CROSS JOIN header USING (job, number)
WHERE (:all OR job IN (SELECT value FROM json_each(:jobs)))
"""
_POINT = "(instr(body, :point) > 0 OR body LIKE :name ESCAPE '!')"
_VERDICT = "(instr(body, :verdict) > 0)"
_TAKEN_BACK = "SELECT job FROM header WHERE kind IN ('struck', 'correction')"
_PROCEDURES = """
SELECT DISTINCT job FROM header JOIN payload USING (job, number)
WHERE kind IN ('job-opened', 'fault-begun') AND instr(body, ?) > 0
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
    every = [summary_of(row) for row in connection.execute(SUMMARIES)]
    jobs = {job.id: job for job in every if _is_of_day(job, wanted)}
    if wanted.procedure:
        key = f'"procedure":{canonical(wanted.procedure)}'
        having = {job for (job,) in connection.execute(_PROCEDURES, (key,))}
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

    A correction or a strike takes back one reading at most: where more are found than that, one
    stands. Only where it is open are the job's readings gone through: a correction may also leave
    out what is as it was, so that the point stands in one entry and the verdict in another.
    """
    query = f"""
        SELECT job, {_POINT if wanted.point else "1"} AS of_point,
          {_VERDICT if wanted.verdict else "1"} AS of_verdict
        {_PAYLOADS} AND (of_point OR of_verdict) AND kind IN ('reading', 'correction')
    """
    name = re.sub(r"([!%_])", r"!\1", canonical(wanted.point))
    values = {
        "point": f'"point":{canonical(_slug(wanted.point))}',
        "name": f'%"name":{name}%',
        "verdict": f'"verdict":{canonical(wanted.verdict)}',
    }
    if not (wanted.point and wanted.verdict):  # what is not wanted would let every reading in
        query = query.replace(" OR of_verdict", " AND of_verdict")
    both: Counter[str] = Counter()
    of_point: set[str] = set()
    of_verdict: set[str] = set()
    for job, is_point, is_verdict in _rows(connection, query, values, jobs, narrowed=narrowed):
        both[job] += bool(is_point and is_verdict)
        of_point.update((job,) if is_point else ())
        of_verdict.update((job,) if is_verdict else ())
    taken_back = Counter(job for (job,) in connection.execute(_TAKEN_BACK))
    found: set[str] = set()
    for job in of_point & of_verdict & set(jobs):
        if both[job] > taken_back[job] or (taken_back[job] and _stands(connection, job, wanted)):
            found.add(job)
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
    within = {"all": not narrowed, "jobs": json.dumps(list(jobs)) if narrowed else "[]"}
    return connection.execute(query, {**values, **within}).fetchall()
