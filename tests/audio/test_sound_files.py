from __future__ import annotations

import struct
import wave
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile

from companion.audio.sound_files import FileEar, check_sound, read_sound, write_stereo, write_wav
from companion.errors import SoundFileError

if TYPE_CHECKING:
    import numpy.typing as npt

TONE_HZ = 1_000.0
AMPLITUDE = 0.5


def tone(rate_hz: int, duration_s: float = 0.5) -> npt.NDArray[np.float64]:
    """The reference is the formula of a sine, at any rate."""
    time_s = np.arange(round(rate_hz * duration_s)) / rate_hz
    return np.asarray(AMPLITUDE * np.sin(2 * np.pi * TONE_HZ * time_s))


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 16_000, 22_050, 44_100, 48_000])
@pytest.mark.parametrize("channels", [1, 2])
@pytest.mark.parametrize(
    ("extension", "width", "error"),
    [
        ("wav", "PCM_U8", 1 / 128),  # a step of 8 bits
        ("wav", "PCM_16", 1e-3),
        ("wav", "PCM_24", 1e-3),
        ("wav", "FLOAT", 1e-3),
        ("flac", "PCM_16", 1e-3),
    ],
)
def test_any_rate_width_and_channel_count_gives_the_same_tone(
    tmp_path: Path, rate_hz: int, channels: int, extension: str, width: str, error: float
) -> None:
    path = tmp_path / f"tone.{extension}"
    sound = np.repeat(tone(rate_hz)[:, None], channels, axis=1)
    soundfile.write(path, sound, rate_hz, subtype=width)
    heard = read_sound(path)
    expected = tone(16_000) * 32_768
    assert heard.dtype == np.int16
    assert abs(len(heard) - len(expected)) <= 1
    middle = slice(1_600, 6_400)  # a resampler rings at the ends
    assert np.max(np.abs(heard[middle] - expected[middle])) < (error + 2e-3) * 32_768


def test_sixteen_bits_at_16_khz_come_back_bit_for_bit(tmp_path: Path) -> None:
    samples = np.arange(-32_768, 32_768, 7, dtype=np.int16)
    write_wav(tmp_path / "a.wav", samples, 16_000)
    assert np.array_equal(read_sound(tmp_path / "a.wav"), samples)


def test_stereo_channels_are_averaged(tmp_path: Path) -> None:
    left, right = np.full(1_000, 3_000, np.int16), np.full(1_000, 1_000, np.int16)
    write_stereo(tmp_path / "a.wav", left, right, 16_000)
    assert set(read_sound(tmp_path / "a.wav")) == {2_000}


def test_the_shorter_track_of_a_stereo_file_is_filled_with_silence(tmp_path: Path) -> None:
    write_stereo(tmp_path / "a.wav", np.full(4, 9, np.int16), np.full(2, 7, np.int16), 16_000)
    both, rate_hz = soundfile.read(tmp_path / "a.wav", dtype="int16")
    assert rate_hz == 16_000
    assert both.tolist() == [[9, 7], [9, 7], [9, 0], [9, 0]]


def wav_bytes(seconds: float = 1.0) -> bytes:
    """A wav by its definition: RIFF, fmt chunk of 16 bytes, data chunk (Microsoft RIFF, 1991)."""
    data = (tone(16_000, seconds) * 32_767).astype("<i2").tobytes()
    fmt = struct.pack("<4sIHHIIHH", b"fmt ", 16, 1, 1, 16_000, 32_000, 2, 16)
    body = fmt + struct.pack("<4sI", b"data", len(data)) + data
    return struct.pack("<4sI4s", b"RIFF", 4 + len(body), b"WAVE") + body


