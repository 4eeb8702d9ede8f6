"""Job logs made for measuring: jobs as they are, a few hundred entries each, and one big one.

Invented, the same for a seed. A job keeps its procedure's text, as a real one does; kinds and
their shares are those of a job worked through, values vary, some readings lie outside, some are
corrected or struck, and one note in each job says a made-up name.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from typing import TYPE_CHECKING

from companion.ports import Draft
from companion.procedures import procedure

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.ports import Json

JOB_ENTRIES = 300
BIG_JOB_ENTRIES = 20_000
BEGAN = datetime(2020, 1, 6, 14, tzinfo=UTC)
PROCEDURES = ("fresh-air-damper", "humidifier", "overflow-switch", "yearly-service")
NAMES = ("alder", "birch", "cedar", "dogwood", "elm", "fir", "hazel", "juniper", "larch", "maple")
POINTS = (
    ("supply-static", "Supply static", "inH2O", "0.20", "0.50"),
    ("return-static", "Return static", "inH2O", "-0.40", "-0.10"),
    ("control-voltage", "Control voltage", "V", "24", "29"),
    ("supply-temperature", "Supply temperature", "degF", "90", "140"),
)
_OUTSIDE, _CORRECTED, _STRUCK = 0.06, 0.05, 0.03


@dataclass(frozen=True, slots=True)
class MadeJob:
    """A job to be appended."""

    id: str
    drafts: tuple[Draft, ...]


def made_jobs(entries: int, seed: int) -> Iterator[MadeJob]:
    """Yield jobs of so many entries together, one of them big where there is room for it.

    Args:
        entries: how many in all, at least `JOB_ENTRIES`.
        seed: another one gives other values.
    """
    chance = random.Random(seed)  # noqa: S311 -- values, no secrets
    left, day = entries, 0
    while left:
        is_big = day == 1 and left > 2 * BIG_JOB_ENTRIES
        count = min(BIG_JOB_ENTRIES if is_big else JOB_ENTRIES, left)
        yield made_job(chance, day, count)
        left -= count
        day += 1


def made_job(chance: random.Random, day: int, count: int) -> MadeJob:
    """Return one job.

    Args:
        chance: what the values are drawn from.
        day: how many days after the first one.
        count: how many entries, at least 1.
    """
    began = BEGAN + timedelta(days=day)
    known = procedure(chance.choice(PROCEDURES))
    opened = {
        "procedure": known.slug,
        "title": known.title,
        "version": known.version,
        "digest": sha256(known.text.encode()).hexdigest(),
        "text": known.text,
    }
    drafts = [Draft("job-opened", opened, began)]
    while len(drafts) < count - 1:
        at = began + timedelta(seconds=20 * len(drafts))
        drafts.append(_draft(chance, len(drafts), at))
    if count > 1:
        drafts.append(Draft("finished", {}, began + timedelta(seconds=20 * count)))
    return MadeJob(f"{began.date().isoformat()}-1", tuple(drafts))


def _draft(chance: random.Random, number: int, at: datetime) -> Draft:
    """Return what comes next: a step is entered, cautioned, read at, and done."""
    step = f"step-{number // 6}"
    if number == JOB_ENTRIES // 2:
        words = f"the {chance.choice(NAMES)} house, filter was changed by the owner last spring"
        note = {"id": number, "step": step, "words": words, "words_are": "typed", "ended": "typed"}
        return Draft("note", note, at)
    match number % 6:
        case 0:
            return Draft("step-entered", {"step": step}, at)
        case 1:
            return Draft("caution-given", {"step": step}, at)
        case 4:
            return _change(chance, number, at)
        case 5:
            return Draft("step-done", {"step": step}, at)
        case _:
            return Draft("reading", reading(chance, number, step), at)


def _change(chance: random.Random, number: int, at: datetime) -> Draft:
    """Return a strike or a correction of the reading before, now and then; else a choice."""
    drawn = chance.random()
    if drawn < _STRUCK:
        return Draft("struck", {"of": number - 1}, at)
    if drawn < _STRUCK + _CORRECTED:
        said = reading(chance, number, f"step-{number // 6}")
        return Draft("correction", {**said, "of": number - 1}, at)
    choice = {"step": f"step-{number // 6}", "choice": f"choice-{number // 6}", "option": "yes"}
    return Draft("choice", choice, at)


def reading(chance: random.Random, number: int, step: str) -> dict[str, Json]:
    """Return the payload of a reading, as the dialogue logs one."""
    point, name, unit, low, high = chance.choice(POINTS)
    is_outside = chance.random() < _OUTSIDE
    value = float(low) + (float(high) - float(low)) * (1.2 if is_outside else chance.random())
    return {
        "id": number,
        "step": step,
        "point": point,
        "name": name,
        "value": f"{value:.2f}",
        "unit": unit,
        "low": low,
        "high": high,
        "source": "the accessory's label",
        "verdict": "outside" if is_outside else "within",
        "phase": chance.choice(("as found", "as left")),
        "words": f"{name.lower()} point four five",
        "match": f"{chance.uniform(0.8, 1.0):.2f}",
        "confirmed": True,
    }
