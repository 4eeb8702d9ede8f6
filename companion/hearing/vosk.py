"""Vosk as a recogniser: its own decoder under the words of the moment, and freely beside it.

Vosk takes a grammar as a list of phrases and makes a model of word pairs of it. It gets every pair
of words that can follow one another in a sentence, and every word alone (`phrases`), so that what
it hears stays near the grammar; what is no sentence of the grammar is then left out. Words that
its model does not know can't be in such a list: they are named in `missing_words`, and no sentence
that needs one is heard. "[unk]" is added where the model has it, and takes what is none of them.

A second recogniser on the same model hears freely. Match: exp(-gap / (words + 1)), the gap being
how much likelier, in Vosk's own scaled log-likelihood, the sound is as anything else (heard freely,
or as words that are no sentence) than as this sentence. With an English model this could not be
calibrated: none was to be had where it was written. With a Korean one and a synthetic voice (16
sentences of a grammar of 33 words, 16 of other words): of the strange ones only two came out as
sentences, at 0.01 and 0.09; the twelve that were heard rightly had 0.01 to 1, median 0.9; two that
were heard as another sentence had 0.7 and 1, and a word that ought to be followed by a figure, said
alone, was once heard with one at 1. So it keeps strangers out and cannot tell a sentence from its
neighbour: that is left to the alternatives and the readback. Words of a small grammar come cheaper
to Vosk than free ones, so the match is the more lenient the less may be said.

The same sound must give the same hearing. So each utterance gets recognisers of its own (Vosk's
adapt to what they heard before), and sound is handed over in blocks of 100 ms counted from the
start of the utterance. The trace of noise that keeps digital silence from being the logarithm of
nothing is ours and begins anew with each utterance: Vosk's own comes from the C library's chance,
which every thread of the program draws from, and moved scores by 1; `vosk_model` turns it off.
"""

from __future__ import annotations

import json
import math
from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING, Any, NamedTuple, TypeAlias

import numpy as np

from companion.hearing.utterance import BLOCK, Utterance
from companion.hearing.vosk_model import check, loaded
from companion.language.patience import completeness
from companion.language.sentences import accepts, vocabulary
from companion.ports import SAMPLE_RATE_HZ, Alternative, Frame, Hearing, Partial, WordTime

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from companion.ports import Expectation, Grammar, Samples

UNKNOWN = "[unk]"
NOTHING = "[]"
HAND_OVER = 1_600  # samples, 100 ms
MOST_ALTERNATIVES = 8
KEPT_GRAMMARS = 64
_DITHER = 1.0  # standard deviation in steps of the samples, what Kaldi's features use

Words: TypeAlias = tuple[str, ...]


class _Heard(NamedTuple):
    """Words as Vosk puts them: how likely (its scaled log-likelihood), and when each was said."""

    words: Words
    log_prob: float
    times: tuple[WordTime, ...]


