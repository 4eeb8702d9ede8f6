"""The loop: wires the ports, runs turns, carries out acts. No decision of the talk lives here.

The order is fixed: take the turn, append its entries, and only when they are durable let the new
state stand and say anything. If they can't be appended, the turn did not happen, and that is said.
"""

from __future__ import annotations

import math
import re
from collections import deque
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import timedelta
from functools import cache
from pathlib import Path
from time import perf_counter, sleep
from typing import TYPE_CHECKING, Protocol, runtime_checkable

from companion.audio.clipping import clipped_share
from companion.dialogue.events import (
    SOUND_LOST,
    Adjust,
    Cue,
    EarBack,
    EarLost,
    Finish,
    Heard,
    Hush,
    ListenFor,
    Opened,
    PlayKept,
    Resumed,
    Say,
    SoundDropped,
    SoundGone,
    SoundNotKept,
    SpeechEnded,
    StoreFailed,
    Tick,
    Unclear,
)
from companion.dialogue.over_voice import OVER_VOICE
from companion.dialogue.session import Session
from companion.dialogue.state import Job, apply, fold
from companion.dialogue.timers import is_out_of_date
from companion.dialogue.turn import take
from companion.errors import DeviceError, ModelError, SoundFileError, StoreError
from companion.grammar_cache import use_kept_questions
from companion.language.compose import compose
from companion.listening import Listener, Onset, Overlong, Torn, Utterance
from companion.note_taking import Evidence, NoteTaker
from companion.ports import Alternative, Hearing, Scope
from companion.settings import load_settings
from companion.speaking.loudness import louder

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable
    from datetime import datetime

    from companion.dialogue.events import Act, Event
    from companion.dialogue.manner import Manner
    from companion.dialogue.outcome import Outcome
    from companion.language.compose import Language
    from companion.listening import Listened
    from companion.ports import (
        Clip,
        Ear,
        Expectation,
        Mouth,
        Playing,
        Recogniser,
        SoundShelf,
        Store,
        Voice,
    )
    from companion.procedures.model import Procedure
    from companion.settings import Settings

URGENT, ROUTINE = "urgent", "routine"
TICK_S = 1.0
LAST_WORDS_S = 6.0  # the longest that the program goes on to say that it is lost
LOOK_S = 0.05
RETRY_S = 0.4  # between two tries to find a lost headset
ECHO_S = 0.6  # its voice on the way out, and the room's echo of it: a first value
OWN_TEXTS = 6  # of what it said last
WORD = re.compile(r"[a-z']+")
END_S = 0.001  # places on a track are counted in samples: the end may miss by less than that


@dataclass(slots=True)
class Timing:
    """Where the time of one answer went, seconds; `patience_s` is sound, the rest wall time."""

    patience_s: float = 0.0
    decoding_s: float = 0.0
    late_s: float = 0.0
    turn_s: float = 0.0
    log_s: float = 0.0
    voice_s: float = 0.0

    @property
    def response_s(self) -> float:
        """From the end of the last word to the first sample of the answer."""
        return self.patience_s + self.late_s + self.turn_s + self.log_s + self.voice_s


@dataclass(frozen=True, slots=True)
class Happened:
    """One turn, for those who watch: what happened, what came of it, and how long it took."""

    event: Event
    outcome: Outcome
    timing: Timing
    job: Job


@runtime_checkable
class PacedVoice(Protocol):
    """A voice that can speak faster or slower."""

    def paced(self, factor: float) -> Voice:
        """Return the same voice at another pace."""


@dataclass(slots=True)
class _Speaking:
    """Something being said."""

    what: str
    clip: Clip
    playing: Playing
    is_urgent: bool = False
    ducked_from_s: float | None = None  # how far in it was lowered, if it still is

    def duck(self) -> None:
        """Lower it, unless it is urgent."""
        if self.ducked_from_s is None and not self.is_urgent:
            self.ducked_from_s = self.playing.heard_s
            self.playing.duck()

    def lift(self) -> None:
        """Bring it back."""
        self.ducked_from_s = None
        self.playing.lift()

    @property
    def was_heard(self) -> bool:
        """Whether it can count as heard: not where most of it was spoken over to its end."""
        lowered = self.ducked_from_s
        return lowered is None or lowered > self.clip.duration_s / 2

    @property
    def is_over(self) -> bool:
        """Whether it was heard to its end."""
        return self.playing.heard_s >= self.clip.duration_s - END_S


