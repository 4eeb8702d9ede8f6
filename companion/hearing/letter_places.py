"""Which letter may come next, under a grammar and after the letters so far.

A sentence is spelled as its words with a space between them, in no other way. So where a search
stands after some letters is one `LetterPlace`: the places in the tries of words that are possible
there, of all parts of the grammar at once (the subset construction, done as far as it is walked).
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

from companion.hearing.speller import PLACES

if TYPE_CHECKING:
    from companion.ports import Automaton, Grammar

_MOST_PLACES = 15_000  # some 2 kB each, measured


class _Node:
    """A node of the trie of the words possible in a state; `targets`: states of words ended."""

    __slots__ = ("below", "targets")

    def __init__(self) -> None:
        self.below: dict[str, _Node] = {}
        self.targets: list[int] = []


class _Part:
    """An automaton and the tries of its states, made when needed."""

    def __init__(self, automaton: Automaton) -> None:
        self.automaton = automaton
        self._tries: dict[int, _Node] = {}

    def trie(self, state: int) -> _Node:
        """Return the trie of the words possible in a state."""
        root = self._tries.get(state)
        if root is None:
            root = self._tries[state] = _Node()
            for word, target in self.automaton.arcs[state].items():
                node = root
                for letter in word:
                    node = node.below.setdefault(letter, _Node())
                node.targets.append(target)
        return root


_Alive: TypeAlias = "list[tuple[_Part, _Node]]"


class LetterPlace:
    """Where a search for letters stands."""

    __slots__ = ("_alive", "_following", "_places", "is_sentence")

    def __init__(self, places: LetterPlaces, alive: _Alive) -> None:
        self._places, self._alive = places, alive
        self._following: list[tuple[str, int, LetterPlace]] | None = None
        self.is_sentence = any(
            target in part.automaton.accepting for part, node in alive for target in node.targets
        )

    @property
    def following(self) -> list[tuple[str, int, LetterPlace]]:
        """Each letter that may come next, its place in the alphabet, and where it leads."""
        if self._following is None:
            self._following = [
                (letter, PLACES[letter], self._places.place(alive))
                for letter, alive in self._by_letter().items()
                if letter in PLACES
            ]
        return self._following

    def _by_letter(self) -> dict[str, _Alive]:
        found: dict[str, _Alive] = {}
        for part, node in self._alive:
            for letter, below in node.below.items():
                found.setdefault(letter, []).append((part, below))
            for target in node.targets:
                root = part.trie(target)
                if root.below:
                    found.setdefault(" ", []).append((part, root))
        return found


class LetterPlaces:
    """The places of all grammars seen.

    Args:
        most_places: how many are kept; beyond that `start` forgets them all.
    """

    def __init__(self, *, most_places: int = _MOST_PLACES) -> None:
        self._most_places = most_places
        self._parts: list[_Part] = []
        self._kept: dict[frozenset[int], LetterPlace] = {}

    def start(self, grammar: Grammar) -> LetterPlace:
        """Return the place before the first letter; places got before must not be used after."""
        if len(self._kept) > self._most_places:
            self._parts.clear()
            self._kept.clear()
        parts = [self._part(automaton) for automaton in grammar.parts]
        return self.place([(part, part.trie(0)) for part in parts])

    def place(self, alive: _Alive) -> LetterPlace:
        """Return the place for what is alive, the same for the same."""
        key = frozenset(id(node) for _, node in alive)  # nodes live as long as the places do
        found = self._kept.get(key)
        if found is None:
            found = self._kept[key] = LetterPlace(self, alive)
        return found

    def _part(self, automaton: Automaton) -> _Part:
        for part in self._parts:
            if part.automaton is automaton:
                return part
        for part in self._parts:
            if part.automaton == automaton:
                return part
        self._parts.append(_Part(automaton))
        return self._parts[-1]
