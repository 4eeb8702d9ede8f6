"""The `kills` benchmark: kill -9 at random moments, and see what the log kept.

Each run rehearses up to a random moment, kills the companion's process in the middle of a frame's
work (SIGKILL), compares the log with every entry that had been acknowledged, and starts the
companion again on it. With `--writes` there is no rehearsal: a tight writer does nothing but commit
and is killed so many times, most of them inside a commit (`log_kills.py`). There is no peer: the
measure is none lost, no half turn, all resumed.
"""

from __future__ import annotations

import json
import random
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

from tqdm import tqdm

from companion.bench.rates import wilson
from companion.rehearsal.performance import Settings, rehearse

if TYPE_CHECKING:
    import argparse

HELP = "kill -9 at random moments, of a rehearsal or of a writer: nothing acknowledged is lost"
EARLIEST_S = 3.0
MOST_WORK_S = 0.03  # into a frame's work: decoding, a turn and an append all fit


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("--count", type=int, default=50, help="how many kills (default: 50)")
    parser.add_argument("--within", type=float, default=240.0, metavar="S", help="of sound")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--writes", type=int, metavar="KILLS", help="kill a tight writer instead, so many times"
    )


def run(options: argparse.Namespace) -> None:
    """Kill and count."""
    if options.writes:
        _kill_writers(options.writes, options.seed)
    else:
        _kill_rehearsals(options)


def _kill_writers(kills: int, seed: int) -> None:
    from companion.bench.log_kills import Counts, kill_often  # noqa: PLC0415 -- loaded when used

    counts = Counts()
    with tempfile.TemporaryDirectory() as folder:
        bar = tqdm(kill_often(Path(folder), kills, seed), total=kills, disable=None)
        for counts in bar:
            bar.set_postfix(lost=counts.lost, half=counts.half, broken=counts.broken)
    for name, count in asdict(counts).items():
        print(f"{name:<13} {count}")
    print(json.dumps(asdict(counts)))


def _kill_rehearsals(options: argparse.Namespace) -> None:
    chance = random.Random(options.seed)  # noqa: S311 - moments, no secrets
    kept = resumed = 0
    for number in range(1, options.count + 1):
        at_s = chance.uniform(EARLIEST_S, options.within)
        with tempfile.TemporaryDirectory() as folder:
            settings = Settings(
                out=Path(folder),
                seed=number,
                quiet=True,
                kill_at_s=at_s,
                kill_after_s=chance.uniform(0.0, MOST_WORK_S),
            )
            summary = rehearse(settings)
        kept += "acknowledged" not in summary.problem
        resumed += summary.resumed
        print(
            f"{number:3} of {options.count}: killed at {at_s:6.1f} s, {kept} kept all, "
            f"{resumed} resumed",
            flush=True,
        )
    rates = {"kept": wilson(kept, options.count), "resumed": wilson(resumed, options.count)}
    print(
        json.dumps(
            {
                "kills": options.count,
                "kept_all_acknowledged": kept,
                "resumed": resumed,
                "bounds_95": {name: rate.as_json() for name, rate in rates.items()},
            }
        )
    )
