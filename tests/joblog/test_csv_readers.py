"""The CSV of readings and entries against RFC 4180 and readers that are not ours."""

from __future__ import annotations

import csv
import io
import re
from typing import TYPE_CHECKING

import pyarrow as pa
import pyarrow.csv
from hypothesis import given
from hypothesis import strategies as st
from jobs_made import JOB, drafts

from companion.joblog import MemoryStore
from companion.joblog.export import (
    ENTRY_COLUMNS,
    READING_COLUMNS,
    entries_csv,
    readings_csv,
)

if TYPE_CHECKING:
    from companion.ports import Draft

# RFC 4180, section 2, its grammar (ABNF), with any character for TEXTDATA but comma, quote, CR, LF.
_FIELD = r'(?:"(?:[^"]|"")*"|[^",\r\n]*)'
_RECORD = rf"{_FIELD}(?:,{_FIELD})*\r\n"
FILE = re.compile(rf"(?:{_RECORD})+")


def tables(made: list[Draft]) -> list[tuple[str, tuple[str, ...]]]:
    store = MemoryStore()
    store.append(JOB, made)
    entries = list(store.entries(JOB))
    return [(readings_csv(entries), READING_COLUMNS), (entries_csv(entries), ENTRY_COLUMNS)]


@given(st.lists(drafts(), min_size=1, max_size=8))
def test_every_table_keeps_to_the_grammar_of_rfc_4180(made: list[Draft]) -> None:
    for text, columns in tables(made):
        assert FILE.fullmatch(text)
        assert text.partition("\r\n")[0] == ",".join(columns)


@given(st.lists(drafts(), min_size=1, max_size=8))
def test_two_readers_that_are_not_ours_see_the_same_cells(made: list[Draft]) -> None:
    """Judges: Python's csv, strict; Apache Arrow's CSV reader."""
    for text, columns in tables(made):
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
        assert {len(row) for row in rows} == {len(columns)}
        table = pyarrow.csv.read_csv(
            io.BytesIO(text.encode("utf-8")),
            parse_options=pyarrow.csv.ParseOptions(newlines_in_values=True),
            convert_options=pyarrow.csv.ConvertOptions(
                column_types=dict.fromkeys(columns, pa.string()), strings_can_be_null=False
            ),
        )
        seen = [list(row.values()) for row in table.to_pylist()]
        assert [table.column_names, *seen] == rows