@dataclass(slots=True)
class Loop:
    """Runs one job.

    Args:
        store: the job log.
        job_id: which job.
        voice: renders what is said.
        mouth: plays it.
        now: gives the time, UTC.
        cue: gives a cue's clip by name, or None for silence.
        foresee: called before each turn, with what happened.
        watch: called after each turn.
        voices: gives another voice by its number, counted round and round.
        keep_manner: called with how it is to speak from now on.
        shelf: keeps the sound of notes, and plays it; None where there is no place for it.
        evidence: keeps the sound of readings; None where it is not wanted.
        loudspeaker: whether it is heard through one: then it hears itself.
    """

    store: Store
    job_id: str
    voice: Voice
    mouth: Mouth
    now: Callable[[], datetime]
    cue: Callable[[str], Clip] | None = None
    foresee: Callable[[Event], None] | None = None
    watch: Callable[[Happened], None] | None = None
    voices: Callable[[int], Voice] | None = None
    keep_manner: Callable[[Manner], None] | None = None
    shelf: SoundShelf | None = None
    evidence: Evidence | None = None
    loudspeaker: bool = False
    job: Job = field(default_factory=Job)
    session: Session = field(default_factory=Session)
    language: Language = field(default_factory=lambda: compose(Scope("starting", commands=False)))
    expect: Expectation | None = None
    finished: bool = False
    unsaved: StoreError | None = None  # why the last turn with entries could not be stored
    heard_to_s: float = 0.0  # how much of the stream has been heard
    is_ducked: bool = False  # someone is speaking: what is said meanwhile is said low
    _speaking: deque[_Speaking] = field(default_factory=deque)
    _voice: Voice | None = None  # as it speaks now
    _waiting: deque[Say] = field(default_factory=deque)  # what is routine
    _timing: Timing = field(default_factory=Timing)
    _own: deque[str] = field(default_factory=lambda: deque(maxlen=OWN_TEXTS))
    _spoke_until_s: float = -math.inf  # of the stream: where it was last speaking

    def open(self, procedure: Procedure) -> None:
        """Begin a new job.

        Raises:
            StoreError: it cannot be stored; without that there is no job to go on with.
        """
        self._begin(Opened(procedure, self.now(), keeps_sound=self.evidence is not None))

    def resume(self) -> None:
        """Take up the job where its log leaves it.

        Raises:
            StoreError: there is no such job, or it cannot be stored that it was resumed; what
                must be proved again on resuming would be passed over otherwise.
        """
        self.job = fold(self.store.entries(self.job_id))
        self._begin(Resumed(self.now(), keeps_sound=self.evidence is not None))

    def _begin(self, event: Event) -> None:
        self.happen(event)
        if self.unsaved:
            raise self.unsaved

    def happen(self, event: Event, timing: Timing | None = None) -> None:
        """Take one event through the dialogue: append first, then act."""
        self._timing = timing or Timing()
        if self.foresee:
            self.foresee(event)
        began = perf_counter()
        outcome = take(self.job, self.session, event)
        self._timing.turn_s = perf_counter() - began
        outcome = self._appended(outcome, event.at)
        self.session = outcome.session
        gone = self._carry_out(outcome.acts)
        if self.watch:
            self.watch(Happened(event, outcome, self._timing, self.job))
        if gone:
            self.happen(SoundGone(gone, self.now()))
        self.poll()

    def _appended(self, outcome: Outcome, at: datetime) -> Outcome:
        """Return the outcome once its entries are durable; what to say instead when they aren't."""
        if not outcome.drafts:
            return outcome
        not_kept = ""
        if self.evidence is not None:
            drafts, not_kept = self.evidence.kept(outcome.drafts)
            outcome = replace(outcome, drafts=drafts)
        began = perf_counter()
        try:
            self.store.append(self.job_id, outcome.drafts)
        except StoreError as failed:
            self.unsaved = failed
            hazards = (d.payload["hazard"] for d in outcome.drafts if d.kind == "emergency")
            lost = StoreFailed(failed.spoken, at, next(hazards, ""))
            return take(self.job, self.session, lost)
        self.unsaved = None
        self._timing.log_s = perf_counter() - began
        for draft in outcome.drafts:
            self.job = apply(self.job, draft)
        if not_kept:
            told = take(self.job, outcome.session, SoundNotKept(not_kept, at))
            outcome = replace(outcome, session=told.session, acts=(*outcome.acts, *told.acts))
        return outcome

    def _carry_out(self, acts: Iterable[Act]) -> str:  # noqa: C901 - one line an act
        """Do what the turn led to; return why a kept sound can't be played, or ''."""
        spoken = [act for act in acts if isinstance(act, Say) and act.urgency != ROUTINE]
        if spoken:
            self._cut()
        gone = ""
        for act in acts:
            match act:
                case Say(urgency="routine"):
                    self._wait(act)
                case Say():
                    self._say(act)
                case PlayKept():
                    gone = self._play(act)
                case Cue(name=name):
                    if self.cue and (spoken or not self.is_speaking):  # later it would tell nothing
                        self.mouth.play(self.cue(name))
                case Hush():
                    self._cut()
                case Adjust():
                    self._adjust(act)
                case ListenFor(scope=scope, expect=expect):
                    self.language, self.expect = compose(scope), expect
                case Finish():
                    self.finished = True
        return gone

    def _wait(self, act: Say) -> None:
        """Say it once nobody speaks; what was to be said of the same thing is out of date."""
        self._waiting = deque(each for each in self._waiting if each.what != act.what)
        self._waiting.append(act)

    def _play(self, act: PlayKept) -> str:
        """Play sound that was kept; return why it can't be, '' where it is played."""
        try:
            if self.shelf is None:
                return "missing"
            clip = replace(self.shelf.clip(act.kept), text=act.text)
        except SoundFileError as problem:
            return "altered" if problem.is_altered else "missing"
        self._start("", louder(clip, self.session.manner.gain_db))
        return ""

    def _say(self, act: Say) -> None:
        began = perf_counter()
        if self._voice is None:
            self._speak_so(self.session.manner)
        voice = self._voice or self.voice
        clip = louder(voice.render(act.text), self.session.manner.gain_db)
        if not self._timing.voice_s:
            self._timing.voice_s = perf_counter() - began
        self._start(act.what, clip, is_urgent=act.urgency == URGENT)

    def _start(self, what: str, clip: Clip, *, is_urgent: bool = False) -> None:
        speaking = _Speaking(what, clip, self.mouth.play(clip), is_urgent)
        if self.is_ducked:
            speaking.duck()
        self._speaking.append(speaking)
        self._own.append(clip.text)

    def _adjust(self, act: Adjust) -> None:
        """Speak so from now on, as far as the voice can."""
        self._speak_so(act.manner)
        if self.keep_manner:
            self.keep_manner(act.manner)

    def _speak_so(self, manner: Manner) -> None:
        plain = self.voices(manner.voice) if self.voices and manner.voice else self.voice
        is_paced = isinstance(plain, PacedVoice) and manner.pace != 1.0
        self._voice = plain.paced(manner.pace) if is_paced else plain  # type: ignore[attr-defined]

    def _cut(self) -> None:
        """Stop what is being said; what was cut does not count as heard."""
        while self._speaking:
            each = self._speaking.popleft()
            if not each.is_over:
                each.playing.stop()

    def fall_silent(self) -> None:
        """The mouth is gone: what it was saying was not heard, and there is nothing to stop."""
        self._speaking.clear()
        self.is_ducked = False

    @property
    def is_speaking(self) -> bool:
        """Whether something is being said, or waits to be."""
        return any(not each.is_over for each in self._speaking)

    @property
    def hears_itself(self) -> bool:
        """Whether what is heard now is its own voice, through a loudspeaker, or its echo."""
        if not self.loudspeaker:
            return False
        if self.is_speaking:
            self._spoke_until_s = self.heard_to_s
        return self.heard_to_s - self._spoke_until_s < ECHO_S

    @property
    def listens_for(self) -> tuple[Language, Expectation | None]:
        """What may be said now, and what is awaited."""
        return (compose(OVER_VOICE), None) if self.hears_itself else (self.language, self.expect)

    @property
    def own_words(self) -> tuple[str, ...]:
        """What it said last, in word form."""
        return tuple(WORD.findall(" ".join(self._own).lower()))

    @property
    def _is_noting(self) -> bool:
        """Whether a note is being said: nothing speaks into its pauses."""
        return self.session.note is not None and not self.session.note.ended

    def duck(self) -> None:
        """Someone began to speak: lower what is being said, until it is known what they said."""
        self.is_ducked = True
        for each in self._speaking:
            each.duck()

    def lift(self) -> None:
        """What they said cut nothing: bring the voice back."""
        self.is_ducked = False
        for each in self._speaking:
            each.lift()

    def _say_waiting(self) -> None:
        waited = self._waiting.popleft()
        if not is_out_of_date(self.job, waited.what):
            self._say(waited)

    def poll(self) -> None:
        """Tell the dialogue what was heard to its end since; say what waited, if nobody speaks."""
        while self._speaking or self._waiting:
            if not self._speaking:
                if self.is_ducked or self._is_noting or self.job.emergency:
                    return
                self._say_waiting()
            if not self._speaking:
                continue
            if not self._speaking[0].is_over:
                return
            first = self._speaking.popleft()
            if first.what and first.was_heard:
                self.happen(SpeechEnded(first.what, first.playing.heard_s, self.now()))


