"""Sound in files: any rate, width and channel count in, 16 kHz mono out; and the ear that reads."""

from __future__ import annotations

import struct
import wave
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from companion.errors import EngineError, SoundFileError
from companion.ports import SAMPLE_RATE_HZ, Frame

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    import numpy.typing as npt

    from companion.ports import Samples

FRAME_SAMPLES = 320  # 20 ms at 16 kHz
TAIL_S = 1.5  # longer than any patience, so that the last utterance of a file ends
FULL_SCALE = 32_768
_NO_SOUND_REMEDY = "Give a wav or flac file."
_CUT_SHORT_REMEDY = "Record or copy the file again."
# Recorders that write to a pipe cannot know the length and leave 0 or a number near 2 or 4 GiB.
_UNKNOWN_LENGTH_BYTES = 0x7FFF_0000


def read_sound(path: Path | str) -> Samples:
    """Return a wav or flac file as int16 mono PCM at 16 kHz, shape (n,), n >= 1.

    Args:
        path: the file; any rate, any width, any number of channels (they are averaged).

    Raises:
        SoundFileError: the file is missing, empty, cut short or no sound.
    """
    check_sound(path)
    soundfile = _soundfile()
    try:
        with soundfile.SoundFile(str(path)) as file:
            promised = len(file)
            sound = file.read(dtype="float32", always_2d=True)
            rate_hz = file.samplerate
    except (RuntimeError, OSError) as exc:  # soundfile's own error descends from RuntimeError
        raise SoundFileError(
            "the sound cannot be decoded to its end", _CUT_SHORT_REMEDY, where=str(path)
        ) from exc
    if len(sound) < promised:
        raise _cut_short(path, promised / rate_hz, len(sound) / rate_hz)
    if not np.isfinite(sound).all():
        raise SoundFileError(
            "the sound holds values that are no numbers", _CUT_SHORT_REMEDY, where=str(path)
        )
    return to_int16(resampled(sound.mean(axis=1), rate_hz, SAMPLE_RATE_HZ))


def check_sound(path: Path | str) -> None:
    """Look at a file's header only, so that a bad name is told before any work begins.

    Args:
        path: the file.

    Raises:
        SoundFileError: the file is missing, empty, cut short (wav) or no sound.
    """
    path = Path(path)
    _check_readable(path)
    _check_wav_length(path)
    soundfile = _soundfile()
    try:
        frames = soundfile.info(str(path)).frames
    except (RuntimeError, OSError) as exc:
        raise SoundFileError("this is no sound file", _NO_SOUND_REMEDY, where=str(path)) from exc
    if frames == 0:
        raise SoundFileError(
            "the file has a header but no sound in it", _CUT_SHORT_REMEDY, where=str(path)
        )


def _check_readable(path: Path) -> None:
    try:
        with path.open("rb") as file:
            empty = not file.read(1)
    except FileNotFoundError as exc:
        raise SoundFileError("there is no such file", "Check the name.", where=str(path)) from exc
    except IsADirectoryError as exc:
        raise SoundFileError(
            "this is a folder", "Name the sound files in it.", where=str(path)
        ) from exc
    except OSError as exc:
        raise SoundFileError(
            f"the file cannot be opened ({exc.strerror})", "Check its permissions.", where=str(path)
        ) from exc
    if empty:
        raise SoundFileError("the file is empty", _CUT_SHORT_REMEDY, where=str(path))


def _check_wav_length(path: Path) -> None:
    """Compare what a wav header promises with what is there; decoders would not tell."""
    with path.open("rb") as file:
        header = file.read(12)
        if not (header.startswith(b"RIFF") and b"WAVE".startswith(header[8:])):
            return
        try:
            promised_bytes, bytes_a_second = _data_chunk(file)
        except struct.error as exc:
            raise SoundFileError(
                "the file ends inside its header", _CUT_SHORT_REMEDY, where=str(path)
            ) from exc
        found_bytes = path.stat().st_size - file.tell()
    if 0 < promised_bytes < _UNKNOWN_LENGTH_BYTES and found_bytes < promised_bytes:
        raise _cut_short(path, promised_bytes / bytes_a_second, found_bytes / bytes_a_second)


