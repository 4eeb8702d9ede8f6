"""The `rehearsals` benchmark: the prepared job by many seeds and voices, summed up.

What it counts is defined in `companion.rehearsal.summary`. Resumable: a run whose result is in the
folder is not played again.
"""

from __future__ import annotations

import json
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING, Any

from companion.bench.rates import wilson
from companion.rehearsal.performance import Settings, rehearse
from companion.rehearsal.speakers import available_speakers

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

HELP = "the prepared job by many seeds and voices: completed, right, asked about, wrong in silence"
COUNTS = (
    "readings_said", "readings_right", "readings_asked", "readings_missed",
    "readings_taken_wrong", "standing_expected", "standing_right", "utterances", "misheard",
    "unanswered", "asked_again", "asked_between", "remarks", "remarks_answered", "kills", "resumed",
)  # fmt: skip


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.add_argument("--seeds", type=int, default=20, help="how many runs (default: 20)")
    parser.add_argument("--voice", action="append", metavar="NAME", help="take turns; default: all")
    parser.add_argument("--noise", type=float, metavar="DB", help="blower hum at this SNR")
    parser.add_argument("--real-time", action="store_true")
    parser.add_argument("--jobs", type=int, default=1, help="how many at once")
    parser.add_argument("--out", type=Path, default=Path("rehearsal-out"), metavar="DIR")


def run(options: argparse.Namespace) -> None:
    """Rehearse and sum up."""
    voices = options.voice or available_speakers()
    settings = [
        Settings(
            out=options.out / f"{voices[seed % len(voices)].replace(':', '_')}-{seed}",
            seed=seed,
            speaker=voices[seed % len(voices)],
            snr_db=options.noise,
            real_time=options.real_time,
            quiet=True,
        )
        for seed in range(1, options.seeds + 1)
    ]
    results = []
    with ProcessPoolExecutor(options.jobs) as pool:
        for number, result in enumerate(pool.map(_played, settings), start=1):
            results.append(result)
            how = "completed" if result["completed"] else f"NOT: {result['problem']}"
            print(f"{number:3} of {len(settings)}  {result['speaker']:32} {how}", flush=True)
    print(json.dumps(summed(results), indent=2))


def _played(settings: Settings) -> dict[str, Any]:
    """Return a run's summary, from the folder if it was played before."""
    path = settings.out / "summary.json"
    if path.exists():
        return dict(json.loads(path.read_text("utf-8")))
    summary = rehearse(settings)
    result = {**summary.as_json(), "responses_s": summary.responses_s}
    path.write_text(json.dumps(result), encoding="utf-8")
    return result


def summed(results: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Return the sums and rates of many summaries; at least one."""
    counts: Counter[str] = Counter()
    for result in results:
        counts.update({name: result[name] for name in COUNTS})
    responses = sorted(each for result in results for each in result["responses_s"])
    completed = sum(result["completed"] for result in results)
    wrong = wilson(counts["readings_taken_wrong"], counts["readings_said"])
    return {
        "runs": len(results),
        "completed": completed,
        "voices": sorted({result["speaker"] for result in results}),
        "snr_db": results[0]["snr_db"],
        **counts,
        "taken_wrong_share_95": wrong.as_json(),
        "standing_wrong": [each for result in results for each in result["standing_wrong"]],
        "response_median_s": round(median(responses), 3) if responses else None,
        "response_95_s": round(responses[int(0.95 * len(responses))], 3) if responses else None,
        "parts_median_s": {
            part: round(median(r["parts_median_s"].get(part, 0.0) for r in results), 4)
            for part in ("patience", "decoding", "turn", "log", "voice")
        },
        "real_time_factor": round(median(r["real_time_factor"] for r in results), 3),
        "peak_memory_mb": round(max(r["peak_memory_mb"] for r in results)),
    }
