"""What an automaton can tell of its sentences."""

from __future__ import annotations

import hashlib
from collections import deque
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from companion.ports import Automaton


def accepts(automaton: Automaton, words: Iterable[str]) -> bool:
    """Return whether the words are a sentence."""
    state = 0
    for word in words:
        following = automaton.arcs[state].get(word)
        if following is None:
            return False
        state = following
    return state in automaton.accepting


def ends(automaton: Automaton, words: Sequence[str], start: int) -> list[int]:
    """Return every position at which a sentence that begins at `start` may end."""
    state, found = 0, []
    at = start
    while True:
        if state in automaton.accepting:
            found.append(at)
        following = automaton.arcs[state].get(words[at]) if at < len(words) else None
        if following is None:
            return found
        state, at = following, at + 1


def vocabulary(automaton: Automaton) -> frozenset[str]:
    """Return every word that occurs in a sentence."""
    return frozenset(word for arcs in automaton.arcs for word in arcs)


def arc_count(automaton: Automaton) -> int:
    """Return how many arcs there are."""
    return sum(len(arcs) for arcs in automaton.arcs)


def sentence_count(automaton: Automaton) -> int | None:
    """Return how many different sentences there are; None where there is no end of them."""
    counts: dict[int, int] = {}
    open_states: set[int] = set()
    stack = [0]
    while stack:
        state = stack[-1]
        open_states.add(state)
        below = automaton.arcs[state].values()
        if any(end in open_states for end in below):
            return None
        waiting = [end for end in below if end not in counts]
        if waiting:
            stack.append(waiting[0])
            continue
        counts[state] = sum(counts[end] for end in below) + (state in automaton.accepting)
        open_states.discard(stack.pop())
    return counts[0]


def sentences(automaton: Automaton) -> Iterator[tuple[str, ...]]:
    """Yield the sentences, shortest first, words in alphabetical order."""
    todo: deque[tuple[int, tuple[str, ...]]] = deque([(0, ())])
    while todo:
        state, said = todo.popleft()
        if state in automaton.accepting:
            yield said
        todo.extend((end, (*said, word)) for word, end in automaton.arcs[state].items())


def shared(left: Automaton, right: Automaton) -> tuple[str, ...] | None:
    """Return the shortest sentence that both have, or None."""
    todo: deque[tuple[int, int, tuple[str, ...]]] = deque([(0, 0, ())])
    seen = {(0, 0)}
    while todo:
        one, other, said = todo.popleft()
        if one in left.accepting and other in right.accepting:
            return said
        for word in sorted(left.arcs[one].keys() & right.arcs[other].keys()):
            pair = left.arcs[one][word], right.arcs[other][word]
            if pair not in seen:
                seen.add(pair)
                todo.append((*pair, (*said, word)))
    return None


def digest(automata: Iterable[Automaton]) -> str:
    """Return a SHA-256 that is the same exactly where the sentences of every part are."""
    ink = hashlib.sha256()
    for automaton in automata:
        for state, arcs in enumerate(automaton.arcs):
            mark = "!" if state in automaton.accepting else "."
            row = " ".join(f"{word}>{end}" for word, end in arcs.items())
            ink.update(f"{mark}{row}\n".encode())
        ink.update(b"\f")
    return ink.hexdigest()
