"""The synthetic technician: a script, and the sense to react to what he hears.

Pure: takes what the companion said and gives what to say next. He repeats when he is asked again
or gets no answer, picks the right one of two, says "that's wrong" to a wrong readback, and keeps
quiet while the companion speaks.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field, replace
from decimal import Decimal
from importlib.resources import files
from typing import TYPE_CHECKING, Literal

from companion.dialogue.judging import number_runs
from companion.numbers import parse, say_digits
from companion.quantities import UNITS

if TYPE_CHECKING:
    from collections.abc import Mapping

    from companion.procedures.model import Procedure, Step

ANSWER_WITHIN_S = 3.0  # after that he takes it that he was not heard
REACTION_S = 0.45
MOST_TRIES = 8
SLOWER_FROM_TRY = 2
OTHER_WORDS_FROM_TRY = 2  # and for two tries; then the line again

Kind = Literal["say", "remark", "kill"]

_BETWEEN = re.compile(r"(?:^|[.?!] )(?P<first>[^.?!;]+); or (?P<second>[^.?!;]+)\?$")
_IS_THAT_IT = re.compile(r"[a-z' ]+\? yes or no\.")
_UNDONE_BY_NOTHING = ("done", "yes", "confirmed")  # taking these back would strike a reading
_AGAIN = ("say again", "say it again", "say where")
_UNLIKELY = "that's unlikely there"
_OUTSIDE = "that's outside limits. yes or no"


@dataclass(frozen=True, slots=True)
class Line:
    """One thing the technician says, and how he knows that he was understood.

    `hears` are words of which the answer must contain one; empty for a remark, where silence is
    the right answer. `reads` is (test point, value) of a reading, as it must be on the log.
    `stands` False: it is struck or corrected later. `mutters`: the last word is swallowed.
    `or_say` are other words, for every second try. `after_s`: he waits that long before he
    speaks; `after_said`: until he heard as much.
    """

    say: str
    hears: tuple[str, ...] = ()
    kind: Kind = "say"
    reads: tuple[str, str] | None = None
    stands: bool = True
    mutters: bool = False
    after_s: float = 0.0
    after_said: int = 0
    or_say: str = ""
    shows: str = ""


@dataclass(frozen=True, slots=True)
class Spoken:
    """What he says now; `line` is the line that it serves, `first` whether it is its first try.

    `is_line` is False for what only repairs ("no", "one five").
    """

    text: str
    line: Line
    first: bool
    is_line: bool


@dataclass(slots=True)
class Technician:
    """Walks a script, one understood line after the other."""

    script: tuple[Line, ...]
    at: int = 0
    tries: int = 0
    heard: list[str] = field(default_factory=list)
    waiting: bool = False
    repair: str = ""
    last: str = ""
    side: tuple[str, str] = ("neither", "neither")
    gave_up: str = ""
    corrected: int = 0
    between: int = 0

    @property
    def line(self) -> Line | None:
        """The line at hand, None when the script is over or he gave up."""
        if self.gave_up or self.at >= len(self.script):
            return None
        return self.script[self.at]

    def listen(self, text: str) -> None:
        """Hear the companion say something."""
        self.heard.append(text)

    def speak(self, silent_s: float) -> Spoken | None:
        """Return what to say, or None to go on listening.

        Args:
            silent_s: how long both have been silent.
        """
        line = self.line
        if line is None or silent_s < REACTION_S:
            return None
        if self.waiting and not self._may_go_on(line, silent_s):
            return None
        line = self.line
        if line is None or silent_s < line.after_s or len(self.heard) < line.after_said:
            return None
        return self._say(line)

    def _may_go_on(self, line: Line, silent_s: float) -> bool:
        """Weigh the answer: to the next line, or this one again; False to go on waiting."""
        answer = " ".join(self.heard)
        if not answer and silent_s < ANSWER_WITHIN_S:
            return False
        self.waiting = False
        self.repair = self._repair(line, answer)
        if self.repair == "understood":
            self.repair = ""
            self.at += 1
            self.tries = 0
        elif self.tries >= MOST_TRIES:
            self.gave_up = f"'{line.say}' was answered: {answer or '(nothing)'}"
        return True

    def _repair(self, line: Line, answer: str) -> str:  # noqa: PLR0911 - a list of reactions
        """Return 'understood', or what to say to get there; '' says the line again."""
        low = answer.lower()
        if line.kind == "remark":  # silence is right; an answer is counted, and let go
            return "understood"
        if picked := _picked(answer, line.say):
            self.between += 1
            self.side = picked
            return picked[0]
        if "the first, or the second" in low:
            return self.side[1]
        if low.endswith("yes or no.") and (told := self._told_in_doubt(line, low)):
            return told
        if _is_told(line, low):
            return "understood"
        if not answer or any(each in low for each in _AGAIN):
            return ""
        self.corrected += 1
        if low.rstrip().endswith("right?") or "yes or no" in low:
            return "no"
        undoes = line.reads or (self.tries % 2 and line.say not in _UNDONE_BY_NOTHING)
        return "that's wrong" if undoes else ""

    def _said_again(self, line: Line) -> str:
        """The line, or other words for it; its figures one by one, if asked to or at length."""
        asked_to = "figure by figure" in " ".join(self.heard).lower()
        if asked_to or (line.reads and self.tries >= SLOWER_FROM_TRY):
            return figure_by_figure(line.or_say or line.say)
        return line.or_say if line.or_say and self.tries % 4 >= OTHER_WORDS_FROM_TRY else line.say

    def _told_in_doubt(self, line: Line, low: str) -> str:
        """Return the answer to 'did you say that?' and 'is it that, outside limits?', or ''."""
        if f"{self.last}? " in low:
            return "yes"
        if line.reads and _IS_THAT_IT.fullmatch(low):
            return "no"
        if _UNLIKELY in low or _OUTSIDE in low:
            return "yes" if _is_told(line, low) else "no"
        return ""

    def _say(self, line: Line) -> Spoken:
        is_line = not self.repair
        text, self.repair = self.repair or self._said_again(line), ""
        first = self.tries == 0
        self.tries += 1
        self.heard.clear()
        self.last = text if is_line else self.last
        self.waiting = True
        return Spoken(text, line, first, is_line)


def _is_told(line: Line, low: str) -> bool:
    """Return whether an answer tells what he wants to hear; a reading, from its first figure on.

    "Setting, seven zero point two" is not "zero point two".
    """
    return any(
        f", {each}" in f", {low}" if line.reads else each.lower() in low for each in line.hears
    )


def figure_by_figure(text: str) -> str:
    """Return a sentence with its numbers said figure by figure, as to someone hard of hearing.

    >>> figure_by_figure("hood clearance fourteen feet")
    'hood clearance one four feet'
    """
    words = text.split()
    for run in number_runs(tuple(words)):
        is_letter = run == ("o",)  # the O of the meter's "O L" is no zero
        if not is_letter and isinstance(parse(run), Decimal):
            at = next(i for i in range(len(words)) if tuple(words[i : i + len(run)]) == run)
            words[at : at + len(run)] = say_digits(parse(run)).split()
    return " ".join(words)


def _picked(answer: str, meant: str) -> tuple[str, str] | None:
    """Return how to answer 'fifteen, one five; or fifty, five zero?' for one who meant fifteen.

    Two ways: ('one five', 'the first'). None where nothing of the kind was asked.
    """
    asked = _BETWEEN.search(answer)
    if asked is None:
        return None
    sides = (asked["first"].strip().lower(), asked["second"].strip().lower())
    numbers = {parse(run) for run in number_runs(tuple(meant.lower().split()))}
    for side, way in zip(sides, ("the first", "the second"), strict=True):
        name, _, digits = side.partition(",")
        if digits and parse(digits.split()) in numbers:
            return digits.strip(), way
        if not digits and f" {name} " in f" {meant.lower()} ":
            return way, way
    return "neither", "neither"


def script(procedure: Procedure) -> tuple[Line, ...]:
    """Return the prepared job's lines; a line's `to` is answered by that step's own words."""
    text = files("companion.rehearsal").joinpath("script.toml").read_text("utf-8")
    steps = {step.slug: step for step in procedure.steps}
    lines = (_line(raw, steps) for raw in tomllib.loads(text)["lines"])
    return tuple(_with_unit(line, procedure) for line in lines)


def _with_unit(line: Line, procedure: Procedure) -> Line:
    """A number that was not understood is said again with its unit."""
    if line.reads is None or line.or_say or line.reads[1] in ("OL", "open"):
        return line
    unit = UNITS[procedure.points[line.reads[0]].unit].many.lower()
    return replace(line, or_say=f"{line.say.removesuffix(' volts').removesuffix(' feet')} {unit}")


def _line(raw: Mapping[str, object], steps: Mapping[str, Step]) -> Line:
    fields = dict(raw)
    to = fields.pop("to", "")
    hears = [str(each) for each in _listed(fields.pop("hears", []))]
    if to:
        hears.append(steps[str(to)].say)
    reads = fields.pop("reads", None)
    pair = None
    if isinstance(reads, dict):
        pair = (str(reads["point"]), str(reads["value"]))
    return Line(hears=tuple(hears), reads=pair, **fields)  # type: ignore[arg-type]


def _listed(value: object) -> list[object]:
    return value if isinstance(value, list) else [value]