class VoskRecogniser:
    """A `Recogniser` on a Vosk model.

    Args:
        folder: the model's folder, unpacked.

    Raises:
        ModelError: there is no Vosk model.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        check(folder)
        self._model: Any = None
        self._grammar: Grammar | None = None
        self._list = NOTHING
        self._missing: Words = ()
        self._listed = lru_cache(maxsize=KEPT_GRAMMARS)(self._list_of)
        self._position = 0  # samples since the stream began, before this utterance
        self._utterance = Utterance()
        self._waiting: Samples = np.zeros(0, np.int16)
        self._chance = np.random.default_rng(1)
        self._constrained, self._free = _Decoder(None), _Decoder(None)

    def load(self) -> None:
        """Load the model now: some seconds, some hundred megabytes.

        Raises:
            ModelError: Vosk is not installed, or refuses the model.
        """
        if self._model is None:
            self._model = loaded(self._folder)

    @property
    def missing_words(self) -> Words:
        """Words of the grammar that the model does not know, sorted."""
        return self._missing

    def listen_for(self, grammar: Grammar, expect: Expectation | None) -> None:
        """Take the grammar for the next utterance.

        Args:
            grammar: all that may be said.
            expect: what the step waits for; not used by this recogniser.
        """
        del expect
        self.load()
        self._grammar = grammar
        self._list, self._missing = self._listed(_Keyed(grammar))
        self.reset()

    def feed(self, frame: Frame) -> Partial | None:
        """Take a frame, int16 mono at 16 kHz, any length; a `Partial` when a pause begins."""
        told, at = None, 0
        while at < len(frame.samples):  # a block at a time: what is done where depends on it alone
            size = BLOCK - self._utterance.samples % BLOCK
            piece = Frame(frame.samples[at : at + size], frame.voiced)
            at += size
            paused = self._utterance.add(piece)
            self._waiting = np.concatenate([self._waiting, piece.samples])
            if len(self._waiting) >= HAND_OVER:
                self._hand_over(self._waiting)
                self._waiting = self._waiting[:0]
            if paused and self._grammar:
                told = self._partial()
        return told

    def finish(self) -> Hearing:
        """Close the utterance and say what it was; times count all samples ever fed."""
        utterance, position, grammar = self._utterance, self._position, self._grammar
        utterance.close()
        cut = utterance.cut
        if cut and grammar:
            self._hand_over(self._waiting)
            found, free = self._constrained.ended(), self._free.ended()
        else:
            found, free = [], []
        self.reset()
        loudness = utterance.loudness
        start, end = (cut.start * BLOCK, cut.end * BLOCK) if cut else (0, utterance.samples)
        sentences = [each for each in found if grammar and _is_sentence(each.words, grammar)]
        otherwise = max((each.log_prob for each in (*found, *free)), default=0.0)
        return Hearing(
            alternatives=tuple(_alternative(each, otherwise) for each in sentences),
            free=" ".join(free[0].words) if free else "",
            gap=otherwise - sentences[0].log_prob if sentences else 0.0,
            start_s=(position + start) / SAMPLE_RATE_HZ,
            end_s=(position + min(end, utterance.samples)) / SAMPLE_RATE_HZ,
            noise_dbfs=loudness.noise_dbfs,
            snr_db=loudness.snr_db,
            word_times=_moved(sentences[0].times, position) if sentences else (),
        )

    def reset(self) -> None:
        """Forget the utterance begun; the position in the stream stays."""
        self._position += self._utterance.samples
        self._begin()

    def _begin(self) -> None:
        self._utterance = Utterance()
        self._waiting = self._waiting[:0]
        self._constrained, self._free = _Decoder(None), _Decoder(None)

    def _hand_over(self, samples: Samples) -> None:
        """Give sound to both decoders; they are made for the first of it."""
        if self._grammar is None or self._list == NOTHING:  # Vosk dies of an empty list
            return
        if self._constrained.is_idle:
            self._chance = np.random.default_rng(1)
            self._constrained = _Decoder(self._model, self._list)
            self._free = _Decoder(self._model)
        dithered = _dithered(samples, self._chance)
        self._constrained.hear(dithered)
        self._free.hear(dithered)

    def _partial(self) -> Partial:
        """Say what it is so far; how well it matches, Vosk tells at the end only."""
        assert self._grammar  # noqa: S101 - the caller has looked
        return partial(self._grammar, self._constrained.so_far())

    def _list_of(self, keyed: _Keyed) -> tuple[str, Words]:
        """Return the list that Vosk takes for a grammar, as JSON, and the words it lacks."""
        words = frozenset[str]().union(*map(vocabulary, keyed.grammar.parts))
        missing = frozenset(word for word in words if not self._knows(word))
        listed = phrases(keyed.grammar, missing)
        if self._knows(UNKNOWN):
            listed.append(UNKNOWN)
        return json.dumps(listed, ensure_ascii=False), tuple(sorted(missing))

    def _knows(self, word: str) -> bool:
        return int(self._model.vosk_model_find_word(word)) >= 0


class _Keyed:
    """A grammar that is told from others by its digest."""

    def __init__(self, grammar: Grammar) -> None:
        self.grammar = grammar

    def __hash__(self) -> int:
        return hash(self.grammar.digest)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Keyed) and other.grammar.digest == self.grammar.digest


class _Decoder:
    """One of Vosk's own recognisers for one utterance.

    Vosk ends utterances by its own rules; what it ended before we do is put together again.
    """

    def __init__(self, model: Any, listed: str = "") -> None:  # noqa: ANN401 - without types
        self.is_idle = model is None
        self._parts: list[list[_Heard]] = []
        if model is None:
            return
        from vosk import KaldiRecognizer  # noqa: PLC0415 - engines load when needed

        more = (listed,) if listed else ()
        self._inner: Any = KaldiRecognizer(model, SAMPLE_RATE_HZ, *more)
        self._inner.SetMaxAlternatives(MOST_ALTERNATIVES)
        self._inner.SetWords(True)  # noqa: FBT003 - Vosk's own way

    def hear(self, samples: Samples) -> None:
        """Take sound."""
        if len(samples) and self._inner.AcceptWaveform(samples.tobytes()):
            self._take(self._inner.Result())

    def so_far(self) -> Words:
        """Return the likeliest words so far."""
        if self.is_idle:
            return ()
        begun = json.loads(self._inner.PartialResult()).get("partial", "").split()
        return tuple(word for part in self._parts for word in part[0].words) + tuple(begun)

    def ended(self) -> list[_Heard]:
        """Return what was heard, the likeliest first, each once."""
        if self.is_idle:
            return []
        self._take(self._inner.FinalResult())
        whole: dict[Words, _Heard] = {}
        for parts in product(*self._parts):
            joined = _joined(parts)
            kept = whole.get(joined.words)
            if joined.words and (kept is None or kept.log_prob < joined.log_prob):
                whole[joined.words] = joined
        ranked = sorted(whole.values(), key=lambda heard: -heard.log_prob)
        return ranked[:MOST_ALTERNATIVES]

    def _take(self, told: str) -> None:
        if found := results(told):
            most = MOST_ALTERNATIVES if not self._parts else 2  # the product stays small
            self._parts.append(found[:most])


def results(told: str) -> list[_Heard]:
    """Return what a result of Vosk tells; nothing for one without words.

    Args:
        told: its JSON: alternatives, of which some may have no text, or one text.
    """
    found = json.loads(told)
    return [
        _Heard(
            tuple(each.get("text", "").split()),
            float(each.get("confidence", 0.0)),
            tuple(WordTime(r["word"], r["start"], r["end"]) for r in each.get("result", ())),
        )
        for each in found.get("alternatives", [found])
        if each.get("text", "").strip()
    ]


def _joined(parts: Iterable[_Heard]) -> _Heard:
    parts = tuple(parts)
    return _Heard(
        tuple(word for part in parts for word in part.words),
        sum(part.log_prob for part in parts),
        tuple(time for part in parts for time in part.times),
    )


def phrases(grammar: Grammar, leave_out: frozenset[str]) -> list[str]:
    """Return the phrases that Vosk gets for a grammar: word pairs, and each word alone.

    Args:
        grammar: all that may be said.
        leave_out: words that its model does not know.

    Returns:
        Every pair of words that can follow one another, and every word, sorted.
    """
    found: set[str] = set()
    for part in grammar.parts:
        into: list[set[str]] = [set() for _ in part.arcs]
        for arcs in part.arcs:
            for word, end in arcs.items():
                into[end].add(word)
        for before, arcs in zip(into, part.arcs, strict=True):
            after = arcs.keys() - leave_out
            found |= after
            found |= {f"{one} {other}" for one in before - leave_out for other in after}
    return sorted(found)


def partial(grammar: Grammar, words: Words) -> Partial:
    """Return how the words so far stand; with an unknown one among them they are no sentence.

    >>> from companion.ports import Automaton, Grammar
    >>> small = Grammar("demo", (Automaton(({"done": 1}, {}), frozenset({1})),), "")
    >>> partial(small, ("done", "[unk]")).completeness
    <Completeness.INCOMPLETE: 'incomplete'>
    """
    known = tuple(word for word in words if word != UNKNOWN)
    return Partial(known, completeness(grammar, words), match=None)


def _is_sentence(words: Words, grammar: Grammar) -> bool:
    return any(accepts(part, words) for part in grammar.parts)


def _alternative(heard: _Heard, otherwise: float) -> Alternative:
    bent = max(0.0, otherwise - heard.log_prob)
    return Alternative(heard.words, math.exp(-bent / (len(heard.words) + 1)), heard.log_prob)


def _dithered(samples: Samples, chance: np.random.Generator) -> Samples:
    noise = np.rint(chance.normal(0.0, _DITHER, len(samples)))
    return np.clip(samples + noise, -32_768, 32_767).astype(np.int16)


def _moved(times: tuple[WordTime, ...], position: int) -> tuple[WordTime, ...]:
    start_s = position / SAMPLE_RATE_HZ
    return tuple(WordTime(t.word, start_s + t.start_s, start_s + t.end_s) for t in times)
