"""The results as they come: one JSON line a case, so that a run that was stopped goes on.

The first line says what was measured; a run with other settings, or results that another version
of this benchmark wrote, need another folder.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass, field
from typing import IO, TYPE_CHECKING, Any, Self

from companion.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

FILE = "results.jsonl"
FAILED = "failed"
FORM = 2  # rises when a result tells more than it did


@dataclass(frozen=True, slots=True)
class Result:
    """What came of a case, by one engine, in one cell.

    Attributes:
        engine: by whom it was heard.
        cell: the signal-to-noise ratio ('clean', '10').
        case: its id.
        corpus: of which corpus.
        synthesis: the synthesis engine, or 'people'.
        addressed: whether it was meant for the companion.
        said: its words.
        came: what came of it, as `scoring.Came` has it; `FAILED` where the engine died.
        known: whether the grammar has the words.
        value: whether it holds a reading, a slot, a choice or a hold answer.
        taken: what was taken.
        heard: the best sentence of each utterance found, and how well it matched.
        free: what was heard without a grammar.
        sound_s: how long the sound was, the room around the words included.
        response_s: patience and late decoding of the last utterance; -1 where none was found.
        moment: the name of the moment at which it was said.
        awake: whether more than the attention phrase and the emergency phrases was live then.
        means: what was said, as a label; '' where nothing knows.
        logged: the entries that came of it: the kind of each, and what it names.
    """

    engine: str
    cell: str
    case: str
    corpus: str
    synthesis: str
    addressed: bool
    said: str
    came: str
    known: bool
    value: bool
    taken: str
    heard: list[tuple[str, float]]
    free: str
    sound_s: float
    response_s: float
    moment: str
    awake: bool
    means: str
    logged: list[tuple[str, str]]

    @property
    def key(self) -> tuple[str, str, str]:
        """What it is the result of."""
        return self.engine, self.cell, self.case


@dataclass
class Results:
    """The file of results; a context manager that writes while it is open.

    Args:
        folder: where it lies; made if it is not there.
        settings: what decides the results, other than the engine.

    Raises:
        InputError: the folder holds results of other settings, or cannot be written.
    """

    folder: Path
    settings: dict[str, Any]
    done: dict[tuple[str, str, str], Result] = field(default_factory=dict)
    costs: dict[str, list[dict[str, float]]] = field(default_factory=dict)
    _file: IO[str] | None = None

    def __post_init__(self) -> None:
        path = self.folder / FILE
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            lines = _whole_lines(path) if path.exists() else []
        except OSError as problem:
            raise InputError(
                f"'{self.folder}' cannot be used: {problem.strerror}", "Choose another with --out."
            ) from problem
        for number, line in enumerate(lines, start=1):
            self._take(line, number)
        if not lines:
            with self:
                self._write({"form": FORM, "settings": self.settings})

    def _take(self, line: str, number: int) -> None:
        try:
            found = json.loads(line)
            if number == 1:
                self._check(found)
            if "cost" in found:
                self.costs.setdefault(found["engine"], []).append(found["cost"])
            elif number > 1:
                for pairs in ("heard", "logged"):
                    found[pairs] = [tuple(each) for each in found[pairs]]
                result = Result(**found)
                self.done[result.key] = result
        except (ValueError, TypeError, KeyError, AttributeError) as problem:
            raise InputError(
                "This is no result", "Remove the file.", where=f"{self.folder / FILE}:{number}"
            ) from problem

    def _check(self, first: dict[str, Any]) -> None:
        """Refuse results that do not go with this run's."""
        if "settings" in first and first.get("form") != FORM:
            wrong = "The folder holds results of another version of this benchmark"
        elif first.get("settings") != self.settings:
            wrong = "The folder holds results of other settings"
        else:
            return
        raise InputError(wrong, "Choose another folder with --out.", where=str(self.folder))

    def __enter__(self) -> Self:
        """Open the file to add to it."""
        try:
            self._file = (self.folder / FILE).open("a", encoding="utf-8")
        except OSError as problem:
            raise self._unwritable(problem) from problem
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the file."""
        try:
            if self._file:
                self._file.close()
        except OSError as left:  # what was not written before is not written now
            raise self._unwritable(left) from left

    def is_done(self, engine: str, cell: str, case: str, said: str) -> bool:
        """Whether there is a result of that case, with these words, that is no failure."""
        found = self.done.get((engine, cell, case))
        return found is not None and found.said == said and found.came != FAILED

    def add(self, result: Result) -> None:
        """Keep a result.

        Raises:
            InputError: it cannot be written.
        """
        self.done[result.key] = result
        self._write(asdict(result))

    def add_cost(self, engine: str, cost: dict[str, float]) -> None:
        """Keep what a process of an engine has cost."""
        self.costs.setdefault(engine, []).append(cost)
        self._write({"engine": engine, "cost": cost})

    def _write(self, line: dict[str, Any]) -> None:
        if self._file is None:
            raise RuntimeError("results are added while the file is open")
        try:
            self._file.write(json.dumps(line) + "\n")
            self._file.flush()
        except OSError as problem:
            raise self._unwritable(problem) from problem

    def _unwritable(self, problem: OSError) -> InputError:
        return InputError(
            f"The results cannot be written: {problem.strerror}",
            "Free some room, or choose another folder with --out.",
            where=str(self.folder),
        )


def _whole_lines(path: Path) -> list[str]:
    """Return the lines; one that was torn off by the end of a run is cut away."""
    text = path.read_text("utf-8", errors="replace")
    whole, _, torn = text.rpartition("\n")
    if torn:
        path.write_text(whole + "\n" if whole else "", "utf-8")
    return whole.splitlines()
