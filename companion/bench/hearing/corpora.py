"""The corpora: where the cases come from.

'generated' is driven by the grammars, 'own' are sentences written by hand, 'remarks' is talk that
is not addressed, by every speaker, 'speech:FOLDER' reads the shared recordings of people, and
anything else is the path of a user's own table.
"""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import TYPE_CHECKING

from companion.bench.hearing import places
from companion.bench.hearing.case import Case
from companion.bench.hearing.generated import generated
from companion.bench.hearing.moments import DEFAULT, moment
from companion.bench.hearing.tsv import rows
from companion.bench.hearing.written import asked_cases, moment_name, own_cases, remark_cases
from companion.errors import InputError
from companion.language.compose import compose
from companion.language.typed import repair
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.bench.hearing.tsv import Row

Words = tuple[str, ...]

_COUNT = 400
_HOLD_QUESTION = "suitable.check-co"
_BARE_FIGURE = "figure"
_METER_MOMENTS = (
    "volts", "amps", "watts", "ohms", "degrees", "percent", "gauge-pressure",
)  # fmt: skip


def corpus(name: str, speakers: Sequence[str], *, count: int = _COUNT, seed: int = 1) -> list[Case]:
    """Return a corpus by its name.

    Args:
        name: 'generated', 'own', 'asked', 'remarks', 'speech:FOLDER', or the path of a table with
            the columns path and words, and if you like moment, speaker, addressed.
        speakers: synthetic speakers, dealt out in turn, for sentences that are no recordings.
        count: how many sentences are generated.
        seed: which sentences are generated.

    Raises:
        InputError: a table is missing or broken; tells file and line.
    """
    if name == "generated":
        return generated(count, seed, speakers)
    if name == "own":
        return own_cases(speakers)
    if name == "asked":
        return asked_cases(speakers)
    if name == "remarks":
        return remark_cases(speakers)
    kind, _, folder = name.partition(":")
    return speech(Path(folder)) if kind == "speech" and folder else yours(Path(name))


def knows(case: Case) -> bool:
    """Return whether the language of the case's moment accepts its words."""
    return bool(compose(moment(case.moment).scope).interpret(case.words))


# ---------------------------------------------------------------- recordings of people


def speech(folder: Path) -> list[Case]:
    """Return the shared recordings: readings, single words, and what is not for the companion.

    A single word is addressed where it means something; what is read aloud or said by others never
    is. A file that the table lists with different words is left out: which are its own is unknown.

    Args:
        folder: the folder that holds 'speech.tsv'.

    Raises:
        InputError: the folder or its table is missing or broken.
    """
    needed = ("path", "words", "speaker", "set")
    more = ("licence", "note", "native_rate_hz", "seconds")
    listed: dict[str, list[Row]] = {}
    for row in rows(folder / "speech.tsv", needed, more):
        listed.setdefault(row.text("path"), []).append(row)
    return [
        _recorded(same[0], folder)
        for same in listed.values()
        if len({row.cells["words"] for row in same}) == 1
    ]


def _recorded(row: Row, folder: Path) -> Case:
    path = folder / row.text("path")
    kind = Path(row.text("path")).parts[0]
    if kind not in {"readings", "words"}:  # its words are not always known
        words, name, addressed = _plain(row.cells["words"]), _some_reading(path.stem), False
    else:
        words = _plain(row.text("words"))
        name = _reading_moment(words) if kind == "readings" else _word_moment(words)
        addressed = kind == "readings" or _accepts(name, words)
    return Case(f"{kind}-{path.stem}", kind, name, words, addressed, row.text("speaker"), path)


def _plain(text: str) -> Words:
    """Return a transcript in word form."""
    kept = "".join(letter if letter.isalnum() or letter == "'" else " " for letter in text.lower())
    return tuple(kept.split())


def _reading_moment(words: Words) -> str:
    """Return the moment at which a bare reading is live, by the unit that it ends in."""
    for name in _METER_MOMENTS:
        point = places.vocabulary(moment(name), name)
        heard = (form for unit in (point.unit, *point.others) for form in UNITS[unit].heard)
        if any(words[-len(form) :] == form for form in heard):
            return name
    return _BARE_FIGURE


def _word_moment(words: Words) -> str:
    return _HOLD_QUESTION if words in {("yes",), ("no",)} else _BARE_FIGURE


def _some_reading(key: str) -> str:
    """Return a moment at which a reading is awaited: the same for the same key."""
    at = places.reading_awaited(damper_only=True)
    return at[int(hashlib.sha256(key.encode()).hexdigest(), 16) % len(at)].name


def _accepts(name: str, words: Words) -> bool:
    return bool(compose(moment(name).scope).interpret(words))


# ---------------------------------------------------------------- a user's own table


def yours(path: Path) -> list[Case]:
    """Return a user's own recordings.

    Args:
        path: a table with the columns path (from the table's folder) and words; if you like
            moment, speaker and addressed (yes or no). Figures in words are put into words where
            that makes a sentence of the moment.

    Raises:
        InputError: the table or a row is broken; tells file, line and what to do.
    """
    found = rows(path, ("path", "words"), ("moment", "speaker", "addressed"))
    return [_yours(row, path.parent, number) for number, row in enumerate(found)]


def _yours(row: Row, folder: Path, number: int) -> Case:
    sound = folder / row.text("path")
    if not sound.is_file():
        raise InputError(
            f"No sound file '{row.text('path')}'",
            "Paths count from the table's own folder.",
            where=row.where,
        )
    name = moment_name(row.cells.get("moment") or "", row)
    addressed = row.yes_or_no("addressed", otherwise=True)
    text = row.text("words") if addressed else row.cells["words"]
    name, words = _placed(text, name, row)
    speaker = row.cells.get("speaker") or "you"
    return Case(f"yours-{number:04}", "yours", name, words, addressed, speaker, sound)


def _placed(text: str, name: str, row: Row) -> tuple[str, Words]:
    """Return moment and words; without a moment, the first of the usual ones that knows them."""
    usual = (name,) if name else (DEFAULT, *_METER_MOMENTS, _HOLD_QUESTION)
    for each in usual:
        words = repair(text, compose(moment(each).scope)) if _has_figures(text) else _plain(text)
        if _accepts(each, words):
            return each, words
    words = repair(text, compose(moment(usual[0]).scope)) if _has_figures(text) else _plain(text)
    if any(_has_figures(word) for word in words):
        raise InputError(
            f"'{text}' holds figures that are not read here",
            "Write them as they were said ('one nineteen').",
            where=row.where,
        )
    return usual[0], words


def _has_figures(text: str) -> bool:
    return any(letter.isdigit() for letter in text)
