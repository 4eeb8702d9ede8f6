"""What is said to the speller: sentences of the trade, and much that is none.

A network that only hears sentences of the grammars learns them by heart and spells what it expects.
So beside them stand words of the vocabulary in any order, numbers in any order, what the people of
the shared recordings say, single words of theirs joined, and prose: the help texts on the language
that come with Python.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pydoc_data.topics import topics
from random import Random
from typing import TYPE_CHECKING

from companion.bench.hearing.generated import generated
from companion.bench.hearing.moments import moments
from companion.bench.hearing.saying import value_in, ways_to_say
from companion.bench.speller.split import is_for_training
from companion.bench.speller.voices import VOICES
from companion.hearing.speller import PLACES
from companion.language.compose import compose
from companion.number_words import DIGITS, TEENS, TIES
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence
    from pathlib import Path

    from companion.bench.hearing.case import Case

    Words = tuple[str, ...]

GRAMMAR, RANDOM, NUMBERS, REMARKS = "grammar", "random", "numbers", "remarks"
PROSE, JOINED, PEOPLE = "prose", "joined", "people"
_SHARES = {  # common practice, no source
    GRAMMAR: 0.36, RANDOM: 0.18, NUMBERS: 0.18, REMARKS: 0.08, PROSE: 0.12, JOINED: 0.08,
}  # fmt: skip
_NUMBER_WORDS = (
    *(*DIGITS, *TEENS, *TIES),
    *("oh", "hundred", "thousand", "point", "minus", "half", "quarter", "and"),
)
_HIGHEST = (1, 10, 30, 100, 300, 2000)
_MOST_WORDS_OF_A_PASSAGE = 8
_WORD = re.compile(r"[a-z]+('[a-z]+)?")
_MOST_WORDS_OF_A_REMARK = 13  # longer ones seldom end within what is taken of a sound


@dataclass(frozen=True, slots=True)
class Line:
    """Something that is said.

    Attributes:
        kind: 'grammar', 'random', 'numbers', 'remarks', 'prose' (all by synthetic voices),
            'joined' (single words of people) or 'people'.
        words: in word form, letters of the speller's alphabet only.
        speaker: a synthetic voice ('flite:slt'), or a person's name; 'several' where joined.
        paths: the recordings, one behind the other; none for a synthetic voice.
    """

    kind: str
    words: Words
    speaker: str
    paths: tuple[Path, ...] = ()

    @property
    def text(self) -> str:
        """The words with a space between."""
        return " ".join(self.words)


def lines(count: int, seed: int, recordings: Iterable[Case]) -> list[Line]:
    """Return what is said, in any order; the same for the same arguments.

    Args:
        count: how many sentences the synthetic voices say.
        seed: which ones, and who says which.
        recordings: of people; taken is what may be trained on and can be spelled. Their words are
            also said by synthetic voices, as remarks, and their single words come joined.
    """
    chance = Random(f"speller {seed}")  # noqa: S311 - a seeded choice is no secret
    people = [case for case in recordings if is_for_training(case) and is_spellable(case.words)]
    texts = {
        GRAMMAR: _of_grammar(_share(GRAMMAR, count), seed),
        RANDOM: (_any_words(chance, 5) for _ in range(_share(RANDOM, count))),
        NUMBERS: (_number(chance) for _ in range(_share(NUMBERS, count))),
        REMARKS: _remarks(people, _share(REMARKS, count), chance),
        PROSE: (_passage(chance) for _ in range(_share(PROSE, count))),
    }
    found = [
        Line(kind, words, chance.choice(VOICES))
        for kind, said in texts.items()
        for words in said
        if is_spellable(words)
    ]
    found += _joined(people, _share(JOINED, count), chance)
    found += [Line(PEOPLE, each.words, each.speaker, (each.path,)) for each in people if each.path]
    chance.shuffle(found)
    return found


def is_spellable(words: Words) -> bool:
    """Return whether there are words, of letters that the speller knows.

    >>> is_spellable(("one", "point", "five")), is_spellable(("1.5",)), is_spellable(())
    (True, False, False)
    """
    return bool(words) and all(letter in PLACES for letter in "".join(words))


def _share(kind: str, count: int) -> int:
    return round(_SHARES[kind] * count)


def _of_grammar(count: int, seed: int) -> list[Words]:
    return [case.words for case in generated(count, seed, ["anyone"])[:count]]


@cache
def _vocabulary() -> tuple[str, ...]:
    """Every word that is live at any moment, in the order of the alphabet."""
    scopes = (moment.scope for moment in moments().values())
    return tuple(sorted({word for scope in scopes for word in compose(scope).vocabulary}))


@cache
def _unit_forms() -> tuple[Words, ...]:
    return tuple(form for unit in UNITS.values() for form in unit.heard)


def _any_words(chance: Random, most: int) -> Words:
    return tuple(chance.choice(_vocabulary()) for _ in range(chance.randint(1, most)))


def _number(chance: Random) -> Words:
    """A number, or words of numbers in any order; often a unit behind, sometimes words before."""
    if chance.random() < 0.4:  # noqa: PLR2004 - a share
        said = tuple(chance.choice(_NUMBER_WORDS) for _ in range(chance.randint(1, 4)))
    else:
        high = Decimal(chance.choice(_HIGHEST))
        value = value_in(Decimal(0), high, chance.choice((0, 0, 1, 2)), chance)
        said = chance.choice(ways_to_say(value) or (("five",),))
    before = _any_words(chance, 2) if chance.random() < 0.3 else ()  # noqa: PLR2004 - a share
    behind = chance.choice(_unit_forms()) if chance.random() < 0.5 else ()  # noqa: PLR2004
    return (*before, *said, *behind)


def _remarks(people: Sequence[Case], count: int, chance: Random) -> Iterator[Words]:
    """Yield talk that is not for the companion, in the words of the people trained on."""
    talk = [
        case.words
        for case in people
        if case.corpus == "not-for-me" and len(case.words) <= _MOST_WORDS_OF_A_REMARK
    ]
    return (chance.choice(talk) for _ in range(count if talk else 0))


@cache
def _prose() -> tuple[str, ...]:
    """Words of ordinary English, in their order; what is no word between them is left out."""
    said = (word.strip(".,;:()").lower() for text in topics.values() for word in text.split())
    return tuple(word for word in said if _WORD.fullmatch(word))


def _passage(chance: Random) -> Words:
    at, count = chance.randrange(len(_prose())), chance.randint(1, _MOST_WORDS_OF_A_PASSAGE)
    return _prose()[at : at + count]


def _joined(people: Sequence[Case], count: int, chance: Random) -> Iterator[Line]:
    """Yield single words of people, two to four, one behind the other; few said more than one."""
    single = [case for case in people if case.corpus == "words" and len(case.words) == 1]
    for _ in range(count if single else 0):
        taken = [chance.choice(single) for _ in range(chance.randint(2, 4))]
        paths = tuple(each.path for each in taken if each.path)
        yield Line(JOINED, tuple(each.words[0] for each in taken), "several", paths)
