"""Sound beside the job log: lossless, durable before any entry names it, and bounded.

Each sound is a FLAC file of its own, `<log>-sounds/<job>/<random>.flac`, readable by this user
alone. It is written under another name, flushed, renamed, and its folder flushed; only then may an
entry name it, with its digest. A program killed in between leaves a file that no entry names: it
is removed at the next start (`tidy`), which is told.
"""

from __future__ import annotations

import hashlib
import io
import os
import re
import secrets
from contextlib import suppress
from typing import TYPE_CHECKING
from urllib.parse import quote

from companion.errors import SoundAlteredError, SoundFileError, SoundShelfError
from companion.ports import Clip, KeptSound

if TYPE_CHECKING:
    from collections.abc import Collection, Iterable
    from pathlib import Path

    from companion.ports import Samples

MOST_BYTES = (
    500_000_000  # of the sound of readings; some 6 hours: 19 to 25 kB a second, quiet to loud
)
_LOG_SUFFIX = ".sqlite3"
_FLAC, _PART = ".flac", ".part"
_NAME_BYTES = 12
_OWN_NAME = re.compile(r"[0-9a-f]{24}\.flac")
_FLAC_MARKER = b"fLaC"  # RFC 9639, section 6


def sounds_folder(log: Path) -> Path:
    """Return the folder of a log's sounds: 'jobs-sounds' beside 'jobs.sqlite3'.

    Args:
        log: the job log; for one that is called otherwise it is its whole name and '.sounds', so
            that no two logs share a folder.
    """
    is_usual = log.suffix == _LOG_SUFFIX
    return log.with_name(f"{log.stem}-sounds" if is_usual else f"{log.name}.sounds")


