"""`python -m companion.bench NAME`: run one benchmark, print a table and one JSON object.

A benchmark is a module with `HELP`, `add_options(parser)` and `run(options)`; it stands in
`BENCHMARKS` under the name that the command line uses and is imported only when it is asked for
or help is shown.
"""

from __future__ import annotations

import argparse
import sys
from importlib import import_module
from typing import TYPE_CHECKING, Protocol, cast

from companion.errors import CompanionError

if TYPE_CHECKING:
    from collections.abc import Sequence

BENCHMARKS = {
    "loop": "companion.bench.loop",
    "own-voice": "companion.bench.own_voice",
    "hearing": "companion.bench.hearing",
    "calibration": "companion.bench.calibration",
    "speller": "companion.bench.speller",
    "numbers": "companion.bench.spoken_numbers",
    "wordings": "companion.bench.wordings",
    "kills": "companion.bench.kills",
    "record": "companion.bench.record",
    "rehearsals": "companion.bench.rehearsals",
}


class Benchmark(Protocol):
    """What a benchmark's module offers."""

    HELP: str

    def add_options(self, parser: argparse.ArgumentParser) -> None:
        """Add the benchmark's own options."""

    def run(self, options: argparse.Namespace) -> None:
        """Measure and print."""


def benchmark(name: str) -> Benchmark:
    """Return the benchmark of that name."""
    return cast("Benchmark", import_module(BENCHMARKS[name]))


def parser() -> argparse.ArgumentParser:
    """Return the command line: one subcommand a benchmark."""
    line = argparse.ArgumentParser(
        prog="python -m companion.bench",
        description="Measure, beside a peer on the same input in the same run.",
    )
    commands = line.add_subparsers(dest="name", required=True, metavar="NAME")
    for name in BENCHMARKS:
        module = benchmark(name)
        module.add_options(commands.add_parser(name, help=module.HELP, description=module.HELP))
    return line


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark that the command line names; return the exit code."""
    options = parser().parse_args(arguments)
    try:
        benchmark(options.name).run(options)
    except CompanionError as error:
        print(error, file=sys.stderr)
        return error.exit_code
    return 0


if __name__ == "__main__":
    sys.exit(main())
