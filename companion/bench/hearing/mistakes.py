"""The list of what may not happen: every silent error and every false accept."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from companion.bench.hearing.scoring import Came

if TYPE_CHECKING:
    from collections.abc import Iterable

    from companion.bench.hearing.results import Result

_MISTAKES = (Came.SILENT_ERROR.value, Came.FALSE_ACCEPT.value)


def mistakes(results: Iterable[Result]) -> list[Result]:
    """Return the silent errors and false accepts, in the order in which they came."""
    return [each for each in results if each.came in _MISTAKES]


def line(mistake: Result) -> str:
    """Return a mistake in a line: who, where, what was said, heard, logged and understood."""
    heard = " / ".join(f"'{words}' at {match:.2f}" for words, match in mistake.heard)
    logged = "; ".join(f"{kind} ({named})" if named else kind for kind, named in mistake.logged)
    return (
        f"{mistake.engine}, {mistake.cell}, {mistake.came}: said '{mistake.said}'"
        f" ({mistake.case}, {mistake.moment}), heard {heard}, logged: {logged or 'nothing'},"
        f" taken: {mistake.taken}"
    )


def as_json(mistake: Result) -> dict[str, Any]:
    """Return a mistake as plain data."""
    return {
        "engine": mistake.engine,
        "cell": mistake.cell,
        "came": mistake.came,
        "case": mistake.case,
        "moment": mistake.moment,
        "said": mistake.said,
        "heard": [list(each) for each in mistake.heard],
        "logged": [list(each) for each in mistake.logged],
        "taken": mistake.taken,
    }
