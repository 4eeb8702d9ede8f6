"""The `record` benchmark: what the job log costs, beside SQLite by itself on the same disk.

First an entry's way to the disk: appended with full synchronisation, and read back with its whole
job verified; the peer commits a row of the same size, with the same settings, in turn with ours,
and reads as many rows. Then logs of several sizes: how opening, folding, finding and exporting
grow with them; the peer of each looks at the same rows of the same file with plain SQLite.
"""

from __future__ import annotations

import csv
import io
import json
import random
import sqlite3
import tempfile
from contextlib import closing
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from statistics import median, quantiles
from time import perf_counter
from typing import TYPE_CHECKING, Any

from tqdm import tqdm

from companion.bench.record_logs import BEGAN, BIG_JOB_ENTRIES, NAMES, made_jobs, reading
from companion.chain import canonical
from companion.dialogue.state import fold
from companion.joblog import SqliteStore
from companion.joblog.archive import write_archive
from companion.joblog.export import job_json, readings_csv
from companion.joblog.finding import Wanted
from companion.ports import Draft

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable

HELP = "what the job log costs: append, read back, open, find, export, and how that grows"
SIZES = (10_000, 100_000, 1_000_000)
LATE_APPENDS = 100  # to a log that is made
MADE_AT_ONCE = 300  # entries of the job that is read back
_ROWS = "SELECT * FROM header LEFT JOIN payload USING (job, number) WHERE job = ?"
_SCAN = "SELECT count(*) FROM payload WHERE body LIKE '%maple%'"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.epilog = "example: python -m companion.bench record --entries 10000 100000"
    parser.add_argument(
        "--entries", type=int, nargs="+", default=list(SIZES), help="sizes of the logs"
    )
    parser.add_argument("--appends", type=int, default=500, help="how many (default: 500)")
    parser.add_argument("--times", type=int, default=5, help="each look, the median of so many")
    parser.add_argument("--folder", type=Path, metavar="DIR", help="on the disk to be measured")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--json", action="store_true", help="print the JSON object alone")


def run(options: argparse.Namespace) -> None:
    """Measure and print."""
    with tempfile.TemporaryDirectory(prefix="record-", dir=options.folder) as folder:
        found: dict[str, Any] = {"one_entry": one_entry(Path(folder), options)}
        found["logs"] = [
            one_log(Path(folder) / f"log-{size}.sqlite3", size, options)
            for size in sorted(options.entries)
        ]
    if not options.json:
        print(_told(found))
    print(json.dumps(found))


# ---------------------------------------------------------------- one entry


def one_entry(folder: Path, options: argparse.Namespace) -> dict[str, Any]:
    """Append and read back, ours and the peer's in turn."""
    chance = random.Random(options.seed)  # noqa: S311 -- values, no secrets
    took: dict[str, list[float]] = {
        name: [] for name in ("append", "bare_commit", "read_back", "bare_read")
    }
    with (
        SqliteStore(folder / "ours.sqlite3") as store,
        closing(_bare(folder / "bare.sqlite3")) as bare,
        tqdm(total=options.appends, desc="appends", disable=None, leave=False) as bar,
    ):
        for number in range(options.appends):
            payload = reading(chance, number, "supply")
            job = f"job-{number // MADE_AT_ONCE}"
            draft = Draft("reading", payload, BEGAN + timedelta(seconds=number))
            took["append"].append(_s(partial(store.append, job, [draft])))
            # As many bytes as the header and the payload of an entry have together.
            row = (job, number, canonical(payload) + "x" * 300)
            took["bare_commit"].append(_s(partial(_commit, bare, row)))
            if number % 10 == 0:
                took["read_back"].append(_s(partial(_read_back, store, job)))
                took["bare_read"].append(_s(partial(_bare_read, bare, job)))
            bar.update()
    return {
        name: {"median_ms": _ms(median(each)), "p95_ms": _ms(quantiles(each, n=20)[-1])}
        for name, each in took.items()
    }


def _bare(path: Path) -> sqlite3.Connection:
    """Return SQLite by itself, as durable as the log is."""
    bare = sqlite3.connect(path, isolation_level=None)
    bare.execute("PRAGMA journal_mode = WAL").fetchone()
    bare.execute("PRAGMA synchronous = FULL")
    bare.execute(
        "CREATE TABLE one (job TEXT, number INTEGER, body TEXT, PRIMARY KEY (job, number))"
    )
    return bare


def _read_back(store: SqliteStore, job: str) -> None:
    list(store.entries(job))


def _bare_read(bare: sqlite3.Connection, job: str) -> None:
    bare.execute("SELECT * FROM one WHERE job = ?", (job,)).fetchall()


def _commit(bare: sqlite3.Connection, row: tuple[str, int, str]) -> None:
    bare.execute("BEGIN IMMEDIATE")
    bare.execute("INSERT INTO one VALUES (?, ?, ?)", row)
    bare.execute("COMMIT")


# ---------------------------------------------------------------- logs of several sizes


