"""The headset lost and found again, over the virtual sound card: how soon it is back, what is lost.

Before each loss a reading is said, once its voice tells that it hears again, so that what was
logged before and after can be counted; half of the losses fall into the readback. The microphone
and the headphones are pulled out by turns.
"""

from __future__ import annotations

from statistics import median
from time import perf_counter, sleep
from typing import Any

from tqdm import tqdm

from companion.bench.loop_room import Companion, Room
from companion.bench.virtual_card import HEADPHONES, MICROPHONE, VirtualCard
from companion.errors import EngineError
from companion.rehearsal.performance import spelled
from companion.rehearsal.speakers import speaker

_READY_WITHIN_S = 60.0
_HEARD_WITHIN_S = 12.0
_NOTICED_WITHIN_S = 10.0
_OUT_S = 1.0
_SPEAKER = "espeak:en-us+m3"  # which every machine has, and which is heard well
_READING = "supply static point four five"


def losses(count: int) -> dict[str, Any]:
    """Lose the headset so often; return what was measured, times in seconds.

    Args:
        count: how often, 1 or more.

    Raises:
        EngineError: a virtual card is not possible here, or the companion ended.
    """
    words = speaker(_SPEAKER).say(spelled(_READING))
    noticed_s: list[float] = []
    back_s: list[float] = []
    right = 0
    with VirtualCard() as card, Companion(card, "work") as companion:
        if companion.next("ready", _READY_WITHIN_S) is None:
            raise EngineError("The companion does not start", "Run companion selftest.")
        room = Room(card)
        for number in tqdm(range(count), unit=" losses"):
            room.await_quiet()
            said = room.say(words)
            turn = companion.next("Heard", _HEARD_WITHIN_S, after=said.began_at)
            right += bool(turn and turn["words"] == _READING)
            if number % 2:
                room.await_quiet()
            name = (MICROPHONE, HEADPHONES)[number // 2 % 2]
            began = perf_counter()
            card.unplug(name)
            lost = companion.next("lost", _NOTICED_WITHIN_S, after=began)
            if lost is not None:
                noticed_s.append(lost["began"] - began)
            sleep(_OUT_S)
            began = perf_counter()
            card.plug_in(name)
            back = companion.next("back", _NOTICED_WITHIN_S, after=began)
            if back is not None:
                back_s.append(back["began"] - began)
                room.await_speech(lasting_s=0.1)  # "I hear you again": before that he waits
        room.await_quiet()
        cost = companion.end()
    return {
        "losses": count,
        "noticed": len(noticed_s),
        "came_back": len(back_s),
        "noticed_s": _spread(noticed_s),
        "back_s": _spread(back_s),
        "said": count,
        "heard_right": right,
        "cost": cost,
    }


def _spread(times_s: list[float]) -> dict[str, float] | None:
    if not times_s:
        return None
    return {"median": round(median(times_s), 2), "worst": round(max(times_s), 2)}


def losses_text(summary: dict[str, Any]) -> str:
    """Return the summary as lines."""
    cost = summary["cost"]
    return "\n".join(
        [
            f"lost {summary['losses']}, noticed {summary['noticed']}, back {summary['came_back']}",
            f"seconds until it was noticed: {summary['noticed_s']}",
            f"seconds from plugged in until it hears again: {summary['back_s']}",
            f"said {summary['said']}, heard right {summary['heard_right']}",
            f"readings taken {cost.get('readings_taken')}, logged {cost.get('readings_logged')}",
            f"cost: {summary['cost']}",
        ]
    )
