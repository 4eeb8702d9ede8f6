"""The bundled recogniser: two opinions on a sound, under the grammar of the moment.

From the states of one encoder a speller tells the letters, and proposes sentences of the grammar;
a writer, a network that writes pieces of text, weighs those and looks for its own; `combining`
makes one of both. Where no sentence of the grammar fits and a question may be asked, the speller
proposes by the order of words in questions instead (`free_search`), and the writer weighs that.

The network does not stream, so the sound is decoded when a pause begins (120 ms without voice) and
again only if voice comes after it. Everything is decided at fixed sample positions: any split of
the sound into frames gives the same hearing.
"""

from __future__ import annotations

from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from companion.hearing.combining import (
    Opinion,
    Yardstick,
    features,
    match,
    match_alone,
    opinions,
    opinions_alone,
)
from companion.hearing.free_search import FreeSearch
from companion.hearing.letter_places import LetterPlaces
from companion.hearing.letter_search import Spelled, spelled
from companion.hearing.lexicon import Lexicon, small_start
from companion.hearing.model_files import catalogue, checked
from companion.hearing.network import Network
from companion.hearing.search import Beam, Written, written
from companion.hearing.speller import Letters, Speller
from companion.hearing.tokens import Tokens, load_tokens
from companion.hearing.utterance import BLOCK, Cut, Utterance
from companion.language.patience import completeness
from companion.numbers import confused_sentences
from companion.ports import SAMPLE_RATE_HZ, Alternative, Completeness, Hearing, Partial

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from companion.hearing.lexicon import Words
    from companion.hearing.network import Floats
    from companion.ports import Expectation, Frame, Grammar, Samples, WordOrder

_MOST_ALTERNATIVES = 8
_PROPOSED = 6  # sentences of the speller that the writer is asked about
_BEAM_ALONE = 6
_CONFUSED = 4  # of the first of them
_PROPOSED_BEAM = 8
_PROPOSED_FREELY = 8
_FREE_KEPT = 5  # of the alternatives; the rest are the grammar's
_FREELY_S = 1.2  # shorter speech is no question in words of its own,
_FREELY_MOST_S = 9.0  # nor is longer: a breath holds some thirty words
_FREELY_MATCH = 0.78  # what matches the grammar so well is not looked at freely
_FREELY_NATS = 5.0  # so much likelier must a sentence be that the grammar does not have
_ORDER_COUNTS = 0.5  # of what the order of words says; the writer has its own sense of it
_FAR_NATS = 55.0  # measured: 91 % of talk lies further off, and 4 of 2,400 sentences of the grammar
_LEVEL = 0.08  # root mean square that the sound is brought to
_MOST_GAIN = 30.0
_PIECES_PER_S = 14.0  # more than anyone says
_LEAST_PIECES = 10


class Decoded(NamedTuple):
    """What both opinions make of a cut of the sound.

    Attributes:
        cut: the cut.
        opinions: sentences and beginnings of the grammar, best first.
        free: what the sound is without a grammar.
        text: how it was written freely; where nothing of the grammar comes near, how it is spelled.
        is_free: whether the sentences are none of the grammar.
    """

    cut: Cut
    opinions: list[Opinion]
    free: Yardstick
    text: str
    is_free: bool = False

    @property
    def sentences(self) -> list[Opinion]:
        """What may have been said, best first."""
        return [each for each in self.opinions if each.is_sentence]


