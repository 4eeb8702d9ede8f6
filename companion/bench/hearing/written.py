"""Sentences written by hand: 'own', each said by one speaker, and 'remarks', each said by all.

'asked' is sizing questions in words of people who had not seen the grammars.

The remarks are talk that is not addressed: those of `remarks.tsv`, and those of
`own_sentences.tsv` that words alone can tell from a sentence of the grammar.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import as_file, files
from itertools import accumulate
from typing import TYPE_CHECKING

from companion.bench.hearing.case import Case
from companion.bench.hearing.labels import NOTHING
from companion.bench.hearing.moments import moment, moments
from companion.bench.hearing.tsv import rows
from companion.errors import InputError
from companion.language.compose import compose

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.bench.hearing.tsv import Row

Words = tuple[str, ...]

BREATH = "/"
_TRAP = "trap"
_COLUMNS = ("words", "moment", "addressed", "means", "note")


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence written by hand, with what should come of it.

    Attributes:
        words: in word form.
        moment: the name of the moment at which it is said.
        addressed: whether it is meant for the companion.
        means: a label of the expected meaning ('commands.done'), or 'nothing'.
        note: what it is there for; 'trap' where it is not addressed and the grammar accepts it.
        breaths: after how many words a breath is taken.
    """

    words: Words
    moment: str
    addressed: bool
    means: str
    note: str
    breaths: tuple[int, ...] = ()

    @property
    def knows(self) -> bool:
        """Whether the moment's language accepts the words."""
        return bool(compose(moment(self.moment).scope).interpret(self.words))


def own_sentences() -> tuple[Sentence, ...]:
    """Return the sentences of all kinds, in the order of the file."""
    return _sentences("own_sentences.tsv")


def remarks() -> tuple[Sentence, ...]:
    """Return the talk that is not addressed and no sentence of the grammar where it is said."""
    own = (each for each in own_sentences() if not each.addressed)
    told = (each for each in own if not each.note.startswith(_TRAP))
    return (*told, *_sentences("remarks.tsv"))


def _sentences(name: str) -> tuple[Sentence, ...]:
    with as_file(files("companion.bench.hearing").joinpath(name)) as path:
        return tuple(map(_sentence, rows(path, _COLUMNS)))


def _sentence(row: Row) -> Sentence:
    parts = [part.split() for part in row.text("words").split(BREATH)]
    return Sentence(
        words=tuple(word for part in parts for word in part),
        moment=moment_name(row.text("moment"), row),
        addressed=row.yes_or_no("addressed", otherwise=True),
        means=row.text("means"),
        note=row.cells["note"],
        breaths=tuple(accumulate(map(len, parts)))[:-1],
    )


def asked_questions() -> tuple[Sentence, ...]:
    """Return the sizing questions that were written without a look at the grammars."""
    return _sentences("asked_questions.tsv")


def asked_cases(speakers: Sequence[str]) -> list[Case]:
    """Return those questions, each asked by one of the speakers in turn."""
    return [
        _case("asked", number, asked, speakers[number % len(speakers)])
        for number, asked in enumerate(asked_questions())
    ]


def own_cases(speakers: Sequence[str]) -> list[Case]:
    """Return the sentences written by hand, each said by one of the speakers in turn."""
    return [
        _case("own", number, own, speakers[number % len(speakers)])
        for number, own in enumerate(own_sentences())
    ]


def remark_cases(speakers: Sequence[str]) -> list[Case]:
    """Return the remarks, each said by every speaker.

    Each is begun by another speaker, so that some of the list, taken evenly, is not of a few.
    """
    everyone = sorted(set(speakers))
    return [
        _case("remarks", number, remark, everyone[(number + turn) % len(everyone)])
        for number, remark in enumerate(remarks())
        for turn in range(len(everyone))
    ]


def _case(corpus: str, number: int, said: Sentence, speaker: str) -> Case:
    return Case(
        f"{corpus}-{number:03}-{speaker.replace(':', '_')}",
        corpus,
        said.moment,
        said.words,
        said.addressed,
        speaker,
        means="" if said.means == NOTHING else said.means,
        breaths=said.breaths,
    )


def moment_name(name: str, row: Row) -> str:
    """Return the name of a moment that a row names; '' stays.

    Raises:
        InputError: there is no such moment; names those that there are.
    """
    if name and name not in moments():
        raise InputError(
            f"No moment '{name}'", f"Moments: {', '.join(moments())}.", where=row.where
        )
    return name
