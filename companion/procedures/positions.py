"""The line of every key in a TOML text: tomllib gives values, people need lines.

Only ever called on text that tomllib has accepted, so nothing is validated here; the scanner
follows the structure (headers, dotted and quoted keys, the four kinds of string, arrays and
inline tables over several lines) and notes where each thing begins.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from collections.abc import Mapping

KeyPath: TypeAlias = tuple[str | int, ...]

_BLANK = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\n#]*")
_STRINGS = (
    re.compile(r'"""(?:[^\\]|\\.)*?"""(?:"{0,2})', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2})", re.DOTALL),
    re.compile(r'"(?:[^"\\\n]|\\.)*"'),
    re.compile(r"'[^'\n]*'"),
)


def written_path(path: KeyPath) -> str:
    """Return a path the way people write it.

    Args:
        path: keys and, in arrays, numbers counted from 0.

    >>> written_path(("steps", 12, "readings", 0, "limit", "high"))
    'steps[12].readings[0].limit.high'
    """
    text = "".join(f"[{part}]" if isinstance(part, int) else f".{part}" for part in path)
    return text.removeprefix(".")


def line_numbers(text: str) -> Mapping[KeyPath, int]:
    r"""Return the line, counted from 1, on which each key, table and array element begins.

    Args:
        text: a TOML text that tomllib accepts.

    >>> line_numbers("a = 1\n[b]\nc = [\n  2,\n]\n")[("b", "c", 0)]
    4
    """
    return _Scanner(text).scan()


class _Scanner:
    """One pass over a text; `_lines` fills up."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._newlines = [found.start() for found in re.finditer("\n", text)]
        self._lines: dict[KeyPath, int] = {}
        self._table_counts: dict[KeyPath, int] = {}  # how many [[tables]] each name has so far

    def scan(self) -> Mapping[KeyPath, int]:
        prefix: KeyPath = ()
        self._skip_blank()
        while self._at < len(self._text):
            prefix = self._header() if self._text[self._at] == "[" else self._pair(prefix)
            self._skip_blank()
        return self._lines

    def _note(self, path: KeyPath, at: int) -> None:
        """Note a path's line; the first mention stands."""
        self._lines.setdefault(path, bisect_right(self._newlines, at - 1) + 1)

    def _skip_blank(self) -> None:
        found = _BLANK.match(self._text, self._at)
        self._at = found.end() if found else self._at

    def _header(self) -> KeyPath:
        """Take a [table] or [[table]] line and return the path its keys belong under."""
        start = self._at
        many = self._text.startswith("[[", self._at)
        self._at += 2 if many else 1
        keys = self._keys()
        self._at += 2 if many else 1
        path: KeyPath = ()
        for key in keys[:-1]:
            path = self._newest((*path, key))
            self._note(path, start)
        path = (*path, keys[-1])
        self._note(path, start)
        if many:
            self._table_counts[path] = self._table_counts.get(path, 0) + 1
            path = self._newest(path)
            self._note(path, start)
        return path

    def _newest(self, path: KeyPath) -> KeyPath:
        """Return the path of the last [[table]] of that name, or the path itself."""
        count = self._table_counts.get(path, 0)
        return (*path, count - 1) if count else path

    def _pair(self, prefix: KeyPath) -> KeyPath:
        """Take `key = value` and return the prefix unchanged."""
        start, path = self._at, prefix
        for key in self._keys():
            path = (*path, key)
            self._note(path, start)
        self._at += 1  # the equals sign
        self._skip_blank()
        self._value(path)
        return prefix

    def _keys(self) -> tuple[str, ...]:
        """Take a dotted key, bare or quoted; stops on what follows it."""
        keys = []
        while True:
            self._skip_blank()
            keys.append(self._key())
            self._skip_blank()
            if self._text[self._at] != ".":
                return tuple(keys)
            self._at += 1

    def _key(self) -> str:
        bare = _BARE_KEY.match(self._text, self._at)
        if bare:
            self._at = bare.end()
            return bare.group()
        start = self._at
        self._string()
        key = tomllib.loads(f"key = {self._text[start : self._at]}")["key"]
        return str(key)

    def _value(self, path: KeyPath) -> None:
        first = self._text[self._at]
        if first == "[":
            self._array(path)
        elif first == "{":
            self._inline_table(path)
        elif first in "\"'":
            self._string()
        else:
            found = _SCALAR.match(self._text, self._at)
            self._at = found.end() if found else self._at + 1

    def _string(self) -> None:
        for kind in _STRINGS:
            found = kind.match(self._text, self._at)
            if found:
                self._at = found.end()
                return

    def _array(self, path: KeyPath) -> None:
        index = 0
        self._at += 1
        self._skip_blank()
        while self._text[self._at] != "]":
            if self._text[self._at] == ",":
                self._at += 1
            else:
                self._note((*path, index), self._at)
                self._value((*path, index))
                index += 1
            self._skip_blank()
        self._at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._at += 1
        self._skip_blank()
        while self._text[self._at] != "}":
            if self._text[self._at] == ",":
                self._at += 1
            else:
                self._pair(path)
            self._skip_blank()
        self._at += 1
