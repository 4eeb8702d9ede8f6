"""A table of a procedure file, read key by key with every wrong type noted, none raised.

A wrong or missing value is noted and a harmless stand-in is returned, so that one reading of the
file finds all that is wrong with its shape.
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from companion.procedures.positions import KeyPath
    from companion.procedures.problems import Findings

MOST_SPOKEN_WORDS = 24  # one breath is about 20; above this it is an error

SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
TITLE = re.compile(r"[A-Za-z][A-Za-z']*(?: [A-Za-z][A-Za-z']*)*")
PHRASE = re.compile(r"[a-z][a-z']*(?: [a-z][a-z']*)*")

_TYPE_NAMES = {
    bool: "true or false",
    int: "a whole number",
    Decimal: "a number",
    str: "text",
    list: "a list",
    dict: "a table",
}


def type_name(value: object) -> str:
    """Return the type of a TOML value in an author's words.

    >>> type_name(True), type_name(Decimal("0.5")), type_name({})
    ('true or false', 'a number', 'a table')
    """
    return _TYPE_NAMES.get(type(value), "a date or time")


class Table:
    """One table: its kind in words ('a limit'), the keys it takes, and where it stands."""

    def __init__(
        self, kind: str, raw: object, path: KeyPath, findings: Findings, keys: Sequence[str]
    ) -> None:
        self.path = path
        self._findings = findings
        self._raw: Mapping[str, object] = raw if isinstance(raw, dict) else {}
        self._is_table = isinstance(raw, dict)
        if not self._is_table:
            findings.add(path, f"is {type_name(raw)}", f"{kind.capitalize()} is a table")
        for key in self._raw.keys() - set(keys):
            takes = f"{kind.capitalize()} takes {', '.join(sorted(keys))}"
            self.note((key,), f"unknown key '{key}'", takes)

    def __contains__(self, key: str) -> bool:
        return key in self._raw

    def note(self, below: KeyPath, found: str, allowed: str) -> None:
        """Note a problem at a path below this table; what is no table lacks nothing else."""
        if self._is_table:
            self._findings.add((*self.path, *below), found, allowed)

    def text(self, key: str, *, needed: bool = True) -> str:
        """Return a text that is not empty; '' where it may be and is left out."""
        if key not in self._raw:
            if needed:
                self.note((key,), "is missing", "Give it a text")
            return ""
        value = self._raw[key]
        if not isinstance(value, str):
            self.note((key,), f"is {type_name(value)}", "Give it a text")
            return ""
        if not value.strip():
            self.note((key,), "is empty", "Give it a text, or leave the key out")
        return " ".join(value.split())

    def spoken(self, key: str, *, needed: bool = True) -> str:
        """Return a text that is said in one breath."""
        value = self.text(key, needed=needed)
        count = len(value.split())
        if count > MOST_SPOKEN_WORDS:
            allowed = f"Say it in at most {MOST_SPOKEN_WORDS} words"
            self.note((key,), f"is {count} words", allowed)
        return value

    def slug(self, key: str, *, needed: bool = True) -> str:
        """Return a slug: lower-case letters and digits, joined by hyphens."""
        value = self.text(key, needed=needed)
        if value and not SLUG.fullmatch(value):
            allowed = "Use lower-case letters and digits joined by hyphens"
            self.note((key,), f"'{value}' is no slug", allowed)
        return value

    def one_of(self, key: str, allowed: Sequence[str], *, needed: bool = False) -> str:
        """Return one of the words allowed; '' where it is left out."""
        value = self.text(key, needed=needed)
        if value and value not in allowed:
            self.note((key,), f"'{value}' is not allowed", f"Use {_either(allowed)}")
        return value

    def flag(self, key: str) -> bool:
        """Return true or false; false where it is left out."""
        value = self._raw.get(key, False)
        if not isinstance(value, bool):
            self.note((key,), f"is {type_name(value)}", "Use true or false")
            return False
        return value

    def number(self, key: str) -> Decimal | None:
        """Return a number exactly as written; None where it is left out."""
        value = self._raw.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            self.note((key,), f"is {type_name(value)}", "Give it a number")
            return None
        number = Decimal(value)
        if not number.is_finite():
            self.note((key,), f"is {number}", "Give it a finite number")
            return None
        return number

    def whole(self, key: str, low: int, high: int) -> int:
        """Return a whole number of a range; the lowest where it is wrong or left out."""
        value = self._raw.get(key)
        allowed = f"Give it a whole number from {low} to {high}"
        if value is None:
            self.note((key,), "is missing", allowed)
        elif isinstance(value, bool) or not isinstance(value, int):
            self.note((key,), f"is {type_name(value)}", allowed)
        elif not low <= value <= high:
            self.note((key,), f"is {value}", allowed)
        else:
            return value
        return low

    def texts(self, key: str, *, needed: bool = False) -> tuple[str, ...]:
        """Return a list of texts; a needed one holds at least one."""
        values = self._list(key, needed=needed)
        for index, value in enumerate(values):
            if not isinstance(value, str) or not value.strip():
                self.note((key, index), f"is {type_name(value)}", "Give it a text")
        return tuple(value for value in values if isinstance(value, str))

    def phrases(self, key: str, *, needed: bool = True) -> tuple[str, ...]:
        """Return phrases as they are heard: lower-case words, no digits, no punctuation."""
        phrases = self.texts(key, needed=needed)
        for index, phrase in enumerate(phrases):
            if not PHRASE.fullmatch(phrase):
                allowed = "Write it as it is heard: lower-case words, numbers as words"
                self.note((key, index), f"'{phrase}' is no phrase", allowed)
            if phrase in phrases[:index]:
                self.note((key, index), f"'{phrase}' is there twice", "Name each phrase once")
        return phrases

    def words_by_key(self, key: str) -> tuple[tuple[str, tuple[str, ...]], ...]:
        """Return a table of texts or lists of texts, as (key, texts) pairs."""
        raw = self._raw.get(key, {})
        if not isinstance(raw, dict):
            self.note((key,), f"is {type_name(raw)}", "Write { choice = 'option' }")
            return ()
        return tuple((name, self._options(key, name, value)) for name, value in raw.items())

    def _options(self, key: str, name: str, value: object) -> tuple[str, ...]:
        """Return the one text or the list of texts that a condition gives."""
        options = [value] if isinstance(value, str) else value
        if not isinstance(options, list) or not options:
            what = "is empty" if options == [] else f"is {type_name(value)}"
            self.note((key, name), what, "Give it an option, or a list of options")
            return ()
        for option in options:
            if not isinstance(option, str):
                found = f"holds {type_name(option)}"
                self.note((key, name), found, "Options are texts, in quotes")
        return tuple(option for option in options if isinstance(option, str))

    def table(self, key: str, kind: str, keys: Sequence[str]) -> Table | None:
        """Return a table inside this one; None where it is left out."""
        if key not in self._raw:
            return None
        return Table(kind, self._raw[key], (*self.path, key), self._findings, keys)

    def tables(
        self, key: str, kind: str, keys: Sequence[str], *, needed: bool = False
    ) -> tuple[Table, ...]:
        """Return a list of tables inside this one."""
        values = self._list(key, needed=needed)
        path = (*self.path, key)
        return tuple(
            Table(kind, value, (*path, index), self._findings, keys)
            for index, value in enumerate(values)
        )

    def named_tables(self, key: str, kind: str, keys: Sequence[str]) -> dict[str, Table]:
        """Return the tables of a table, by name; a name is a slug."""
        raw = self._raw.get(key, {})
        if not isinstance(raw, dict):
            self.note((key,), f"is {type_name(raw)}", f"Give it tables, [{key}.some-name]")
            return {}
        path = (*self.path, key)
        for name in raw:
            if not SLUG.fullmatch(name):
                allowed = "Use lower-case letters and digits joined by hyphens"
                self.note((key, name), f"'{name}' is no slug", allowed)
        return {
            name: Table(kind, value, (*path, name), self._findings, keys)
            for name, value in raw.items()
        }

    def _list(self, key: str, *, needed: bool) -> list[object]:
        value = self._raw.get(key)
        if value is None:
            if needed:
                self.note((key,), "is missing", "Give it a list with at least one item")
            return []
        if not isinstance(value, list):
            self.note((key,), f"is {type_name(value)}", "Give it a list")
            return []
        if needed and not value:
            self.note((key,), "is empty", "Give it a list with at least one item")
        return value


def _either(words: Sequence[str]) -> str:
    """Return words as a choice: "'a', 'b' or 'c'"."""
    quoted = [f"'{word}'" for word in words]
    return quoted[0] if len(quoted) == 1 else f"{', '.join(quoted[:-1])} or {quoted[-1]}"