def one_log(path: Path, size: int, options: argparse.Namespace) -> dict[str, Any]:
    """Make a log of so many entries, and measure every look at it."""
    began = perf_counter()
    with (
        SqliteStore(path) as store,
        tqdm(total=size, desc=f"{size} entries", unit=" entries", disable=None, leave=False) as bar,
    ):
        jobs = []
        for job in made_jobs(size, options.seed):
            store.append(job.id, job.drafts)
            jobs.append(job.id)
            bar.update(len(job.drafts))
        made_s = perf_counter() - began
        appended = [_s(_appending(store, jobs[-1], number)) for number in range(LATE_APPENDS)]
    looks = _looks(path, jobs, size)
    took = {"append one entry": _ms(median(appended))}
    with tqdm(total=len(looks), desc="looks", unit=" looks", disable=None, leave=False) as bar:
        for name, look in looks.items():
            took[name] = _ms(median(_s(look) for _ in range(options.times)))
            bar.update()
    return {
        "entries": size,
        "jobs": len(jobs),
        "file_mb": round(path.stat().st_size / 1e6, 1),
        "made_s": round(made_s, 1),
        "looks_ms": took,
        "of_peer": {name: round(took[name] / took[peer], 1) for name, peer in PEERS.items()
                    if name in took and took[peer]},
    }  # fmt: skip


def _appending(store: SqliteStore, job: str, number: int) -> Callable[[], object]:
    draft = Draft("note", {"id": number, "words": "seen", "words_are": "typed"}, BEGAN)
    return lambda: store.append(job, [draft])


# What each look is held against: plain SQLite at the same rows of the same file.
PEERS = {
    "open": "bare open",
    "fold of a job": "bare rows of a job",
    "csv of a job": "bare csv of a job",
    "list": "bare scan",
    "find text": "bare scan",
    "find day": "bare scan",
    "find procedure": "bare scan",
    "find point": "bare scan",
    "find outside": "bare scan",
    "find within": "bare scan",
    "find all together": "bare scan",
}


def _looks(path: Path, jobs: list[str], size: int) -> dict[str, Callable[[], object]]:
    job = jobs[len(jobs) // 2]
    first = date.fromisoformat(BEGAN.date().isoformat()) + timedelta(days=len(jobs) // 2)
    last = first + timedelta(days=7)
    finding = {
        "find text": Wanted(text=f"{NAMES[-1]} house"),
        "find day": Wanted(since=first, until=last),
        "find procedure": Wanted(procedure="humidifier"),
        "find point": Wanted(point="supply static"),
        "find outside": Wanted(verdict="outside"),
        "find within": Wanted(verdict="within"),
        "find all together": Wanted(
            NAMES[-1], first, last, "humidifier", "supply static", "outside"
        ),
    }
    looks: dict[str, Callable[[], object]] = {
        "open": lambda: SqliteStore(path, read_only=True).close(),
        "open to write": lambda: SqliteStore(path).close(),
        "bare open": lambda: _plainly(path, "SELECT count(*) FROM sqlite_schema"),
        "latest open job": lambda: _with(path, SqliteStore.latest_open),
        "list": lambda: _with(path, SqliteStore.jobs),
        **{name: partial(_found, path, wanted) for name, wanted in finding.items()},
        "bare scan": lambda: _plainly(path, _SCAN),
    }
    exported = {"a job": job} | ({"the big job": jobs[1]} if size > 2 * BIG_JOB_ENTRIES else {})
    for name, each in exported.items():
        looks |= _job_looks(path, each, name)
    return looks


def _job_looks(path: Path, job: str, name: str) -> dict[str, Callable[[], object]]:
    return {
        f"fold of {name}": lambda: _with(path, lambda store: fold(store.entries(job))),
        f"bare rows of {name}": lambda: _plainly(path, _ROWS, job),
        f"csv of {name}": lambda: _with(path, lambda store: readings_csv(store.whole(job).entries)),
        f"bare csv of {name}": lambda: _bare_csv(path, job),
        f"json of {name}": lambda: _with(path, lambda store: _json(store, job)),
        f"zip of {name}": lambda: _with(
            path, lambda store: write_archive(store.whole(job), store.sounds, io.BytesIO())
        ),
    }


def _json(store: SqliteStore, job: str) -> str:
    whole = store.whole(job)
    return job_json(whole.entries, whole.salts, whole.removals)


def _with(path: Path, look: Callable[[SqliteStore], object]) -> object:
    with SqliteStore(path, read_only=True) as store:
        return look(store)


def _found(path: Path, wanted: Wanted) -> object:
    return _with(path, lambda store: store.find(wanted))


def _plainly(path: Path, query: str, *values: str) -> list[tuple[Any, ...]]:
    with closing(sqlite3.connect(path)) as bare:
        return bare.execute(query, values).fetchall()


def _bare_csv(path: Path, job: str) -> str:
    out = io.StringIO(newline="")
    csv.writer(out).writerows(_plainly(path, _ROWS, job))
    return out.getvalue()


def _s(what: Callable[[], object]) -> float:
    began = perf_counter()
    what()
    return perf_counter() - began


def _ms(seconds: float) -> float:
    return round(seconds * 1_000, 3)


def _told(found: dict[str, Any]) -> str:
    """Return the figures as tables: one entry, then a column a log."""
    lines = [f"{'one entry':<26}{'median ms':>12}{'95th ms':>12}"]
    lines += [
        f"{name:<26}{each['median_ms']:>12}{each['p95_ms']:>12}"
        for name, each in found["one_entry"].items()
    ]
    logs = found["logs"]
    for title in ("entries", "jobs", "file_mb", "made_s"):
        lines.append(f"{title:<26}" + "".join(f"{log[title]:>18}" for log in logs))
    names = dict.fromkeys(name for log in logs for name in log["looks_ms"])
    lines.append("milliseconds (times the peer)")
    for name in names:
        cells = []
        for log in logs:
            of_peer = log["of_peer"].get(name)
            cell = str(log["looks_ms"].get(name, "-")) + (f" ({of_peer})" if of_peer else "")
            cells.append(f"{cell:>18}")
        lines.append(f"{name:<26}" + "".join(cells))
    return "\n".join(lines)
