"""The `speller` command: makes the weights of the speller anew, and tells how well they spell.

Texts are said by synthetic voices, recordings of people are taken as they are; everything is put
in noise and goes through the hardened encoder; from its states a small network learns the letters
(`companion.hearing.speller`). festival, the 'readings' and half of the speakers are kept out, and
one text in thirty: on those texts the letters that come out wrong are counted.
"""

from __future__ import annotations

import argparse
import json
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from companion.bench.speller.split import is_for_training, is_held_back
from companion.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from companion.bench.speller.report import Report
    from companion.bench.speller.states import Example, States
    from companion.bench.speller.training import Epoch, Training

__all__ = ["HELP", "add_options", "is_for_training", "run"]

HELP = "make the speller's weights anew from synthetic speech, recordings and noise"
EXAMPLE = (
    "example: python -m companion.bench speller --speech recordings --noise my-noises "
    "--sentences 14000 --epochs 20 --seed 101 --out speller-out"
)
INTERRUPTED = 130  # the exit code of what Ctrl-C ended


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.epilog = EXAMPLE
    add = parser.add_argument
    add("--speech", type=Path, required=True, metavar="FOLDER", help="holds a 'speech.tsv'")
    add("--noise", required=True, metavar="FOLDER", help="recordings of noise, or 'hum'")
    add("--sentences", type=_positive, default=14_000, metavar="N", help="said by voices")
    add("--epochs", type=_positive, default=20, metavar="N", help="how often all is learnt from")
    add("--seed", type=int, default=101, metavar="N", help="not one that you measure with")
    add("--out", type=Path, default=Path("speller-out"), metavar="FOLDER", help="for the weights")
    add("--jobs", type=_positive, default=1, metavar="N", help="processes, then threads, at once")
    add("--start", type=Path, metavar="WEIGHTS.npz", help="go on from these weights")


def run(options: argparse.Namespace) -> None:
    """Say, mix, encode, train, measure. Ctrl-C ends it with the weights of the last epoch."""
    try:
        report, path = _made(options)
    except KeyboardInterrupt:
        print("\nStopped before an epoch ended: no weights were written.")
        raise SystemExit(INTERRUPTED) from None
    print(json.dumps(report.as_json(path)))


def _made(options: argparse.Namespace) -> tuple[Report, Path]:
    """Return the report of a training, and where its weights are."""
    from companion.bench.hearing.corpora import speech  # noqa: PLC0415 - help stays fast
    from companion.bench.hearing.noise import Room  # noqa: PLC0415
    from companion.bench.speller.report import Report, digest  # noqa: PLC0415
    from companion.bench.speller.sounds import Noises  # noqa: PLC0415
    from companion.bench.speller.states import States, collect, tasks  # noqa: PLC0415
    from companion.bench.speller.texts import lines  # noqa: PLC0415
    from companion.bench.speller.training import torch_module  # noqa: PLC0415
    from companion.bench.speller.voices import check_voices  # noqa: PLC0415
    from companion.bench.speller.weights import fresh, read  # noqa: PLC0415

    torch_module()  # what is missing is told before an hour's work, not after
    check_voices()
    noises = Noises(Room(options.noise).recordings())
    start = read(options.start) if options.start else fresh(options.seed)
    report = Report(options.seed, options.sentences, options.epochs)
    report.started_from = digest(options.start) if options.start else ""
    wanted = lines(options.sentences, options.seed, speech(options.speech))
    path = _folder(options.out) / "speller.npz"
    with tempfile.TemporaryDirectory(prefix="states-", dir=options.out) as folder:
        states = States(Path(folder, "states.f16"))
        collect(tasks(wanted, noises, options.seed), states, options.jobs)
        learnt, held = shared_out(states.examples)
        report.count(states, learnt, held)
        epochs = _training(options, states, learnt).run(start)
        _kept(epochs, (states, held), report, path)
    return report, path


def _training(options: argparse.Namespace, states: States, learnt: Sequence[Example]) -> Training:
    from companion.bench.speller.training import AFRESH, FURTHER, Training  # noqa: PLC0415

    pace = FURTHER if options.start else AFRESH
    return Training(states, learnt, options.epochs, options.seed, pace, options.jobs)


def shared_out(examples: Sequence[Example]) -> tuple[list[Example], list[Example]]:
    """Return what is learnt from, and what is held back; noise alone is never held back.

    Raises:
        InputError: nothing is left to learn from.
    """
    fitting = [example for example in examples if example.fits]
    held = [each for each in fitting if each.text and is_held_back(each.text)]
    learnt = [each for each in fitting if not (each.text and is_held_back(each.text))]
    if not any(each.text for each in learnt):
        raise InputError("There is nothing to learn from", "Ask for more with --sentences.")
    return learnt, held


def _kept(
    epochs: Iterable[Epoch], measured: tuple[States, Sequence[Example]], report: Report, path: Path
) -> None:
    """Write the weights of each epoch as it ends, and tell how they spell."""
    from companion.bench.speller.measuring import letter_errors, table  # noqa: PLC0415
    from companion.bench.speller.weights import write  # noqa: PLC0415
    from companion.hearing.speller import Speller  # noqa: PLC0415

    try:
        for epoch in epochs:
            write(epoch.weights, path)
            report.losses.append(epoch.loss)
            report.rates = letter_errors(Speller(path), *measured)
            report.write(path)
            print(table(report.rates), flush=True)
    except KeyboardInterrupt:
        if not report.losses:
            raise
        print(f"\nStopped: {path} holds the weights of epoch {len(report.losses)}.", flush=True)
        report.rates = letter_errors(Speller(path), *measured)  # the epoch's may be half done
        report.write(path)


def _folder(out: Path) -> Path:
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise InputError(f"'{out}' cannot be made", "Name another folder with --out.") from exc
    return out


def _positive(text: str) -> int:
    """Return a whole number above zero."""
    if not text.isdecimal() or not int(text):
        raise argparse.ArgumentTypeError(f"'{text}' is no whole number above zero")
    return int(text)
