"""`companion models`: which recognisers there are; fetch, use and remove a model for Vosk."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from companion.errors import InputError
from companion.settings import RECOGNISERS, Settings, load_settings, save_settings

if TYPE_CHECKING:
    import argparse

    from companion.hearing.archives import Archive

INTERRUPTED = 130
BUNDLED = tuple(name for name in RECOGNISERS if name != "vosk")
TRY_IT = "Try it with: companion selftest"
DESCRIPTION = """\
Look at the recognisers that there are, and choose one.

The one that comes with this program needs nothing from here. Vosk is another, and needs
a model of its own: fetch the small English one, or take one from disk.
"""
EPILOG = """\
examples:
  companion models list
  companion models get
  companion models use vosk-model-small-en-us-0.15.zip
  companion models use bundled
"""
ABOUT = {
    "list": "List the recognisers: which is in use, size, licence, place, whether it is complete.",
    "get": "Fetch a model, check it, unpack it and take it into use. What was cut off goes on.",
    "use": "Choose a recogniser. A folder stays where it is; a zip file is unpacked.",
    "remove": "Remove a model that was fetched or unpacked, and what is left of fetching it.",
}


def add(command: argparse.ArgumentParser) -> None:
    """Add the command's actions and their options."""
    command.description = DESCRIPTION
    command.epilog = EPILOG
    actions = command.add_subparsers(metavar="ACTION", required=True)
    listing = actions.add_parser("list", help="the recognisers, and what can be fetched")
    listing.add_argument("--json", action="store_true", help="print one JSON object")
    get = actions.add_parser("get", help="fetch a model and take it into use")
    get.add_argument("name", nargs="?", metavar="NAME", help="default: the small English one")
    get.add_argument("--url", default="", help="a mirror; what comes is checked all the same")
    use = actions.add_parser("use", help="choose a recogniser")
    use.add_argument("what", metavar="NAME|DIR|ZIP", help="bundled, bundled-original, vosk, or: "
                     "a model's name, folder or zip file")  # fmt: skip
    remove = actions.add_parser("remove", help="remove a fetched model")
    remove.add_argument("name", metavar="NAME")
    for each, does in ((listing, _list), (get, _get), (use, _use), (remove, _remove)):
        each.add_argument("--catalogue", type=Path, metavar="FILE", help="a catalogue of your own")
        each.description = ABOUT[each.prog.split()[-1]]
        each.set_defaults(run=run, does=does)


def run(arguments: argparse.Namespace) -> int:
    """Run the command."""
    does = arguments.does
    return int(does(arguments))


def _archives(arguments: argparse.Namespace) -> dict[str, Archive]:
    from companion.hearing.archives import archives

    return archives(arguments.catalogue)


# ---------------------------------------------------------------- list


def _list(arguments: argparse.Namespace) -> int:
    from companion.commands.models_listed import as_json, as_text, listed
    from companion.hearing.shelf import models_folder

    found = listed(load_settings(), _archives(arguments), models_folder())
    print(json.dumps(as_json(found), indent=2) if arguments.json else as_text(found))
    return 0


# ---------------------------------------------------------------- get


def _get(arguments: argparse.Namespace) -> int:
    from companion.hearing.shelf import models_folder, shelved

    archive = _wanted(_archives(arguments), arguments.name)
    shelf, settings = models_folder(), load_settings()
    there = {model.name: model for model in shelved(shelf)}.get(archive.folder)
    if there and not there.problem:
        print(f"{archive.folder} is there already: {there.folder}")
        folder = there.folder
    else:
        try:
            folder = _fetched(archive, shelf, arguments.url)
        except KeyboardInterrupt:
            return _stopped(archive, shelf)
        print(f"Fetched, checked and unpacked: {folder}")
    _take_into_use(settings, folder, archive.folder)
    return 0


def _wanted(known: dict[str, Archive], name: str | None) -> Archive:
    """Return the archive that was named, by its own or its folder's name; else the first."""
    for archive in known.values():
        if name is None or name in {archive.name, archive.folder}:
            return archive
    raise InputError(
        f"The catalogue has no model '{name or ''}' to fetch",
        f"It has: {', '.join(known) or 'none'}.",
    )


