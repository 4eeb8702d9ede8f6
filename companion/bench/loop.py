"""The `loop` benchmark: response time and barge-in, in real time over the virtual sound card.

The product's own live path (headset, listener, dialogue, log on disk, voice) runs in a process of
its own on a virtual card. A synthetic technician speaks to it; everything is measured on the
recordings of what the microphone heard and what the headphones played. Beside it, in the same run,
a program that answers a click with a click: what the card itself costs.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from itertools import cycle, islice
from statistics import median
from typing import TYPE_CHECKING, Any

import numpy as np
from tqdm import tqdm

from companion.bench.hearing.moments import moment
from companion.bench.loop_companion import CLICK, script
from companion.bench.loop_losses import losses, losses_text
from companion.bench.loop_room import Companion, Room, first_above, first_below
from companion.bench.loop_work import work, work_text
from companion.bench.virtual_card import VirtualCard
from companion.errors import EngineError
from companion.language.compose import compose
from companion.loop import spoken_voice
from companion.rehearsal.hum import mix
from companion.rehearsal.performance import spelled
from companion.rehearsal.speakers import available_speakers, speaker

if TYPE_CHECKING:
    import argparse
    from collections.abc import Sequence

    from companion.bench.loop_room import Said
    from companion.language.meanings import Meaning
    from companion.ports import Voice

HELP = "response time and barge-in in real time, over a virtual sound card"
EXAMPLE = "example: python -m companion.bench loop --utterances 50 --speaker flite:slt"
# One of each synthesis engine, those that are heard well: this is about time, not about accuracy.
SPEAKERS = ("espeak:en-us+m3", "flite:slt", "festival:cmu_us_slt_arctic_hts")
OVER_AFTER_S = 1.2  # how far into an answer it is spoken over
MOMENT = "anything.volts"  # the step of the talk
INTERRUPTED = 130
TRIES = 3  # at being understood, where that is not what is measured
HEARD_WITHIN_S = 6.0
READY_WITHIN_S = 60.0


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options."""
    parser.epilog = EXAMPLE
    parser.add_argument("--utterances", type=int, default=50, help="how many (default: 50)")
    parser.add_argument(
        "--over", type=int, default=10, help="how often it is spoken over, each way"
    )
    parser.add_argument(
        "--speaker", action="append", metavar="NAME", help="take turns; default: one an engine"
    )
    parser.add_argument("--noise", type=float, metavar="DB", help="blower hum over the words")
    parser.add_argument(
        "--losses",
        type=int,
        default=0,
        metavar="N",
        help="pull the microphone and the headphones out N times by turns instead, and in again",
    )
    parser.add_argument(
        "--work",
        type=float,
        default=0.0,
        metavar="MINUTES",
        help="work on end instead, beside a blower and talk, after a minute of nothing",
    )
    parser.add_argument("--json", action="store_true", help="print one JSON object, last")


@dataclass
class Measured:
    """What was measured so far; times in seconds."""

    answers: list[dict[str, Any]] = field(default_factory=list)
    ducks_s: list[float] = field(default_factory=list)
    cuts_s: list[float] = field(default_factory=list)
    cuts_from_word_s: list[float] = field(default_factory=list)
    cuts_tried: int = 0
    lifts: int = 0
    lifts_tried: int = 0
    card_s: list[float] = field(default_factory=list)
    cost: dict[str, Any] = field(default_factory=dict)


def run(options: argparse.Namespace) -> None:
    """Measure and print.

    Raises:
        EngineError: a virtual card is not possible here, or the companion ended.
    """
    if options.losses:
        summary = losses(options.losses)
        print(losses_text(summary))
        if options.json:
            print(json.dumps(summary))
        return
    names = options.speaker or [name for name in SPEAKERS if name in available_speakers()]
    if options.work:
        summary = work(options.work, names)
        print(work_text(summary))
        if options.json:
            print(json.dumps(summary))
        return
    measured, code = Measured(), 0
    try:
        with VirtualCard() as card:
            _clicks(card, measured)
        with VirtualCard() as card, Companion(card, "work") as companion:
            _Talk(card, companion, measured, names, options.noise).hold(options)
            measured.cost = companion.end()
    except KeyboardInterrupt:
        print("\nStopped; so far:")
        code = INTERRUPTED
    summary = summed(measured)
    print(text(summary))
    if options.json:
        print(json.dumps(summary))
    if code:
        raise SystemExit(code)


