"""Continuous work over the virtual sound card: readings, commands and questions, noise and talk.

A blower hums the whole time, every third thing said is talk that is not for the companion, and what
is logged in the end is held against what was said: a reading that nobody said was misfiled. Before
the work nobody speaks for a while, so that what waiting costs is known apart.
"""

from __future__ import annotations

from itertools import cycle
from time import perf_counter, sleep
from typing import TYPE_CHECKING, Any

from tqdm import tqdm

from companion.bench.hearing.written import remarks
from companion.bench.loop_companion import script
from companion.bench.loop_room import Companion, Room
from companion.bench.virtual_card import VirtualCard
from companion.errors import EngineError
from companion.ports import SAMPLE_RATE_HZ
from companion.rehearsal.hum import active_dbfs, hum
from companion.rehearsal.performance import spelled
from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.ports import Samples

IDLE_S = 60.0
SNR_DB = 20.0
_READY_WITHIN_S = 60.0
_HEARD_WITHIN_S = 10.0
_EVERY = 3  # one of so many is talk
_GAP_S = 1.0


def work(minutes: float, speakers: Sequence[str]) -> dict[str, Any]:
    """Work for so long; return what was counted and what it cost.

    Args:
        minutes: of real time, more than the idle one at the beginning.
        speakers: the technician's voices, by turns.

    Raises:
        EngineError: a virtual card is not possible here, or the companion ended.
    """
    sentences = cycle(_sentences(speakers))
    talk = cycle(remarks())
    voices = cycle(speakers)
    counts = {"said": 0, "heard": 0, "heard right": 0, "asked or missed": 0, "talk": 0}
    said_readings: set[str] = set()
    with VirtualCard() as card, Companion(card, "work") as companion:
        if companion.next("ready", _READY_WITHIN_S) is None:
            raise EngineError("The companion does not start", "Run companion selftest.")
        room = Room(card)
        sleep(IDLE_S)
        companion.mark()
        card.say(_blower(minutes * 60.0, speakers[0]))
        started = perf_counter()
        ends = started + minutes * 60.0
        with tqdm(total=round(minutes * 60.0), unit=" s") as bar:
            while perf_counter() < ends:
                room.await_quiet()
                if counts["said"] % _EVERY == _EVERY - 1 and counts["talk"] < counts["said"] // 2:
                    words = " ".join(next(talk).words)
                    card.say(speaker(next(voices)).say(spelled(words))).wait()
                    counts["talk"] += 1
                    sleep(_GAP_S)
                    room.await_quiet()
                name, kind, words = next(sentences)
                began = perf_counter()
                card.say(speaker(name).say(spelled(words))).wait()
                counts["said"] += 1
                if kind == "reading":
                    said_readings.add(words)
                turn = companion.next("Heard", _HEARD_WITHIN_S, after=began)
                counts["heard"] += turn is not None
                right = turn is not None and turn["words"] == words
                counts["heard right" if right else "asked or missed"] += 1
                bar.update(min(bar.total, round(perf_counter() - started)) - bar.n)
                sleep(_GAP_S)
        room.await_quiet()
        cost = companion.end()
    logged = cost.get("logged", [])
    misfiled = [each for each in logged if each["words"] not in said_readings]
    return {"minutes": minutes, **counts, "logged": len(logged), "misfiled": misfiled, "cost": cost}


def _sentences(speakers: Sequence[str]) -> list[tuple[str, str, str]]:
    """Return who says what: each sentence by each voice."""
    kinds = script()["answered"]
    said = [(kind["kind"], words) for kind in kinds for words in kind["say"]]
    return [(name, kind, words) for name in speakers for kind, words in said]


def _blower(lasting_s: float, name: str) -> Samples:
    """Return a blower's hum, so much softer than the voice."""
    voice_dbfs = active_dbfs(speaker(name).say("supply static point four five"))
    return hum(round(lasting_s * SAMPLE_RATE_HZ), voice_dbfs - SNR_DB, seed=1)


def work_text(summary: dict[str, Any]) -> str:
    """Return the summary as lines."""
    cost = {k: v for k, v in summary["cost"].items() if k not in ("event", "logged")}
    counts = {k: v for k, v in summary.items() if k not in ("cost", "misfiled")}
    lines = [f"{key}: {value}" for key, value in (counts | cost).items()]
    return "\n".join([*lines, f"misfiled: {summary['misfiled'] or 'none'}"])
