"""The `wordings` benchmark: learns from grammars/wordings what asks for which sizing, and tells.

Each wording is understood by a model that did not learn from it (in so many shares), beside a peer
that takes the wording most like it (rapidfuzz's token set ratio). Then the questions of the corpus
'asked', whose writer had not seen the rest, and remarks that are no questions. With `--out` the
model of all wordings is written: models/questions.npz.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import argparse

HELP = "questions in people's own words: how many are understood, beside the nearest wording"
EXAMPLE = "example: python -m companion.bench wordings --shares 4 --out models/questions.npz"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.epilog = EXAMPLE
    add = parser.add_argument
    add("--shares", type=int, default=4, help="how many shares to test in; 0: none (default: 4)")
    add("--out", type=Path, help="write the model of all wordings, a .npz")
    add("--errors", action="store_true", help="print what was understood wrong")


def run(options: argparse.Namespace) -> None:
    """Learn, test and tell.

    Raises:
        GrammarError: a wording is not of its form.
        InputError: the model cannot be written.
    """
    from companion.bench.wordings.testing import report  # noqa: PLC0415 - help stays fast

    report(options.shares, options.out, errors=options.errors)
