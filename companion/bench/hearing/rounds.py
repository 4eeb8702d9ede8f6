"""Talk heard in several rounds, so that a few recordings and remarks make hours of it.

The first round of a case is at its own moment. Each further one is at another moment at which a
reading, an answer at a hold point or a step is awaited and whose language does not have the words.
In every four rounds one is heard while standing by instead; in every two, one is as from across
the room. All of it follows from the case's id, so every run has the same rounds, and more of them
go on where fewer ended.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from functools import cache
from itertools import pairwise
from typing import TYPE_CHECKING

from companion.bench.hearing import places
from companion.bench.hearing.moments import moment
from companion.language.compose import compose

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from companion.bench.hearing.case import Case

STANDING_BY = "standing-by"
ACROSS_THE_ROOM_DB = -12.0  # four times as far away as someone at arm's length, in the open
_GROUP = 4  # rounds, of which one is heard while standing by
_PAIR = 2  # rounds, of which one is softer
_AT_HOLD_OR_STEP = (".check-", ".right-", ".confirm", ".doing")


def in_rounds(cases: Iterable[Case], rounds: int, first: int = 1) -> list[Case]:
    """Return the cases, each that is not addressed in so many rounds.

    Args:
        cases: of any corpora.
        rounds: how many; with 1, the cases are as they were.
        first: the rounds before this one are left out, and with them, where it is above 1, all
            that is addressed, which has no rounds.
    """
    if rounds == 1:
        return list(cases)
    found = [
        each for case in cases for each in ([case] if case.addressed else _rounds(case, rounds))
    ]
    return [case for case in found if first == 1 or (not case.addressed and case.round >= first)]


def _rounds(case: Case, rounds: int) -> Iterator[Case]:
    elsewhere = _elsewhere(case)
    for number in range(1, rounds + 1):
        yield replace(
            case,
            id=f"{case.id}-round{number}",
            round=number,
            moment=_moment(case, number, elsewhere),
            gain_db=ACROSS_THE_ROOM_DB if _is_soft(case, number) else 0.0,
        )


def _moment(case: Case, number: int, elsewhere: Iterator[str]) -> str:
    if number == 1:
        return case.moment
    if _is_standing_by(case, number) and _is_talk(case, STANDING_BY):
        return STANDING_BY
    return next(elsewhere)


def _is_standing_by(case: Case, number: int) -> bool:
    """Whether it is the one of its four rounds; never the first, which is at its own moment."""
    group, place = divmod(number - 1, _GROUP)
    return place == 1 + _number(f"standing by {group} {case.id}") % (_GROUP - 1)


def _is_soft(case: Case, number: int) -> bool:
    """Whether it is the one of its two rounds."""
    pair, place = divmod(number - 1, _PAIR)
    return place == _number(f"soft {pair} {case.id}") % _PAIR


def _elsewhere(case: Case) -> Iterator[str]:
    """Yield moments other than its own, all of them before one comes again, without end."""
    others = (name for name in waiting() if name != case.moment)
    mixed = sorted(others, key=lambda name: _number(f"{case.id} at {name}"))
    found = [name for name in mixed if _is_talk(case, name)]
    while True:
        yield from found or (case.moment,)


@cache
def waiting() -> tuple[str, ...]:
    """Return the moments of the packaged procedure that wait for a reading, an answer or a step."""
    return tuple(
        m.name
        for m in places.at_work()
        if m.expect or any(part in m.name for part in _AT_HOLD_OR_STEP)
    )


def _is_talk(case: Case, name: str) -> bool:
    """Whether neither the words nor what lies between breaths are a sentence of that moment."""
    language = compose(moment(name).scope)
    ends = (0, *case.breaths, len(case.words))
    parts = [case.words[start:end] for start, end in pairwise(ends)]
    return not any(language.interpret(part) for part in (case.words, *parts))


def _number(key: str) -> int:
    return int.from_bytes(hashlib.sha256(key.encode()).digest()[:6], "big")
