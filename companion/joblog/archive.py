"""A whole job as one zip file: its entries, its sounds, and a manifest with every file's digest.

The same job gives the same bytes: files in a fixed order, all with the date that zip begins with.
"""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import dataclass, field
from typing import IO, TYPE_CHECKING

from companion.chain import head
from companion.errors import SoundFileError
from companion.joblog.export import job_json, readings_csv
from companion.joblog.job_schema import FILE as SCHEMA_FILE
from companion.joblog.job_schema import schema_text

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.joblog.sounds import SoundFolder
    from companion.joblog.whole import WholeJob
    from companion.ports import Json, KeptSound

FORMAT = "companion job archive 1"
JOB_FILE, READINGS_FILE, MANIFEST_FILE = "job.json", "readings.csv", "manifest.json"
_EPOCH = (1980, 1, 1, 0, 0, 0)  # the first date that a zip can hold
_READABLE_BY_ALL = 0o100644 << 16
_UNIX = 3


def sound_name(kept: KeptSound) -> str:
    """Return a sound's name in the archive."""
    return f"sounds/{kept.file}"


def missing(kept: KeptSound) -> dict[str, Json]:
    """Return how the manifest tells of a sound that was not there to be packed."""
    return {"file": kept.file, "sha256": kept.sha256}


@dataclass(slots=True)
class _Packing:
    """The zip as it grows, and what its manifest tells of each file."""

    archive: zipfile.ZipFile
    files: list[dict[str, Json]] = field(default_factory=list)

    def add(self, name: str, data: bytes, how: int = zipfile.ZIP_DEFLATED) -> None:
        """Add a file."""
        about = zipfile.ZipInfo(name, _EPOCH)
        about.compress_type, about.external_attr, about.create_system = how, _READABLE_BY_ALL, _UNIX
        self.archive.writestr(about, data)
        digest = hashlib.sha256(data).hexdigest()
        self.files.append({"name": name, "bytes": len(data), "sha256": digest})


def write_archive(
    whole: WholeJob,
    shelf: SoundFolder,
    out: IO[bytes],
    told: Callable[[], object] = lambda: None,
) -> list[KeptSound]:
    """Write a job as a zip file, one sound in memory at a time.

    Args:
        whole: the job.
        shelf: where its sounds are.
        out: where to; at its beginning.
        told: called after each sound.

    Returns:
        The sounds that are missing or altered on the shelf; the manifest tells of them.

    Raises:
        OSError: it cannot be written.
    """
    lost: list[KeptSound] = []
    with zipfile.ZipFile(out, "w", allowZip64=True) as archive:
        packing = _Packing(archive)
        text = job_json(whole.entries, whole.salts, whole.removals)
        packing.add(JOB_FILE, text.encode("utf-8"))
        packing.add(SCHEMA_FILE, schema_text().encode("utf-8"))
        packing.add(READINGS_FILE, readings_csv(whole.entries).encode("utf-8"))
        for kept in whole.sounds():
            try:
                data = shelf.data(kept)
            except SoundFileError:
                data = b""
            if data and shelf.is_own(whole.id, kept):
                packing.add(sound_name(kept), data, zipfile.ZIP_STORED)  # FLAC is packed already
            else:
                lost.append(kept)
            told()
        manifest = {
            "format": FORMAT,
            "job": whole.id,
            "head_sha256": head(whole.entries),
            "files": packing.files,
            "missing_sounds": [missing(kept) for kept in lost],
        }
        packing.add(MANIFEST_FILE, (json.dumps(manifest, indent=2) + "\n").encode("ascii"))
    return lost
