"""Notes and the sound of readings: kept as they were heard, before any entry names them."""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np
import pytest
from noted_room import JOB, SAID, NotedRoom, said
from tones import SoundEar, ToneRecogniser, room, spelled

from companion.errors import DeviceError, SoundShelfError
from companion.joblog import SoundFolder, SqliteStore
from companion.language.phrasing import phrase

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from companion.ports import Clip, Frame, KeptSound, Samples

RATE_HZ = 16_000


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "jobs.sqlite3"


def is_in(sound: Samples, stream: Samples) -> int:
    """Return where a sound stands in a stream, sample for sample, -1 where it does not."""
    starts = np.flatnonzero(stream[: len(stream) - len(sound) + 1] == sound[0])
    found = (int(at) for at in starts if np.array_equal(stream[at : at + len(sound)], sound))
    return next(found, -1)


NOTE = ("take a note", 2.0, "blue elephants", 1.6, "the rack is bent", 4.0)


# ---------------------------------------------------------------- a note


def test_a_note_is_kept_as_it_was_heard_with_its_words(log: Path) -> None:
    sound = said(*NOTE)
    there = NotedRoom(log, sound).run()
    [note] = there.logged("note")
    assert (note["id"], note["step"], note["ended"]) == (1, "duct", "silence")
    assert (note["words"], note["words_are"]) == ("blue elephants the rack is bent", "unverified")
    clip = there.kept(note)
    assert clip.rate_hz == RATE_HZ
    at = is_in(clip.samples, sound)
    assert at / RATE_HZ == pytest.approx(3.0 + 0.6 + 2.0 - 0.3, abs=0.04)  # 0.3 s before it began
    assert clip.duration_s == pytest.approx(0.3 + 0.6 + 1.6 + 0.6 + 0.3, abs=0.1)
    assert Decimal(note["sound"]["length_s"]) == round(Decimal(clip.duration_s), 3)
    assert there.said[-3:-1] == [phrase("note.go-ahead"), "Note one kept, three seconds."]


def test_nothing_in_a_note_is_a_command(log: Path) -> None:
    there = NotedRoom(log, said("take a note", 1.5, "sheet metal", 1.6, "done", 4.0)).run()
    [note] = there.logged("note")
    assert note["words"] == "sheet metal done"
    assert "choice" not in there.kinds()
    assert phrase("unclear.again") not in there.said


def test_end_of_note_ends_it_and_is_no_part_of_it(log: Path) -> None:
    sound = said("take a note", 1.0, "blue elephants", 1.6, "end of note", 1.0, "sheet metal", 2.0)
    there = NotedRoom(log, sound).run()
    [note] = there.logged("note")
    assert (note["words"], note["ended"]) == ("blue elephants", "end of note")
    kept = there.kept(note)
    assert int(np.abs(kept.samples).max()) == 1_000 + 10 * (1 + SAID.index("blue elephants"))
    assert there.logged("choice")  # what came right behind it was for the companion again


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        (("take a note", 1.0, "blue elephants", 1.6, "cancel the note", 4.0), "note.cancelled"),
        (("take a note", 12.0), "note.nothing"),
        (("take a note", 1.0, "end of note", 3.0), "note.nothing"),
    ],
)
def test_a_note_that_is_none_leaves_nothing(
    log: Path, lines: tuple[str | float, ...], why: str
) -> None:
    there = NotedRoom(log, said(*lines)).run()
    assert there.kinds().count("note") == 0
    assert phrase(why) in there.said
    assert there.files() == []


def test_a_note_is_full_after_a_minute(log: Path) -> None:
    sound = np.concatenate([said("take a note", 1.0), spelled("blue elephants", SAID, 70), room(3)])
    there = NotedRoom(log, sound).run()
    [note] = there.logged("note")
    assert note["ended"] == "full"
    assert there.kept(note).duration_s == pytest.approx(60.3, abs=0.1)
    assert is_in(there.kept(note).samples, sound) > 0
    assert phrase("note.full") in there.said
    assert note["words"] == "…"  # nobody can say what: longer than an utterance