def flac_bytes(folder: Path) -> bytes:
    path = folder / "whole.flac"
    soundfile.write(path, np.random.default_rng(0).normal(0, 0.1, 32_000), 16_000)
    return path.read_bytes()


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"", "the file is empty"),
        (b"This is a shopping list.\n" * 40, "this is no sound file"),
        (bytes(range(256)) * 20, "this is no sound file"),
        (b"RIFF\x00\x01\x00\x00AVI LIST" + bytes(50), "this is no sound file"),
        (wav_bytes()[:10], "the file ends inside its header"),
        (wav_bytes()[:30], "the file ends inside its header"),
        (wav_bytes()[:44], "cut short: 1.0 s promised, 0.0 s there"),
        (wav_bytes()[:16_044], "cut short: 1.0 s promised, 0.5 s there"),
        (wav_bytes(0.0), "a header but no sound"),
    ],
)
def test_a_bad_file_is_told_in_one_line_with_what_to_do(
    tmp_path: Path, content: bytes, says: str
) -> None:
    path = tmp_path / "bad.wav"
    path.write_bytes(content)
    for read in (read_sound, check_sound):
        with pytest.raises(SoundFileError) as caught:
            read(path)
        line = str(caught.value)
        assert says in line
        assert line.startswith(str(path))
        assert "\n" not in line
        assert caught.value.exit_code == 3


@pytest.mark.parametrize("share", [0.3, 0.7, 0.98])
def test_a_flac_cut_short_is_refused(tmp_path: Path, share: float) -> None:
    whole = flac_bytes(tmp_path)
    path = tmp_path / "cut.flac"
    path.write_bytes(whole[: int(len(whole) * share)])
    with pytest.raises(SoundFileError, match=r"cut short|to its end"):
        read_sound(path)


def test_a_missing_file_and_a_folder_are_told(tmp_path: Path) -> None:
    with pytest.raises(SoundFileError, match="no such file"):
        read_sound(tmp_path / "none.wav")
    with pytest.raises(SoundFileError, match="a folder"):
        read_sound(tmp_path)


@pytest.mark.parametrize("promised", [0, 0xFFFF_FFFF, 0x7FFF_F000])
def test_a_recording_made_through_a_pipe_is_read(tmp_path: Path, promised: int) -> None:
    """Such a recorder cannot know the length and leaves 0 or the largest number there."""
    content = bytearray(wav_bytes())
    content[40:44] = struct.pack("<I", promised)
    path = tmp_path / "piped.wav"
    path.write_bytes(content)
    if promised == 0:
        with pytest.raises(SoundFileError, match="no sound"):
            read_sound(path)
    else:
        assert len(read_sound(path)) == 16_000


def test_extra_chunks_before_the_sound_are_passed_over(tmp_path: Path) -> None:
    content = wav_bytes()
    extra = struct.pack("<4sI", b"LIST", 5) + b"notes\0"  # odd size, padded to even
    path = tmp_path / "extra.wav"
    path.write_bytes(content[:12] + extra + content[12:])
    assert len(read_sound(path)) == 16_000


def test_the_ear_gives_20_ms_frames_and_a_silence_after_each_file(tmp_path: Path) -> None:
    for name in "ab":
        write_wav(tmp_path / f"{name}.wav", np.full(1_000, 5, np.int16), 16_000)
    frames = list(FileEar([tmp_path / "a.wav", tmp_path / "b.wav"]).frames())
    assert {len(frame.samples) for frame in frames[:78]} == {320}
    sound = np.concatenate([frame.samples for frame in frames])
    assert len(sound) == 2 * (1_000 + 24_000)
    assert sound[:1_000].all()
    assert not sound[1_000:25_000].any()
    assert sound[25_000:26_000].all()
    assert not sound[26_000:].any()


def test_the_ear_refuses_a_bad_file_before_it_hears_anything(tmp_path: Path) -> None:
    write_wav(tmp_path / "a.wav", np.ones(100, np.int16), 16_000)
    with pytest.raises(SoundFileError, match="no such file"):
        FileEar([tmp_path / "a.wav", tmp_path / "missing.wav"])


def test_written_wavs_are_plain_16_bit(tmp_path: Path) -> None:
    write_wav(tmp_path / "a.wav", np.ones(10, np.int16), 22_050)
    with wave.open(str(tmp_path / "a.wav")) as file:
        assert file.getparams()[:4] == (1, 2, 22_050, 10)


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(SoundFileError, match="cannot be written"):
        write_wav(tmp_path / "no" / "such" / "a.wav", np.ones(10, np.int16), 16_000)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
def test_a_full_disk_is_told() -> None:
    with pytest.raises(SoundFileError, match="cannot be written"):
        write_wav("/dev/full", np.ones(100_000, np.int16), 16_000)