def _clicks(card: VirtualCard, measured: Measured) -> None:
    """Measure what the card costs: from a click into the microphone to the click that answers."""
    with Companion(card, "echo") as companion:
        if companion.next("ready", READY_WITHIN_S) is None:
            raise EngineError("The echo does not start", "Run it again.")
        room = Room(card)
        click = np.concatenate([CLICK.samples, np.zeros(1_600, np.int16)])
        for _ in range(10):
            room.await_quiet()
            said = room.say(click)
            answered = room.answered_at(said)
            if answered is not None:
                measured.card_s.append(answered - said.began_at)


class _Talk:
    """The technician's part of the talk."""

    def __init__(
        self,
        card: VirtualCard,
        companion: Companion,
        measured: Measured,
        names: Sequence[str],
        snr_db: float | None,
    ) -> None:
        self._room, self._companion, self._measured = Room(card), companion, measured
        self._speakers = cycle([speaker(name) for name in names])
        self._snr_db = snr_db
        self._voice: Voice = spoken_voice()

    def hold(self, options: argparse.Namespace) -> None:
        """Hold it to its end."""
        if self._companion.next("ready", READY_WITHIN_S) is None:
            raise EngineError("The companion does not start", "Run companion selftest.")
        lines = [(g["kind"], say) for g in script()["answered"] for say in g["say"]]
        over = script()["over"]
        with tqdm(total=options.utterances + 2 * options.over, unit=" utterances") as bar:
            for kind, sentence in islice(cycle(lines), options.utterances):
                self._ask(kind, sentence)
                bar.update()
            for _ in range(options.over):
                self._over(over, over["cuts"], cuts=True)
                bar.update()
                self._over(over, over["does_not_cut"], cuts=False)
                bar.update()

    def _say(self, sentence: str) -> Said:
        words = next(self._speakers).say(spelled(sentence))
        noisy = words if self._snr_db is None else mix(words, self._snr_db, 1)
        return self._room.say(noisy, words)

    def _turn(self, said: Said) -> dict[str, Any] | None:
        """Return the turn that something said led to; an earlier one is not meant."""
        return self._companion.next("Heard", HEARD_WITHIN_S, after=said.began_at)

    def _ask(self, kind: str, sentence: str) -> None:
        """Say something into the quiet, and measure the answer."""
        self._room.await_quiet()
        said = self._say(sentence)
        turn = self._turn(said) or {
            "words": "",
            "parts": {},
        }
        answered = self._room.answered_at(said) if turn.get("said") else None
        self._measured.answers.append(
            {
                "kind": kind,
                "said": sentence,
                "heard": turn["words"],
                "understood": _meaning(turn["words"]) == _meaning(sentence),
                "response_s": None if answered is None else answered - said.ended_at,
                "parts": turn["parts"],
            }
        )

    def _over(self, over: dict[str, str], sentence: str, *, cuts: bool) -> None:
        """Speak over a long answer, and measure what becomes of it."""
        if not self._long_answer(over):
            return
        measured = self._measured
        said = self._say(sentence)
        turn = self._turn(said)
        factors, first_at = self._room.loudness(self._clip, self._began_at)
        spoken = max(0, int((said.began_at - first_at) / 0.01))
        ducked = first_below(factors, spoken)
        if ducked is not None:
            measured.ducks_s.append(first_at + ducked * 0.01 - said.began_at)
        if cuts:
            measured.cuts_tried += 1
            if turn and turn["words"] == sentence and not turn["said"]:  # it only silences
                self._room.await_quiet()
                silent = self._room.silent_from(turn["began"])
                measured.cuts_s.append(silent - turn["began"])
                measured.cuts_from_word_s.append(silent - said.ended_at)
        else:
            measured.lifts_tried += 1
            self._room.await_quiet()
            factors, _ = self._room.loudness(self._clip, self._began_at)
            lifted = ducked is not None and first_above(factors, ducked) is not None
            measured.lifts += lifted

    def _long_answer(self, over: dict[str, str]) -> bool:
        """Ask for a long answer, and wait until it is well under way."""
        tries = (self._heard(over["long_answer"]) for _ in range(TRIES))
        found = next((heard for heard in tries if heard), None)
        began_at = found and self._room.answered_at(found[0])
        if found is None or began_at is None:
            return False
        self._began_at = began_at - 0.05
        self._clip = self._voice.render(found[1]["said"][0])
        return self._room.await_speech(OVER_AFTER_S)

    def _heard(self, sentence: str) -> tuple[Said, dict[str, Any]] | None:
        """Say something into the quiet; return where it lay and the turn, if it was understood."""
        self._room.await_quiet()
        said = self._say(sentence)
        turn = self._turn(said)
        understood = turn is not None and turn["words"] == sentence and turn["said"]
        return (said, turn) if turn and understood else None


