"""Free words taken apart: which of them are numbers, and with which unit.

A grammar knows where a number may stand; here nothing is known, so the longest run of words that
is a number is one, and the longest unit that follows is its unit.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from companion.errors import NotANumberError
from companion.numbers import NUMBER_WORDS, parse
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.ports import Exact

_BEGIN_NO_NUMBER = frozenset({"and", "of", "o", "second", "seconds", "third"})
_AUGHTS = {"one": "1/0", "two": "2/0", "three": "3/0", "four": "4/0"}  # wire thicker than number 1
# "Nine twelves" are nine conductors of number 12; common practice, no source.
_SEVERAL_OF = {
    "twos": "two",
    "fours": "four",
    "sixes": "six",
    "eights": "eight",
    "tens": "ten",
    "twelves": "twelve",
    "fourteens": "fourteen",
    "sixteens": "sixteen",
    "eighteens": "eighteen",
    "twenties": "twenty",
}
_SAID_WITHOUT_ONE = frozenset({"inch", "foot", "ton"})  # "an inch and a half", "a ton and a half"
# Measures that the program has no unit for, or names as an input: a number before one has a unit.
_OTHER_MEASURES = frozenset(
    {"meter", "meters", "metre", "metres", "yard", "yards", "mile", "miles", "horsepower", "horse"}
    | {"c", "pa", "roll", "rolls", "centimeters", "kilometers", "joules", "coulombs", "farads"}
    | {"hertz"}
)
_MULTIPLIES = frozenset({"twice", "double", "triple", "times", "half"})
# Several of what is no wire: "two nines" is eighteen, and that is not reckoned here.
_SEVERAL = frozenset(
    {"ones", "threes", "fives", "sevens", "nines", "elevens", "thirties", "forties"}
)
_LONGEST_NUMBER = 12  # words: "one hundred twenty three thousand four hundred and fifty six"
_LONGEST_REST = 4  # "and three quarters", "and a half"


@dataclass(frozen=True, slots=True)
class Piece:
    """A word, or an amount: a number with the unit said behind it.

    Attributes:
        mark: the word itself; '#V' for an amount whose unit's first meaning is 'V', '#' for a bare
            number.
        start: its first word.
        end: the word behind its last.
        value: the number, or a wire's name ('2/0'); None for a word.
        units: the unit slugs that the words behind the number may mean; none for a bare number.
        noun: the word behind a bare number that names another measure ("meters"), or ''.
        is_odd: whether the number is not what counts: "twice eighty feet".
    """

    mark: str
    start: int
    end: int
    value: Exact | str | None = None
    units: tuple[str, ...] = ()
    noun: str = ""
    is_odd: bool = False

    @property
    def is_amount(self) -> bool:
        """Whether it is a number."""
        return self.value is not None


def pieces(words: Sequence[str]) -> tuple[Piece, ...]:
    """Return the words with numbers and their units taken together, in order.

    >>> [piece.mark for piece in pieces("eighty feet of twenty gauge at point three amps".split())]
    ['#ft', 'of', '#gauge', 'at', '#A']
    >>> pieces("an inch and a half".split())[0].value
    Fraction(3, 2)
    """
    found: list[Piece] = []
    at = 0
    while at < len(words):
        piece = _amount(words, at) or _one(words, at) or Piece(words[at], at, at + 1)
        found.append(piece)
        at = piece.end
    return tuple(found)


def _amount(words: Sequence[str], at: int) -> Piece | None:
    if words[at] in _AUGHTS and tuple(words[at + 1 : at + 2]) == ("aught",):
        return Piece("#aught", at, at + 2, _AUGHTS[words[at]])
    if words[at] in _SEVERAL:
        return Piece("#", at, at + 1, parse(("one",)), is_odd=True)
    if words[at] in _SEVERAL_OF:
        return Piece("#gauge", at, at + 1, parse((_SEVERAL_OF[words[at]],)), ("gauge",))
    if (
        words[at] not in NUMBER_WORDS
        or words[at] in _BEGIN_NO_NUMBER
        or _before(words, at) == "class"
    ):
        return None
    end = at
    while end < len(words) and words[end] in NUMBER_WORDS and end - at < _LONGEST_NUMBER:
        end += 1
    for stop in range(end, at, -1):
        value = _number(words[at:stop])
        if value is not None:
            units, behind = _units(words, stop)
            if not units and _before(words, at) == "number":
                units = ("gauge",)
            noun = words[stop] if not units and stop < len(words) else ""
            return Piece(
                f"#{units[0] if units else ''}",
                at,
                behind,
                value,
                units,
                noun=noun if noun in _OTHER_MEASURES else "",
                is_odd=_before(words, at) in _MULTIPLIES,
            )
    return None


def _before(words: Sequence[str], at: int) -> str:
    return words[at - 1] if at else ""


def _one(words: Sequence[str], at: int) -> Piece | None:
    """Return 'an inch', 'inch and a half', 'ton and a half': an amount that leaves out its one."""
    start = at + (words[at] in {"a", "an"})
    if start >= len(words) or words[start] not in _SAID_WITHOUT_ONE:
        return None
    units, behind = _units(words, start)
    for stop in range(min(behind + _LONGEST_REST, len(words)), behind, -1):
        if words[behind] == "and":
            value = _number(["one", *words[behind:stop]])
            if value is not None:
                return Piece(f"#{units[0]}", at, stop, value, units)
    is_whole = start > at and words[start] == "inch"
    return Piece(f"#{units[0]}", at, behind, parse(("one",)), units) if is_whole else None


def _number(words: Sequence[str]) -> Exact | None:
    try:
        return parse(tuple(words))
    except NotANumberError:
        return None


def _units(words: Sequence[str], at: int) -> tuple[tuple[str, ...], int]:
    """Return the units that the words at a place may mean, and the place behind them."""
    known, longest = _heard()
    for length in range(min(longest, len(words) - at), 0, -1):
        said = tuple(words[at : at + length])
        if said in known:
            return known[said], at + length
    return (), at


@cache
def _heard() -> tuple[Mapping[tuple[str, ...], tuple[str, ...]], int]:
    """Return the units by how they are said, and of how many words the longest is."""
    known: dict[tuple[str, ...], tuple[str, ...]] = {}
    for unit in UNITS.values():
        for said in unit.heard:
            known[said] = (*known.get(said, ()), unit.slug)
    return known, max(map(len, known))
