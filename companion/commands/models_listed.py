"""What `companion models list` tells: the recognisers that there are, and what can be fetched."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.errors import ModelError
from companion.hearing.model_files import catalogue, checked
from companion.hearing.part_file import part_bytes
from companion.hearing.shelf import Shelved, seen, shelved

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.hearing.archives import Archive
    from companion.settings import Settings

_BUNDLED = {
    "bundled": ("encoder-hardened", "decoder", "tokenizer", "speller"),
    "bundled-original": ("encoder-original", "decoder", "tokenizer"),
}
_UNKNOWN = "not known"
_ELSEWHERE = "vosk, from disk"
_WITH_US = "comes with this program"


@dataclass(frozen=True, slots=True)
class Row:
    """A recogniser with its model.

    Attributes:
        name: what `companion models use` takes.
        in_use: whether it is the one that hears.
        size_bytes: of its model's files.
        licence: the model's, as far as the catalogue knows it.
        where: its folder, or that it comes with this program.
        problem: what it lacks; '' when it is complete.
    """

    name: str
    in_use: bool
    size_bytes: int
    licence: str
    where: str
    problem: str


@dataclass(frozen=True, slots=True)
class Offer:
    """A model that could be fetched; `begun_bytes` of it are here already."""

    name: str
    size_bytes: int
    licence: str
    url: str
    begun_bytes: int


@dataclass(frozen=True, slots=True)
class Listed:
    """All that is told."""

    rows: tuple[Row, ...]
    offers: tuple[Offer, ...]


def listed(settings: Settings, archives: Mapping[str, Archive], shelf: Path) -> Listed:
    """Return what there is.

    Args:
        settings: which recogniser is in use.
        archives: the catalogue's.
        shelf: the models' folder.

    Raises:
        ModelError: a catalogue or the folder cannot be read.
    """
    chosen = Path(settings.vosk_model).resolve() if settings.vosk_model else None
    models = list(shelved(shelf))
    complete = {model.name for model in models if not model.problem}
    if chosen and chosen not in [model.folder.resolve() for model in models]:
        models.append(seen(chosen))
    licences = {archive.folder: archive.licence for archive in archives.values()}
    vosk = settings.recogniser == "vosk"
    rows = [_bundled(name, in_use=settings.recogniser == name) for name in _BUNDLED]
    rows += [
        _row(each, licences, shelf, in_use=vosk and each.folder.resolve() == chosen)
        for each in models
    ]
    offers = (_offer(each, shelf) for each in archives.values() if each.folder not in complete)
    return Listed(tuple(rows), tuple(offers))


def _bundled(name: str, *, in_use: bool) -> Row:
    """Return the row of a recogniser that comes with us; its files are checked."""
    known = catalogue()
    files = [known[each] for each in _BUNDLED[name]]
    problem = ""
    try:
        for each in files:
            checked(each)
    except ModelError as exc:
        problem = exc.problem
    licence = ", ".join(sorted({each.licence for each in files}))
    return Row(name, in_use, sum(each.size_bytes for each in files), licence, _WITH_US, problem)


def _row(model: Shelved, licences: Mapping[str, str], shelf: Path, *, in_use: bool) -> Row:
    ours = model.folder.parent == shelf
    name = model.name if ours else str(model.folder)
    licence = licences.get(model.name, _UNKNOWN) if ours else _UNKNOWN
    return Row(name, in_use, model.size_bytes, licence, str(model.folder), model.problem)


def _offer(archive: Archive, shelf: Path) -> Offer:
    return Offer(
        archive.name, archive.size_bytes, archive.licence, archive.url, part_bytes(archive, shelf)
    )


def as_json(found: Listed) -> dict[str, Any]:
    """Return what is told as one object."""
    return {
        "recognisers": [asdict(row) | {"complete": not row.problem} for row in found.rows],
        "to_fetch": [asdict(offer) for offer in found.offers],
    }


def as_text(found: Listed) -> str:
    """Return what is told, a line each; the one in use has a star."""
    names = [*map(_shown, found.rows), *(offer.name for offer in found.offers)]
    wide = max(map(len, names))
    lines = ["Recognisers (* in use)"]
    for row in found.rows:
        state = f"not usable: {row.problem}" if row.problem else "complete"
        mark = "*" if row.in_use else " "
        lines.append(f"{mark} {_shown(row):<{wide}}  {_size(row)}  {row.licence:<10}  {state}")
        if row.where != _WITH_US:
            lines.append(f"  {'':<{wide}}  {row.where}")
    if found.offers:
        lines += ["", "To fetch, with: companion models get"]
    for offer in found.offers:
        begun = f"  ({offer.begun_bytes / 1e6:.1f} MB of it here)" if offer.begun_bytes else ""
        lines.append(f"  {offer.name:<{wide}}  {_size(offer)}  {offer.licence}{begun}")
    return "\n".join(lines)


def _shown(row: Row) -> str:
    """Return what a line begins with; a folder elsewhere has a line of its own."""
    return _ELSEWHERE if row.name == row.where else row.name


def _size(each: Row | Offer) -> str:
    return f"{each.size_bytes / 1e6:>7.1f} MB"
