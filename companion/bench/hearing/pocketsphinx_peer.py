"""A peer: PocketSphinx with its packaged English model, under our grammar as an automaton.

The parts of the grammar are united into one finite-state grammar, the form that it searches
fastest. Words that its dictionary lacks are taught by `pronunciations.toml`; one unknown word
would fail the whole grammar, so what is still missing is left out and named.

Match: under a grammar it always finds a sentence, and has no measure of whether that was said at
all. Its posterior compares sentences of the grammar with one another: it is as low for a sentence
heard right (0.05 for five words) as for a wrong one. So it is taken at its word, match 1.
"""

from __future__ import annotations

import tomllib
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from companion.bench.hearing.whole_utterance import WholeUtterance
from companion.errors import EngineError
from companion.language.sentences import accepts, vocabulary
from companion.ports import Alternative, Hearing

if TYPE_CHECKING:
    from companion.ports import Expectation, Grammar

_FINAL = -1

Arc = tuple[int, int, str | None]  # from, to, word; None says nothing


class PocketSphinxPeer(WholeUtterance):
    """PocketSphinx as a `Recogniser`.

    Raises:
        EngineError: the package is not installed.
    """

    def __init__(self) -> None:
        super().__init__()
        try:
            from pocketsphinx import Config, Decoder  # noqa: PLC0415 - a peer, not a dependency
        except ImportError as problem:
            raise EngineError(
                "The peer pocketsphinx is not installed", "Install it: pip install '.[bench]'"
            ) from problem
        self._decoder: Any = Decoder(Config(lm=None, loglevel="FATAL"))
        for word, phones in pronunciations().items():
            if self._decoder.lookup_word(word) is None:
                self._decoder.add_word(word, phones, update=True)
        self._active = ""

    def listen_for(self, grammar: Grammar, expect: Expectation | None) -> None:
        """Take the grammar for the next utterance."""
        super().listen_for(grammar, expect)
        if grammar.digest == self._active:
            return
        words = frozenset[str]().union(*map(vocabulary, grammar.parts))
        unknown = frozenset(w for w in words if self._decoder.lookup_word(w) is None)
        self.missing_words = tuple(sorted(unknown))
        states, arcs = united(grammar, leave_out=unknown)
        weighed = [(a, b, 1.0) if word is None else (a, b, 1.0, word) for a, b, word in arcs]
        made = self._decoder.create_fsg(grammar.digest, 0, states - 1, weighed)
        self._decoder.add_fsg(grammar.digest, made)
        self._decoder.activate_search(grammar.digest)
        if self._active:
            self._decoder.remove_search(self._active)
        self._active = grammar.digest

    def finish(self) -> Hearing:
        """Close the utterance and say what it was."""
        sound = self.gathered()
        if not len(sound) or not self._active:
            return Hearing(())
        self._decoder.start_utt()
        self._decoder.process_raw(sound.tobytes(), full_utt=True)
        self._decoder.end_utt()
        found = self._decoder.hyp()
        words = tuple(found.hypstr.split()) if found else ()
        assert self.grammar  # noqa: S101 - there is an active search
        if not any(accepts(part, words) for part in self.grammar.parts):  # it broke off midway
            return Hearing((), free=" ".join(words))
        return Hearing((Alternative(words, match=1.0, log_prob=0.0),), free=" ".join(words))


def pronunciations() -> dict[str, str]:
    """Return the pronunciations written by hand, by word, phones separated by spaces."""
    text = files("companion.bench.hearing").joinpath("pronunciations.toml").read_text("utf-8")
    return dict(tomllib.loads(text)["words"])


def united(grammar: Grammar, leave_out: frozenset[str]) -> tuple[int, list[Arc]]:
    """Return the parts of a grammar as one automaton with one start and one end.

    Args:
        grammar: all that may be said.
        leave_out: words whose arcs are left out.

    Returns:
        The number of states, of which 0 is the start and the last is the end; and the arcs.
    """
    arcs: list[Arc] = []
    base = 1
    for part in grammar.parts:
        arcs.append((0, base, None))
        arcs += (
            (base + state, base + end, word)
            for state, row in enumerate(part.arcs)
            for word, end in row.items()
            if word not in leave_out
        )
        arcs += ((base + state, _FINAL, None) for state in part.accepting)
        base += len(part.arcs)
    return base + 1, [(a, base if b == _FINAL else b, word) for a, b, word in arcs]