@runtime_checkable
class ComesBack(Protocol):
    """An ear that can be opened again after it was lost."""

    def come_back(self) -> bool:
        """Try to; return whether it is there."""


@runtime_checkable
class CountsLosses(Protocol):
    """An ear that counts the blocks of sound that were lost on the way in."""

    @property
    def overruns(self) -> int:
        """How many so far."""


def run(
    loop: Loop,
    ear: Ear,
    listener: Listener,
    show_lost: Callable[[DeviceError | None], None] | None = None,
) -> None:
    """Run a job on sound until it ends or the ear does.

    An ear that `ComesBack` is waited for when it is lost, however long; the job waits with it.

    Args:
        loop: the job.
        ear: where the sound comes from.
        listener: hears it.
        show_lost: called with why the ear was lost, and with None once it is back.

    Raises:
        DeviceError: the headset is gone; it was said, if it could still be heard.
    """
    listener.listen_for(*loop.listens_for)
    notes = NoteTaker(listener, loop.shelf, loop.job_id)
    try:
        _run_on(loop, ear, listener, notes, show_lost)
    finally:  # also on Ctrl-C: what was said of a note is kept
        _stop_note(loop, notes)


def _run_on(
    loop: Loop,
    ear: Ear,
    listener: Listener,
    notes: NoteTaker,
    show_lost: Callable[[DeviceError | None], None] | None,
) -> None:
    while True:
        try:
            _run(loop, ear, listener, notes)
        except DeviceError as lost:
            _tell_lost(loop)
            _stop_note(loop, notes)
            if not isinstance(ear, ComesBack):
                raise
            if show_lost:
                show_lost(lost)
            loop.fall_silent()
            while not ear.come_back():
                sleep(RETRY_S)
            if show_lost:
                show_lost(None)
            with suppress(DeviceError):  # gone again: the next frame tells
                loop.happen(EarBack(loop.now()))
        else:
            return


