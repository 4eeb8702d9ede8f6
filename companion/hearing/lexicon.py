"""Which pieces of text may come next, for a grammar and what has been written so far.

A `Place` is where a search stands: the (part, state) pairs still alive and the letters of the word
begun. Its `moves` are worked out once, by walking the trie of pieces against the words that are
possible there, first for each part alone, then united; both are kept, so a grammar that shares a
large part with an earlier one costs little.

Letters said singly may be written together ('CO' for "c o", 'VA' for "v a"): such runs are filed
as words of their own.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, NamedTuple, TypeAlias

import numpy as np

from companion.hearing.tokens import SPACE, STOP
from companion.ports import Automaton, Grammar

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    from companion.hearing.tokens import Node

Words: TypeAlias = tuple[str, ...]
Alive: TypeAlias = frozenset[tuple[int, int]]  # (part, state) pairs

_LONGEST_RUN = 4  # letters written together
_MOST_PLACES = 15_000  # some 3 kB each with all that hangs on it, measured


class _Ending(NamedTuple):
    """A word (or a run of letters) ends: the words it was, and the state they lead to."""

    words: Words
    state: int


class _Reach(NamedTuple):
    """Where a piece leads within a part."""

    words: Words  # completed by it
    state: int
    letters: str  # of the word begun after them
    spaced: bool  # a space was written and none may follow


@dataclass(slots=True)
class _Spelling:
    """A node of the trie of words possible in a state."""

    below: dict[str, _Spelling] = field(default_factory=dict)
    endings: list[_Ending] = field(default_factory=list)


class _Part:
    """An automaton with what was worked out about it."""

    def __init__(self, automaton: Automaton) -> None:
        self.automaton = automaton
        self._spellings: dict[int, _Spelling] = {}
        self._reaches: dict[tuple[int, str, bool], dict[int, tuple[_Reach, ...]]] = {}

    def spelling(self, state: int) -> _Spelling:
        """Return the trie of the words possible in `state`."""
        root = self._spellings.get(state)
        if root is None:
            root = self._spellings[state] = _Spelling()
            for word, target in self.automaton.arcs[state].items():
                for spelling in (word, *_spellings().get(word, ())):
                    _spell(root, spelling, _Ending((word,), target))
                if len(word) == 1:
                    self._spell_runs(root, _Ending((word,), target))
        return root

    def _spell_runs(self, root: _Spelling, run: _Ending) -> None:
        """File single letters that follow one another as if they were one word."""
        if len(run.words) == _LONGEST_RUN:
            return
        for word, target in self.automaton.arcs[run.state].items():
            if len(word) == 1:
                longer = _Ending((*run.words, word), target)
                _spell(root, "".join(longer.words), longer)
                self._spell_runs(root, longer)

    def node(self, state: int, letters: str) -> _Spelling | None:
        """Return the node under `letters`, None where no word begins so."""
        node: _Spelling | None = self.spelling(state)
        for letter in letters:
            node = node.below.get(letter) if node else None
        return node

    def reaches(
        self, state: int, letters: str, trie: Node, *, spaced: bool
    ) -> dict[int, tuple[_Reach, ...]]:
        """Return for each piece allowed next where it leads."""
        key = (state, letters, spaced)
        found = self._reaches.get(key)
        if found is None:
            node = self.node(state, letters)
            walk = _Walk(self)
            if node is not None:
                walk.go(trie, _Reach((), state, letters, spaced), node)
            found = {token: tuple(reaches) for token, reaches in walk.found.items()}
            self._reaches[key] = found
        return found


class _Walk:
    """One walk of the trie of pieces against a part."""

    def __init__(self, part: _Part) -> None:
        self.part = part
        self.found: dict[int, list[_Reach]] = {}

    def go(self, pieces: Node, at: _Reach, node: _Spelling) -> None:
        """Note the pieces that end here and walk on along every letter both sides allow."""
        for token in pieces.ids:
            self.found.setdefault(token, []).append(at)
        below = pieces.below
        if SPACE in below:
            self._space(below[SPACE], at, node)
        if STOP in below and node.endings:
            self._close(below[STOP], at, node, spaced=False)
        for letter, longer in node.below.items():
            if letter in below:
                words, state, letters, _ = at
                reach = _Reach(words, state, letters + letter, spaced=True)
                self.go(below[letter], reach, longer)

    def _space(self, pieces: Node, at: _Reach, node: _Spelling) -> None:
        if at.letters:
            self._close(pieces, at, node, spaced=True)
        elif not at.spaced and node.below:
            self.go(pieces, at._replace(spaced=True), node)

    def _close(self, pieces: Node, at: _Reach, node: _Spelling, *, spaced: bool) -> None:
        for ending in node.endings:
            root = self.part.spelling(ending.state)
            if root.below or not spaced:  # a space after the last word leads nowhere
                self.go(pieces, _Reach(at.words + ending.words, ending.state, "", spaced), root)


class Move(NamedTuple):
    """A place that one or several pieces lead to, with the words completed on the way."""

    words: Words
    place: Place


@dataclass(slots=True, eq=False)
class Moves:
    """The pieces allowed at a place, those with the same move side by side.

    `tokens` is int64, shape (n,); `firsts` int64, shape (m,): where the tokens of each of the m
    `targets` begin.
    """

    tokens: npt.NDArray[np.int64]
    firsts: npt.NDArray[np.int64]
    targets: list[Move]


class Stop(NamedTuple):
    """What was said if the sound ends here: the words completed by it, and whether a sentence."""

    words: Words
    is_sentence: bool


class Place:
    """Where a search stands."""

    __slots__ = ("_lexicon", "_moves", "_stops", "alive", "letters", "spaced")

    def __init__(self, lexicon: Lexicon, alive: Alive, letters: str, *, spaced: bool) -> None:
        self._lexicon = lexicon
        self.alive, self.letters, self.spaced = alive, letters, spaced
        self._moves: Moves | None = None
        self._stops: tuple[Stop, ...] | None = None

    @property
    def moves(self) -> Moves:
        """The pieces allowed next."""
        if self._moves is None:
            self._moves = self._lexicon.moves(self)
        return self._moves

    @property
    def stops(self) -> tuple[Stop, ...]:
        """What the sound may have been if it ends here; empty in the middle of a word."""
        if self._stops is None:
            self._stops = self._lexicon.stops(self)
        return self._stops


class Lexicon:
    """The places of all grammars seen.

    Args:
        trie: the trie of pieces (`Tokens.trie`).
        most_places: how many places are kept; beyond that `start` forgets them all.
    """

    def __init__(self, trie: Node, *, most_places: int = _MOST_PLACES) -> None:
        self._trie = trie
        self._most_places = most_places
        self._parts: list[_Part] = []
        self._places: dict[tuple[Alive, str, bool], Place] = {}

    def start(self, grammar: Grammar) -> Place:
        """Return the place before the first word; places got before must not be used after."""
        if len(self._places) > self._most_places:
            self._parts.clear()
            self._places.clear()
        alive = frozenset((self._part_number(part), 0) for part in grammar.parts)
        return self._place(alive, "", spaced=False)

    def moves(self, place: Place) -> Moves:
        """Work out the pieces allowed at `place`; called once a place."""
        towards: dict[tuple[Words, str, bool], dict[int, set[tuple[int, int]]]] = {}
        for number, state in place.alive:
            part = self._parts[number]
            reaches = part.reaches(state, place.letters, self._trie, spaced=place.spaced)
            for token, reached in reaches.items():
                for words, target, letters, spaced in reached:
                    tokens = towards.setdefault((words, letters, spaced), {})
                    tokens.setdefault(token, set()).add((number, target))
        grouped: dict[Move, list[int]] = {}
        for (words, letters, spaced), tokens in towards.items():
            for token, alive in tokens.items():
                move = Move(words, self._place(frozenset(alive), letters, spaced=spaced))
                grouped.setdefault(move, []).append(token)
        return _packed(grouped)

    def stops(self, place: Place) -> tuple[Stop, ...]:
        """Work out what ends at `place`; called once a place."""
        if not place.letters:
            return () if place.spaced else (self._stop((), place.alive),)
        ends: dict[Words, set[tuple[int, int]]] = {}
        for number, state in place.alive:
            node = self._parts[number].node(state, place.letters)
            for words, target in node.endings if node else ():
                ends.setdefault(words, set()).add((number, target))
        return tuple(self._stop(words, frozenset(alive)) for words, alive in ends.items())

    def _stop(self, words: Words, alive: Alive) -> Stop:
        sentence = any(state in self._parts[part].automaton.accepting for part, state in alive)
        return Stop(words, sentence)

    def _place(self, alive: Alive, letters: str, *, spaced: bool) -> Place:
        key = (alive, letters, spaced)
        place = self._places.get(key)
        if place is None:
            place = self._places[key] = Place(self, alive, letters, spaced=spaced)
        return place

    def _part_number(self, automaton: Automaton) -> int:
        """Return the number of a part, the same for equal automata."""
        for number, part in enumerate(self._parts):
            if part.automaton is automaton:
                return number
        for number, part in enumerate(self._parts):
            if part.automaton == automaton:
                return number
        self._parts.append(_Part(automaton))
        return len(self._parts) - 1


def small_start(trie: Node, sentences: Sequence[Words]) -> Place:
    """Return the place before the first word of a grammar of these sentences, kept by nobody.

    Args:
        trie: the trie of pieces (`Tokens.trie`).
        sentences: at least one.
    """
    arcs: list[dict[str, int]] = [{}]
    accepting = set()
    for words in sentences:
        state = 0
        for word in words:
            if word not in arcs[state]:
                arcs[state][word] = len(arcs)
                arcs.append({})
            state = arcs[state][word]
        accepting.add(state)
    automaton = Automaton(tuple(arcs), frozenset(accepting))
    return Lexicon(trie).start(Grammar("proposed", (automaton,), ""))


@cache
def _spellings() -> dict[str, list[str]]:
    """Other ways to write a word."""
    text = files("companion.hearing").joinpath("spellings.toml").read_text("utf-8")
    spelled: dict[str, list[str]] = tomllib.loads(text)["spelled"]
    return spelled


def _spell(root: _Spelling, word: str, ending: _Ending) -> None:
    node = root
    for letter in word:
        node = node.below.setdefault(letter, _Spelling())
    node.endings.append(ending)


def _packed(grouped: dict[Move, list[int]]) -> Moves:
    tokens = [token for ids in grouped.values() for token in ids]
    lengths = [len(ids) for ids in grouped.values()]
    firsts = np.cumsum([0, *lengths[:-1]]) if lengths else np.zeros(0)
    return Moves(np.array(tokens, np.int64), firsts.astype(np.int64), list(grouped))
