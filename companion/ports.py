"""The protocols between rooms, and the plain data that crosses them.

Nothing here does anything: these are the words that sound, language, dialogue and log use with
one another. Sound is int16 mono PCM at 16 kHz wherever it says `Frame`; positions in a stream are
counted in samples, never read off a clock, so that a recording and a headset behave alike.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum
from typing import TYPE_CHECKING, Any, Protocol, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime
    from decimal import Decimal
    from fractions import Fraction

    import numpy as np
    import numpy.typing as npt

    Samples: TypeAlias = npt.NDArray[np.int16]
    Exact: TypeAlias = Decimal | Fraction

SAMPLE_RATE_HZ = 16_000


# ---------------------------------------------------------------- sound


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A piece of sound: int16 mono PCM at 16 kHz, shape (n,), any n.

    `voiced` is None as captured; endpointing fills it in before the recogniser sees the frame.
    `is_torn`: sound was lost just before it; what spans the place must not be taken for words.
    """

    samples: Samples
    voiced: bool | None = None
    is_torn: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Clip:
    """Rendered speech or a cue: int16 mono PCM, shape (n,), at `rate_hz`; `text`: what it says."""

    samples: Samples
    rate_hz: int
    text: str = ""

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz


# ---------------------------------------------------------------- grammar


@dataclass(frozen=True, slots=True)
class Automaton:
    """A minimal deterministic word automaton without epsilons; state 0 is the start.

    `arcs[state]` maps a lower-case word to the next state.
    """

    arcs: tuple[Mapping[str, int], ...]
    accepting: frozenset[int]


class WordOrder(Protocol):
    """Which word follows which in what is said without a grammar."""

    @property
    def words(self) -> tuple[str, ...]:
        """All words."""

    def log_prob(self, before: str, word: str) -> float:
        """Return how likely a word is behind another, natural; '' for the beginning and the end."""


@dataclass(frozen=True, slots=True)
class Grammar:
    """All that may be said in a scope: a sentence of any part is a sentence of the grammar.

    Kept as parts so that the large ones (questions, commands) are compiled once and only the
    small ones (this step's readings and choices) change between steps. A `State` of the whole is
    the set of (part, state) still alive.
    """

    scope: str
    parts: tuple[Automaton, ...]
    digest: str  # changes when any sentence does: what a recogniser caches by
    freely: WordOrder | None = None  # of questions in words of their own, where they may be asked
    notes_words: bool = (
        False  # what is no sentence is a note: its words are wanted (`Hearing.free`)
    )


@dataclass(frozen=True, slots=True)
class Expectation:
    """What the step is waiting for: a test point's unit and its plausible range, in that unit."""

    point: str
    unit: str
    low: float
    high: float


# ---------------------------------------------------------------- hearing


class Completeness(Enum):
    """How the words so far stand in the grammar: what patience is decided from."""

    CLOSED = "closed"  # a sentence, and nothing can follow
    MAY_GO_ON = "may go on"  # a sentence, but more may follow ('zero point four')
    INCOMPLETE = "incomplete"  # no sentence yet


@dataclass(frozen=True, slots=True)
class Partial:
    """What the recogniser makes of the utterance so far; `match` is None where it can't tell."""

    words: tuple[str, ...]
    completeness: Completeness
    match: float | None


@dataclass(frozen=True, slots=True)
class Alternative:
    """A sentence of the grammar and how well the sound agrees with it.

    `match` is 0 to 1 (1: as well as with anything that could be said freely); `log_prob` is the
    natural logarithm of the sentence's score, comparable between alternatives of one hearing;
    a margin between two is the difference of their `log_prob`.
    """

    words: tuple[str, ...]
    match: float
    log_prob: float


@dataclass(frozen=True, slots=True)
class WordTime:
    """When a word of the best sentence was said, seconds from the start of the stream."""

    word: str
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class Hearing:
    """What the recogniser made of an utterance; `alternatives` holds the best one first.

    Empty alternatives: nothing in the grammar comes near. `free` is the sound heard without a
    grammar, for the log and for people; nothing is decided from its words. `gap` is the
    difference of log-probability between free and constrained, natural log, >= 0 (how far the
    grammar bends the sound). `is_calibrated`: the matches are chances, and a margin of m nats means
    e^-m times as likely; another engine's are only in order. Times count from the start of the
    stream. `word_times` is empty where the engine has none.
    """

    alternatives: tuple[Alternative, ...]
    free: str = ""
    gap: float = 0.0
    start_s: float = 0.0
    end_s: float = 0.0
    noise_dbfs: float | None = None
    snr_db: float | None = None
    word_times: tuple[WordTime, ...] = ()
    is_calibrated: bool = False

    @property
    def words(self) -> tuple[str, ...]:
        """The best sentence, or nothing."""
        return self.alternatives[0].words if self.alternatives else ()

    @property
    def match(self) -> float:
        """The best sentence's match, 0 when there is none."""
        return self.alternatives[0].match if self.alternatives else 0.0