def _meaning(words: str) -> tuple[Meaning, ...]:
    """Return what words mean at the step of the talk."""
    return compose(moment(MOMENT).scope).interpret(words.split())


def summed(measured: Measured) -> dict[str, Any]:
    """Return what was measured as plain data, times in milliseconds."""
    answers = measured.answers
    answered = [each for each in answers if each["response_s"] is not None]
    kinds = dict.fromkeys(each["kind"] for each in answers)
    parts = dict.fromkeys(name for each in answered for name in each["parts"])
    return {
        "utterances": len(answers),
        "recognised": sum(each["understood"] for each in answers),
        "answered": len(answered),
        "response_ms": _spread([each["response_s"] for each in answered]),
        "response_by_kind_ms": {
            kind: _spread([a["response_s"] for a in answered if a["kind"] == kind])
            for kind in kinds
        },
        "parts_median_ms": {
            name: round(1000 * median(each["parts"][name] for each in answered)) for name in parts
        },
        "voice_onset_to_ducked_ms": _spread(measured.ducks_s),
        "spoken_over": measured.cuts_tried,
        "accepted_to_silence_ms": _spread(measured.cuts_s),
        "last_word_to_silence_ms": _spread(measured.cuts_from_word_s),
        "remarks_over": measured.lifts_tried,
        "voice_came_back": measured.lifts,
        "card_alone_ms": _spread(measured.card_s),
        "cost": measured.cost,
        "not_recognised": [
            [each["said"], each["heard"]] for each in answers if not each["understood"]
        ],
    }


def _spread(times_s: Sequence[float]) -> dict[str, int] | None:
    """Return how many, the median, the 95th percentile and the worst, milliseconds."""
    if not times_s:
        return None
    ranked = sorted(times_s)
    return {
        "count": len(ranked),
        "median": round(1000 * median(ranked)),
        "p95": round(1000 * ranked[min(len(ranked) - 1, int(0.95 * len(ranked)))]),
        "worst": round(1000 * ranked[-1]),
    }


def text(summary: dict[str, Any]) -> str:
    """Return the table."""
    rows = [
        ("last word to first sample", summary["response_ms"]),
        *((f"  {kind}", spread) for kind, spread in summary["response_by_kind_ms"].items()),
        ("voice onset to ducked", summary["voice_onset_to_ducked_ms"]),
        ("accepted to silence", summary["accepted_to_silence_ms"]),
        ("last word to silence", summary["last_word_to_silence_ms"]),
        ("the card alone, click to click", summary["card_alone_ms"]),
    ]
    told = (
        f"{summary['recognised']} of {summary['utterances']} recognised, "
        f"{summary['answered']} answered; spoken over {summary['spoken_over']} times; the voice "
        f"came back after {summary['voice_came_back']} of {summary['remarks_over']} remarks"
    )
    lines = [told, f"{'milliseconds':32} {'count':>6} {'median':>7} {'95 %':>7} {'worst':>7}"]
    for name, spread in rows:
        cells = [spread[k] for k in ("count", "median", "p95", "worst")] if spread else ["-"] * 4
        lines.append(f"{name:32} {cells[0]:>6} {cells[1]:>7} {cells[2]:>7} {cells[3]:>7}")
    lines.append(f"parts, medians: {summary['parts_median_ms']}")
    lines.append(f"cost: {summary['cost']}")
    lines += [f"said '{said}', heard '{heard}'" for said, heard in summary["not_recognised"]]
    return "\n".join(lines)