def _stop_note(loop: Loop, notes: NoteTaker) -> None:
    ended = notes.stop(loop.session.note, loop.now())
    if ended:
        loop.happen(ended)


def _tell_lost(loop: Loop) -> None:
    """The headset is gone: say so to one who does not look at the screen, if he can hear it."""
    until = perf_counter() + LAST_WORDS_S
    with suppress(DeviceError):
        loop.happen(EarLost(loop.now()))
        while loop.is_speaking and perf_counter() < until:
            sleep(LOOK_S)
            loop.poll()


def _run(loop: Loop, ear: Ear, listener: Listener, notes: NoteTaker) -> None:
    last_tick, dropped = loop.now(), _dropped(ear)
    heard_itself = False
    for frame in ear.frames():
        loop.heard_to_s = listener.at_s
        if loop.hears_itself != heard_itself:
            heard_itself = not heard_itself
            listener.listen_for(*loop.listens_for)
        for listened in listener.feed(frame):
            _hear(loop, listener, listened)
            _follow_note(loop, listener, notes, listened)
        _follow_note(loop, listener, notes)
        loop.poll()
        if (loop.now() - last_tick).total_seconds() >= TICK_S:
            last_tick = loop.now()
            loop.happen(Tick(last_tick))
            before, dropped = dropped, _dropped(ear)
            if dropped > before:
                loop.happen(SoundDropped(dropped - before, loop.now()))
            listener.listen_for(*loop.listens_for)
        if loop.finished:
            return
    for listened in listener.flush():
        _hear(loop, listener, listened)
        _follow_note(loop, listener, notes, listened)


def _dropped(ear: Ear) -> int:
    return ear.overruns if isinstance(ear, CountsLosses) else 0


def _follow_note(
    loop: Loop, listener: Listener, notes: NoteTaker, listened: Listened | None = None
) -> None:
    ended = notes.follow(loop.session.note, loop.now(), listened)
    if ended:
        loop.happen(ended)
        listener.listen_for(*loop.listens_for)


