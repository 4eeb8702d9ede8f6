"""What may be said at a moment: the grammar for it, and what its sentences mean.

`compose` takes a scope and returns a `Language`. Emergency phrases are in every one. While standing
by, the attention phrase is all there is beside them.

Which meaning a sentence has follows from the scope too:

- "yes" and "no" are commands; where a yes or no is asked for (`asking_kind` 'yes or no'), or an
  option of the open choice has that name, they are that answer and not the command;
- a bare number is a reading of the awaited test point, with `point` '' (the dialogue knows which);
  where the open choice has it as an option's name ("two forty"), it is that choice and no reading;
- in a correction or a change, words that name two units ("inches", "degrees") give a meaning for
  each, the units of the live test points first.

Everything else that a sentence can mean is given: deciding is the dialogue's.

Where questions may be asked, words that are no sentence of the grammar may still be one
(`loosely.py`); they are no part of the grammar, so a recogniser is handed the order of words in
such questions beside it (`Grammar.freely`).
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

from companion.language import loosely, pieces
from companion.language.asking_form import asks_whether_safe
from companion.language.meanings import (
    TAKING_BACK,
    Candidate,
    Choice,
    Command,
    Correction,
    Emergency,
    Reading,
    Talk,
    Value,
)
from companion.language.word_order import packaged_word_order
from companion.ports import Grammar

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from companion.language.meanings import Meaning
    from companion.language.pieces import Piece
    from companion.ports import Hearing, Scope

_KEPT_SCOPES = 256
_AT_ONCE = TAKING_BACK | {"wake"}
_PLAIN_ANSWERS = frozenset({"yes", "no", "confirmed", "all-clear"})


@dataclass(frozen=True)
class Language:
    """A scope's sentences: `grammar` for the recogniser, `understand` for what it heard."""

    scope: Scope
    parts: tuple[Piece, ...]

    @cached_property
    def grammar(self) -> Grammar:
        """All that may be said, compiled where it was not yet."""
        ink = hashlib.sha256("\n".join(part.digest for part in self.parts).encode())
        freely = packaged_word_order() if self.scope.awake and self.scope.questions else None
        automata = tuple(part.automaton for part in self.parts)
        return Grammar(
            self.scope.name, automata, ink.hexdigest(), freely, notes_words=self.scope.noting
        )

    def interpret(self, words: Sequence[str]) -> tuple[Meaning, ...]:
        """Return all that the words can mean in this scope, most urgent first; each once.

        Args:
            words: a sentence in word form ('supply', 'static', 'point', 'four', 'five'); what is
                only talk means nothing.
        """
        return tuple(each for each in self._meanings(words) if not isinstance(each, Talk))

    def _meanings(self, words: Sequence[str]) -> tuple[Meaning, ...]:
        found: list[Meaning] = []
        for part in self.parts:
            for meaning in part.meanings(words):
                if meaning not in found:
                    found.append(meaning)
        return _unshadowed(sorted(found, key=self._is_far))

    def _is_far(self, meaning: Meaning) -> bool:
        """Return whether a correction's unit is none of the live test points'."""
        if not isinstance(meaning, Correction) or meaning.measure.unit is None:
            return False
        points = self.scope.points
        return all(meaning.measure.unit not in (p.unit, *p.others) for p in points)

    def understand(self, words: Sequence[str]) -> tuple[Meaning, ...]:
        """Return what the words can mean, also where they are a question in words of their own.

        Args:
            words: in word form; a sentence of the grammar or not.
        """
        return self.interpret(words) or self._asked_freely(words)

    def _asked_freely(self, words: Sequence[str]) -> tuple[Meaning, ...]:
        if not (self.scope.awake and self.scope.questions):
            return ()
        if self.scope.commands and asks_whether_safe(words):
            return (Command("is-it-safe"),)
        asked = loosely.question(words, is_one=not self.scope.commands)
        return () if asked is None else (asked,)

    def candidates(self, hearing: Hearing) -> tuple[Candidate, ...]:
        """Return what a hearing can mean, best first; an alternative may give several.

        What sounds like a command but is everyday talk is among it, as `Talk`.
        """
        return tuple(
            Candidate(meaning, alternative.words, alternative.match, alternative.log_prob)
            for alternative in hearing.alternatives
            for meaning in self._meanings(alternative.words)
            or self._asked_freely(alternative.words)
        )

    def may_not_wait(self, words: Sequence[str]) -> bool:
        """Return whether words mean what is never answered late, however poorly they were heard.

        That is an emergency, the attention phrase, and what silences or takes something back.
        """
        return any(
            isinstance(each, Emergency) or (isinstance(each, Command) and each.name in _AT_ONCE)
            for each in self.interpret(words)
        )

    @cached_property
    def vocabulary(self) -> frozenset[str]:
        """Every word that may be said."""
        return frozenset[str]().union(*(part.vocabulary for part in self.parts))


def _unshadowed(found: Sequence[Meaning]) -> tuple[Meaning, ...]:
    """Drop what an answer to an open question makes of no account (see the module's head)."""
    if any(isinstance(meaning, Emergency) for meaning in found):
        return tuple(meaning for meaning in found if isinstance(meaning, Emergency))
    if not any(isinstance(meaning, Choice | Value) for meaning in found):
        return tuple(found)
    chosen = any(isinstance(meaning, Choice) for meaning in found)
    return tuple(
        meaning
        for meaning in found
        if not (isinstance(meaning, Command) and meaning.name in _PLAIN_ANSWERS)
        and not (chosen and isinstance(meaning, Reading) and not meaning.point)
    )


@lru_cache(maxsize=_KEPT_SCOPES)
def compose(scope: Scope) -> Language:
    """Return the language of a scope; made once for equal scopes.

    Raises:
        GrammarError: a packaged grammar is broken, or asks for a rule that is not there.
    """
    parts = tuple(_parts(scope))
    return Language(scope, parts)


def _by_name(scope: Scope) -> Iterator[Piece]:
    """Yield what names a step, an earlier answer or a fault."""
    if scope.steps is not None:
        yield pieces.named("go-to", scope.steps)
    if scope.choices is not None:
        yield pieces.named("what-answered", scope.choices)
        yield pieces.named("change-answer", scope.choices)
    if scope.logged is not None:
        yield pieces.named("recall-earlier", scope.logged, "recall")
    if scope.faults is not None:
        yield pieces.named("complaint", scope.faults, "find-fault")


def _parts(scope: Scope) -> Iterator[Piece]:
    yield pieces.emergency()
    if not scope.awake:
        yield pieces.attention(scope.attention)
        return
    if scope.choice is not None:
        yield pieces.choice(scope.choice)
    if scope.asking_kind:
        yield pieces.answers(scope.asking_kind, scope.asking_units)
    if scope.points:
        yield pieces.readings(scope.points)
    if scope.commands:
        yield pieces.commands()
        yield pieces.corrections()
        yield pieces.timers()
        yield pieces.everyday()
        yield from _by_name(scope)
    elif scope.choice is not None:
        yield pieces.denials()
    if scope.questions:
        yield pieces.questions()
        yield pieces.follow_ups()
