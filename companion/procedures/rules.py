"""The safety rules that every way through a procedure keeps, each with its reason and source.

`after` says what a step makes safe or undoes; a rule looks at a step with what was safe before it.
`paths` walks every way and asks them all. What the dialogue makes of a procedure no rule here can
see: that 'call it off' leads out of every step, `dialogue/leaving.py` looks at; that a resumed job
proves dead again, its tests.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

from companion.procedures.walking import LICENSED, is_deferred, next_step

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from companion.procedures.model import Procedure, ReadingRequest, Step

Facts: TypeAlias = "frozenset[str]"
NO_FACTS: Facts = frozenset()

# What a way has made safe so far.
SUITABLE, DEAD, BEHIND, COLD = "suitable", "dead", "behind", "cold"
OPENED, POWERED, ACCEPTED, INTERLOCK = "opened", "powered", "accepted", "interlock"
MEASURED = "measured"  # something was held to a limit since first power was last met
_MADE_BY_HOLD = {"H1": SUITABLE, "H3": BEHIND, "H4": COLD, "H6": ACCEPTED, "H7": INTERLOCK}

LINE_VOLTAGE_V = 60  # above it nothing is low voltage (NFPA 70 article 725, from memory)
DEAD_V = 1  # common practice, no source
FEWEST_CONDUCTORS = 3  # line, neutral, ground; or two legs and ground: every pair of them


@dataclass(frozen=True)
class Passing:
    """A step on a way, with what was safe before it.

    Attributes:
        procedure: which.
        step: the step that is done now.
        facts: what the way has made safe so far.
        answers: choice slug to option slug, as known when the step is left.
    """

    procedure: Procedure
    step: Step
    facts: Facts
    answers: Mapping[str, str]

    @property
    def readings(self) -> tuple[ReadingRequest, ...]:
        """The readings that apply."""
        return tuple(each for each in self.step.readings if each.when.holds(self.answers))


@dataclass(frozen=True)
class Stated:
    """A rule in words.

    Attributes:
        slug: its name in reports.
        says: what must hold.
        reason: why.
        source: where it is from, or 'common practice, no source'.
        mend: what an author does about it.
    """

    slug: str
    says: str
    reason: str
    source: str
    mend: str


@dataclass(frozen=True)
class Rule(Stated):
    """A rule on a step.

    Attributes:
        broken: what is wrong at a step, '' for nothing.
    """

    broken: Callable[[Passing], str]


def proves_dead(step: Step) -> bool:
    """Return whether a step is the hold point at which the circuit is proved dead."""
    return step.hold is not None and step.hold.proves == "dead"


def after(passing: Passing) -> Facts:
    """Return what is safe after a step."""
    step, facts = passing.step, passing.facts
    if is_deferred(step, passing.answers):
        return facts
    if any(each.limit for each in passing.readings):
        facts |= {MEASURED}
    if step.power:
        facts -= {DEAD}
    if step.power == "on":
        facts = (facts | {POWERED}) - {ACCEPTED, INTERLOCK, MEASURED}
    if step.needs_dead:
        facts = (facts | {OPENED}) - {COLD, POWERED}
    if step.hold:
        made = DEAD if proves_dead(step) else _MADE_BY_HOLD.get(step.hold.number, "")
        facts |= {made} if made else set()
        facts |= {OPENED} if made == DEAD else set()
        facts -= {POWERED} if made == DEAD else set()
    return facts


def _needs_dead(passing: Passing) -> str:
    wants = passing.step.needs_dead and DEAD not in passing.facts
    return "nothing has proved dead since the power was last on" if wants else ""


def _line_voltage_live(passing: Passing) -> str:
    step = passing.step
    works = step.line_voltage and not (step.needs_dead or step.power or proves_dead(step))
    return "line voltage, but neither needs_dead nor a measurement with power live" if works else ""


def _line_voltage_unlicensed(passing: Passing) -> str:
    if passing.step.line_voltage:
        return ""
    points = passing.procedure.points
    found = (
        each.point
        for each in passing.readings
        if points[each.point].unit == "V" and points[each.point].high > LINE_VOLTAGE_V
    )
    point = next(found, "")
    return f"'{point}' is measured on line voltage, in a step that is not" if point else ""


def _live_dead_live(passing: Passing) -> str:
    step = passing.step
    if not proves_dead(step) or not step.line_voltage or passing.answers.get(LICENSED) == "no":
        return ""
    readings = passing.readings
    if len(readings) < FEWEST_CONDUCTORS + 2:
        return f"{len(readings)} readings prove nothing dead"
    first, *conductors, last = readings
    if first.point != last.point or not all(_is_live(each) for each in (first, last)):
        return "the meter is not proved on one live source, first and last"
    loose = [each.point for each in conductors if not _is_dead(each)]
    return f"'{loose[0]}' has no limit of at most {DEAD_V} V" if loose else ""


def _is_live(request: ReadingRequest) -> bool:
    low = request.limit.low if request.limit else None
    return low is not None and low > LINE_VOLTAGE_V


def _is_dead(request: ReadingRequest) -> bool:
    high = request.limit.high if request.limit else None
    return high is not None and high <= DEAD_V


def _power_unchecked(passing: Passing) -> str:
    comes_on = passing.step.power == "on" and OPENED in passing.facts
    unchecked = comes_on and COLD not in passing.facts
    return "power comes on, and the wiring was not checked cold" if unchecked else ""


def _power_unheld(passing: Passing) -> str:
    step = passing.step
    held = step.hold is not None and step.hold.number == "H5"
    return "power comes on outside a hold point H5" if step.power == "on" and not held else ""


def _cut_blind(passing: Passing) -> str:
    missing = [name for name in (BEHIND, DEAD) if name not in passing.facts]
    if not passing.step.cuts or not missing:
        return ""
    return "nobody has looked behind" if BEHIND in missing else "the circuit is not proved dead"


def _unsuitable(passing: Passing) -> str:
    step = passing.step
    if SUITABLE in passing.facts:
        return ""
    if passing.procedure.kind == "fault" and step.power:
        return "a fault is measured live, and suitability was not held"
    touches = step.needs_dead or step.cuts or (step.line_voltage and not step.power)
    return "work begins, and suitability was not held" if touches else ""


def _finished_unpowered(passing: Passing) -> str:
    ends = passing.step.ends == "finished" and OPENED in passing.facts
    return "finished, and power was not restored" if ends and POWERED not in passing.facts else ""


def _finished_unproved(passing: Passing) -> str:
    if passing.step.ends != "finished" or POWERED not in passing.facts:
        return ""
    missing = [name for name in (ACCEPTED, INTERLOCK) if name not in passing.facts]
    told = {ACCEPTED: "the readings were not accepted", INTERLOCK: "the interlock was not proved"}
    return f"finished, and {told[missing[0]]}" if missing else ""


def _accepted_blind(passing: Passing) -> str:
    step = passing.step
    accepts = step.hold is not None and step.hold.number == "H6"
    judged = MEASURED in passing.facts or any(each.limit for each in passing.readings)
    return "" if judged or not accepts else "readings are accepted, and none was held to a limit"


def _fallen_into(passing: Passing) -> str:
    following = next_step(passing.procedure, passing.step.slug, passing.answers)
    if following is None or following.ends != "left safe":
        return ""
    options = passing.step.choice.options if passing.step.choice else ()
    led = {option.goto for option in options}
    return "" if following.slug in led else f"goes on to '{following.slug}', where the job is left"


RULES = (
    Rule(
        "suitable-first",
        "Nothing is opened, cut or wired, and no fault measured live, before the hold point of "
        "suitability (H1) is met.",
        "A cut can't be taken back, and what failed may be dangerous to run.",
        "common practice, no source",
        "Put a hold point H1 before this step",
        _unsuitable,
    ),
    Rule(
        "dead-first",
        "A step that needs the circuit dead comes after it was proved dead, and again so whenever "
        "power was on in between.",
        "Somebody may have closed the breaker.",
        "NFPA 70E 120.5, from memory",
        "Put the lock-out (part 'lock-out') before this step, or mark power where it is on",
        _needs_dead,
    ),
    Rule(
        "line-voltage-dead",
        "Work on line voltage is done dead; live there is only measured.",
        "A slip of the hand kills.",
        "NFPA 70E 110.4 and 120.5, from memory",
        "Give the step needs_dead, or power = 'live' if it only measures",
        _line_voltage_live,
    ),
    Rule(
        "licensed-only",
        f"A test point that can show more than {LINE_VOLTAGE_V} V is read in a line-voltage step.",
        "Those steps are left to who is licensed for them.",
        "NFPA 70 article 725 for the limit of low voltage, from memory; local licence law",
        "Give the step line_voltage = true",
        _line_voltage_unlicensed,
    ),
    Rule(
        "live-dead-live",
        "Who proves dead proves the meter on a live source before and after, and measures every "
        "pair of conductors between, each dead at one volt at most.",
        "A meter that fails reads zero too.",
        "NFPA 70E 120.5 for the order, from memory; one volt: common practice, no source",
        "Measure as the part 'lock-out' does",
        _live_dead_live,
    ),
    Rule(
        "look-before-cut",
        "Every cut comes after the hold point of what is behind the metal (H3), and dead.",
        "Coils, line sets and wires lie behind it.",
        "common practice, no source",
        "Put a hold point H3 before the cut, after the lock-out",
        _cut_blind,
    ),
    Rule(
        "cold-before-power",
        "Power comes on only after the wiring was checked cold (H4), and again so after any "
        "further work.",
        "A short found by ohms costs nothing.",
        "common practice, no source",
        "Put a hold point H4 between the last work and this step",
        _power_unchecked,
    ),
    Rule(
        "power-held",
        "The step that restores power is the hold point of first power (H5).",
        "Hands clear, people told, and somebody listens for a hum.",
        "common practice, no source",
        "Give the step a hold with number H5",
        _power_unheld,
    ),
    Rule(
        "left-by-choice",
        "Only an answer leads to where a job is left safe, never the order of the steps.",
        "Who did everything right is not told to leave.",
        "common practice, no source",
        "Give this step ends = 'finished', or lead there by an option's goto",
        _fallen_into,
    ),
    Rule(
        "power-restored",
        "A job that is finished has its power back.",
        "Else the house stays cold: such a job is left safe, not finished.",
        "common practice, no source",
        "Restore power on this way, or end it 'left safe'",
        _finished_unpowered,
    ),
    Rule(
        "accepted-by-limits",
        "Where readings are accepted (H6), some were held to a limit since first power (H5).",
        "To accept what nothing was compared with is to accept nothing.",
        "common practice, no source",
        "Measure there or before it, after first power, with a limit and its source",
        _accepted_blind,
    ),
    Rule(
        "proved-at-the-end",
        "A job whose power was off is finished only after its readings were accepted (H6) and its "
        "interlock was proved by losing what it guards (H7).",
        "What was never seen to stop is not known to stop.",
        "common practice, no source",
        "Put the hold points H6 and H7 after the power is on",
        _finished_unproved,
    ),
)
