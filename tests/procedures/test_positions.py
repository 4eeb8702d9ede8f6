"""Lines of keys: what an author is sent to must be the line he wrote."""

from __future__ import annotations

import tomllib
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.procedures.positions import line_numbers, written_path

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.procedures.positions import KeyPath

TRICKY = '''\
# line 1, a comment with [brackets] = and "quotes
a = "x = 1 # no comment"  # line 2
"b.c" = 'lit\\'
d . "e f" = { g = 1, "h" = [1, { i = "]}" }] }
f = """
[not.a.table]
j = 1 \\
  \\""" still "" text""""
k = [ # line 9
  1,
  # nothing

  [2, 3], { l = 4 },
]
[[m.n]]
o = 1979-05-27T07:32:00Z
[[m.n]]
[m.n.p]
q = \'\'\'
[[m.n]]
\'\'\'
[[m.n.r]]
s = true
[t]
u.v = -inf'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("a",), 2),
        (("b.c",), 3),
        (("d",), 4),
        (("d", "e f", "g"), 4),
        (("d", "e f", "h", 1, "i"), 4),
        (("f",), 5),
        (("k",), 9),
        (("k", 0), 10),
        (("k", 1), 13),
        (("k", 1, 1), 13),
        (("k", 2, "l"), 13),
        (("m", "n", 0), 15),
        (("m", "n", 0, "o"), 16),
        (("m", "n", 1), 17),
        (("m", "n", 1, "p", "q"), 19),
        (("m", "n", 1, "r", 0, "s"), 23),
        (("t", "u", "v"), 25),
    ],
)
def test_line_of_each_shape(path: KeyPath, line: int) -> None:
    assert line_numbers(TRICKY)[path] == line


def test_nothing_is_invented_and_nothing_left_out() -> None:
    assert set(line_numbers(TRICKY)) == set(_paths(tomllib.loads(TRICKY)))


def test_every_key_of_the_packaged_procedures_stands_on_its_line() -> None:
    found_files = list(Path(str(files("companion.procedures"))).joinpath("data").rglob("*.toml"))
    assert len(found_files) > 20  # the parts and the template too
    for file in found_files:
        text = file.read_text("utf-8")
        lines = text.splitlines()
        found = line_numbers(text)
        for path in _paths(tomllib.loads(text)):
            named = next(part for part in reversed(path) if isinstance(part, str))
            if isinstance(path[-1], str):
                assert named in lines[found[path] - 1], path


def test_windows_line_ends_count_once() -> None:
    assert line_numbers("a = 1\r\n\r\nb = 2\r\n")[("b",)] == 3


def test_path_reads_as_people_write_it() -> None:
    assert written_path(("points", "a-b", "names", 3)) == "points.a-b.names[3]"


# A value is written together with the lines its parts begin on, so the expectation is the
# writer's and not the scanner's.
KEYS = st.text("abcdefghij", min_size=1, max_size=4)
SCALARS = st.sampled_from(
    ["1", "-0.5", "true", '"a#b]"', "'}'", '"""\n[x]\ny = 1\n"""', "'''\n\n'''", "1979-05-27"]
)
VALUES = st.recursive(SCALARS, lambda inner: st.lists(inner, max_size=3), max_leaves=6)


@given(st.lists(st.tuples(KEYS, VALUES, st.integers(0, 2)), unique_by=lambda item: item[0]))
def test_lines_agree_with_the_writer(items: list[tuple[str, object, int]]) -> None:
    text = ""
    expected: dict[KeyPath, int] = {}
    for key, value, blank in items:
        text += "# a comment, [x]\n" * blank
        expected[(key,)] = text.count("\n") + 1
        text += f"{key} = "
        text = _write(value, (key,), text, expected) + "\n"
    assert line_numbers(text) == expected


def _write(value: object, path: KeyPath, text: str, expected: dict[KeyPath, int]) -> str:
    if isinstance(value, str):
        return text + value
    assert isinstance(value, list)
    text += "[\n"
    for index, item in enumerate(value):
        expected[(*path, index)] = text.count("\n") + 1
        text = _write(item, (*path, index), text, expected) + ",\n"
    return text + "]"


def _paths(value: object, path: KeyPath = ()) -> Iterator[KeyPath]:
    if path:
        yield path
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from _paths(inner, (*path, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _paths(inner, (*path, index))
