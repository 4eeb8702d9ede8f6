"""Tables of tab-separated text with a header: rows as dictionaries, every mistake with its line."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from companion.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping
    from pathlib import Path


@dataclass(frozen=True, slots=True)
class Row:
    """A row: `where` names file and line, `cells` holds the text by column."""

    where: str
    cells: Mapping[str, str]

    def text(self, column: str) -> str:
        """Return a cell that must not be empty.

        Raises:
            InputError: it is empty.
        """
        found = self.cells.get(column, "")
        if not found:
            raise InputError(f"'{column}' is empty", "Fill it in.", where=self.where)
        return found

    def yes_or_no(self, column: str, *, otherwise: bool) -> bool:
        """Return a cell that holds 'yes' or 'no'; `otherwise` where it is empty or not there.

        Raises:
            InputError: it holds something else.
        """
        found = self.cells.get(column, "")
        if found not in {"", "yes", "no"}:
            raise InputError(f"'{column}' is '{found}'", "Write yes or no.", where=self.where)
        return found == "yes" if found else otherwise


def rows(path: Path, needed: Collection[str], optional: Collection[str] = ()) -> Iterator[Row]:
    """Yield the rows of a table, blank lines left out.

    Args:
        path: the file, UTF-8.
        needed: columns that the header must name, in any order.
        optional: columns that it may name.

    Raises:
        InputError: the file cannot be read, the header or a row does not fit, or there is no row.
    """
    lines = _lines(path)
    header = lines[0].split("\t") if lines else []
    _check_header(header, needed, optional, f"{path}:1")
    none = True
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        cells = line.split("\t")
        if len(cells) > len(header):
            raise InputError(
                f"{len(cells)} cells under {len(header)} columns",
                "Put one tab between cells.",
                where=f"{path}:{number}",
            )
        none = False
        yield Row(f"{path}:{number}", {k: v.strip() for k, v in zip(header, cells, strict=False)})
    if none:
        raise InputError(
            "No row below the header", "Add a row for each recording.", where=str(path)
        )


def _lines(path: Path) -> list[str]:
    try:
        return path.read_text(encoding="utf-8-sig").splitlines()
    except FileNotFoundError as exc:
        raise InputError(f"No file '{path}'", "Check the path.") from exc
    except (OSError, UnicodeDecodeError) as exc:
        raise InputError(f"'{path}' is no readable text", "Save it as UTF-8 text.") from exc


def _check_header(
    header: list[str], needed: Collection[str], optional: Collection[str], where: str
) -> None:
    wanted = f"Columns, tabs between: {' '.join(needed)}"
    wanted += f"; and if you like: {' '.join(optional)}." if optional else "."
    for column in needed:
        if column not in header:
            raise InputError(f"The header has no column '{column}'", wanted, where=where)
    for column in header:
        if column not in {*needed, *optional} or header.count(column) > 1:
            raise InputError(f"Column '{column}' is unknown or there twice", wanted, where=where)
