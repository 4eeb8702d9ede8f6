"""The tables behind the sizings: a CSV each, with a TOML of the same name that vouches for it.

Every table says its title, source with edition, licence, valid range, and for each column its
meaning, unit and whether the figures are from memory. Both files are checked when a table is
first used: an unknown key, a missing one or a cell that does not parse is an error that names the
file and the key. No table is interpolated: a wire or a fitting between two rows does not exist.
"""

from __future__ import annotations

import csv
import tomllib
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from companion.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.ports import Exact

    Cell = str | Exact | None

_TABLE_KEYS = frozenset({"title", "source", "licence", "valid", "interpolation", "columns"})
_COLUMN_KEYS = frozenset({"kind", "unit", "meaning", "from_memory", "may_be_empty", "note"})
_COLUMN_REQUIRED = frozenset({"kind", "meaning"})
_KINDS = frozenset({"text", "exact"})


class TableError(InputError):
    """A packaged table breaks a rule; `where` names file and key."""


@dataclass(frozen=True, slots=True)
class Column:
    """What a column holds: `kind` 'text' or 'exact', its unit, and how far to trust it."""

    kind: str
    meaning: str
    unit: str = ""
    from_memory: bool = False
    may_be_empty: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a table, read by column name."""

    file: str
    cells: Mapping[str, Cell]

    def text(self, column: str) -> str:
        """Return a text cell."""
        return str(self.cells[column])

    def exact(self, column: str) -> Exact:
        """Return a number, exactly as printed.

        Raises:
            TableError: the cell is empty or text.
        """
        cell = self.cells[column]
        if isinstance(cell, (Decimal, Fraction)):
            return cell
        raise TableError(f"no number in {cell!r}", "Mend the table.", where=f"{self.file}:{column}")

    def has(self, column: str) -> bool:
        """Return whether the cell is filled."""
        return self.cells[column] is not None


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its account of itself."""

    title: str
    source: str
    licence: str
    valid: str
    interpolation: str
    columns: Mapping[str, Column]
    rows: tuple[Row, ...]

    def row(self, column: str, value: str) -> Row:
        """Return the row whose text in `column` is `value`.

        Raises:
            KeyError: there is none; callers look up only what they have checked.
        """
        for row in self.rows:
            if row.text(column) == value:
                return row
        raise KeyError(value)


def exact_number(text: str) -> Exact:
    """Return a number as printed in a table: '0.0201' a Decimal, '1 3/32' a Fraction.

    Raises:
        ValueError: it is no number.

    >>> exact_number("1 3/32")
    Fraction(35, 32)
    >>> exact_number("7.77")
    Decimal('7.77')
    """
    try:
        if "/" in text:
            return sum((Fraction(part) for part in text.split()), Fraction(0))
        return Decimal(text)
    except (InvalidOperation, ZeroDivisionError) as exc:
        raise ValueError(text) from exc


@cache
def table(name: str) -> Table:
    """Return a packaged table, checked.

    Args:
        name: the file name without ending, e.g. 'ampacity'.

    Raises:
        TableError: either file breaks a rule.
    """
    folder = files("companion.sizing").joinpath("tables")
    account = folder.joinpath(f"{name}.toml").read_text(encoding="utf-8")
    cells = folder.joinpath(f"{name}.csv").read_text(encoding="utf-8")
    return read_table(name, account, cells)


def read_table(name: str, account: str, cells: str) -> Table:
    """Return the table that the text of a TOML and of a CSV file make together.

    Raises:
        TableError: an unknown or missing key, or a cell that does not parse.
    """
    file = f"{name}.toml"
    try:
        told = tomllib.loads(account)
    except tomllib.TOMLDecodeError as exc:
        raise TableError(f"not valid TOML: {exc}", "Mend the file.", where=file) from exc
    _check_keys(file, "", told, _TABLE_KEYS, _TABLE_KEYS)
    columns = {}
    for key, column in told["columns"].items():
        _check_keys(file, f"columns.{key}", column, _COLUMN_KEYS, _COLUMN_REQUIRED)
        columns[key] = Column(**column)
        if columns[key].kind not in _KINDS:
            raise TableError(
                f"kind '{columns[key].kind}' is not text or exact",
                "Use one of the two.",
                where=f"{file}: columns.{key}",
            )
    rows = _read_rows(f"{name}.csv", cells, columns)
    return Table(**{**told, "columns": columns}, rows=rows)


def _check_keys(
    file: str, place: str, found: object, known: frozenset[str], required: frozenset[str]
) -> None:
    keys = set(found) if isinstance(found, dict) else set()
    for key in sorted(keys - known) + sorted(required - keys):
        fault = "unknown key" if key in keys else "missing key"
        where = f"{place}.{key}".lstrip(".")
        raise TableError(
            f"{fault} '{key}'", f"Known: {', '.join(sorted(known))}.", where=f"{file}: {where}"
        )


def _read_rows(file: str, text: str, columns: Mapping[str, Column]) -> tuple[Row, ...]:
    lines = csv.DictReader(text.splitlines())
    header = list(lines.fieldnames or ())
    if header != list(columns):
        raise TableError(
            f"columns are {header}", f"The TOML beside it tells of {list(columns)}.", where=file
        )
    return tuple(
        Row(
            file,
            {key: _cell(file, lines.line_num, key, cell, columns) for key, cell in line.items()},
        )
        for line in lines
    )


def _cell(
    file: str, line: int, key: str | None, text: str | None, columns: Mapping[str, Column]
) -> Cell:
    where = f"{file}:{line}: {key}"
    if key is None or text is None:
        raise TableError("a line with too many or too few cells", "Mend the line.", where=where)
    column = columns[key]
    if not text:
        if column.may_be_empty:
            return None
        raise TableError("an empty cell", "Fill it, or let the column be empty.", where=where)
    if column.kind == "text":
        return text
    try:
        return exact_number(text)
    except ValueError as exc:
        raise TableError(f"'{text}' is not a number", "Mend the cell.", where=where) from exc


def figure(name: str) -> Exact:
    """Return one of the trade's single figures, in the unit that its row names.

    >>> figure("control-voltage")
    Decimal('24')
    """
    return table("figures").row("figure", name).exact("value")
