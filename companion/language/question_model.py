"""What was learnt from the wordings, and what each sizing wants to know: one packaged file.

`models/questions.npz` is made by `python -m companion.bench wordings` from the files in
grammars/wordings, from talk that is no question, and from the sizings' declarations; this room
knows neither of these. It holds three things:

- subjects: how much each word speaks for each sizing (`subjects.py`);
- filling: where an input stands among the words (`filling.py`);
- order: which words follow one another in such questions (`word_order.py`).
"""

from __future__ import annotations

import json
import zipfile
import zlib
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np

from companion.errors import ModelError
from companion.packaged import packaged_folder

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    import numpy.typing as npt

FILE = "questions.npz"
NO_QUESTION = ""  # the subject of what asks for no sizing
BUCKETS = 1 << 18  # a filling feature's weight is found by its hash

_REMEDY = "Install this program again: pip install --force-reinstall ."
_UNREADABLE = (
    OSError, ValueError, KeyError, TypeError, EOFError, IndexError, ArithmeticError,
    zipfile.BadZipFile, zlib.error,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Slot:
    """An input of a sizing, as far as the words of a question are concerned.

    Attributes:
        name: the input's name.
        key: the words that it is called by.
        kind: 'measure', 'count', 'gauge', 'trade size' or 'yes or no'.
        ranges: lowest and highest value and unit slug, the unit of a bare number first.
        options: each option's value with the phrases that name it; none for a measured input.
        many: whether several amounts may be it.
        is_asked_for: whether it is asked for where it is left out; else something is assumed.
        unless: the inputs beside which it is not.
    """

    name: str
    key: frozenset[str]
    kind: str
    ranges: tuple[tuple[Decimal, Decimal, str], ...]
    options: tuple[tuple[str, tuple[tuple[str, ...], ...]], ...]
    many: bool
    is_asked_for: bool
    unless: frozenset[str]


@dataclass(frozen=True, slots=True, eq=False)
class QuestionModel:
    """The file's contents.

    Attributes:
        subjects: sizing slugs, and `NO_QUESTION`.
        features: what `subjects.features` yields, by its place.
        rarity: how rare each feature is, shape (features,).
        weights: how much each feature speaks for each subject, shape (features, subjects).
        filling: the weight of a filling feature by its bucket, shape (BUCKETS,).
        slots: each sizing's inputs.
        words: all words of the wordings.
        alone: how often each word occurs, shape (words + 2,): behind the words stand a number
            word of any kind and the end.
        pairs: word, word behind it, how often; shape (n, 3); a first word of -1 is the beginning.
        source: a digest of what it was made from.
    """

    subjects: tuple[str, ...]
    features: Mapping[str, int]
    rarity: npt.NDArray[np.float32]
    weights: npt.NDArray[np.float32]
    filling: npt.NDArray[np.float32]
    slots: Mapping[str, tuple[Slot, ...]]
    words: tuple[str, ...]
    alone: npt.NDArray[np.int64]
    pairs: npt.NDArray[np.int64]
    source: str


def slot_of(table: Mapping[str, Any]) -> Slot:
    """Return an input of the file's JSON."""
    return Slot(
        name=table["name"],
        key=frozenset(table["key"]),
        kind=table["kind"],
        ranges=tuple((Decimal(low), Decimal(high), unit) for low, high, unit in table["ranges"]),
        options=tuple(
            (value, tuple(tuple(phrase.split()) for phrase in phrases))
            for value, phrases in table["options"]
        ),
        many=table["many"],
        is_asked_for=table["asked"],
        unless=frozenset(table["unless"]),
    )


def read_model(path: Path) -> QuestionModel:
    """Read a model.

    Raises:
        ModelError: it is missing or not of this form.
    """
    try:
        with path.open("rb") as file, np.load(file) as kept:
            filling = np.zeros(BUCKETS, np.float32)
            filling[kept["filling_at"]] = kept["filling"].astype(np.float32)
            return QuestionModel(
                subjects=tuple(str(each) for each in kept["subjects"]),
                features={str(name): at for at, name in enumerate(kept["features"])},
                rarity=kept["rarity"].astype(np.float32),
                weights=kept["weights"].astype(np.float32) * kept["scale"],
                filling=filling,
                slots={
                    slug: tuple(map(slot_of, inputs))
                    for slug, inputs in json.loads(str(kept["slots"]))
                },
                words=tuple(str(each) for each in kept["words"]),
                alone=kept["alone"].astype(np.int64),
                pairs=kept["pairs"].astype(np.int64),
                source=str(kept["source"]),
            )
    except _UNREADABLE as exc:
        raise ModelError(
            f"What questions mean cannot be read: {exc}", _REMEDY, where=str(path)
        ) from exc


@cache
def packaged_model() -> QuestionModel:
    """Return the packaged model; read once a process.

    Raises:
        ModelError: it is missing or not of this form.
    """
    return read_model(packaged_folder("models") / FILE)
