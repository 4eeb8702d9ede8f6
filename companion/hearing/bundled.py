"""The bundled recogniser: a small neural network decoded under the grammar of the moment.

The network does not stream, so the sound is decoded when a pause begins (120 ms without voice) and
again only if voice comes after it. Everything is decided at fixed sample positions: any split of
the sound into frames gives the same hearing.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np

from companion.hearing.lexicon import Lexicon
from companion.hearing.model_files import catalogue, checked
from companion.hearing.network import Network
from companion.hearing.search import Ended, Found, searched
from companion.hearing.tokens import Tokens, load_tokens
from companion.hearing.utterance import BLOCK, Cut, Utterance
from companion.ports import SAMPLE_RATE_HZ, Alternative, Completeness, Hearing, Partial

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    from companion.ports import Expectation, Frame, Grammar, Samples

_MOST_ALTERNATIVES = 5
_LEVEL = 0.08  # root mean square that the sound is brought to
_MOST_GAIN = 30.0
_PIECES_PER_S = 14.0  # more than anyone says
_LEAST_PIECES = 10


class _Decoded(NamedTuple):
    """A search's result and the cut of the sound it belongs to."""

    cut: Cut
    found: Found


class BundledRecogniser:
    """Sound in, a hearing out, under a grammar.

    Args:
        encoder: 'hardened' (made for noise) or 'original'.
        folder: a local folder with the model's files, looked in before the installed ones.
        threads: how many threads the network may use.
        beam: how many beginnings the search carries on at a time.

    Raises:
        ModelError: a file of the model is missing or altered.
    """

    def __init__(
        self,
        *,
        encoder: Literal["hardened", "original"] = "hardened",
        folder: Path | None = None,
        threads: int = 1,
        beam: int = 6,
    ) -> None:
        files = catalogue()
        self._network = Network(
            checked(files[f"encoder-{encoder}"], folder),
            checked(files["decoder"], folder),
            threads=threads,
        )
        self._tokenizer = checked(files["tokenizer"], folder)
        self._beam = beam
        self._grammar: Grammar | None = None
        self._position = 0  # samples since the stream began, before this utterance
        self._utterance = Utterance()
        self._decoded: _Decoded | None = None

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
        return self._partial(self._decode(cut).found) if cut and self._grammar else None

    def finish(self) -> Hearing:
        """Close the utterance and say what it was; times count all samples ever fed."""
        utterance, position = self._utterance, self._position
        utterance.close()
        cut = utterance.cut
        found = self._decode(cut).found if cut and self._grammar else None
        self.reset()
        loudness = utterance.loudness
        start, end = (cut.start * BLOCK, cut.end * BLOCK) if cut else (0, utterance.samples)
        return Hearing(
            alternatives=_alternatives(found) if found else (),
            free=self._tokens.text(found.free) if found else "",
            gap=_gap(found) if found else 0.0,
            start_s=(position + start) / SAMPLE_RATE_HZ,
            end_s=(position + min(end, utterance.samples)) / SAMPLE_RATE_HZ,
            noise_dbfs=loudness.noise_dbfs,
            snr_db=loudness.snr_db,
        )

    def reset(self) -> None:
        """Forget the utterance begun; the position in the stream stays."""
        self._position += self._utterance.samples
        self._utterance = Utterance()
        self._decoded = None

    @cached_property
    def _tokens(self) -> Tokens:
        return load_tokens(self._tokenizer)

    @cached_property
    def _lexicon(self) -> Lexicon:
        return Lexicon(self._tokens.trie)

    def _decode(self, cut: Cut) -> _Decoded:
        """Decode the cut, or give what was found for it before."""
        if self._decoded is None or self._decoded.cut != cut:
            assert self._grammar  # noqa: S101 -- both callers have looked
            sound = levelled(self._utterance.sound(cut))
            longest = _LEAST_PIECES + int(len(sound) / SAMPLE_RATE_HZ * _PIECES_PER_S)
            decoding = self._network.decoding(self._network.encode(sound), self._beam + 1)
            pace = self._utterance.pace
            start = self._lexicon.start(self._grammar)
            found = searched(decoding, start, pace, beam=self._beam, longest=longest)
            self._decoded = _Decoded(cut, found)
        return self._decoded

    def _partial(self, found: Found) -> Partial:
        """Say whether the sound so far is a sentence, and whether more may follow."""
        likeliest = max(
            found.sentences[:1] + found.beginnings[:1], key=lambda e: e.score, default=None
        )
        if likeliest is None:
            return Partial((), Completeness.INCOMPLETE, 0.0)
        return Partial(
            likeliest.words, self._completeness(likeliest, found), _match(likeliest, found)
        )

    def _completeness(self, ended: Ended, found: Found) -> Completeness:
        if ended in found.beginnings:
            return Completeness.INCOMPLETE
        if self._lexicon.can_go_on(ended.alive):
            return Completeness.MAY_GO_ON
        return Completeness.CLOSED


def levelled(samples: Samples) -> npt.NDArray[np.float32]:
    """Return sound at the level the network hears best, float32, shape (n,), -1 to 1.

    Args:
        samples: int16 mono PCM at 16 kHz.
    """
    sound: npt.NDArray[np.float32] = samples.astype(np.float32) / np.float32(32_768.0)
    loud = float(np.sqrt(np.mean(sound**2)))
    gain = min(_LEVEL / loud, _MOST_GAIN) if loud > 0.0 else 1.0
    return np.asarray(np.clip(sound * gain, -1.0, 1.0), np.float32)


def _alternatives(found: Found) -> tuple[Alternative, ...]:
    return tuple(
        Alternative(ended.words, _match(ended, found), ended.score)
        for ended in found.sentences[:_MOST_ALTERNATIVES]
    )


def _gap(found: Found) -> float:
    """How much likelier the sound is as anything else than as the best sentence, nats, >= 0."""
    return _bent(found.sentences[0], found) if found.sentences else 0.0


def _match(ended: Ended, found: Found) -> float:
    """1 where the words are as likely as anything else, towards 0 a piece at a time."""
    return math.exp(-_bent(ended, found) / (len(found.free) + 1))


def _bent(ended: Ended, found: Found) -> float:
    """How far the sound is bent to be these words, in nats, >= 0.

    Against what it is freely, and against a sentence that was broken off: 'supply static zero' is
    no good account of "supply static zero point".
    """
    otherwise = max(
        (found.free_log_prob, *(other.log_prob - other.bent for other in found.beginnings[:1]))
    )
    return max(0.0, otherwise - ended.log_prob) + ended.bent