def test_a_cry_for_help_goes_before_a_note_which_is_kept_quietly(log: Path) -> None:
    there = NotedRoom(
        log, said("take a note", 1.0, "blue elephants", 1.8, "i smell gas", 3.0)
    ).run()
    assert there.kinds()[-2:] == ["emergency", "note"]
    assert there.logged("note")[0]["words"] == "blue elephants i smell gas"
    assert there.said[-1] == phrase("emergency.gas")


def test_a_doubtful_cry_for_help_in_a_note_is_asked_about(log: Path) -> None:
    sound = said("take a note", 1.0, "blue elephants", 1.8, "i smell gas", 3.0)
    there = NotedRoom(log, sound, recogniser=DoubtfulOfGas(SAID)).run()
    assert "emergency" not in there.kinds()
    assert "I smell gas? Yes or no." in there.said
    assert there.logged("note")[0]["ended"] == "interrupted"


class DoubtfulOfGas(ToneRecogniser):
    """Hears "i smell gas" poorly, and all else well."""

    def finish(self):  # type: ignore[no-untyped-def]  # noqa: ANN201 - as its parent's
        self.match = 0.3 if "gas" in self._words() else 0.95
        return super().finish()


def test_what_was_said_of_a_note_is_kept_when_the_stream_ends(log: Path) -> None:
    there = NotedRoom(log, said("take a note", 1.0, "blue elephants", 0.5)).run()
    [note] = there.logged("note")
    assert (note["words"], note["ended"]) == ("blue elephants", "stopped")


def test_what_was_said_of_a_note_is_kept_when_the_microphone_goes(log: Path) -> None:
    there = NotedRoom(log, said("take a note", 1.0, "blue elephants", 1.5))
    there.ear = LostEar(there.sound)
    with pytest.raises(DeviceError):
        there.run()
    assert [note["ended"] for note in there.logged("note")] == ["stopped"]


class LostEar(SoundEar):
    """Gives a sound, then the microphone is gone."""

    def frames(self) -> Iterator[Frame]:
        yield from super().frames()
        raise DeviceError("The microphone gives no more sound", "Plug it in again.")


REMINDER = "remind me in five seconds"


def test_a_timer_does_not_speak_into_a_note(log: Path) -> None:
    sound = said(REMINDER, 1.5, "take a note", 2.0, "blue elephants", 2.0, "blue elephants", 6.0)
    there = NotedRoom(log, sound).run()
    assert there.logged("timer-set")
    due = next(p for p in there.mouth.placed if "time's up" in p.clip.text)
    kept = next(p for p in there.mouth.placed if "kept" in p.clip.text)
    assert due.start_s >= kept.start_s


# ---------------------------------------------------------------- played


def test_a_note_is_played_as_it_was_kept(log: Path) -> None:
    there = NotedRoom(log, said(*NOTE, "play the note", 6.0)).run()
    assert there.said[-1] == "Note one."
    played = there.mouth.placed[-1].clip
    assert np.array_equal(played.samples, there.kept(there.logged("note")[0]).samples)
    assert there.mouth.placed[-1].stopped_s is None


def test_what_is_played_is_cut_like_speech(log: Path) -> None:
    there = NotedRoom(log, said(*NOTE, "play the note", 1.0, "sheet metal", 3.0)).run()
    clips = [placed for placed in there.mouth.placed if placed.clip.rate_hz == RATE_HZ]
    assert clips[-1].stopped_s is not None
    assert clips[-1].ducked


@pytest.mark.parametrize(("harm", "told"), [("remove", "missing"), ("alter", "altered")])
def test_a_sound_that_is_gone_or_altered_is_told_and_not_played(
    log: Path, harm: str, told: str
) -> None:
    there = NotedRoom(log, said(*NOTE, "play the note", 3.0), shelf=Harmed(log, harm)).run()
    assert there.said[-1] == phrase(f"note.{told}")
    assert all(placed.clip.rate_hz != RATE_HZ for placed in there.mouth.placed)


@dataclass
class Harmed:
    """Keeps sound in a log's folder, and harms the file behind the program's back."""

    log: Path
    harm: str

    def keep(self, job: str, samples: Samples, rate_hz: int, *, spare: bool = False) -> KeptSound:
        folder = SoundFolder(self.log)
        kept = folder.keep(job, samples, rate_hz, spare=spare)
        path = folder.path(kept)
        if self.harm == "remove":
            path.unlink()
        else:
            data = bytearray(path.read_bytes())
            data[-1] ^= 1
            path.write_bytes(data)
        return kept

    def clip(self, kept: KeptSound) -> Clip:
        return SoundFolder(self.log).clip(kept)


