"""The `numbers` benchmark: 200 trade phrasings, our reader beside two general libraries.

The phrases are data of the checkout (tests/golden/spoken_numbers.toml), written by the hand that
wrote the reader: they show which forms are covered, they are no sample of speech. A phrase is
right when the exact value comes out, refused when no number does, wrong when another one does:
wrong is what ends in a log.

The peers are word2number and text2digits. The latter rewrites text and leaves what it does not
know standing, so its answer is read kindly: a leading 'minus' is a sign, a leading 'point' is
'zero point', a leading 'a' is nothing.
"""

from __future__ import annotations

import json
import tomllib
from dataclasses import asdict, dataclass
from fractions import Fraction
from importlib.metadata import version
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import TYPE_CHECKING

import companion
from companion.bench.rates import wilson
from companion.errors import InputError, NotANumberError
from companion.numbers import parse

if TYPE_CHECKING:
    import argparse
    from collections.abc import Callable, Sequence

    Reader = Callable[[str], Fraction | None]

HELP = "spoken numbers: ours against word2number and text2digits on 200 trade phrasings"
PHRASES = Path("tests", "golden", "spoken_numbers.toml")
OURS = "companion"


@dataclass(frozen=True, slots=True)
class Phrase:
    """A phrase with the exact value that its speaker means."""

    group: str
    words: str
    value: Fraction


@dataclass(frozen=True, slots=True)
class Score:
    """How many phrases a reader read right, wrong, and refused."""

    right: int
    wrong: int
    refused: int

    @property
    def of(self) -> int:
        """How many phrases there were."""
        return self.right + self.wrong + self.refused


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the benchmark's options to its subcommand."""
    parser.add_argument(
        "--phrases", type=Path, metavar="FILE", help="phrases to read instead of the checkout's"
    )
    parser.add_argument(
        "--rounds", type=int, default=15, help="times each reader reads all phrases (default: 15)"
    )


def run(options: argparse.Namespace) -> None:
    """Score and time every reader on the phrases; print a table and one JSON object.

    Raises:
        InputError: the phrases or a peer are missing, or `--rounds` is below 1.
    """
    if options.rounds < 1:
        raise InputError(f"--rounds is {options.rounds}", "Give 1 or more.")
    phrases = load_phrases(options.phrases or checkout_phrases())
    readers = {OURS: read_ours, **peers()}
    times_us = times_per_phrase_us(readers, phrases, options.rounds)
    print(table(readers, phrases, times_us))
    print(json.dumps(report(readers, phrases, times_us), ensure_ascii=False))


# ---------------------------------------------------------------- phrases


def checkout_phrases() -> Path:
    """Return the checkout's phrases file.

    Raises:
        InputError: this is no checkout.
    """
    path = Path(companion.__file__).parent.parent / PHRASES
    if not path.is_file():
        raise InputError(
            "The phrases are part of the source, not of this installation",
            f"Run it in a checkout, installed with pip install -e '.[test]', or give --phrases"
            f" with a copy of {PHRASES.as_posix()}.",
            where=str(path),
        )
    return path


def load_phrases(path: Path) -> tuple[Phrase, ...]:
    """Return the phrases of a file: a table a group, each with `"words" = "value"`.

    Raises:
        InputError: the file cannot be read, or a value is no decimal and no fraction.
    """
    try:
        groups = tomllib.loads(path.read_text(encoding="utf-8"))
        phrases = tuple(
            Phrase(group, words, Fraction(value))
            for group, table_of in groups.items()
            for words, value in table_of.items()
        )
    except (OSError, ValueError, AttributeError, TypeError) as cause:
        problem = f"The phrases cannot be read: {cause}"
        raise InputError(problem, 'Give "words" = "value" lines.', where=str(path)) from cause
    if not phrases:
        raise InputError("There are no phrases", 'Give "words" = "value" lines.', where=str(path))
    return phrases


# ---------------------------------------------------------------- readers


def read_ours(words: str) -> Fraction | None:
    """Return what our reader makes of a phrase."""
    try:
        return Fraction(parse(words.split()))
    except NotANumberError:
        return None