def speak_out(loop: Loop, ear: Ear) -> None:
    """Let the last words be heard to their end, hearing nothing meanwhile."""
    for _ in ear.frames():
        loop.poll()
        if not loop.is_speaking:
            return


def _hear(loop: Loop, listener: Listener, listened: Listened) -> None:
    if not isinstance(listened, Onset):
        loop.is_ducked = False  # what is said to it is for him to hear
    over_voice = loop.loudspeaker and listener.language.scope == OVER_VOICE
    match listened:
        case Onset():
            if not over_voice:
                loop.duck()
            return
        case Overlong() | Torn() if over_voice:
            pass
        case Utterance(hearing=hearing, language=language) if language.scope == OVER_VOICE:
            candidates = language.candidates(hearing)
            own = loop.own_words
            loop.happen(Heard(hearing, candidates, loop.now(), own_words=own))
        case Utterance(hearing=hearing, language=language, span=span):
            timing = Timing(
                patience_s=span.closed_s - span.end_of_speech_s,
                decoding_s=listened.decoding_s,
                late_s=listened.late_s,
            )
            sound = loop.evidence.hold(listened.samples) if loop.evidence else ""
            now = loop.now()
            heard = Heard(
                hearing,
                language.candidates(hearing),
                now,
                clipped_share=clipped_share(listened.samples),
                said_at=now - timedelta(seconds=timing.patience_s + timing.late_s),
                sound=sound,
                noting=language.scope.noting,
            )
            loop.happen(heard, timing)
        case Overlong():
            loop.happen(Unclear("too long", loop.now()))
        case Torn():
            loop.happen(Unclear(SOUND_LOST, loop.now()))
    loop.lift()
    listener.listen_for(*loop.listens_for)


def typed(loop: Loop, words: tuple[str, ...], line: str = "") -> None:
    """Take a typed sentence through the loop as one that was heard perfectly.

    Args:
        loop: runs the job.
        words: the line in word form, near misses repaired.
        line: as it was typed, for a note; its words unless given.
    """
    free = line.strip() or " ".join(words)
    hearing = Hearing((Alternative(words, match=1.0, log_prob=0.0),), free=free)
    loop.happen(Heard(hearing, loop.language.candidates(hearing), loop.now(), typed=True))


# ---------------------------------------------------------------- the one place that names engines


def recogniser_for(settings: Settings) -> Recogniser:
    """Return the recogniser that the user has chosen, loaded.

    Args:
        settings: `recogniser` names it; for 'vosk', `vosk_model` is its model's folder.

    Raises:
        ModelError: its files are missing or altered.
    """
    use_kept_questions()
    if settings.recogniser == "vosk":
        if not settings.vosk_model:
            raise ModelError(
                "No Vosk model is chosen",
                "Choose one: companion models use DIR, or go back: companion models use bundled",
            )
        from companion.hearing.vosk import VoskRecogniser  # noqa: PLC0415 - engines load late

        heard_by_vosk = VoskRecogniser(Path(settings.vosk_model))
        heard_by_vosk.load()
        return heard_by_vosk
    from companion.hearing.bundled import BundledRecogniser  # noqa: PLC0415

    original = settings.recogniser == "bundled-original"
    bundled = BundledRecogniser(encoder="original" if original else "hardened")
    bundled.load()
    return bundled


def sound_listener(language: Language, recogniser: Recogniser | None = None) -> Listener:
    """Return a listener.

    Args:
        language: what may be said at first.
        recogniser: hears it; the one that the user has chosen unless given.

    Raises:
        ModelError: the recogniser's files are missing or altered.
        InputError: the user's settings cannot be read.
    """
    from companion.audio.endpointing import Endpointer  # noqa: PLC0415 - engines load when needed

    return Listener(Endpointer(), recogniser or recogniser_for(load_settings()), language)


def spoken_voice(name: str | None = None) -> Voice:
    """Return the companion's voice, with what it says often kept.

    Raises:
        VoiceError: no voice can speak; the message says what to install.
    """
    from companion.speaking.cache import CachedVoice  # noqa: PLC0415
    from companion.speaking.pyttsx3_voice import Pyttsx3Voice  # noqa: PLC0415

    return CachedVoice(Pyttsx3Voice(name) if name else Pyttsx3Voice())


@cache
def other_voice(number: int) -> Voice:
    """Return one of the voices for 'another voice', counted round and round.

    Raises:
        VoiceError: no voice can speak.
    """
    from companion.speaking.pyttsx3_voice import VOICES  # noqa: PLC0415

    return spoken_voice(VOICES[number % len(VOICES)])