class Recogniser(Protocol):
    """Sound in, a hearing out, under a grammar."""

    @property
    def missing_words(self) -> tuple[str, ...]:
        """Words of the grammar that it cannot hear, sorted: no sentence with one is heard."""

    def listen_for(self, grammar: Grammar, expect: Expectation | None) -> None:
        """Take the grammar for the next utterance; under 50 ms for one seen before."""

    def feed(self, frame: Frame) -> Partial | None:
        """Take a frame of the utterance; now and then say what it is so far."""

    def finish(self) -> Hearing:
        """Close the utterance and say what it was."""

    def reset(self) -> None:
        """Forget the utterance begun."""


class Ear(Protocol):
    """Where frames come from: a headset, a file, the rehearsal."""

    def frames(self) -> Iterator[Frame]:
        """Yield frames until the source ends."""


# ---------------------------------------------------------------- speaking


class Voice(Protocol):
    """Text in, samples out; never plays."""

    def render(self, text: str) -> Clip:
        """Return the text as speech."""


class Playing(Protocol):
    """A clip being played."""

    def duck(self) -> None:
        """Lower the volume while someone speaks."""

    def lift(self) -> None:
        """Bring the volume back."""

    def stop(self) -> None:
        """Cut it."""

    @property
    def heard_s(self) -> float:
        """How much of it was heard."""


class Mouth(Protocol):
    """Where clips are played: a headset, a file, the rehearsal."""

    def play(self, clip: Clip) -> Playing:
        """Start to play."""


# ---------------------------------------------------------------- sound that is kept


@dataclass(frozen=True, slots=True)
class KeptSound:
    """Sound that was kept beside the job log: what an entry names it by.

    `file` is its path below the log's folder of sounds, with '/'; `sha256` is the file's, hex;
    `length_s` a decimal string, seconds.
    """

    file: str
    sha256: str
    length_s: str

    @property
    def payload(self) -> dict[str, str]:
        """What an entry's `sound` holds."""
        return {"file": self.file, "sha256": self.sha256, "length_s": self.length_s}


class SoundShelf(Protocol):
    """Where sound is kept, lossless."""

    def keep(self, job: str, samples: Samples, rate_hz: int, *, spare: bool = False) -> KeptSound:
        """Return once the sound is durable, or raise `SoundShelfError` and keep nothing.

        Args:
            job: the job that it belongs to.
            samples: int16 mono PCM, shape (n,), n >= 1.
            rate_hz: its rate.
            spare: it may be left out where sound already takes all the room it is given.
        """

    def clip(self, kept: KeptSound) -> Clip:
        """Return what was kept, its digest checked; raise `SoundFileError` if it is not that."""


# ---------------------------------------------------------------- what may be said


@dataclass(frozen=True, slots=True)
class PointVocabulary:
    """A test point as language needs it: its slug, how it may be named, and its unit.

    `names` are lower-case phrases; `unit` is a unit slug of `quantities`; `others` are units that
    may be named instead; `awaited` marks the point whose name may be left out now.
    """

    slug: str
    names: tuple[str, ...]
    unit: str
    others: tuple[str, ...] = ()
    awaited: bool = False


@dataclass(frozen=True, slots=True)
class ChoiceVocabulary:
    """A choice as language needs it: (option slug, phrases that answer with it) for each option."""

    slug: str
    options: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Scope:
    """What may be said at this moment; decides the active grammar.

    Emergency phrases are in every scope. `awake` False leaves the attention phrase and them only.
    `commands` False leaves them out (used by `hear --scope` and tests). `noting`: a note is being
    said; what is no sentence is wanted word for word, as well as it can be made out.
    `asking_unit` is set while a missing input of a sizing, or a value, is asked for: a bare measure
    then answers; `asking_kind` names what it is ('measure', 'count', 'gauge', 'trade size', 'yes or
    no').
    `steps`, `choices`, `logged` and `faults` are what may be gone to, asked about, read back and
    looked for by name.
    """

    name: str
    awake: bool = True
    commands: bool = True
    questions: bool = True
    noting: bool = False
    points: tuple[PointVocabulary, ...] = ()
    choice: ChoiceVocabulary | None = None
    asking_kind: str = ""
    asking_units: tuple[str, ...] = ()
    attention: str = "toolbox listen up"
    steps: ChoiceVocabulary | None = None
    choices: ChoiceVocabulary | None = None
    logged: ChoiceVocabulary | None = None
    faults: ChoiceVocabulary | None = None


# ---------------------------------------------------------------- the log

Json: TypeAlias = Any  # what a payload may hold: str, int, bool, None, lists and dicts of these


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry as the dialogue decides it: no number and no chain yet. `at` is UTC."""

    kind: str
    payload: Mapping[str, Json]
    at: datetime


@dataclass(frozen=True, slots=True)
class Entry:
    """One line of the job log: a header, chained, and a payload, which may have been removed.

    `digest` is the SHA-256 of salt and payload; `previous` the SHA-256 of the header before, so a
    payload can be removed on a customer's request without breaking the chain.
    """

    schema: int
    job: str
    number: int
    kind: str
    at: datetime
    digest: str
    previous: str
    payload: Mapping[str, Json] = field(default_factory=dict)


class Store(Protocol):
    """The job log. `append` returns once the entries are durable; one commit a turn."""

    def append(self, job: str, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
        """Number, chain and store the drafts in one commit, or raise and store none."""

    def entries(self, job: str) -> Iterator[Entry]:
        """Yield the job's entries in order."""
