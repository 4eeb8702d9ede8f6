"""The `hearing` benchmark: what is heard right, asked about, missed or wrong, for us and peers.

Cases come from the corpora (`corpora`), are said and put in a noisy room (`spoken`, `noise`), heard
by each engine in a process of its own (`engines`, `worker`), judged by the real dialogue
(`scoring`) and summed up (`table`, `talk`, `mistakes`, `plot`). Talk that is not addressed can be
heard in several rounds (`rounds`), so that there are hours of it. `results` keeps what was
measured, so that a run that was stopped goes on.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from importlib.metadata import version
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.errors import EngineError, InputError

if TYPE_CHECKING:
    from companion.bench.hearing.case import Case
    from companion.bench.hearing.results import Results
    from companion.bench.hearing.table import Row

HELP = "what is heard right, asked about, missed or wrong, in noise, beside peers"
EXAMPLE = (
    "example: python -m companion.bench hearing --corpus generated --corpus own --count 200 "
    "--snr clean 20 10 5 --peer pocketsphinx --peer whisper --out hearing-out"
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.epilog = EXAMPLE
    add = parser.add_argument
    add(
        "--corpus",
        action="append",
        metavar="NAME",
        help="'generated', 'own', 'asked' (sizing questions in words of others), 'remarks' (talk "
        "that is not addressed, by every voice), "
        "'speech:FOLDER' or a table (.tsv) of your own; may be repeated",
    )
    add(
        "--noise",
        action="append",
        metavar="FOLDER",
        help="recordings of noise, or 'hum' (default); of several, each sentence meets one",
    )
    add(
        "--snr",
        nargs="+",
        type=_cell,
        default=["clean"],
        metavar="DB",
        help="'clean' or decibels, one or more (default: clean)",
    )
    add(
        "--engine",
        action="append",
        metavar="NAME",
        help="'bundled' (default), 'bundled-original', 'vosk'; may be repeated",
    )
    add(
        "--peer",
        action="append",
        default=[],
        metavar="NAME",
        help="'pocketsphinx', 'whisper'; may be repeated; from the extra 'bench'",
    )
    add("--count", type=int, default=400, help="how many sentences are generated (default: 400)")
    add("--most", type=int, metavar="N", help="take at most so many of each corpus, evenly")
    add(
        "--unseen",
        action="store_true",
        help="leave out the people and the remarks that the packaged weights were learnt from or "
        "fitted to",
    )
    add(
        "--rounds",
        type=_rounds,
        default=1,
        metavar="N",
        help="hear what is not addressed so many times, each at another moment and in another "
        "stretch of noise, half of them softer, one in four while standing by (default: 1)",
    )
    add(
        "--first-round",
        type=_rounds,
        default=1,
        metavar="N",
        help="of those rounds, leave out the ones before this: to measure on rounds that nothing "
        "was changed upon (default: 1)",
    )
    add("--seed", type=int, default=1, help="which sentences are generated")
    add(
        "--hold-out",
        default="festival",
        metavar="ENGINE",
        help="the synthesis engine counted apart: nothing is tuned on it (default: festival)",
    )
    add("--jobs", type=int, default=1, help="processes at once, 1 or 2 (default: 1)")
    add(
        "--out",
        type=Path,
        default=Path("hearing-out"),
        metavar="DIR",
        help="results, summary and picture (default: hearing-out)",
    )
    add("--errors", action="store_true", help="print every silent error and false accept")
    add("--json", action="store_true", help="print the summary as one JSON object, last")


def _cell(text: str) -> str:
    """Return a cell's name; what is no number is refused."""
    if text == "clean":
        return text
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not math.isfinite(found):
        raise argparse.ArgumentTypeError(f"'{text}' is neither 'clean' nor decibels")
    return f"{found:g}"


def _rounds(text: str) -> int:
    """Return how many rounds; what is no whole number above 0 is refused."""
    if not text.isascii() or not text.isdigit() or int(text) == 0:
        raise argparse.ArgumentTypeError(f"'{text}' is no whole number of rounds; give 1 or more")
    return int(text)


