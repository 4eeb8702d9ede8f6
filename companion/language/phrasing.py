"""What the companion says: one data file of sentences, filled in.

Every sentence of the dialogue stands in `phrases.toml`, under the key by which the dialogue asks
for it, so that a reader finds any spoken sentence by one search. What belongs to a procedure or to
a sizing is spoken from its own data.
"""

from __future__ import annotations

import tomllib
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from companion.numbers import say, say_digits

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.ports import Exact


@cache
def phrases() -> Mapping[str, str]:
    """Return every sentence by its key, '<table>.<name>' as in the file."""
    text = files("companion.language").joinpath("phrases.toml").read_text("utf-8")
    return {
        f"{table}.{name}": sentence
        for table, sentences in tomllib.loads(text).items()
        for name, sentence in sentences.items()
    }


def phrase(key: str, **slots: object) -> str:
    """Return the sentence of that key with its slots filled in.

    Raises:
        KeyError: no such key, or a slot was not given: both are programming errors.

    >>> phrase("reading.within", name="Primary", value="one one nine volts")
    'Primary, one one nine volts. Within limits.'
    """
    return phrases()[key].format(**slots)


def said_twice(value: Exact) -> str:
    """Return a number both ways, so that fifteen and fifty cannot be taken for each other.

    >>> from decimal import Decimal
    >>> said_twice(Decimal(15))
    'fifteen, one five'
    """
    return f"{say(value)}, {say_digits(value)}"


def listed(things: tuple[str, ...], last: str = "and") -> str:
    """Return things as spoken in a row.

    >>> listed(("known source", "line to neutral", "line to ground"))
    'known source, line to neutral, and line to ground'
    >>> listed(("sheet metal", "duct board"), "or")
    'sheet metal, or duct board'
    """
    if len(things) < 2:  # noqa: PLR2004 - a row has two
        return "".join(things)
    return f"{', '.join(things[:-1])}, {last} {things[-1]}"
