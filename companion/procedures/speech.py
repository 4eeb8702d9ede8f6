"""How a procedure sounds: what it says can be taken in at once, what it hears can be told apart.

`check_speech` holds every text that is said to `SPOKEN`, and every phrase that the technician says
to `HEARD`. What is only said on 'tell me more' or 'tools' may be long, but not unreadable. A text
that a job keeps is not held to these: it was held to those of its day.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from companion.procedures.rules import Stated

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from companion.procedures.model import Procedure, Step
    from companion.procedures.positions import KeyPath
    from companion.procedures.problems import Findings

MOST_WORDS = 20
MOST_SECONDS = 8
WORDS_A_MINUTE = 150
# English prose has three syllables in two words, so a pace in words is one in syllables, pauses in
# it. Common practice, no source.
SYLLABLES_A_SECOND = WORDS_A_MINUTE * 1.5 / 60
SYLLABLES_OF_W = 3
# Said as words though they look like abbreviations.
WORDS_ALL_THE_SAME = frozenset({"hmm", "shh"})
DENYING = frozenset({"not", "no"})

_VOWELS = re.compile(r"[aeiouy]+")
_UNSAID_E = re.compile(r"(?:[^aeiouyl]e|[^aeiouytdcsgzx]es|[^aeiouytd]ed)$")
_WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)*")
_MARKS = frozenset(" .,:;?!'-")

Text: TypeAlias = "tuple[KeyPath, str]"


@dataclass(frozen=True)
class SpeechRule(Stated):
    """A rule on one text or phrase.

    Attributes:
        broken: what is wrong with a text, '' for nothing.
    """

    broken: Callable[[str], str]


def check_speech(procedure: Procedure, findings: Findings) -> None:
    """Note every text that is hard to take in, and phrases that are hard to tell apart."""
    for path, text in _said(procedure):
        _note(SPOKEN, path, text, findings)
    for path, text in _said_on_asking(procedure):
        _note(READABLE, path, text, findings)
    for path, phrase in _heard(procedure):
        _note(HEARD, path, phrase, findings)
    for index, step in enumerate(procedure.steps):
        _note_denials(index, step, findings)


def seconds(text: str) -> float:
    """Return about how long a text takes to say at 150 words a minute.

    >>> round(seconds("Read the equipment's rating plate to me."), 1)
    2.7
    """
    return sum(map(syllables, _WORD.findall(text))) / SYLLABLES_A_SECOND


def syllables(word: str) -> int:
    """Return about how many syllables a word has; a single letter is said by its name.

    >>> [syllables(each) for each in ("voltage", "closed", "filter", "W", "static", "wire")]
    [2, 1, 2, 3, 2, 1]
    """
    low = word.lower().replace("'", "")
    if len(low) == 1:
        return SYLLABLES_OF_W if low == "w" else 1
    count = len(_VOWELS.findall(low)) - bool(_UNSAID_E.search(low))
    return max(count, 1)


def _note(rules: Sequence[SpeechRule], path: KeyPath, text: str, findings: Findings) -> None:
    for rule in rules:
        found = rule.broken(text)
        if found:
            findings.add(path, found, rule.mend, rule.slug)


# ---------------------------------------------------------------- what is said and heard


def _said(procedure: Procedure) -> Iterator[Text]:
    """Yield what is said of itself, with its place."""
    yield ("title",), procedure.title
    for index, step in enumerate(procedure.steps):
        yield from (((*("steps", index), *path), text) for path, text in _said_at(step) if text)


def _said_at(step: Step) -> Iterator[Text]:
    yield ("say",), step.say
    yield ("caution",), step.caution
    if step.choice:
        yield ("choice", "ask"), step.choice.ask
    for number, request in enumerate(step.readings):
        yield ("readings", number, "ask"), request.ask
        if request.limit:
            yield ("readings", number, "limit", "otherwise"), request.limit.otherwise
    if step.hold:
        yield ("hold", "title"), step.hold.title
        yield ("hold", "confirm"), step.hold.confirm
        for number, check in enumerate(step.hold.checks):
            yield ("hold", "checks", number, "ask"), check.ask
            yield ("hold", "checks", number, "if_no"), check.if_no


def _said_on_asking(procedure: Procedure) -> Iterator[Text]:
    for index, tool in enumerate(procedure.tools):
        yield ("tools", index), tool
    for index, step in enumerate(procedure.steps):
        yield ("steps", index, "more"), step.more


def _heard(procedure: Procedure) -> Iterator[Text]:
    """Yield what the technician says by name, and hears back."""
    for index, name in enumerate(procedure.names):
        yield ("names", index), name
    for slug, point in procedure.points.items():
        yield from (
            (("points", slug, "names", index), name) for index, name in enumerate(point.names)
        )
    for index, step in enumerate(procedure.steps):
        for number, option in enumerate(step.choice.options if step.choice else ()):
            path = ("steps", index, "choice", "options", number, "names")
            yield from (((*path, place), name) for place, name in enumerate(option.names))


# ---------------------------------------------------------------- what may be wrong


def _too_many_words(text: str) -> str:
    count = len(text.split())
    return f"is {count} words" if count > MOST_WORDS else ""


def _too_long(text: str) -> str:
    takes = seconds(text)
    return f"takes about {takes:.1f} seconds to say" if takes > MOST_SECONDS else ""


def _digits(text: str) -> str:
    odd = sorted({mark for mark in text if not (mark.isalpha() or mark in _MARKS)})
    return f"holds '{odd[0]}'" if odd else ""


def _abbreviation(text: str) -> str:
    short = [word for word in _WORD.findall(text) if _is_abbreviation(word)]
    return f"'{short[0]}' is an abbreviation" if short else ""


def _is_abbreviation(word: str) -> bool:
    letters = word.replace("'", "")
    if len(letters) == 1 or letters.lower() in WORDS_ALL_THE_SAME:
        return False
    return not _VOWELS.search(letters.lower()) or letters[1:] != letters[1:].lower()


def _note_denials(index: int, step: Step, findings: Findings) -> None:
    """Note an option that is offered as another one with 'not': the word that is lost first.

    A denial among its further names is welcome: without it, 'not clean' would be bent to 'clean'.
    """
    options = step.choice.options if step.choice else ()
    said = {name: number for number, option in enumerate(options) for name in option.names}
    for number, name in ((number, option.names[0]) for number, option in enumerate(options)):
        bare = " ".join(word for word in name.split() if word not in DENYING)
        if bare != name and said.get(bare, number) != number:
            path: KeyPath = ("steps", index, "choice", "options", number, "names", 0)
            found = f"'{name}' is '{bare}', another option, with one word more"
            findings.add(path, found, DENIED_OPTION.mend, DENIED_OPTION.slug)


ONE_BREATH = SpeechRule(
    "one-breath",
    f"What is said of itself has at most {MOST_WORDS} words.",
    "More is not kept in mind with a tool in the hand.",
    "common practice, no source",
    f"Say it in at most {MOST_WORDS} words; the rest goes into more",
    _too_many_words,
)
SHORT = SpeechRule(
    "eight-seconds",
    f"It takes at most {MOST_SECONDS} seconds, its syllables at {WORDS_A_MINUTE} words a minute.",
    "Long words are long to hear, however few.",
    "common practice, no source",
    "Say it with shorter words; the rest goes into more",
    _too_long,
)
NO_DIGITS = SpeechRule(
    "no-digits",
    "It is letters and plain punctuation: numbers and signs stand as words.",
    "A voice reads figures and signs as it likes.",
    "common practice, no source",
    "Write it as it is said: 'one twenty', 'percent'",
    _digits,
)
NO_ABBREVIATIONS = SpeechRule(
    "no-abbreviations",
    "No word is without a vowel or in capitals; letters said singly stand singly.",
    "A voice makes a word of them that nobody knows.",
    "common practice, no source",
    "Write the word, or its letters singly: 'C O', 'V A'",
    _abbreviation,
)
DENIED_OPTION = Stated(
    "no-denied-option",
    "No option of a choice is offered as another one with 'not' or 'no'.",
    "In noise the short word is lost, and the opposite is taken.",
    "common practice, no source",
    "Offer it by a word of its own first: 'wet', then 'not dry'",
)

READABLE = (NO_DIGITS, NO_ABBREVIATIONS)
SPOKEN = (ONE_BREATH, SHORT, *READABLE)
HEARD = (NO_ABBREVIATIONS,)
SPEECH_RULES: tuple[Stated, ...] = (*SPOKEN, DENIED_OPTION)
