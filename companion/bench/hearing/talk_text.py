"""The rows of talk and of the phrases that must always be heard, for a screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from companion.bench.hearing.table import bound, percent
from companion.bench.hearing.talk import AT_WORK, PHRASES, STANDING_BY

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.bench.hearing.talk import PerHour, PhraseRow, TalkRow

_TALK_HEAD = (
    "engine           SNR    sounds  hours of words (with the room)  false accepts/h (95 %)"
    "  how many: values, only commands  disturbed/h (95 %)"
)
_PHRASE_HEAD = (
    "engine           SNR     said     heard % (95 %)  asked %  missed % (95 %)     otherwise %"
    "  false: how many, /h of talk (95 %)"
)


def text(talk: Sequence[TalkRow], phrases: Sequence[PhraseRow]) -> str:
    """Return the rows under their headings; '' where there are none."""
    lines: list[str] = []
    for where in (AT_WORK, STANDING_BY):
        here = [_talk_line(row) for row in talk if row.where == where]
        lines += [f"\ntalk not addressed, {where}", _TALK_HEAD, *here] if here else []
    for phrase in PHRASES:
        said = [_phrase_line(row) for row in phrases if row.phrase == phrase]
        lines += [f"\n{phrase}", _PHRASE_HEAD, *said] if said else []
    return "\n".join(lines)


def _talk_line(row: TalkRow) -> str:
    return (
        f"{row.engine:16} {row.cell:>5} {row.sounds:7}"
        f"  {row.hours:14.2f} ({row.room_hours:13.2f})"
        f"  {_hourly(row.an_hour(row.false_accepts)):>22}"
        f"  {row.values:16} {row.commands:14}  {_hourly(row.an_hour(row.disturbed)):>18}"
    )


def _phrase_line(row: PhraseRow) -> str:
    asked, otherwise = row.share(row.asked), row.share(row.otherwise)
    return (
        f"{row.engine:16} {row.cell:>5} {row.said:6}  {bound(row.share(row.heard)):>18}"
        f"  {percent(asked):>7}  {bound(row.share(row.missed)):>18}  {percent(otherwise):>11}"
        f"  {row.false:8}  {_hourly(row.false_an_hour)}"
    )


def _hourly(rate: PerHour | None) -> str:
    return f"{rate[0]:.2f} ({rate[1]:.2f}-{rate[2]:.2f})" if rate else "-"
