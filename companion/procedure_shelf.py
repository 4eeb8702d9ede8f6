"""The procedures that there are: those that come with the program, and the shop's own in a folder.

The folder is `procedures` below `$XDG_CONFIG_HOME/companion` (or `~/.config/companion`), or what
`$COMPANION_PROCEDURES` names. A file there is called as its slug. One that breaks a rule is left
out and told, and one that is called as a packaged procedure stands in its place.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from companion.dialogue import leaving, meant
from companion.errors import InputError, ProcedureError
from companion.procedures import (
    BrokenProcedureError,
    Problem,
    findings_in,
    load,
    procedure,
    procedures,
    slugs,
)
from companion.sizing import sizings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.procedures.model import Procedure
    from companion.procedures.positions import KeyPath

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
    return checked(text, str(path))


def checked(text: str, where: str) -> Procedure:
    """Return the procedure that a text holds, held to every rule that there is.

    Beyond what its file tells, the dialogue takes it: whether 'call it off' leads out of every
    step, and whether what it listens for means one thing.

    Raises:
        BrokenProcedureError: it breaks a rule.
    """
    made = load(text, where, sizings=sizings())
    findings = findings_in(text, where)
    for unclear in meant.unclear(made):
        rule = meant.ONE_MEANING
        findings.add(unclear.path, unclear.found, rule.mend, rule.slug)
    findings.raise_if_any()  # a second meaning of the words on the way out is told by its name
    for held in filter(None, leaving.held(made)):
        place: KeyPath = ("steps", made.places[held.step])
        rule = leaving.WAY_OUT
        findings.add(place, held.found, rule.mend, rule.slug, held.way)
    findings.raise_if_any()
    return made


def named(name: str, own: Path | None = None) -> Procedure:
    """Return a procedure by its slug, the shop's before a packaged one, or by its file.

    Args:
        name: a slug, or the path of a file (.toml).
        own: another folder than the user's.

    Raises:
        InputError: the file cannot be read.
        BrokenProcedureError: it breaks a rule.
        ProcedureError: there is no such procedure.
    """
    if name.endswith(ENDING):
        return read(Path(name))
    there = own or folder()
    if (there / f"{name}{ENDING}").is_file():
        return _own(there / f"{name}{ENDING}")
    if name in slugs():
        return procedure(name)
    known = ", ".join(sorted({*slugs(), *(path.stem for path in _files(there))}))
    raise ProcedureError(f"No procedure '{name}'", f"Procedures: {known}.")


def shelf(own: Path | None = None) -> Shelf:
    """Return the procedures that there are.

    Args:
        own: another folder than the user's.

    Raises:
        InputError: a file in the folder cannot be read.
    """
    found = {slug: Shelved(each) for slug, each in procedures().items()}
    broken = []
    for path in _files(own or folder()):
        try:
            found[path.stem] = Shelved(_own(path), path, replaces=path.stem in slugs())
        except BrokenProcedureError as problem:
            broken.append(problem)
    return Shelf(dict(sorted(found.items())), tuple(broken))


def _files(there: Path) -> list[Path]:
    return sorted(there.glob(f"*{ENDING}"))


def _own(path: Path) -> Procedure:
    made = read(path)
    if made.slug != path.stem:
        found = f"'{made.slug}' is not how the file is called"
        problem = Problem(str(path), 1, "slug", found, f"Call it {made.slug}{ENDING}")
        raise BrokenProcedureError(str(path), (problem,))
    return made
