"""The results summed up: a row for each engine, cell and group of voices."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any

from companion.bench.hearing.noise import loudness
from companion.bench.hearing.results import FAILED
from companion.bench.hearing.scoring import Came
from companion.bench.hearing.talk import hours
from companion.bench.rates import per_hour, wilson

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from companion.bench.hearing.results import Result
    from companion.bench.rates import Rate

TUNED, HELD_OUT, PEOPLE = "voices", "held-out voices", "people"
GROUPS = (TUNED, HELD_OUT, PEOPLE)
RATES = (
    "accuracy", "silent_errors", "misses", "asked", "other_wrong",
    "made_up", "read_back", "unknown_right", "unknown_wrong", "disturbed",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Row:
    """An engine in a cell, on a group of voices; None where there is nothing to count.

    Attributes:
        accuracy: the share of addressed utterances in scope whose meaning is right.
        silent_errors: of readings, slots, choices and hold answers, taken wrong unasked.
        misses: addressed, in scope, and nothing came of it.
        asked: addressed, in scope, and asked again or between, or read back wrong.
        other_wrong: addressed, in scope, and another command was obeyed.
        made_up: addressed, in scope, without a value, and a value was taken all the same.
        read_back: of those asked, a hold point's reading taken wrong and read back.
        unknown_right: addressed in words that the grammar has not, and understood.
        unknown_wrong: addressed in words that the grammar has not, and something else was taken.
        disturbed: not addressed, and it asked to say again.
        false_accepts: how many an hour of talk that was not addressed: (rate, low, high); what was
            heard while standing by is left out, see `talk`.
        talk_hours: hours of that talk, without the room before and after each sound.
        response_ms: patience and late decoding, median and 95th percentile.
        failed: how many the engine died or hung at; they are in no rate.
    """

    engine: str
    cell: str
    group: str
    accuracy: Rate | None
    silent_errors: Rate | None
    misses: Rate | None
    asked: Rate | None
    other_wrong: Rate | None
    made_up: Rate | None
    read_back: Rate | None
    unknown_right: Rate | None
    unknown_wrong: Rate | None
    disturbed: Rate | None
    false_accepts: tuple[float, float, float] | None
    talk_hours: float
    response_ms: tuple[float, float] | None
    failed: int

    def as_json(self) -> dict[str, Any]:
        """Return it as plain data."""
        rates = {name: rate.as_json() if (rate := getattr(self, name)) else None for name in RATES}
        accepts = self.false_accepts and [round(each, 2) for each in self.false_accepts]
        response = self.response_ms and [round(each) for each in self.response_ms]
        return {
            "engine": self.engine,
            "cell": self.cell,
            "group": self.group,
            **rates,
            "false_accepts_per_hour": accepts,
            "talk_hours": round(self.talk_hours, 3),
            "response_ms": response,
            "failed": self.failed,
        }


def rows(results: Iterable[Result], held_out: str) -> list[Row]:
    """Return the rows in the order in which engines and cells come.

    Args:
        results: of any engines and cells.
        held_out: the synthesis engine that is counted apart.
    """
    gathered: dict[tuple[str, str, str], list[Result]] = {}
    for result in results:
        group = group_of(result, held_out)
        gathered.setdefault((result.engine, result.cell, group), []).append(result)
    engines = list(dict.fromkeys(engine for engine, _, _ in gathered))

    def order(key: tuple[str, str, str]) -> tuple[int, int, float]:
        engine, cell, group = key
        return GROUPS.index(group), engines.index(engine), loudness(cell)

    return [
        _row(engine, cell, group, gathered[engine, cell, group])
        for engine, cell, group in sorted(gathered, key=order)
    ]


def group_of(result: Result, held_out: str) -> str:
    """Return which group of voices a result belongs to."""
    if result.synthesis == "people":
        return PEOPLE
    return HELD_OUT if result.synthesis == held_out else TUNED


def _row(engine: str, cell: str, group: str, results: Sequence[Result]) -> Row:
    found = [r for r in results if r.came != FAILED]
    scope = [r for r in found if r.addressed and r.known]
    unknown = [r for r in found if r.addressed and not r.known]
    values = [r for r in scope if r.value]
    talk = [r for r in found if not r.addressed and r.awake]
    talk_hours = hours(talk)
    accepted = sum(r.came == Came.FALSE_ACCEPT.value for r in talk)
    waits = sorted(1000 * r.response_s for r in scope if r.response_s >= 0)
    wrong = (Came.SILENT_ERROR, Came.OTHER_WRONG)
    return Row(
        engine, cell, group,
        accuracy=_rate(scope, Came.RIGHT),
        silent_errors=_rate(values, Came.SILENT_ERROR),
        misses=_rate(scope, Came.MISSED),
        asked=_rate(scope, Came.ASKED, Came.READ_BACK),
        other_wrong=_rate(scope, Came.OTHER_WRONG),
        made_up=_rate([r for r in scope if not r.value], Came.SILENT_ERROR),
        read_back=_rate(scope, Came.READ_BACK),
        unknown_right=_rate(unknown, Came.RIGHT),
        unknown_wrong=_rate(unknown, *wrong),
        disturbed=_rate(talk, Came.DISTURBED),
        false_accepts=per_hour(accepted, talk_hours) if talk_hours else None,
        talk_hours=talk_hours,
        response_ms=(median(waits), waits[int(0.95 * len(waits))]) if waits else None,
        failed=len(results) - len(found),
    )  # fmt: skip


def _rate(of: Sequence[Result], *came: Came) -> Rate | None:
    counts = Counter(each.came for each in of)
    return wilson(sum(counts[each.value] for each in came), len(of)) if of else None


def costs(found: Mapping[str, Sequence[Mapping[str, float]]]) -> dict[str, dict[str, float]]:
    """Return what each engine has cost: the largest of its processes, and factors over all."""
    summed = {}
    for engine, each in found.items():
        utterance_s = sum(c["utterance_s"] for c in each)
        sound_s = sum(c["sound_s"] for c in each)
        summed[engine] = {
            "peak_memory_mb": round(max(c["peak_memory_mb"] for c in each)),
            "start_s": round(max(c["start_s"] for c in each), 2),
            "real_time_factor": _share(sum(c["recogniser_cpu_s"] for c in each), utterance_s),
            "real_time_factor_of_all": _share(sum(c["cpu_s"] for c in each), sound_s),
        }
    return summed


def _share(part: float, whole: float) -> float:
    return round(part / whole, 3) if whole else 0.0


def text(table: Sequence[Row], cost: Mapping[str, Mapping[str, float]]) -> str:
    """Return the table for a screen."""
    lines = []
    for group in GROUPS:
        here = [row for row in table if row.group == group]
        if here:
            lines += [f"\n{group}", _HEAD, *map(_line, here), "", _BESIDE_HEAD]
            lines += map(_beside, here)
    lines += ["\nengine            peak MB  start s  real-time factor: recogniser, all of it"]
    lines += [
        f"{engine:16} {c['peak_memory_mb']:8.0f} {c['start_s']:8.1f}"
        f"  {c['real_time_factor']:28.3f} {c['real_time_factor_of_all']:11.3f}"
        for engine, c in cost.items()
    ]
    return "\n".join(lines)


_HEAD = (
    "engine           SNR      right % (95 %)      silent errors %     missed %   asked %"
    "  other wrong %  false accepts/h      response ms"
)


_BESIDE_HEAD = (
    "  beside these, %  value made up  read back wrong  words it has not: understood, taken wrong"
    "  talk it asked about  failed"
)


def _line(row: Row) -> str:
    accepts = row.false_accepts
    told = f"{accepts[0]:.1f} ({accepts[1]:.1f}-{accepts[2]:.1f})" if accepts else "-"
    response = row.response_ms
    waits = f"{response[0]:.0f} / {response[1]:.0f}" if response else "-"
    return (
        f"{row.engine:16} {row.cell:>5}"
        f"  {bound(row.accuracy):>19}  {bound(row.silent_errors):>19}"
        f"  {percent(row.misses):>9} {percent(row.asked):>9} {percent(row.other_wrong):>14}"
        f"  {told:>15}  {waits:>15}"
    )


def _beside(row: Row) -> str:
    return (
        f"{row.engine:16} {row.cell:>5}  {percent(row.made_up):>7}  {percent(row.read_back):>15}"
        f"  {percent(row.unknown_right):>28} {percent(row.unknown_wrong):>12}"
        f"  {percent(row.disturbed):>19}  {row.failed:>6}"
    )


def bound(rate: Rate | None) -> str:
    """Return a share in per cent with its bound; '-' where there is none."""
    if rate is None:
        return "-"
    return f"{100 * rate.share:.1f} ({100 * rate.low:.1f}-{100 * rate.high:.1f})"


def percent(rate: Rate | None) -> str:
    """Return a share in per cent; '-' where there is none."""
    return "-" if rate is None else f"{100 * rate.share:.1f}"
