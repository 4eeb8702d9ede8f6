"""Talk summed up: what came of hours of it, and the phrases that must always be heard.

An hour of talk is an hour of words: the room before and after each is not counted. Talk heard while
standing by has its hours apart: only the attention phrase and the emergency phrases are live then.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from companion.bench.hearing.noise import AFTER_S, BEFORE_S, loudness
from companion.bench.hearing.results import FAILED
from companion.bench.hearing.scoring import VALUES, Came
from companion.bench.rates import per_hour, wilson

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from companion.bench.hearing.results import Result
    from companion.bench.rates import Rate

ALL = "all"
AT_WORK, STANDING_BY = "at work", "standing by"
ATTENTION, EMERGENCY = "attention phrase", "emergency phrases"
PHRASES = {ATTENTION: "commands.wake", EMERGENCY: "emergency."}
_ROOM_S = BEFORE_S + AFTER_S
_SECONDS = 3600
PerHour = tuple[float, float, float]


def hours(results: Iterable[Result]) -> float:
    """Return the hours of words in the results' sounds."""
    return sum(max(0.0, each.sound_s - _ROOM_S) for each in results) / _SECONDS


@dataclass(frozen=True, slots=True)
class TalkRow:
    """What came of talk that was not addressed, by an engine in a cell or in all of them.

    Attributes:
        engine: by whom it was heard.
        cell: the signal-to-noise ratio, or 'all'.
        where: 'at work' or 'standing by'.
        sounds: how many sounds.
        hours: of words.
        room_hours: the same with the room before and after each sound.
        false_accepts: how many.
        values: of them, those that logged a reading, a choice, a hold answer or a question.
        disturbed: how many it asked to say again.
    """

    engine: str
    cell: str
    where: str
    sounds: int
    hours: float
    room_hours: float
    false_accepts: int
    values: int
    disturbed: int

    @property
    def commands(self) -> int:
        """Of the false accepts, those that logged no value: nothing but a command was obeyed."""
        return self.false_accepts - self.values

    def an_hour(self, count: int) -> PerHour | None:
        """Return a count an hour of words: (rate, low, high); None where nothing was said."""
        return per_hour(count, self.hours) if self.hours else None

    def as_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        return {
            "engine": self.engine,
            "cell": self.cell,
            "where": self.where,
            "sounds": self.sounds,
            "hours": round(self.hours, 3),
            "room_hours": round(self.room_hours, 3),
            "false_accepts": self.false_accepts,
            "false_accepts_per_hour": _rounded(self.an_hour(self.false_accepts)),
            "values": self.values,
            "values_per_hour": _rounded(self.an_hour(self.values)),
            "commands": self.commands,
            "disturbed": self.disturbed,
            "disturbed_per_hour": _rounded(self.an_hour(self.disturbed)),
        }


@dataclass(frozen=True, slots=True)
class PhraseRow:
    """How the attention phrase or the emergency phrases were heard, in a cell or in all of them.

    Attributes:
        engine: by whom.
        cell: the signal-to-noise ratio, or 'all'.
        phrase: 'attention phrase' or 'emergency phrases'.
        said: how many were addressed, in words that the grammar has.
        heard: of them, understood at once.
        asked: of them, asked about.
        missed: of them, nothing came of it.
        otherwise: of them, taken for something else.
        hours: of talk at which the phrase was live: for the attention phrase, standing by.
        false: how often the phrase was taken from that talk.
    """

    engine: str
    cell: str
    phrase: str
    said: int
    heard: int
    asked: int
    missed: int
    otherwise: int
    hours: float
    false: int

    @property
    def false_an_hour(self) -> PerHour | None:
        """How often it was taken from an hour of talk: (rate, low, high)."""
        return per_hour(self.false, self.hours) if self.hours else None

    def share(self, count: int) -> Rate | None:
        """Return a count as a share of what was said."""
        return wilson(count, self.said) if self.said else None

    def as_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        rates = {
            name: rate.as_json() if (rate := self.share(getattr(self, name))) else None
            for name in ("heard", "asked", "missed", "otherwise")
        }
        return {
            "engine": self.engine,
            "cell": self.cell,
            "phrase": self.phrase,
            **rates,
            "talk_hours": round(self.hours, 3),
            "false": self.false,
            "false_per_hour": _rounded(self.false_an_hour),
        }


