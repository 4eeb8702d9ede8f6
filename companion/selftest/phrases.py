"""The phrases that are read aloud, each with the moment of a job at which it is said."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cached_property
from importlib.resources import files
from typing import TYPE_CHECKING

from companion.bench.hearing.moments import moment
from companion.language.compose import compose

if TYPE_CHECKING:
    from companion.bench.hearing.case import Moment
    from companion.language.compose import Language
    from companion.language.meanings import Meaning


@dataclass(frozen=True)
class Phrase:
    """A phrase to read.

    Attributes:
        reads: as the screen shows it.
        words: in word form ('supply', 'static', 'point', 'four', 'five').
        moment: the moment at which it is said, with its scope.
    """

    reads: str
    words: tuple[str, ...]
    moment: Moment

    @cached_property
    def language(self) -> Language:
        """What may be said at that moment."""
        return compose(self.moment.scope)

    @cached_property
    def meanings(self) -> tuple[Meaning, ...]:
        """What it can mean there: being taken as one of these is right."""
        return self.language.interpret(self.words)


def phrases() -> tuple[Phrase, ...]:
    """Return the packaged phrases, in the order in which they are read."""
    text = files("companion.selftest").joinpath("phrases.toml").read_text("utf-8")
    return tuple(_phrase(keys) for keys in tomllib.loads(text)["phrase"])


def _phrase(keys: dict[str, str]) -> Phrase:
    words = keys["words"]
    return Phrase(keys.get("reads", words), tuple(words.split()), moment(keys["moment"]))
