"""The `calibration` benchmark: fits the weights by which the bundled recogniser sums two opinions.

It hears the sentences of the hearing benchmark's corpora, fits, and tells by signal-to-noise ratio
how often the sentence said came out on top, by each opinion alone and by both. Of people and
remarks it takes only what is kept for it (`companion.bench.speller.split`), so that the rest can be
measured on. The weights go into `companion/hearing/calibration.toml`; the thresholds on the match
are the dialogue's.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from companion.errors import InputError

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from companion.bench.calibration.gathering import Gathered
    from companion.bench.hearing.case import Case

HELP = "fit the weights by which the bundled recogniser sums its two opinions"
EXAMPLE = (
    "example: python -m companion.bench calibration --corpus generated --corpus remarks "
    "--seed 55 --count 600 --snr clean 20 10 5 --out weights.toml"
)


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.epilog = EXAMPLE
    add = parser.add_argument
    add("--corpus", action="append", metavar="NAME", help="as of 'hearing'; may be repeated")
    add("--noise", action="append", metavar="FOLDER", help="as of 'hearing'; may be repeated")
    add("--most", type=int, metavar="N", help="take at most so many of each corpus, evenly")
    add("--snr", nargs="+", default=["clean"], metavar="DB", help="'clean' or decibels")
    add("--count", type=int, default=400, help="how many sentences are generated (default: 400)")
    add("--seed", type=int, default=55, help="which sentences are generated (default: 55)")
    add("--hold-out", default="festival", metavar="ENGINE", help="never used (default: festival)")
    add("--jobs", type=int, default=1, help="processes at once (default: 1)")
    add("--cache", type=Path, default=Path("hearing-out/spoken"), help="for synthetic speech")
    add("--out", type=Path, default=Path("calibration.toml"), help="the weights found")


def run(options: argparse.Namespace) -> None:
    """Hear, fit and tell.

    Raises:
        EngineError: scipy is not installed.
        InputError: a corpus or a noise is not there, or the weights cannot be written.
    """
    from companion.bench.calibration import fitting  # noqa: PLC0415 - help stays fast
    from companion.bench.calibration.gathering import Task, gather  # noqa: PLC0415 - as above
    from companion.bench.hearing.noise import Rooms  # noqa: PLC0415

    fitting.require_scipy()
    _require_writable(options.out)
    rooms, cells = Rooms(tuple(options.noise or ["hum"])), tuple(options.snr)
    tasks = [Task(case, cells, rooms, options.cache) for case in _cases(options)]
    heard = list(gather(tasks, max(1, options.jobs)))
    score = fitting.fit_score([each for each in heard if each.case.addressed])
    match = fitting.fit_match(heard, score)
    options.out.write_text(_toml({"score": score, "match": match}), "utf-8")
    print(_told(heard, cells, score))
    print(f"\n{options.out}:\n{options.out.read_text('utf-8')}")


def _require_writable(out: Path) -> None:
    try:
        with out.open("a", encoding="utf-8"):
            pass
    except OSError as exc:
        raise InputError(
            f"'{out}' cannot be written: {exc.strerror}", "Name another file with --out."
        ) from exc


def _cases(options: argparse.Namespace) -> list[Case]:
    """Return the corpora's cases that may be fitted to, without the voices held out."""
    from companion.bench.hearing.corpora import corpus  # noqa: PLC0415
    from companion.bench.hearing.running import some  # noqa: PLC0415
    from companion.bench.hearing.spoken import evenly, speakers_by_engine  # noqa: PLC0415
    from companion.bench.speller.split import is_for_fitting  # noqa: PLC0415

    engines = speakers_by_engine()
    engines.pop(options.hold_out, None)
    speakers = evenly(engines)
    found: list[Case] = []
    for name in options.corpus or ["generated"]:
        cases = corpus(name, speakers, count=options.count, seed=options.seed)
        found += some([case for case in cases if is_for_fitting(case)], options.most)
    if not found:
        raise InputError("Of these corpora nothing is kept for fitting", "Give --corpus generated.")
    return found


def _told(heard: Sequence[Gathered], cells: Sequence[str], score: dict[str, float]) -> str:
    """Return a table: how often the sentence said is on top."""
    from companion.bench.calibration.fitting import best_of, is_right, knows  # noqa: PLC0415

    alone = {"speller alone": {"spelt": 1.0}, "writer alone": {"written": 1.0, "word": 1.0}}
    lines = ["cell    heard   both %   " + "   ".join(f"{name} %" for name in alone)]
    for cell in cells:
        here = [each for each in heard if each.cell == cell and each.case.addressed and knows(each)]
        shares = []
        for weights in (score, *alone.values()):
            best = [(each, best_of(each, weights)) for each in here]
            right = sum(bool(top and is_right(each, top)) for each, top in best)
            shares.append(f"{100 * right / max(1, len(here)):6.1f}")
        lines.append(f"{cell:7} {len(here):5}   " + "          ".join(shares))
    return "\n".join(lines)


def _toml(tables: dict[str, dict[str, float]]) -> str:
    return (
        "\n\n".join(
            "\n".join([f"[{name}]", *(f"{key} = {value:.4f}" for key, value in table.items())])
            for name, table in tables.items()
        )
        + "\n"
    )