class SoundFolder:
    """A log's sounds. One writer at a time: whoever holds the log's lock.

    Args:
        log: the job log.
        most_bytes: from here on a spare sound is not kept.
    """

    def __init__(self, log: Path, most_bytes: int = MOST_BYTES) -> None:
        self.folder = sounds_folder(log)
        self._most_bytes = most_bytes
        self._bytes: int | None = None  # counted when first asked for

    def keep(self, job: str, samples: Samples, rate_hz: int, *, spare: bool = False) -> KeptSound:
        """Return once the sound is durable.

        Args:
            job: the job's id.
            samples: int16 mono PCM, shape (n,), n >= 1.
            rate_hz: its rate, 1 to 655,350.
            spare: not to be kept once there are `most_bytes` of sound.

        Raises:
            SoundShelfError: the disk is full or fails, or (`is_bound`) the bound is reached.
        """
        data = _encoded(samples, rate_hz)
        if spare and self._taken_bytes() + len(data) > self._most_bytes:
            raise SoundShelfError(
                f"The sound kept beside this log takes {self._taken_bytes() / 1e6:.0f} MB",
                f"Readings go on without theirs. Up to {self._most_bytes / 1e6:.0f} MB are kept.",
                where=str(self.folder),
                is_bound=True,
            )
        name = f"{_folder_name(job)}/{secrets.token_hex(_NAME_BYTES)}{_FLAC}"
        try:
            self._write(self.folder / name, data)
        except OSError as problem:
            raise _not_kept(self.folder, problem) from problem
        self._bytes = self._taken_bytes() + len(data)
        length_s = f"{len(samples) / rate_hz:.3f}"
        return KeptSound(name, hashlib.sha256(data).hexdigest(), length_s)

    def is_own(self, job: str, kept: KeptSound) -> bool:
        """Return whether a sound has a name as this program gives one, in the job's own folder."""
        folder, _, name = kept.file.partition("/")
        return folder == _folder_name(job) and _OWN_NAME.fullmatch(name) is not None

    def put_back(self, kept: KeptSound, data: bytes) -> None:
        """Return once a sound from elsewhere is durable under its own name.

        Args:
            kept: what an entry names (`is_own`).
            data: its FLAC file.

        Raises:
            SoundAlteredError: the bytes are not what the entry names.
            SoundFileError: another file is there under that name, or the name leads elsewhere.
            SoundShelfError: the disk is full or fails.
        """
        path = self.path(kept)
        if hashlib.sha256(data).hexdigest() != kept.sha256 or not data.startswith(_FLAC_MARKER):
            raise SoundAlteredError(
                "the sound is not what its entry names", "Take another copy.", where=kept.file
            )
        if path.exists():
            self.data(kept)  # raises, if it is another
            return
        try:
            self._write(path, data)
        except OSError as problem:
            raise _not_kept(self.folder, problem) from problem
        self._bytes = None

    def data(self, kept: KeptSound) -> bytes:
        """Return the bytes of a FLAC file, its digest checked.

        Args:
            kept: as an entry names it; a path that leads out of the folder is no sound of ours.

        Raises:
            SoundFileError: it is not there, or cannot be read.
            SoundAlteredError: it is not what was kept.
        """
        path = self.path(kept)
        try:
            data = path.read_bytes()
        except OSError as problem:
            raise SoundFileError(
                f"the sound cannot be read ({problem.strerror})",
                "Restore it from a backup of the log's folder.",
                where=str(path),
            ) from problem
        if hashlib.sha256(data).hexdigest() != kept.sha256:
            raise SoundAlteredError(
                "the sound is not what was kept: its digest differs",
                "Restore it from a backup of the log's folder.",
                where=str(path),
            )
        return data

    def path(self, kept: KeptSound) -> Path:
        """Return where a sound lies.

        Raises:
            SoundFileError: the name leads out of the folder.
        """
        path = (self.folder / kept.file).resolve()
        is_inside = path.parent.parent == self.folder.resolve()
        if not is_inside or path.suffix != _FLAC:
            raise SoundFileError(
                f"'{kept.file}' is no sound of this log",
                "The entry was not written by this program.",
                where=str(self.folder),
            )
        return path

    def clip(self, kept: KeptSound) -> Clip:
        """Return a sound as int16 mono PCM at its own rate, bit for bit what was kept.

        Raises:
            SoundFileError: it is not there, or cannot be read.
            SoundAlteredError: it is not what was kept.
        """
        import soundfile  # noqa: PLC0415 -- loaded when used

        samples, rate_hz = soundfile.read(io.BytesIO(self.data(kept)), dtype="int16")
        return Clip(samples, rate_hz)

    def remove(self, sounds: Iterable[KeptSound]) -> None:
        """Remove sounds for good; one that is gone already is no error.

        Raises:
            SoundShelfError: one could not be removed.
        """
        for kept in sounds:
            with suppress(SoundFileError):
                path = self.path(kept)
                try:
                    path.unlink(missing_ok=True)
                    _sync(path.parent)
                except FileNotFoundError:
                    continue
                except OSError as problem:
                    raise SoundShelfError(
                        f"The sound {kept.file} cannot be removed: {problem.strerror}",
                        "Remove it by hand.",
                        where=str(self.folder),
                    ) from problem
        self._bytes = None

    def tidy(self, named: Collection[str]) -> int:
        """Remove what no entry names: what a killed program left; return how many.

        Only files of our own making are touched.

        Args:
            named: the `file` of every sound that an entry names.
        """
        count = 0
        for path in self.unnamed(named):
            with suppress(OSError):
                path.unlink()
                count += 1
        self._bytes = None
        return count

    def unnamed(self, named: Collection[str]) -> list[Path]:
        """Return the files of ours that no entry names; as for `tidy`."""
        return [
            path
            for path in self._files()
            if path.suffix == _PART or path.relative_to(self.folder).as_posix() not in named
        ]

    def _files(self) -> list[Path]:
        return [p for p in self.folder.glob("*/*") if p.suffix in {_FLAC, _PART} and p.is_file()]

    def _taken_bytes(self) -> int:
        if self._bytes is None:
            self._bytes = sum(path.stat().st_size for path in self._files())
        return self._bytes

    def _write(self, path: Path, data: bytes) -> None:
        """Write beside its place, flush, rename, flush the folder: all of it, or nothing."""
        for folder in (self.folder, path.parent):
            if not folder.exists():
                folder.mkdir(mode=0o700)
                _sync(folder.parent)
        part = path.with_suffix(_PART)
        try:
            handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)
            with os.fdopen(handle, "wb") as file:
                file.write(data)
                file.flush()
                os.fsync(file.fileno())
            part.replace(path)
            _sync(path.parent)
        except BaseException:
            for left in (part, path):
                with suppress(OSError):
                    left.unlink(missing_ok=True)
            raise


def _not_kept(folder: Path, problem: OSError) -> SoundShelfError:
    return SoundShelfError(
        f"The sound cannot be kept: {problem.strerror}",
        "Free some space; entries are logged without it.",
        where=str(folder),
    )


def _encoded(samples: Samples, rate_hz: int) -> bytes:
    import soundfile  # noqa: PLC0415 -- loaded when used

    out = io.BytesIO()
    soundfile.write(out, samples, rate_hz, format="FLAC", subtype="PCM_16")
    return out.getvalue()


def _folder_name(job: str) -> str:
    """Return a job's id as the name of one folder, whatever is in it."""
    name = quote(job, safe="")
    return f"%2E{name[1:]}" if name.startswith(".") else name or "%"


def _sync(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
