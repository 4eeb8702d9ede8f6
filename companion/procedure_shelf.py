"""The procedures that there are: those that come with the program, and the shop's own in a folder.

The folder is `procedures` below `$XDG_CONFIG_HOME/companion` (or `~/.config/companion`), or what
`$COMPANION_PROCEDURES` names. A file that breaks a rule is left out and told; one whose slug a
packaged procedure has stands in its place, and the list says so.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from companion.errors import InputError, ProcedureError
from companion.procedures import BrokenProcedureError, load, procedures
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.procedures.model import Procedure

FOLDER = "COMPANION_PROCEDURES"
ENDING = ".toml"


@dataclass(frozen=True, slots=True)
class Shelved:
    """A procedure, and where it is from.

    Attributes:
        procedure: it.
        path: the shop's own file; None for one that comes with the program.
        replaces: it stands in the place of a packaged one.
    """

    procedure: Procedure
    path: Path | None = None
    replaces: bool = False


@dataclass(frozen=True, slots=True)
class Shelf:
    """All procedures by slug, and the shop's files that can't be followed."""

    found: Mapping[str, Shelved]
    broken: tuple[BrokenProcedureError, ...] = ()

    def get(self, slug: str) -> Procedure:
        """Return a procedure.

        Raises:
            BrokenProcedureError: the shop's file of that name breaks a rule.
            ProcedureError: there is none of that slug.
        """
        for each in self.broken:
            if Path(each.file).stem == slug:
                raise each
        if slug not in self.found:
            known = ", ".join(sorted(self.found))
            raise ProcedureError(f"No procedure '{slug}'", f"Procedures: {known}.")
        return self.found[slug].procedure


def folder(environment: Mapping[str, str] | None = None) -> Path:
    """Return the folder of the shop's own procedures; it need not be there.

    Args:
        environment: the program's own unless given.
    """
    environment = os.environ if environment is None else environment
    if named := environment.get(FOLDER):
        return Path(named)
    base = environment.get("XDG_CONFIG_HOME")
    return (Path(base) if base else Path.home() / ".config") / "companion" / "procedures"


def read(path: Path) -> Procedure:
    """Return the procedure in a file.

    Raises:
        InputError: the file cannot be read.
        BrokenProcedureError: it breaks a rule.
    """
    try:
        text = path.read_text("utf-8")
    except (OSError, UnicodeDecodeError) as problem:
        raise InputError(f"{path} cannot be read", "Give a procedure's file or slug.") from problem
    return load(text, str(path), sizings=sizings())


def shelf(own: Path | None = None) -> Shelf:
    """Return the procedures that there are.

    Args:
        own: another folder than the user's.

    Raises:
        InputError: a file in the folder cannot be read.
    """
    found = {slug: Shelved(each) for slug, each in procedures().items()}
    broken = []
    for path in sorted((own or folder()).glob(f"*{ENDING}")):
        try:
            made = read(path)
        except BrokenProcedureError as problem:
            broken.append(problem)
            continue
        found[made.slug] = Shelved(made, path, replaces=made.slug in procedures())
    return Shelf(dict(sorted(found.items())), tuple(broken))