class BundledRecogniser:
    """Sound in, a hearing out, under a grammar.

    Args:
        encoder: 'hardened' (made for noise), or 'original': for it there is no speller, and the
            writer's opinion stands alone.
        folder: a local folder with the model's files, looked in before the installed ones.
        threads: how many threads the network may use.
        beam: how many beginnings the writer carries on by itself, beside those of the speller; 6
            without it. With it 0, 3 and 6 found as many of 60 sentences right in three cells, in
            105, 123 and 140 ms of processor time, median.

    Raises:
        ModelError: a file of the model is missing or altered.
    """

    def __init__(
        self,
        *,
        encoder: Literal["hardened", "original"] = "hardened",
        folder: Path | None = None,
        threads: int = 1,
        beam: int = 3,
    ) -> None:
        files = catalogue()
        self._network = Network(
            checked(files[f"encoder-{encoder}"], folder),
            checked(files["decoder"], folder),
            threads=threads,
        )
        self._tokenizer = checked(files["tokenizer"], folder)
        self._speller: Speller | None = None
        if encoder == "hardened":
            self._speller = Speller(checked(files["speller"], folder))
        self._letter_places = LetterPlaces()
        self._freely: tuple[WordOrder, FreeSearch] | None = None
        self._for_free: tuple[Floats, Letters, bool] | None = None  # of the last cut decoded
        self._beam = beam if self._speller else max(beam, _BEAM_ALONE)
        self._grammar: Grammar | None = None
        self._position = 0  # samples since the stream began, before this utterance
        self._utterance = Utterance()
        self._decoded: Decoded | None = None
        self.last: Decoded | None = None  # what the last hearing rests on: for calibration
        self.last_snr_db: float | None = None

    def load(self) -> None:
        """Load the network and the pieces now, so that the first utterance need not wait."""
        self._network.load()
        _ = self._lexicon  # built by being asked for

    @property
    def missing_words(self) -> tuple[str, ...]:
        """None: any word can be spelled in the network's pieces."""
        return ()

    def listen_for(self, grammar: Grammar, expect: Expectation | None) -> None:
        """Take the grammar for the next utterance.

        Args:
            grammar: all that may be said.
            expect: what the step waits for; not used by this recogniser.
        """
        del expect
        self._grammar = grammar
        _ = self._lexicon.start(grammar).moves  # worked out by being asked for
        self._decoded = None

    def feed(self, frame: Frame) -> Partial | None:
        """Take a frame, int16 mono at 16 kHz, any length; a `Partial` when a pause begins."""
        if not self._utterance.add(frame):
            return None
        cut = self._utterance.cut
        return self._partial(self._decode(cut)) if cut and self._grammar else None

    def finish(self) -> Hearing:
        """Close the utterance and say what it was; times count all samples ever fed."""
        utterance, position = self._utterance, self._position
        utterance.close()
        cut = utterance.cut
        decoded = self._decode(cut) if cut and self._grammar else None
        decoded = self._worded(self._by_order(decoded)) if decoded else None
        self.reset()
        self.last, self.last_snr_db = decoded, utterance.loudness.snr_db
        loudness = utterance.loudness
        start, end = (cut.start * BLOCK, cut.end * BLOCK) if cut else (0, utterance.samples)
        return Hearing(
            alternatives=self._alternatives(decoded, loudness.snr_db) if decoded else (),
            free=decoded.text if decoded else "",
            gap=_gap(decoded) if decoded else 0.0,
            start_s=(position + start) / SAMPLE_RATE_HZ,
            end_s=(position + min(end, utterance.samples)) / SAMPLE_RATE_HZ,
            noise_dbfs=loudness.noise_dbfs,
            snr_db=loudness.snr_db,
            is_calibrated=self._speller is not None,
        )

    def reset(self) -> None:
        """Forget the utterance begun; the position in the stream stays."""
        self._position += self._utterance.samples
        self._utterance = Utterance()
        self._decoded = None
        self._for_free = None

    @cached_property
    def _tokens(self) -> Tokens:
        return load_tokens(self._tokenizer)

    @cached_property
    def _lexicon(self) -> Lexicon:
        return Lexicon(self._tokens.trie)

    def _decode(self, cut: Cut) -> Decoded:
        """Decode the cut, or give what was found for it before."""
        if self._decoded is None or self._decoded.cut != cut:
            states = self._network.encode(levelled(self._utterance.sound(cut)))
            weighed = self._by_writer if self._speller is None else self._by_both
            self._decoded = weighed(cut, states)
        return self._decoded

    def _by_writer(self, cut: Cut, states: Floats) -> Decoded:
        """Decode without a speller."""
        found = self._write(states, [], cut)
        return Decoded(
            cut,
            opinions_alone(found, self._utterance.pace),
            Yardstick(found.free_log_prob, len(found.free) + 1, 0.0),
            self._tokens.text(found.free),
        )

    def _by_both(self, cut: Cut, states: Floats) -> Decoded:
        """Decode with both; where nothing of the grammar comes near, the writer is not asked."""
        assert self._speller  # noqa: S101 -- the caller has looked
        assert self._grammar  # noqa: S101 -- those who decode have looked
        letters = self._speller.hear(states[0])
        spelt = spelled(letters, self._letter_places.start(self._grammar))
        proposed = self._proposed(letters, spelt)
        if is_far := _is_far(letters, spelt):
            found, text = Written({}, {}, (), letters.free_log_prob), letters.text
        else:
            found = self._write(states, proposed, cut)
            text = self._tokens.text(found.free)
        bound = Decoded(
            cut,
            opinions(found, proposed, letters),
            Yardstick(found.free_log_prob, len(found.free) + 1, letters.free_log_prob),
            text,
        )
        self._for_free = (states, letters, is_far)
        return bound

    def _by_order(self, bound: Decoded) -> Decoded:
        """Return what the order of words in questions makes of it, where that fits better.

        The grammar's sentences stay behind it: what is no question after all is taken as before,
        and a cry for help is not lost behind words that mean nothing.
        """
        order = self._grammar.freely if self._grammar else None
        seconds = (bound.cut.end - bound.cut.start) * BLOCK / SAMPLE_RATE_HZ
        if self._for_free is None or order is None or not _FREELY_S <= seconds <= _FREELY_MOST_S:
            return bound
        states, letters, is_far = self._for_free
        best = bound.sentences[:1]
        if best and not is_far and self._match(best[0], bound, None) >= _FREELY_MATCH:
            return bound
        if self._freely is None or self._freely[0] is not order:
            self._freely = (order, FreeSearch(order))
        proposed = self._freely[1].heard(letters, _PROPOSED_FREELY)
        found = self._write(states, proposed, bound.cut, alone=True) if proposed else None
        heard = opinions(found, proposed, letters) if found else []
        if not heard or not found:
            return bound
        leads = not best or heard[0].score - best[0].score >= _FREELY_NATS
        if not (is_far or leads):
            return bound
        return Decoded(
            bound.cut,
            [*_ordered(heard, order)[:_FREE_KEPT], *bound.sentences],
            Yardstick(found.free_log_prob, len(found.free) + 1, letters.free_log_prob),
            self._tokens.text(found.free),
            is_free=True,
        )

    def _worded(self, decoded: Decoded) -> Decoded:
        """Return it with the writer's words, where words are wanted and only letters were told.

        For a note: the writer knows English, the speller only how it sounds.
        """
        wanted = self._grammar is not None and self._grammar.notes_words
        if not wanted or self._for_free is None or not self._for_free[2]:
            return decoded
        found = self._write(self._for_free[0], [], decoded.cut, alone=True)
        return decoded._replace(text=self._tokens.text(found.free))

    def _proposed(self, letters: Letters, spelt: Spelled) -> list[Words]:
        """Return the sentences that the speller thinks likeliest, and what the first is taken for.

        Known confusions of its numbers are looked at even where the search let them go: in noise
        'minus' and 'point' are lost without a trace.
        """
        assert self._grammar  # noqa: S101 -- as above
        found: list[Words] = [tuple(text.split(" ")) for text in spelt.sentences[:_PROPOSED]]
        if not found:
            return found
        confused = [
            words
            for words in sorted(confused_sentences(found[0]))
            if words not in found
            and completeness(self._grammar, words) is not Completeness.INCOMPLETE
        ]
        nats = letters.log_probs_of([" ".join(words) for words in confused])
        likeliest = sorted(zip(nats, confused, strict=True), reverse=True)[:_CONFUSED]
        return found + [words for _, words in likeliest]

    def _write(
        self, states: Floats, proposed: list[Words], cut: Cut, *, alone: bool = False
    ) -> Written:
        """Let the writer weigh those proposed and, unless alone, look for sentences of its own."""
        assert self._grammar  # noqa: S101 -- as above
        own = self._beam and not alone
        beams = [Beam(self._lexicon.start(self._grammar), self._beam)] if own else []
        if proposed:
            beams.append(Beam(small_start(self._tokens.trie, proposed), _PROPOSED_BEAM))
        decoding = self._network.decoding(states, sum(beam.width for beam in beams) + 1)
        sound_s = (cut.end - cut.start) * BLOCK / SAMPLE_RATE_HZ
        return written(decoding, beams, longest=_LEAST_PIECES + int(sound_s * _PIECES_PER_S))

    def _partial(self, decoded: Decoded) -> Partial:
        """Say whether the sound so far is a sentence, and whether more may follow."""
        if not decoded.opinions:
            return Partial((), Completeness.INCOMPLETE, 0.0)
        assert self._grammar  # noqa: S101 -- as above
        likeliest = decoded.opinions[0]
        return Partial(
            likeliest.words,
            completeness(self._grammar, likeliest.words),
            self._match(likeliest, decoded, None) if self._speller else None,
        )

    def _match(self, each: Opinion, decoded: Decoded, snr_db: float | None) -> float:
        if self._speller is None:
            return match_alone(each, decoded.opinions, decoded.free)
        return match(features(each, decoded.free, snr_db))

    def _alternatives(self, decoded: Decoded, snr_db: float | None) -> tuple[Alternative, ...]:
        return tuple(
            Alternative(
                each.words,
                self._match(each, decoded, snr_db),
                each.score,
            )
            for each in decoded.sentences[:_MOST_ALTERNATIVES]
        )