def talk_rows(results: Iterable[Result]) -> list[TalkRow]:
    """Return the rows of talk, by engine, at work before standing by, clean to loud, then all."""
    found = []
    for engine, where, cell, here in _by_cell([r for r in results if not r.addressed]):
        accepted = [r for r in here if r.came == Came.FALSE_ACCEPT.value]
        found.append(
            TalkRow(
                engine,
                cell,
                where,
                sounds=len(here),
                hours=hours(here),
                room_hours=sum(r.sound_s for r in here) / _SECONDS,
                false_accepts=len(accepted),
                values=sum(map(logs_value, accepted)),
                disturbed=sum(r.came == Came.DISTURBED.value for r in here),
            )
        )
    return found


def logs_value(result: Result) -> bool:
    """Whether a reading, a choice, a hold answer or a question was logged and still stands.

    One that was struck or withdrawn again, because the talk went on, is none.
    """
    kept = [(kind, _name(kind, told)) for kind, told in result.logged]
    taken_back = [name for kind, name in kept if kind == "struck" or "withdrawn" in name]
    return any(kind in VALUES and not _is_of(name, taken_back) for kind, name in kept)


def _name(kind: str, told: str) -> str:
    """Return what tells an entry from others: a reading's number, a hold point's check."""
    parts = dict(part.split(" ", 1) for part in told.split(", ") if " " in part)
    if kind == "hold-check":
        return f"{parts.get('step', '')} {parts.get('check', '')} {parts.get('answer', '')}"
    return parts.get("of") or parts.get("id") or told


def _is_of(name: str, taken_back: Sequence[str]) -> bool:
    """Whether an entry is among those taken back; what took it back is, too."""
    base = name.rpartition(" ")[0]
    return any(name == each or (base and each == f"{base} withdrawn") for each in taken_back)


def _by_cell(results: Sequence[Result]) -> Iterable[tuple[str, str, str, list[Result]]]:
    """Yield engine, where, cell and what belongs there; what the engine died at is left out."""
    heard = [r for r in results if r.came != FAILED]
    for engine in dict.fromkeys(r.engine for r in heard):
        for where, awake in ((AT_WORK, True), (STANDING_BY, False)):
            here = [r for r in heard if r.engine == engine and r.awake is awake]
            for cell in _cells(here):
                yield engine, where, cell, [r for r in here if cell in (r.cell, ALL)]


def _cells(results: Iterable[Result]) -> list[str]:
    """Return the cells from clean to loud, then all of them."""
    cells = sorted({r.cell for r in results}, key=loudness)
    return [*cells, ALL] if cells else []


def phrase_rows(results: Iterable[Result]) -> list[PhraseRow]:
    """Return the rows of the attention phrase and the emergency phrases; none where none is said.

    False ones are counted where talk is heard at which the phrase is live.
    """
    heard = [r for r in results if r.came != FAILED]
    found = []
    for engine in dict.fromkeys(r.engine for r in heard):
        mine = [r for r in heard if r.engine == engine]
        for phrase, label in PHRASES.items():
            said = [r for r in mine if r.addressed and r.known and r.means.startswith(label)]
            talk = [r for r in mine if not r.addressed and not (phrase == ATTENTION and r.awake)]
            for cell in _cells([*said, *talk]):
                told = [[r for r in each if cell in (r.cell, ALL)] for each in (said, talk)]
                found.append(_phrase_row(engine, cell, phrase, *told))
    return found


def _phrase_row(
    engine: str, cell: str, phrase: str, said: Sequence[Result], talk: Sequence[Result]
) -> PhraseRow:
    def came(*wanted: Came) -> int:
        return sum(r.came in {each.value for each in wanted} for r in said)

    return PhraseRow(
        engine,
        cell,
        phrase,
        said=len(said),
        heard=came(Came.RIGHT),
        asked=came(Came.ASKED, Came.READ_BACK),
        missed=came(Came.MISSED),
        otherwise=came(Came.SILENT_ERROR, Came.OTHER_WRONG),
        hours=hours(talk),
        false=sum(r.came == Came.FALSE_ACCEPT.value and _took(r, phrase) for r in talk),
    )


def _took(result: Result, phrase: str) -> bool:
    """Whether one of the phrases is among what was taken."""
    return any(each.startswith(PHRASES[phrase]) for each in result.taken.split("; "))


def _rounded(rate: PerHour | None) -> list[float] | None:
    return [round(each, 3) for each in rate] if rate else None
