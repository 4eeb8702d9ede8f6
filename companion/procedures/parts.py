"""Parts: steps and test points that several procedures share, put in where a procedure names them.

Locking out, wiring a primary, the first power are the same whatever is fitted, and a life hangs on
them: they are written once. In a procedure

    [[steps]]
    part = "lock-out"

stands for the steps of `parts/lock-out.toml`, in their order; its test points are added where the
procedure has none of that name. What comes out is one text without parts: the job keeps that, so an
old job reads the same when a part has changed.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from decimal import Decimal
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import tomli_w

from companion.procedures.positions import line_numbers

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.procedures.positions import KeyPath

PART = "part"


@dataclass(frozen=True, slots=True)
class Place:
    """Where a key stands: the file as the author knows it, and the line from 1."""

    file: str
    line: int


@dataclass(frozen=True)
class Whole:
    """A procedure file with its parts put in.

    Attributes:
        tables: what it holds, as tomllib gives it.
        text: the same as TOML; the file's own text where it names no part.
        places: where each key of `tables` stands.
        unknown: the places of steps that name a part which there is not, with its name.
    """

    tables: dict[str, Any]
    text: str
    places: Mapping[KeyPath, Place]
    unknown: Mapping[KeyPath, str] = field(default_factory=dict)


@dataclass(frozen=True)
class _Part:
    tables: Mapping[str, Any]
    places: Mapping[KeyPath, Place]


@cache
def parts() -> Mapping[str, _Part]:
    """Return the packaged parts by name, in alphabetical order."""
    folder = files("companion.procedures").joinpath("data", "parts")
    found = sorted((file for file in folder.iterdir() if file.name.endswith(".toml")), key=str)
    return {
        file.name.removesuffix(".toml"): _read(file.read_text("utf-8"), file.name) for file in found
    }


def _read(text: str, name: str) -> _Part:
    return _Part(tomllib.loads(text, parse_float=Decimal), _places(text, f"parts/{name}"))


def _places(text: str, file: str) -> dict[KeyPath, Place]:
    return {path: Place(file, line) for path, line in line_numbers(text).items()}


def whole(tables: Mapping[str, Any], text: str, where: str) -> Whole:
    """Return a procedure with its parts put in.

    Args:
        tables: what the file holds, as tomllib gives it.
        text: the file's text.
        where: the file as the author knows it.
    """
    own = _places(text, where)
    steps = tables.get("steps")
    if not isinstance(steps, list) or not any(map(_names_part, steps)):
        return Whole(dict(tables), text, own)
    build = _Build(dict(tables), {path: at for path, at in own.items() if path[:1] != ("steps",)})
    for index, step in enumerate(steps):
        build.take(step, index, own)
    found = {**build.tables, "steps": build.steps}
    return Whole(found, tomli_w.dumps(found), build.places, build.unknown)


def _names_part(step: object) -> bool:
    return isinstance(step, dict) and PART in step


class _Build:
    """The steps so far, and where each stands."""

    def __init__(self, tables: dict[str, Any], places: dict[KeyPath, Place]) -> None:
        self.tables = tables
        self.places = places
        self.steps: list[Any] = []
        self.unknown: dict[KeyPath, str] = {}

    def take(self, step: Any, index: int, own: Mapping[KeyPath, Place]) -> None:  # noqa: ANN401
        """Put in a step of the file, or the part that it names."""
        alone = _names_part(step) and len(step) == 1
        found = parts().get(str(step[PART])) if alone else None
        if found is None:
            if _names_part(step):
                self.unknown[("steps", len(self.steps), PART)] = str(step[PART])
            self._add(step, index, own)
            return
        for place, each in enumerate(found.tables.get("steps", ())):
            self._add(each, place, found.places)
        self._add_points(found)

    def _add(self, step: object, index: int, places: Mapping[KeyPath, Place]) -> None:
        before = ("steps", index)
        self.places |= {
            ("steps", len(self.steps), *path[2:]): at
            for path, at in places.items()
            if path[:2] == before
        }
        self.steps.append(step)

    def _add_points(self, part: _Part) -> None:
        known = self.tables.get("points", {})
        if not isinstance(known, dict):
            return
        more = {
            name: each for name, each in part.tables.get("points", {}).items() if name not in known
        }
        self.tables["points"] = {**known, **more}
        self.places |= {
            path: at
            for path, at in part.places.items()
            if path[:1] == ("points",) and path[1:2] and path[1] in more
        }
