"""What is wrong with a procedure file, gathered so that an author mends it in one go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.errors import ProcedureError
from companion.procedures.parts import Place
from companion.procedures.positions import written_path

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.procedures.positions import KeyPath

MOST_SHOWN = 10


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong.

    Attributes:
        file: the file that it stands in: the procedure's, or that of a part.
        line: from 1.
        key: which key.
        found: what was found, without a full stop.
        allowed: what is allowed, or what to do, without a full stop.
        rule: the slug of the rule that is broken; '' where it is the file's shape.
        way: how one gets there, 'choice option' each; () where it holds on every way.
    """

    file: str
    line: int
    key: str
    found: str
    allowed: str
    rule: str = ""
    way: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.key}: {self.found}. {self.allowed}."


class BrokenProcedureError(ProcedureError):
    """A procedure file that cannot be followed; tells every problem, the first ten in words.

    Args:
        file: the file as the author knows it.
        problems: at least one, in the order of the file.
    """

    def __init__(self, file: str, problems: Sequence[Problem]) -> None:
        first = problems[0]
        super().__init__(
            first.found, f"{first.allowed}.", where=f"{first.file}:{first.line}: {first.key}"
        )
        self.file, self.problems = file, tuple(problems)

    def __str__(self) -> str:
        lines = [str(one) for one in self.problems[:MOST_SHOWN]]
        left_out = len(self.problems) - len(lines)
        if left_out:
            lines.append(f"{self.file}: {left_out} more. Mend these first.")
        return "\n".join(lines)


class Findings:
    """Collects problems while a file is read and checked.

    Args:
        file: the file as the author knows it.
        places: where every key path stands.
    """

    def __init__(self, file: str, places: Mapping[KeyPath, Place]) -> None:
        self._file = file
        self._places = places
        self._problems: list[Problem] = []

    def __len__(self) -> int:
        return len(self._problems)

    def add(
        self, path: KeyPath, found: str, allowed: str, rule: str = "", way: tuple[str, ...] = ()
    ) -> None:
        """Note a problem at a key path.

        Args:
            path: the key; one that is missing is placed at the nearest table around it.
            found: what was found, without a full stop.
            allowed: what is allowed or what to do, without a full stop.
            rule: the slug of the rule that is broken.
            way: how one gets there.
        """
        place = path
        while place and place not in self._places:
            place = place[:-1]
        at = self._places.get(place, Place(self._file, 1))
        key = written_path(path) or "file"
        self._problems.append(Problem(at.file, at.line, key, found, allowed, rule, way))

    def raise_if_any(self) -> None:
        """Raise everything noted so far.

        Raises:
            BrokenProcedureError: something was noted.
        """
        if self._problems:
            ordered = sorted(
                self._problems, key=lambda one: (one.file != self._file, one.line, one.key)
            )
            raise BrokenProcedureError(self._file, ordered)
