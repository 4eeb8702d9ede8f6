"""The loop: what is stored before it is said, what is cut, ticks, and a job run on sound."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from tones import LevelActivity, SoundEar, ToneRecogniser, room, spelled

from companion.audio.endpointing import Endpointer
from companion.dialogue.events import (
    SOUND_LOST,
    EarBack,
    Heard,
    Say,
    SpeechEnded,
    Tick,
    Unclear,
)
from companion.errors import DeviceError, JobNotFoundError, ModelError, StoreFullError
from companion.joblog import MemoryStore
from companion.language.phrasing import phrase
from companion.listening import Listener
from companion.loop import (
    Happened,
    Loop,
    other_voice,
    recogniser_for,
    run,
    sound_listener,
    speak_out,
    spoken_voice,
    typed,
)
from companion.ports import Clip, Frame
from companion.procedures.loader import load
from companion.settings import Settings
from companion.speaking.mouths import FileMouth, Placed, SilentMouth
from companion.working import require_words

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from companion.ports import Draft, Entry, Samples

START = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
JOB = "job-1"
SMALL = Path(__file__).parent / "dialogue" / "small.toml"
SAID = (
    "sheet metal", "primary one nineteen", "done", "quiet", "louder", "slower", "call it off",
    "yes", "the office", "blue elephants", "return point two",
)  # fmt: skip


@dataclass
class ToneVoice:
    """A tenth of a second for each word; slower on demand."""

    pace: float = 1.0
    rendered: list[tuple[str, float]] = field(default_factory=list)

    def render(self, text: str) -> Clip:
        self.rendered.append((text, self.pace))
        samples = round(1_600 * len(text.split()) / self.pace)
        return Clip(np.full(samples, 300, np.int16), 16_000, text)

    def paced(self, factor: float) -> ToneVoice:
        return ToneVoice(self.pace * factor, self.rendered)


class FullOnce(MemoryStore):
    """A store that refuses the appends named, counted from 1."""

    def __init__(self, *refused: int) -> None:
        super().__init__()
        self._refused, self._count = refused, 0

    def append(self, job: str, drafts: Sequence[Draft]) -> tuple[Entry, ...]:
        self._count += 1
        if self._count in self._refused:
            raise StoreFullError("The disk is full", "Free some room.")
        return super().append(job, drafts)


class Room:
    """A loop on sound: its clock, and that of its mouth, is the sound itself."""

    def __init__(self, sound: Samples, store: MemoryStore | None = None) -> None:
        self.ear = SoundEar(sound)
        self.mouth = FileMouth(lambda: self.ear.at_s)
        self.voice = ToneVoice()
        self.store = store or MemoryStore()
        self.turns: list[Happened] = []
        self.loop = Loop(
            self.store, JOB, self.voice, self.mouth, self.now, cue=self.cue, watch=self.turns.append
        )
        self.recogniser = ToneRecogniser(SAID)
        self.listener = Listener(Endpointer(LevelActivity()), self.recogniser, self.loop.language)

    def now(self) -> datetime:
        return START + timedelta(seconds=self.ear.at_s)

    def cue(self, name: str) -> Clip:
        return Clip(np.full(160, 200, np.int16), 16_000, f"({name})")

    def open(self) -> None:
        self.loop.open(load(SMALL.read_text("utf-8"), SMALL.name, safety=False))

    def run(self) -> Room:
        self.open()
        run(self.loop, self.ear, self.listener)
        return self

    @property
    def kinds(self) -> list[str]:
        return [entry.kind for entry in self.store.entries(JOB)]

    def events(self, kind: type) -> list[object]:
        return [turn.event for turn in self.turns if isinstance(turn.event, kind)]


def said(*lines: str, pause_s: float = 12.0) -> Samples:
    """Return lines as sound, long pauses between, so that every answer is heard out."""
    pieces = [room(pause_s)]
    for line in lines:
        pieces += [spelled(line, SAID), room(pause_s)]
    return np.concatenate(pieces)


# ---------------------------------------------------------------- on sound


def test_a_job_is_worked_by_sound_alone() -> None:
    there = Room(said("sheet metal", "primary one nineteen")).run()
    assert there.kinds[-3:] == ["step-entered", "caution-given", "reading"]
    heard = [turn for turn in there.turns if isinstance(turn.event, Heard)]
    assert [turn.outcome.drafts[0].kind for turn in heard] == ["choice", "reading"]
    timing = heard[0].timing
    assert 0.3 <= timing.patience_s <= 1.4
    assert timing.response_s >= timing.patience_s
    assert timing.turn_s > 0
    assert timing.log_s > 0
    assert timing.voice_s > 0


def test_the_recogniser_is_told_what_is_awaited() -> None:
    there = Room(said("sheet metal", "primary one nineteen")).run()
    asked = list(dict.fromkeys(there.recogniser.asked))
    assert asked == [
        ("starting", ""),
        ("choice", ""),
        ("step", "primary-voltage"),
        ("step", "return-static"),
    ]


def test_what_is_not_for_it_gets_a_soft_cue_and_nothing_is_cut() -> None:
    there = Room(said("blue elephants")).run()
    assert there.mouth.placed[-1].clip.text == "(not understood)"
    assert all(placed.stopped_s is None for placed in there.mouth.placed)
    assert there.kinds == ["job-opened", "step-entered"]


def test_an_answer_cuts_what_was_being_said_and_a_cut_caution_was_not_given() -> None:
    there = Room(said("sheet metal", "primary one nineteen", pause_s=1.2))
    there.voice.pace = 0.25
    there.run()
    caution = next(p for p in there.mouth.placed if p.clip.text.startswith("Caution."))
    assert caution.stopped_s is not None
    assert "caution-given" not in there.kinds
    ended = [each.what for each in there.events(SpeechEnded) if isinstance(each, SpeechEnded)]
    assert "caution:measure" not in ended


def test_time_passes_once_a_second() -> None:
    there = Room(room(5.5)).run()
    ticks = [each.at for each in there.events(Tick) if isinstance(each, Tick)]
    assert len(ticks) == 5
    gaps = [(b - a).total_seconds() for a, b in pairwise(ticks)]
    assert gaps == [pytest.approx(1.0, abs=0.05)] * 4


def test_too_long_a_speech_is_not_for_me() -> None:
    there = Room(np.concatenate([room(1), spelled("sheet metal", SAID, 12.1), room(2)])).run()
    assert len(there.events(Unclear)) == 1
    assert "asked-again" not in there.kinds
    assert "choice" not in there.kinds


def test_the_stream_is_left_when_the_job_has_ended() -> None:
    there = Room(said("call it off", "yes", "the office", "done", "done")).run()
    assert there.loop.finished
    assert there.loop.job.ended == "left safe"
    assert there.ear.at_s < len(there.ear.sound) / 16_000 - 12


def test_what_was_being_said_at_the_end_of_the_stream_is_still_heard() -> None:
    there = Room(np.concatenate([room(12), spelled("sheet metal", SAID)])).run()
    assert "choice" in there.kinds


# ---------------------------------------------------------------- voice


def test_louder_and_slower_hold_from_then_on() -> None:
    there = Room(room(0.1))
    there.open()
    before = there.mouth.placed[-1].clip.samples.max()
    for line in ("louder", "slower", "done"):
        typed(there.loop, (line,))
    assert there.voice.rendered[-1][1] == pytest.approx(1 / 1.15)
    louder = there.mouth.placed[-1].clip.samples.max()
    assert louder == pytest.approx(before * 10 ** (3 / 20), rel=0.02)


def test_quiet_cuts_and_says_nothing() -> None:
    there = Room(room(0.1))
    there.open()
    count = len(there.mouth.placed)
    typed(there.loop, ("quiet",))
    assert len(there.mouth.placed) == count
    assert all(placed.stopped_s is not None for placed in there.mouth.placed)


def test_without_cues_there_is_none() -> None:
    there = Room(room(0.1))
    there.loop.cue = None
    there.open()
    count = len(there.mouth.placed)
    typed(there.loop, ("blue", "elephants"))
    assert len(there.mouth.placed) == count


# ---------------------------------------------------------------- the store


def test_a_job_that_cannot_be_opened_says_so_and_is_none() -> None:
    there = Room(room(0.1), FullOnce(1))
    with pytest.raises(StoreFullError):
        there.open()
    assert there.loop.job.procedure is None
    assert [placed.clip.text for placed in there.mouth.placed] == [StoreFullError.spoken]


def test_a_job_that_cannot_be_resumed_says_so_and_does_not_go_on() -> None:
    store = FullOnce(2)
    Room(room(0.1), store).open()
    there = Room(room(0.1), store)
    with pytest.raises(StoreFullError):
        there.loop.resume()
    assert [placed.clip.text for placed in there.mouth.placed] == [StoreFullError.spoken]
    assert there.kinds == ["job-opened", "step-entered"]


def test_a_turn_that_cannot_be_stored_is_remembered_until_one_can() -> None:
    there = Room(room(0.1), FullOnce(2))
    there.open()
    typed(there.loop, ("sheet", "metal"))
    assert isinstance(there.loop.unsaved, StoreFullError)
    assert there.loop.job.answers == {}
    typed(there.loop, ("sheet", "metal"))
    assert there.loop.unsaved is None
    assert there.loop.job.answers == {"duct": "metal"}


def test_there_is_no_job_to_resume() -> None:
    with pytest.raises(JobNotFoundError):
        Room(room(0.1)).loop.resume()


# ---------------------------------------------------------------- barge-in


def over_the_opening(line: str) -> Room:
    """A line spoken a second into the first step, which is still being read out."""
    there = Room(np.concatenate([room(1.0), spelled(line, SAID), room(6.0)]))
    there.voice.pace = 0.3
    return there.run()


def first_cut_or_ducked(there: Room) -> Placed:
    return next(placed for placed in there.mouth.placed if placed.ducked)


def test_the_voice_ducks_as_soon_as_someone_speaks() -> None:
    placed = first_cut_or_ducked(over_the_opening("sheet metal"))
    assert 1.0 < placed.ducked[0][0] < 1.3


def test_what_is_accepted_cuts_what_is_being_said() -> None:
    there = over_the_opening("sheet metal")
    placed = first_cut_or_ducked(there)
    heard = next(turn for turn in there.turns if isinstance(turn.event, Heard))
    assert placed.stopped_s is not None
    assert placed.stopped_s == pytest.approx((heard.event.at - START).total_seconds())


def test_what_is_not_for_it_lets_the_voice_come_back() -> None:
    there = over_the_opening("blue elephants")
    placed = first_cut_or_ducked(there)
    assert placed.stopped_s is None
    [(from_s, to_s)] = placed.ducked
    assert from_s < to_s < 3.5


def test_what_is_not_for_it_gets_no_cue_that_would_come_after_what_is_being_said() -> None:
    there = over_the_opening("blue elephants")
    assert there.events(Heard)
    assert "(not understood)" not in [placed.clip.text for placed in there.mouth.placed]


def test_a_sentence_that_waits_its_turn_is_ducked_too() -> None:
    there = over_the_opening("blue elephants")
    ducked = [placed for placed in there.mouth.placed if placed.ducked]
    assert len(ducked) >= 2


def test_too_long_a_talk_lets_the_voice_come_back() -> None:
    sound = np.concatenate([room(0.5), spelled("blue elephants", SAID, 14.0), room(1.0)])
    there = Room(sound)
    there.voice.pace = 0.1
    there.run()
    assert there.events(Unclear)
    sounding = [p for p in there.mouth.placed if p.start_s < 12.6 < p.end_s or p.start_s > 12.6]
    assert sounding
    assert all(to_s < 12.8 for placed in sounding for _, to_s in placed.ducked)


def test_a_caution_that_was_spoken_over_to_its_end_was_not_given() -> None:
    talk = [room(12.0), spelled("sheet metal", SAID), room(0.9)]
    there = Room(np.concatenate([*talk, spelled("blue elephants", SAID, 10.0), room(3.0)]))
    there.voice.pace = 0.3
    there.run()
    ended = [each.what for each in there.events(SpeechEnded) if isinstance(each, SpeechEnded)]
    caution = next(p for p in there.mouth.placed if p.clip.text.startswith("Caution."))
    assert caution.end_s < 23.0  # to its end, while he still spoke
    assert caution.stopped_s is None
    assert caution.ducked
    assert not any(what.startswith("caution:") for what in ended)


def test_what_is_said_while_someone_speaks_is_said_low() -> None:
    there = Room(room(0.1))
    there.open()
    there.loop.duck()
    there.loop.happen(EarBack(there.now()))
    assert there.mouth.placed[-1].ducked
    there.loop.lift()
    assert not there.loop.is_ducked


@dataclass
class Given:
    """These frames, and no more."""

    given: list[Frame]

    def frames(self) -> Iterator[Frame]:
        yield from self.given


class LostEar:
    """A microphone that goes while a job is worked."""

    def frames(self) -> Iterator[Frame]:
        yield Frame(room(0.5))
        raise DeviceError("The microphone gives no more sound", "Plug it in again.")


def test_a_microphone_that_is_gone_is_told_aloud_and_ends_the_run() -> None:
    there = Room(room(0.1))
    there.loop.mouth = SilentMouth()
    said: list[str] = []
    there.loop.watch = lambda happened: said.extend(
        act.text for act in happened.outcome.acts if isinstance(act, Say)
    )
    there.open()
    with pytest.raises(DeviceError):
        run(there.loop, LostEar(), there.listener)
    assert said[-1] == phrase("listening.ear-lost")


class Returning:
    """A microphone that is lost once, and found at the third try."""

    def __init__(self) -> None:
        self.tries = 0

    def frames(self) -> Iterator[Frame]:
        yield Frame(room(0.5))
        if self.tries < 3:
            raise DeviceError("The microphone gives no more sound", "Plug it in again.")

    def come_back(self) -> bool:
        self.tries += 1
        return self.tries == 3


def test_a_microphone_that_comes_back_goes_on_with_what_it_waited_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("companion.loop.sleep", lambda _: None)
    there = Room(room(0.1))
    there.loop.mouth = SilentMouth()
    there.open()
    waited_for = there.loop.session.said
    shown: list[DeviceError | None] = []
    ear = Returning()
    run(there.loop, ear, there.listener, shown.append)
    assert ear.tries == 3
    assert [type(each) for each in shown] == [DeviceError, type(None)]
    back = next(turn for turn in there.turns if isinstance(turn.event, EarBack))
    told = [act.text for act in back.outcome.acts if isinstance(act, Say)]
    assert told[0] == phrase("listening.ear-back")
    assert waited_for[-1] in told
    assert there.kinds.count("job-opened") == 1


def test_what_was_being_said_when_the_headset_went_was_not_heard(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("companion.loop.sleep", lambda _: None)
    there = Room(room(30.0))
    there.open()
    there.loop.fall_silent()
    run(there.loop, there.ear, there.listener)
    assert not there.events(SpeechEnded)


def test_words_between_which_sound_was_lost_are_not_taken() -> None:
    there = Room(room(0.1))
    there.open()
    speech = spelled("sheet metal", SAID)
    frames = [Frame(room(1.0)), Frame(speech[:5_000]), Frame(speech[5_000:], is_torn=True)]
    frames += [Frame(room(2.0)), Frame(spelled("sheet metal", SAID)), Frame(room(2.0))]
    run(there.loop, Given(frames), there.listener)
    assert [turn.event.why for turn in there.turns if isinstance(turn.event, Unclear)] == [
        SOUND_LOST
    ]
    assert there.kinds.count("asked-again") == 1
    assert there.kinds.count("choice") == 1  # the second time it came whole


def test_the_last_words_are_heard_out() -> None:
    there = Room(room(8.0))
    there.open()
    assert there.loop.is_speaking
    speak_out(there.loop, there.ear)
    assert not there.loop.is_speaking
    assert there.ear.at_s < 8.0


# ---------------------------------------------------------------- the engines


@pytest.mark.sound
def test_the_builder_finds_engines_that_fit_the_ports() -> None:
    there = Room(room(0.1))
    listener = sound_listener(there.loop.language)
    assert isinstance(listener, Listener)
    clip = spoken_voice().render("Job finished.")
    assert clip.text == "Job finished."
    assert clip.duration_s > 0.4


def test_a_recogniser_that_lacks_numbers_or_emergencies_is_refused() -> None:
    recogniser = ToneRecogniser(SAID)
    require_words(recogniser)
    recogniser.missing_words = ("romex",)
    require_words(recogniser)
    recogniser.missing_words = ("oh", "romex")
    with pytest.raises(ModelError, match=r"numbers or emergencies \(oh\)"):
        require_words(recogniser)


def test_no_vosk_model_chosen_is_told_as_that() -> None:
    with pytest.raises(ModelError, match="No Vosk model is chosen"):
        recogniser_for(Settings(recogniser="vosk"))


# ---------------------------------------------------------------- urgency


def test_what_is_routine_waits_until_all_is_said_and_cuts_nothing() -> None:
    there = Room(room(60.0))
    there.voice.pace = 0.3
    there.open()
    typed(there.loop, ("set", "a", "timer", "for", "one", "second"))
    before = len(there.mouth.placed)
    run(there.loop, there.ear, there.listener)
    timer = next(p for p in there.mouth.placed if "time's up" in p.clip.text)
    assert before <= there.mouth.placed.index(timer)
    assert all(placed.stopped_s is None for placed in there.mouth.placed[before - 1 :])
    assert "timer-told" in there.kinds


def test_what_is_routine_is_not_said_while_somebody_speaks() -> None:
    talk = [room(16.0), spelled("blue elephants", SAID, 8.0), room(8.0)]
    there = Room(np.concatenate(talk))
    there.open()
    typed(there.loop, ("set", "a", "timer", "for", "eighteen", "seconds"))
    run(there.loop, there.ear, there.listener)
    timer = next(p for p in there.mouth.placed if "time's up" in p.clip.text)
    assert timer.start_s > 23.9


def test_an_emergency_is_not_lowered_while_somebody_speaks() -> None:
    there = Room(room(0.1))
    there.open()
    there.loop.duck()
    typed(there.loop, ("i", "smell", "gas"))
    placed = there.mouth.placed[-1]
    assert placed.clip.text.startswith("Touch no switch")
    assert not placed.ducked
    there.loop.duck()
    assert not placed.ducked


def timers_told(there: Room) -> list[str]:
    return [p.clip.text for p in there.mouth.placed if "Timer of" in p.clip.text]


def test_a_timer_that_came_due_during_long_talk_is_told_once() -> None:
    there = Room(room(1.0))
    there.open()
    typed(there.loop, ("set", "a", "timer", "for", "one", "second"))
    there.loop.fall_silent()
    there.loop.duck()  # somebody speaks all the while
    for later_s in (5, 30, 55):
        there.loop.happen(Tick(START + timedelta(seconds=later_s)))
    there.loop.lift()
    there.loop.poll()
    assert len(timers_told(there)) == 1
    assert "ago" in timers_told(there)[0]


def test_what_waits_is_not_said_in_an_emergency() -> None:
    there = Room(room(1.0))
    there.open()
    typed(there.loop, ("set", "a", "timer", "for", "one", "second"))
    there.loop.duck()
    there.loop.happen(Tick(START + timedelta(seconds=5)))
    typed(there.loop, ("i", "smell", "gas"))
    there.loop.lift()
    there.loop.fall_silent()
    there.loop.poll()
    assert not timers_told(there)


def test_every_other_voice_is_there_and_sounds_another_way() -> None:
    said = {other_voice(number).render("Primary").samples.tobytes() for number in range(5)}
    assert len(said) == 5


# ---------------------------------------------------------------- through a loudspeaker


def over_a_loudspeaker(line: str, at_s: float = 1.0) -> Room:
    """A line spoken a second into the first step, which a loudspeaker is still reading out."""
    there = Room(np.concatenate([room(at_s), spelled(line, SAID), room(6.0)]))
    there.voice.pace = 0.3
    there.loop.loudspeaker = True
    return there.run()


def taken(there: Room) -> list[str]:
    """Return the kinds of entries that what was heard led to."""
    heard = [turn for turn in there.turns if isinstance(turn.event, Heard)]
    return [draft.kind for turn in heard for draft in turn.outcome.drafts]


def is_cut(there: Room) -> bool:
    return any(each.stopped_s is not None for each in there.mouth.placed)


def test_through_a_loudspeaker_what_is_said_over_its_voice_is_not_taken() -> None:
    there = over_a_loudspeaker("sheet metal")
    assert not taken(there)
    assert not is_cut(there)
    assert not any(each.ducked for each in there.mouth.placed)  # it would lower itself
    assert "choice" in taken(over_the_opening("sheet metal"))  # as it is on a headset


def test_through_a_loudspeaker_quiet_cuts_its_voice() -> None:
    there = over_a_loudspeaker("quiet")
    assert not taken(there)
    assert is_cut(there)


def test_through_a_loudspeaker_all_is_heard_again_once_it_is_silent() -> None:
    assert taken(over_a_loudspeaker("sheet metal", at_s=30.0))[0] == "choice"