def run(options: argparse.Namespace) -> None:
    """Measure and print.

    Raises:
        InputError: a corpus, a noise or an engine is not there, or the folder holds another run.
        EngineError: an engine cannot be used.
    """
    from companion.bench.hearing.engines import known  # noqa: PLC0415 - help stays fast
    from companion.bench.hearing.noise import Rooms  # noqa: PLC0415
    from companion.bench.hearing.results import Results  # noqa: PLC0415
    from companion.bench.hearing.running import Plan, measure  # noqa: PLC0415

    engines = [known(each) for each in [*(options.engine or ["bundled"]), *options.peer]]
    cases, rooms = _cases(options), Rooms(_noises(options))
    plan = Plan(cases, options.snr, rooms, options.out / "spoken", max(1, options.jobs))
    results = Results(options.out, _settings(options))
    print(f"{len(cases)} sounds, {len(options.snr)} cells, {len(engines)} engines", flush=True)
    try:
        with results:
            for engine in engines:
                measure(engine, plan, results)
    except KeyboardInterrupt:
        print(f"Stopped. Go on with the same command; so far in {options.out}:", file=sys.stderr)
    except EngineError:
        if results.done:
            _tell(options, results, cases)
        raise
    _tell(options, results, cases)


def _cases(options: argparse.Namespace) -> list[Case]:
    from companion.bench.hearing.corpora import corpus  # noqa: PLC0415
    from companion.bench.hearing.rounds import in_rounds  # noqa: PLC0415
    from companion.bench.hearing.running import some  # noqa: PLC0415
    from companion.bench.hearing.spoken import evenly, speakers_by_engine  # noqa: PLC0415

    speakers = evenly(speakers_by_engine())
    found: list[Case] = []
    for name in options.corpus or ["generated"]:
        cases = corpus(name, speakers, count=options.count, seed=options.seed)
        found += some([case for case in cases if _is_wanted(case, options)], options.most)
    if not found:
        raise InputError("The corpora hold no sentence", "Give another --corpus or --count.")
    if options.first_round > options.rounds:
        raise InputError(
            f"--first-round is {options.first_round}, of --rounds {options.rounds}",
            "Give as many --rounds, or more.",
        )
    return in_rounds(found, options.rounds, options.first_round)


def _is_wanted(case: Case, options: argparse.Namespace) -> bool:
    from companion.bench.speller.split import is_for_fitting  # noqa: PLC0415

    return not (options.unseen and case.corpus != "generated" and is_for_fitting(case))


def _noises(options: argparse.Namespace) -> tuple[str, ...]:
    return tuple(options.noise or ["hum"])


def _settings(options: argparse.Namespace) -> dict[str, Any]:
    """Return what decides a case's result, other than engine and cell."""
    return {
        "corpus": options.corpus or ["generated"],
        "noise": list(_noises(options)),
        "count": options.count,
        "most": options.most,
        "unseen": options.unseen,
        "rounds": options.rounds,
        "first_round": options.first_round,
        "seed": options.seed,
        "version": version("companion"),
    }


def _tell(options: argparse.Namespace, results: Results, cases: list[Case]) -> None:
    """Print the tables, write summary and picture."""
    from companion.bench.hearing import mistakes, table, talk, talk_text  # noqa: PLC0415

    wanted = {case.id for case in cases}
    found = [each for each in results.done.values() if each.case in wanted]
    summed, cost = table.rows(found, options.hold_out), table.costs(results.costs)
    talked, phrases = talk.talk_rows(found), talk.phrase_rows(found)
    wrong = mistakes.mistakes(found)
    parts = (table.text(summed, cost), talk_text.text(talked, phrases))
    print("\n".join(filter(None, parts)))
    if options.errors:
        print("\n".join(["", *map(mistakes.line, wrong)]))
    summary = {
        "settings": results.settings,
        "held_out": options.hold_out,
        "rows": [row.as_json() for row in summed],
        "talk": [row.as_json() for row in talked],
        "phrases": [row.as_json() for row in phrases],
        "costs": cost,
        "errors": [mistakes.as_json(each) for each in wrong],
    }
    (options.out / "summary.json").write_text(json.dumps(summary, indent=2) + "\n", "utf-8")
    _draw(options, summed)
    if options.json:
        print(json.dumps(summary))


def _draw(options: argparse.Namespace, summed: list[Row]) -> None:
    from companion.bench.hearing import plot  # noqa: PLC0415

    try:
        print(f"\nPicture: {plot.draw(summed, options.out)[0]}")
    except EngineError as problem:
        print(f"\nNo picture: {problem}", file=sys.stderr)
