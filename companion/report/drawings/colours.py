"""Which colour of lead a note puts on which terminal: only where it says so in so many words.

A note is free speech. What is not plainly 'this colour on that terminal' is left alone here; the
drawing shows such a note as it stands.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from companion.dialogue.record import LoggedNote

_COLOUR = r"(?:black|white|red|blue|orange|yellow|green|brown|purple|violet|gr[ae]y|pink|tan|bare)"
COLOURS = re.compile(rf"\b{_COLOUR}\b", re.IGNORECASE)
_LEAD = rf"{_COLOUR}(?:(?: and | with a |/){_COLOUR}(?: stripe)?)?"
_TERMINALS = (
    ("tap 120", r"(?:one twenty|one hundred (?:and )?twenty|120)(?: ?v| volts?)?(?: tap)?"),
    ("tap 208", r"(?:two oh eight|two hundred (?:and )?eight|208)(?: ?v| volts?)?(?: tap)?"),
    ("tap 240", r"(?:two forty|two hundred (?:and )?forty|240)(?: ?v| volts?)?(?: tap)?"),
    ("primary common", r"primary common"),
    ("secondary common", r"secondary common"),
    ("secondary hot", r"secondary hot"),
    ("other hot", r"(?:the )?other hot"),
    ("hot", r"hot"),
    ("neutral", r"neutral"),
    ("common", r"common"),
    ("ground", r"ground"),
    *((letter, letter.lower()) for letter in "RCWYGOB"),
)
_IS = (
    r"(?:(?: lead| wire| conductor| terminal| side)?"
    r"(?:\s*[:=]\s*| is on | goes to | is | to | on ))"
)
_CLAUSE = re.compile(r"[.;,]|\band then\b|\bthen\b")
_DENIES = re.compile(r"\b(?:not|no|never|none|instead)\b|n't\b")
# Steps at which a plain 'common' is the transformer's line side.
_LINE_STEPS = re.compile(r"wire-(?:120|208|240|primary)|cap-and-ground|primary-by-licensed")
_LOW_STEPS = re.compile(r"wire-(?!120|208|240|primary)|fuse|interlock|tubes|inline-fuse|cut-in")


@dataclass(frozen=True, slots=True)
class Lead:
    """A colour that a note names for a terminal; `is_typed` tells whether its words are sure."""

    terminal: str
    colour: str
    note: int
    is_typed: bool


def leads(notes: Iterable[LoggedNote]) -> dict[str, Lead]:
    """Return the leads that notes name, by terminal; of two the later note holds.

    Terminals: 'tap 120', 'hot', 'neutral', 'primary common', 'secondary hot', 'ground', 'R' ….
    """
    return {lead.terminal: lead for each in notes for lead in _of(each)}


def _of(logged: LoggedNote) -> Iterator[Lead]:
    note = logged.note
    for clause in _CLAUSE.split(note.words.lower()):
        if _DENIES.search(clause):
            continue
        for part in re.split(rf"\band\b(?=\s+(?:the )?(?:{_COLOUR}|{_ANY})\b)", clause):
            for name, pattern in _TERMINALS:
                found = re.fullmatch(
                    rf"\W*(?:the )?(?:(?P<a>{_LEAD}){_IS}(?:the )?{pattern}"
                    rf"|{pattern}{_IS}(?:the )?(?P<b>{_LEAD}))(?: lead| wire| terminal| tap)?\W*",
                    part,
                )
                terminal = _told_apart(name, note.step) if found else ""
                if found and terminal:
                    yield Lead(terminal, found["a"] or found["b"], note.number, note.is_typed)
                    break


_ANY = "|".join(pattern for _, pattern in _TERMINALS)


def _told_apart(terminal: str, step: str) -> str:
    """Which common, or which hot, is meant at a step; '' where that is not clear."""
    if terminal not in {"common", "hot"}:
        return terminal
    if _LINE_STEPS.match(step):
        return "primary common" if terminal == "common" else "hot"
    return f"secondary {terminal}" if _LOW_STEPS.match(step) else ""
