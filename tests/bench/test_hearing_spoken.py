from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.audio.sound_files import write_wav
from companion.bench.hearing.case import Case
from companion.bench.hearing.rounds import in_rounds
from companion.bench.hearing.spoken import (
    BREATH_S,
    HELD_OUT,
    _seed,
    evenly,
    sound,
    speakers_by_engine,
)
from companion.errors import InputError, SoundFileError, VoiceError
from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from pathlib import Path

CASE = Case(
    "generated-1-0001-espeak",
    "generated",
    "loaded.doing",
    ("o", "l"),
    addressed=True,
    speaker="espeak:en-us+m3",
)


def test_a_sentence_is_said_once_and_then_kept(tmp_path: Path) -> None:
    first = sound(CASE, tmp_path / "cache")
    (kept,) = (tmp_path / "cache").iterdir()
    stamp = kept.stat().st_mtime_ns
    assert first.dtype == np.int16
    assert np.array_equal(sound(CASE, tmp_path / "cache"), first)
    assert kept.stat().st_mtime_ns == stamp


def test_a_damaged_sound_in_the_cache_is_said_again(tmp_path: Path) -> None:
    first = sound(CASE, tmp_path)
    (kept,) = tmp_path.iterdir()
    kept.write_bytes(kept.read_bytes()[:100])
    assert np.array_equal(sound(CASE, tmp_path), first)
    assert len(list(tmp_path.iterdir())) == 1


def test_another_case_of_the_same_words_is_said_a_little_otherwise(tmp_path: Path) -> None:
    others = [replace(CASE, id=f"case-{number}") for number in range(4)]
    lengths = {len(sound(case, tmp_path)) for case in others}
    assert len(lengths) >= 3
    assert max(lengths) < 1.3 * min(lengths)
    assert len(list(tmp_path.iterdir())) == 4


@pytest.mark.parametrize(
    ("words", "text"),
    [  # a voice reads "v a" as "vee uh": the phonemes that espeak-ng -x and flite -ps print
        ("forty v a secondary", "forty v eh secondary"),
        ("twelve volts a c", "twelve volts eh c"),
        ("what fuse on a fifty v a", "what fuse on a fifty v eh"),
        ("the c o alarm", "the C O alarm"),
        ("ninety c f m", "ninety C F M"),
    ],
)
def test_letters_are_spelled_and_not_read_as_words(tmp_path: Path, words: str, text: str) -> None:
    case = replace(CASE, words=tuple(words.split()))
    voice = speaker(case.speaker, _seed(case))
    assert np.array_equal(sound(case, tmp_path), voice.say(text))


def test_a_breath_is_silence_between_two_parts(tmp_path: Path) -> None:
    case = replace(CASE, words=("no", "i", "told", "him"), breaths=(1,))
    whole = sound(case, tmp_path)
    voice = speaker(case.speaker, _seed(case))
    first, second = voice.say("no"), voice.say("i told him")
    assert np.array_equal(whole[: len(first)], first)
    assert np.array_equal(whole[-len(second) :], second)
    between = whole[len(first) : -len(second)]
    assert len(between) == round(BREATH_S * 16_000)
    assert not between.any()
    assert len(sound(replace(case, breaths=()), tmp_path)) != len(whole)


def test_every_round_of_a_case_is_one_sound(tmp_path: Path) -> None:
    talk = replace(CASE, addressed=False)
    one, other = in_rounds([talk], 2)
    assert np.array_equal(sound(one, tmp_path), sound(other, tmp_path))
    assert np.array_equal(sound(one, tmp_path), sound(talk, tmp_path))
    assert len(list(tmp_path.iterdir())) == 1


def test_a_recording_is_read_at_16_khz_whatever_its_rate(tmp_path: Path) -> None:
    tone = (8000 * np.sin(np.arange(4800) / 10)).astype(np.int16)
    write_wav(tmp_path / "tone.wav", tone, 48_000)
    case = replace(CASE, path=tmp_path / "tone.wav")
    assert len(sound(case, tmp_path / "cache")) == 1600
    assert not (tmp_path / "cache").exists()


def test_what_cannot_be_heard_or_kept_is_told(tmp_path: Path) -> None:
    with pytest.raises(SoundFileError):
        sound(replace(CASE, path=tmp_path / "nothing.wav"), tmp_path)
    with pytest.raises(VoiceError, match="There is no speaker 'parrot:polly'"):
        sound(replace(CASE, speaker="parrot:polly"), tmp_path)
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(InputError, match="cannot be written"):
        sound(CASE, tmp_path / "file" / "cache")


def test_speakers_come_by_engine_and_can_be_dealt_out_evenly() -> None:
    by_engine = speakers_by_engine()
    assert all(
        name.startswith(f"{engine}:") for engine, names in by_engine.items() for name in names
    )
    dealt = evenly(by_engine)
    shares = {engine: sum(n.startswith(f"{engine}:") for n in dealt) for engine in by_engine}
    assert len(set(shares.values())) == 1
    assert set(dealt) == {name for names in by_engine.values() for name in names}


def test_the_engine_kept_out_of_tuning_is_one_of_the_three() -> None:
    if HELD_OUT not in speakers_by_engine():
        pytest.skip(f"the program '{HELD_OUT}' is not on this machine")
    assert len(speakers_by_engine()[HELD_OUT]) >= 1