def _data_chunk(file: Any) -> tuple[int, int]:  # noqa: ANN401 -- BufferedReader, only read and seek
    """Move to the sound of a wav; return the bytes promised and the bytes a second."""
    bytes_a_second = 0
    while True:
        name, size = struct.unpack("<4sI", file.read(8))
        if name == b"data":
            return size, bytes_a_second or 1
        if name == b"fmt ":
            bytes_a_second = struct.unpack("<8xI", file.read(12))[0]
            file.seek(size - 12, 1)
        else:
            file.seek(size, 1)
        file.seek(size % 2, 1)  # chunks start at even places


def _cut_short(path: Path | str, promised_s: float, found_s: float) -> SoundFileError:
    return SoundFileError(
        f"the file is cut short: {promised_s:.1f} s promised, {found_s:.1f} s there",
        _CUT_SHORT_REMEDY,
        where=str(path),
    )


def _soundfile() -> Any:  # noqa: ANN401 -- a module without types
    try:
        import soundfile  # noqa: PLC0415 -- loaded when used
    except OSError as exc:
        raise EngineError(
            "the library that reads sound files is missing",
            "Install it: sudo apt-get install libsndfile1",
        ) from exc
    return soundfile


def resampled(
    sound: npt.NDArray[np.float32], rate_hz: int, to_rate_hz: int
) -> npt.NDArray[np.float32]:
    """Return mono sound at another rate; the same array where the rates are equal.

    Args:
        sound: float32, full scale 1.0, shape (n,).
        rate_hz: its rate.
        to_rate_hz: the rate wanted.
    """
    if rate_hz == to_rate_hz:
        return sound
    import soxr  # noqa: PLC0415 -- loaded when used

    result: npt.NDArray[np.float32] = soxr.resample(sound, rate_hz, to_rate_hz)
    return result


def from_int16(samples: Samples) -> npt.NDArray[np.float32]:
    """Return int16 sound as float32, full scale 1.0."""
    return (samples / np.float32(FULL_SCALE)).astype(np.float32)


def to_int16(sound: npt.NDArray[np.float32]) -> Samples:
    """Return float sound (full scale 1.0) as int16, clipped at full scale."""
    scaled = np.rint(sound * FULL_SCALE)
    return np.clip(scaled, -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


@dataclass(frozen=True)
class FileEar:
    """An ear that hears sound files one after another, each followed by 1.5 s of silence.

    Args:
        paths: wav or flac files; their headers are checked at once.

    Raises:
        SoundFileError: a file is missing, empty, cut short or no sound.
    """

    paths: Sequence[Path | str]

    def __post_init__(self) -> None:
        for path in self.paths:
            check_sound(path)

    def frames(self) -> Iterator[Frame]:
        """Yield 20 ms frames until the last file and its silence are over."""
        tail = np.zeros(int(TAIL_S * SAMPLE_RATE_HZ), np.int16)
        for path in self.paths:
            sound = np.concatenate([read_sound(path), tail])
            for start in range(0, len(sound), FRAME_SAMPLES):
                yield Frame(sound[start : start + FRAME_SAMPLES])


def write_wav(path: Path | str, samples: Samples, rate_hz: int) -> None:
    """Write mono sound as a 16-bit wav.

    Args:
        path: the file to write; its folder must exist.
        samples: int16 mono PCM, shape (n,).
        rate_hz: its rate.

    Raises:
        SoundFileError: it cannot be written.
    """
    _write(path, samples, channels=1, rate_hz=rate_hz)


def write_stereo(path: Path | str, left: Samples, right: Samples, rate_hz: int) -> None:
    """Write two mono tracks as a 16-bit stereo wav; the shorter one is filled with silence.

    Args:
        path: the file to write; its folder must exist.
        left: int16 mono PCM, shape (n,).
        right: int16 mono PCM, shape (m,).
        rate_hz: the rate of both.

    Raises:
        SoundFileError: it cannot be written.
    """
    both = np.zeros((max(len(left), len(right)), 2), np.int16)
    both[: len(left), 0] = left
    both[: len(right), 1] = right
    _write(path, both.reshape(-1), channels=2, rate_hz=rate_hz)


def _write(path: Path | str, interleaved: Samples, *, channels: int, rate_hz: int) -> None:
    try:
        with Path(path).open("wb") as raw, wave.open(raw, "wb") as file:
            file.setnchannels(channels)
            file.setsampwidth(2)
            file.setframerate(rate_hz)
            file.writeframes(interleaved.astype("<i2").tobytes())
    except OSError as exc:
        raise SoundFileError(
            f"the sound cannot be written ({exc.strerror})",
            "Name a folder that exists and has room.",
            where=str(path),
        ) from exc
