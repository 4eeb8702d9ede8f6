"""The catalogue's archives: models that are not packaged with us and can be fetched.

`models/catalogue.toml` lists each with its address, size, sha256, licence and the folder inside.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from companion.errors import InputError, ModelError
from companion.packaged import packaged_folder

if TYPE_CHECKING:
    from pathlib import Path

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]*")
_SHA256 = re.compile(r"[0-9a-f]{64}")


@dataclass(frozen=True, slots=True)
class Archive:
    """A zip file of the catalogue.

    Attributes:
        name: its key in the catalogue ('vosk-small-en-us').
        file: its name on disk.
        url: where it is fetched from, http or https.
        size_bytes: its size, exactly.
        sha256: its digest, hexadecimal.
        licence: its licence.
        source: who made it, and where size and digest are from.
        folder: the one folder inside, which becomes the model's.
        most_bytes: no more than this may come out of it.
        most_entries: nor more files and folders than this.
    """

    name: str
    file: str
    url: str
    size_bytes: int
    sha256: str
    licence: str
    source: str
    folder: str
    most_bytes: int
    most_entries: int


def archives(path: Path | None = None) -> dict[str, Archive]:
    """Read the archives of the catalogue.

    Args:
        path: another one than the packaged `models/catalogue.toml`.

    Returns:
        The archives by name, in the catalogue's order.

    Raises:
        ModelError: it cannot be read, or a key is wrong.
    """
    path = path or packaged_folder("models") / "catalogue.toml"
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8")).get("archive", {})
        found = {name: Archive(name=name, **keys) for name, keys in table.items()}
        for archive in found.values():
            _check(archive)
    except (OSError, ValueError, TypeError, AttributeError) as exc:
        raise ModelError(
            f"The catalogue of models cannot be read: {exc}",
            "Mend it, or install the package again: pip install --force-reinstall .",
            where=str(path),
        ) from exc
    return found


def checked_url(url: str) -> str:
    """Return an address that can be fetched from.

    Args:
        url: http or https, with a host.

    Raises:
        InputError: it is another kind of address, or none.
    """
    try:
        parts = urlsplit(url)
        usable = parts.scheme in {"http", "https"} and bool(parts.hostname)
        usable = usable and url.isascii() and url.isprintable() and " " not in url
        _ = parts.port
    except ValueError:
        usable = False
    if not usable:
        raise InputError(
            f"'{url}' is no address to fetch from", "Give one that begins with https:// or http://."
        )
    return url


def _check(archive: Archive) -> None:
    """Refuse values that would write elsewhere, or that nothing could meet."""
    for key in ("file", "folder"):
        if not _NAME.fullmatch(getattr(archive, key)):
            raise ValueError(f"{archive.name}: {key} '{getattr(archive, key)}' is no plain name")
    if not _SHA256.fullmatch(archive.sha256):
        raise ValueError(f"{archive.name}: sha256 '{archive.sha256}' is no digest")
    for key in ("size_bytes", "most_bytes", "most_entries"):
        value = getattr(archive, key)
        if type(value) is not int or value <= 0:
            raise ValueError(f"{archive.name}: {key} {value!r} is no number above 0")
    try:
        checked_url(archive.url)
    except InputError as exc:
        raise ValueError(f"{archive.name}: {exc.problem}") from exc