def peers() -> dict[str, Reader]:
    """Return the peers by name and version.

    Raises:
        InputError: one is not installed.
    """
    try:
        from text2digits.text2digits import Text2Digits  # noqa: PLC0415 - only here, and optional
        from word2number.w2n import word_to_num  # noqa: PLC0415 - as above
    except ImportError as cause:
        raise InputError(
            f"A peer is not installed: {cause.name}",
            "Install the peers with: pip install 'word2number>=1.1' 'text2digits>=0.1'",
        ) from cause
    convert = Text2Digits().convert

    def read_word2number(words: str) -> Fraction | None:
        try:
            return Fraction(str(word_to_num(words)))
        except ValueError:
            return None

    def read_text2digits(words: str) -> Fraction | None:
        return kindly(convert(words))

    return {
        f"word2number {version('word2number')}": read_word2number,
        f"text2digits {version('text2digits')}": read_text2digits,
    }


def kindly(text: str) -> Fraction | None:
    """Return the number that a rewritten text amounts to, None where words are left.

    >>> kindly("minus point 45"), kindly("a 100"), kindly("26 and a half")
    (Fraction(-9, 20), Fraction(100, 1), None)
    """
    first, _, rest = text.strip().partition(" ")
    match first:
        case "minus" | "negative":
            size = kindly(rest)
            return None if size is None else -size
        case "point":
            return _fraction(f"0.{rest}") if rest else None
        case "a":
            return _fraction(rest)
    return _fraction(text.strip())


def _fraction(text: str) -> Fraction | None:
    try:
        return Fraction(text)
    except ValueError:
        return None


# ---------------------------------------------------------------- measuring


def score(read: Reader, phrases: Sequence[Phrase]) -> Score:
    """Return how a reader did on the phrases."""
    read_as = [read(phrase.words) for phrase in phrases]
    right = sum(value == phrase.value for value, phrase in zip(read_as, phrases, strict=True))
    refused = read_as.count(None)
    return Score(right, len(phrases) - right - refused, refused)


def times_per_phrase_us(
    readers: dict[str, Reader], phrases: Sequence[Phrase], rounds: int
) -> dict[str, float]:
    """Return each reader's median time a phrase in microseconds; the readers take turns."""
    taken: dict[str, list[float]] = {name: [] for name in readers}
    for _ in range(rounds):
        for name, read in readers.items():
            started = perf_counter()
            for phrase in phrases:
                read(phrase.words)
            taken[name].append((perf_counter() - started) * 1e6 / len(phrases))
    return {name: median(times) for name, times in taken.items()}


# ---------------------------------------------------------------- printing


def by_group(phrases: Sequence[Phrase]) -> dict[str, list[Phrase]]:
    """Return the phrases of each group, in the file's order."""
    groups: dict[str, list[Phrase]] = {}
    for phrase in phrases:
        groups.setdefault(phrase.group, []).append(phrase)
    return groups


def table(readers: dict[str, Reader], phrases: Sequence[Phrase], times_us: dict[str, float]) -> str:
    """Return right/wrong/refused by group and reader, then shares, times and ratios."""
    rows = [["right/wrong/refused", "phrases", *readers]]
    for group, members in (*by_group(phrases).items(), ("all", phrases)):
        scores = [score(read, members) for read in readers.values()]
        cells = [f"{each.right}/{each.wrong}/{each.refused}" for each in scores]
        rows.append([group, str(len(members)), *cells])
    rates = [wilson(score(read, phrases).right, len(phrases)) for read in readers.values()]
    shares = [f"{each.share:.1%} [{each.low:.1%}, {each.high:.1%}]" for each in rates]
    rows += [
        ["share right, 95 % bound", "", *shares],
        ["time a phrase, µs", "", *(f"{time_us:.1f}" for time_us in times_us.values())],
        ["our time / its time", "", *(f"{_ratio(times_us, name):.3f}" for name in readers)],
    ]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    )


def report(
    readers: dict[str, Reader], phrases: Sequence[Phrase], times_us: dict[str, float]
) -> dict[str, object]:
    """Return the figures as one JSON object."""
    return {
        "benchmark": "numbers",
        "phrases": len(phrases),
        "readers": {
            name: _figures(read, phrases)
            | {
                "time_us": round(times_us[name], 2),
                "our_time_ratio": round(_ratio(times_us, name), 4),
                "groups": {
                    group: asdict(score(read, members))
                    for group, members in by_group(phrases).items()
                },
            }
            for name, read in readers.items()
        },
    }


def _figures(read: Reader, phrases: Sequence[Phrase]) -> dict[str, object]:
    """Return the three rates of a reader."""
    found = score(read, phrases)
    kinds = {"right": found.right, "wrong": found.wrong, "refused": found.refused}
    return {kind: wilson(hits, found.of).as_json() for kind, hits in kinds.items()}


def _ratio(times_us: dict[str, float], name: str) -> float:
    return times_us[OURS] / times_us[name]
