"""The golden cases of tests/golden/sizing, read: what is given, as measures and words."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from companion.sizing import sizings
from companion.sizing.model import Amount
from companion.sizing.tables import exact_number

if TYPE_CHECKING:
    from companion.sizing.model import Said

FOLDER = Path(__file__).parents[1] / "golden" / "sizing"


@dataclass(frozen=True)
class Bare:
    """A number said without a unit."""

    value: Any
    unit: None = None


def measure(text: str) -> Amount | Bare:
    """Return '16 1/4 in' as a measure, '3' as a number without a unit."""
    words = text.split()
    *number, last = words
    try:
        return Bare(exact_number(text))
    except ValueError:
        return Amount(exact_number(" ".join(number)), last)


def given(slug: str, inputs: dict[str, str | list[str]]) -> dict[str, Said]:
    """Return a case's inputs as the dialogue would hand them over."""
    return {name: _said(slug, name, value) for name, value in inputs.items()}


def _said(slug: str, name: str, value: str | list[str]) -> Said:
    if sizings()[slug].input(name).options and isinstance(value, str):
        return value
    return measure(value) if isinstance(value, str) else tuple(measure(each) for each in value)


def cases() -> list[tuple[str, dict[str, Any]]]:
    """Return every case with its sizing's slug."""
    return [
        (path.stem, case)
        for path in sorted(FOLDER.glob("*.toml"))
        for case in tomllib.loads(path.read_text(encoding="utf-8"))["case"]
    ]