# ---------------------------------------------------------------- a disk that is full


@dataclass
class FullDisk:
    """Keeps nothing."""

    is_bound: bool = False
    asked: list[int] = field(default_factory=list)

    def keep(self, job: str, samples: Samples, rate_hz: int, *, spare: bool = False) -> KeptSound:
        assert (job, rate_hz) == (JOB, RATE_HZ)
        self.asked.append(len(samples))
        raise SoundShelfError("No room", "Free some.", is_bound=self.is_bound and spare)

    def clip(self, kept: KeptSound) -> Clip:
        raise AssertionError(kept)


def test_of_a_note_whose_sound_cannot_be_kept_the_words_are(log: Path) -> None:
    there = NotedRoom(log, said(*NOTE), shelf=FullDisk()).run()
    [note] = there.logged("note")
    assert note["words"] == "blue elephants the rack is bent"
    assert "sound" not in note
    assert phrase("note.words-only", number="one") in there.said


READINGS = ("sheet metal", 2.0, "primary one nineteen", 2.0, "make it one fifteen", 3.0)


@pytest.mark.parametrize("told", ["failed", "full"])
def test_readings_whose_sound_cannot_be_kept_are_logged_without_and_that_is_told_once(
    log: Path, told: str
) -> None:
    shelf = FullDisk(is_bound=told == "full")
    there = NotedRoom(log, said(*READINGS), keeps_sound=True, shelf=shelf).run()
    assert len(shelf.asked) == 2
    assert there.kinds()[-2:] == ["reading", "correction"]
    assert all("sound" not in entry.payload for entry in there.entries)
    assert there.said.count(phrase(f"evidence.{told}")) == 1
    at = there.said.index(phrase(f"evidence.{told}"))
    assert there.said[at - 2] == "Primary, one one nine volts. Within limits."


# ---------------------------------------------------------------- the sound of readings


def test_the_sound_of_a_reading_and_its_correction_is_kept_beside_them(log: Path) -> None:
    sound = said(*READINGS)
    there = NotedRoom(log, sound, keeps_sound=True).run()
    assert there.said[0] == phrase("evidence.on")
    starts = {"reading": 3.0 + 0.6 + 2.0, "correction": 3.0 + 2 * (0.6 + 2.0)}
    for kind, start_s in starts.items():
        [payload] = there.logged(kind)
        clip = there.kept(payload)
        assert is_in(clip.samples, sound) / RATE_HZ == pytest.approx(start_s - 0.3, abs=0.04)
        assert clip.duration_s == pytest.approx(0.6 + 2 * 0.3, abs=0.1)
    assert len(there.files()) == 2  # nothing but what an entry names


def test_a_reading_that_was_asked_about_keeps_the_sound_in_which_it_was_said(log: Path) -> None:
    sound = said("sheet metal", 2.0, "primary fifty", 2.0, "yes", 3.0)
    there = NotedRoom(log, sound, keeps_sound=True).run()
    [reading] = there.logged("reading")
    loudest = int(there.kept(reading).samples.max())
    assert loudest == 1_000 + 10 * (1 + SAID.index("primary fifty"))


def test_without_the_setting_nothing_is_kept_and_nothing_said(log: Path) -> None:
    there = NotedRoom(log, said(*READINGS)).run()
    assert "sound" not in there.logged("reading")[0]
    assert there.files() == []
    assert phrase("evidence.on") not in there.said


def test_where_the_entry_cannot_be_stored_the_sound_is_removed_at_the_next_start(
    log: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = NotedRoom(log, said(*NOTE))
    append = there.store.append

    def refuse(job: str, drafts):  # type: ignore[no-untyped-def]  # noqa: ANN001, ANN202
        if any(draft.kind == "note" for draft in drafts):
            assert there.files()  # its sound is on the disk before its entry
            raise SoundShelfError("The disk is full", "Free some room.")
        return append(job, drafts)

    monkeypatch.setattr(there.store, "append", refuse)
    there.run()
    assert there.kinds().count("note") == 0
    assert len(there.files()) == 1
    with SqliteStore(log) as store:
        assert store.tidy_sounds() == 1
    assert there.files() == []