def _fetched(archive: Archive, shelf: Path, url: str) -> Path:
    from tqdm import tqdm

    from companion.hearing.download import Manner
    from companion.hearing.shelf import fetch_onto

    with tqdm(
        total=archive.size_bytes, desc=archive.folder, unit="B", unit_scale=True, disable=None
    ) as bar:
        manner = Manner(told=lambda there: bar.update(there - bar.n))
        return fetch_onto(shelf, archive, url, manner)


def _stopped(archive: Archive, shelf: Path) -> int:
    from companion.hearing.part_file import part_bytes

    kept = part_bytes(archive, shelf)
    what = f"{kept} of {archive.size_bytes} bytes are kept" if kept else "nothing is kept"
    print(f"\ncompanion: stopped; {what}. Go on with: companion models get", file=sys.stderr)
    return INTERRUPTED


# ---------------------------------------------------------------- use


def _use(arguments: argparse.Namespace) -> int:
    settings = load_settings()
    if arguments.what in BUNDLED:
        save_settings(replace(settings, recogniser=arguments.what))
        print(f"In use now: {arguments.what}. {TRY_IT}")
    else:
        folder = _model(arguments.what, _archives(arguments))
        _take_into_use(settings, folder, _called(folder))
    return 0


def _model(what: str, known: dict[str, Archive]) -> Path:
    """Return the folder of the model that was named; a zip file is unpacked onto the shelf."""
    from companion.hearing.shelf import (
        check_model,
        models_folder,
        on_shelf,
        shelved,
        take_from_zip,
    )

    shelf, path = models_folder(), Path(what).expanduser()
    if what in {"vosk", *known, *(model.name for model in shelved(shelf))}:
        return on_shelf(shelf, what, known)
    if path.is_file():
        folder = take_from_zip(shelf, path, known)
        print(f"Unpacked: {folder}")
        return folder
    if not path.exists():
        raise InputError(
            f"There is no recogniser, folder or zip file '{what}'",
            "See what there is: companion models list",
        )
    check_model(path)
    return path.resolve()


def _called(folder: Path) -> str:
    """Return a model's name: its folder's on the shelf, the whole path elsewhere."""
    from companion.hearing.shelf import models_folder

    return folder.name if folder.parent == models_folder() else str(folder)


def _take_into_use(settings: Settings, folder: Path, called: str) -> None:
    save_settings(replace(settings, recogniser="vosk", vosk_model=str(folder)))
    print(f"In use now: vosk with {called}. {TRY_IT}")
    print("Go back with: companion models use bundled")


# ---------------------------------------------------------------- remove


def _remove(arguments: argparse.Namespace) -> int:
    from companion.hearing.shelf import leftovers, models_folder, own_folder, remove_all

    if arguments.name in BUNDLED:
        raise InputError(
            f"'{arguments.name}' comes with this program and stays", "Remove a fetched model."
        )
    known, shelf, settings = _archives(arguments), models_folder(), load_settings()
    folder = own_folder(shelf, arguments.name, known)
    there = [folder] if folder.exists() else []
    there += leftovers(shelf, folder.name, known)
    if not there:
        raise InputError(
            f"There is no model '{arguments.name}' on the shelf",
            "See what there is: companion models list",
        )
    _leave(settings, folder)
    remove_all(shelf, there)
    for path in there:
        print(f"Removed: {path}")
    return 0


def _leave(settings: Settings, folder: Path) -> None:
    """Let the settings point to the model no longer; first, so that they never point nowhere."""
    if not settings.vosk_model or Path(settings.vosk_model).resolve() != folder.resolve():
        return
    was_in_use = settings.recogniser == "vosk"
    recogniser = "bundled" if was_in_use else settings.recogniser
    save_settings(replace(settings, recogniser=recogniser, vosk_model=""))
    if was_in_use:
        print("It was in use. In use now: bundled")
