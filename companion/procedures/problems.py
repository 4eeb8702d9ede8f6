"""What is wrong with a procedure file, gathered so that an author mends it in one go."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.errors import ProcedureError
from companion.procedures.positions import written_path

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.procedures.positions import KeyPath

MOST_SHOWN = 10


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong: the key, its line (from 1), what was found, and what is allowed."""

    key: str
    line: int
    found: str
    allowed: str


class BrokenProcedureError(ProcedureError):
    """A procedure file that cannot be followed; tells every problem, the first ten in words.

    Args:
        file: the file as the author knows it.
        problems: at least one, in the order of the file.
    """

    def __init__(self, file: str, problems: Sequence[Problem]) -> None:
        first = problems[0]
        super().__init__(
            first.found, f"{first.allowed}.", where=f"{file}:{first.line}: {first.key}"
        )
        self.file, self.problems = file, tuple(problems)

    def __str__(self) -> str:
        lines = [
            f"{self.file}:{one.line}: {one.key}: {one.found}. {one.allowed}."
            for one in self.problems[:MOST_SHOWN]
        ]
        left_out = len(self.problems) - len(lines)
        if left_out:
            lines.append(f"{self.file}: {left_out} more. Mend these first.")
        return "\n".join(lines)


class Findings:
    """Collects problems while a file is read and checked.

    Args:
        file: the file as the author knows it.
        lines: the line of every key path that the file holds.
    """

    def __init__(self, file: str, lines: Mapping[KeyPath, int]) -> None:
        self._file = file
        self._lines = lines
        self._problems: list[Problem] = []

    def __len__(self) -> int:
        return len(self._problems)

    def add(self, path: KeyPath, found: str, allowed: str) -> None:
        """Note a problem at a key path.

        Args:
            path: the key; one that is missing is placed at the nearest table around it.
            found: what was found, without a full stop.
            allowed: what is allowed or what to do, without a full stop.
        """
        place = path
        while place and place not in self._lines:
            place = place[:-1]
        line = self._lines.get(place, 1)
        self._problems.append(Problem(written_path(path) or "file", line, found, allowed))

    def raise_if_any(self) -> None:
        """Raise everything noted so far.

        Raises:
            BrokenProcedureError: something was noted.
        """
        if self._problems:
            ordered = sorted(self._problems, key=lambda one: (one.line, one.key))
            raise BrokenProcedureError(self._file, ordered)