def _is_far(letters: Letters, spelt: Spelled) -> bool:
    """Return whether nothing of the grammar comes near: then the writer need not be asked."""
    nearest = letters.log_probs_of([spelt.likeliest, *spelt.sentences[:1]]).max()
    return bool(letters.free_log_prob - nearest > _FAR_NATS)


def _ordered(found: list[Opinion], order: WordOrder) -> list[Opinion]:
    """Return opinions scored by the order of their words too, best first.

    The best keeps its score, so that it can be held against the grammar's sentences.
    """
    scored = [
        each._replace(
            score=each.score
            + _ORDER_COUNTS * sum(order.log_prob(*pair) for pair in pairwise(("", *each.words, "")))
        )
        for each in found
    ]
    ranked = sorted(scored, key=lambda each: -each.score)
    higher = max(each.score for each in found) - ranked[0].score
    return [each._replace(score=each.score + higher) for each in ranked]


def levelled(samples: Samples) -> npt.NDArray[np.float32]:
    """Return sound at the level the network hears best, float32, shape (n,), -1 to 1.

    Args:
        samples: int16 mono PCM at 16 kHz.
    """
    sound: npt.NDArray[np.float32] = samples.astype(np.float32) / np.float32(32_768.0)
    loud = float(np.sqrt(np.mean(sound**2)))
    gain = min(_LEVEL / loud, _MOST_GAIN) if loud > 0.0 else 1.0
    return np.asarray(np.clip(sound * gain, -1.0, 1.0), np.float32)


def _gap(decoded: Decoded) -> float:
    """How much likelier the sound is as anything else than as the best sentence, nats, >= 0."""
    best = decoded.sentences[:1]
    return max(0.0, decoded.free.written - best[0].written) if best else 0.0
