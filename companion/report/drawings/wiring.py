"""The wiring of a job as its log tells it: the variant that was chosen, and what was named.

What the log does not hold is `NOT_RECORDED`; nothing is filled in from what is usual. Tolerant
where the log is: a payload that was removed counts as not recorded.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Literal, TypeAlias

from companion.dialogue.record import LoggedNote, LoggedReading, logged_notes, logged_readings
from companion.errors import CompanionError
from companion.procedures.loader import load
from companion.report.drawings.colours import COLOURS, Lead, leads
from companion.report.drawings.writing import one_line
from companion.report.wording import measured

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping, Sequence

    from companion.ports import Entry, Json
    from companion.procedures.model import Procedure

Symbol: TypeAlias = Literal["fuse", "open", "closed", "unknown"]
NOT_RECORDED = "not recorded"
TAPS = ("240", "208", "120")


@dataclass(frozen=True, slots=True)
class Part:
    """A part of the 24 V loop: its sign, its name, and what is recorded of it."""

    symbol: Symbol
    name: str
    told: str = ""


@dataclass(frozen=True, slots=True)
class Fact:
    """A line of the table beneath: what, as recorded, and where that is from."""

    what: str
    value: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class Primary:
    """The transformer's line side; `tap` is '120', '208' or '240', '' where it is not recorded."""

    tap: str
    hot: str
    other: str
    unused: str


@dataclass(frozen=True, slots=True)
class Wiring:
    """A drawing's content, plain.

    `begins` and `ends` are where the loop leaves from and comes back to, for one without a
    transformer; `coil` tells of a relay whose coil hangs on G and C; `conductors` are a
    thermostat's, by terminal, and then there is no loop.
    """

    title: str = ""
    job: str = ""
    date: str = ""
    primary: Primary | None = None
    begins: str = ""
    ends: str = ""
    loop: tuple[Part, ...] = ()
    load: str = ""
    coil: bool = False
    conductors: tuple[tuple[str, str], ...] = ()
    facts: tuple[Fact, ...] = ()


@dataclass(slots=True)
class _Log:
    """What of the log matters here; the answers are the job's own, not those of a fault search."""

    procedure: Procedure
    answers: dict[str, str] = field(default_factory=dict)
    done: set[str] = field(default_factory=set)
    questions: dict[str, Mapping[str, Json]] = field(default_factory=dict)
    readings: dict[str, LoggedReading] = field(default_factory=dict)
    notes: tuple[LoggedNote, ...] = ()
    leads: dict[str, Lead] = field(default_factory=dict)

    def answer(self, choice: str) -> str:
        """What was answered, in the option's first words; '' for nothing."""
        said = self.answers.get(choice, "")
        for step in self.procedure.steps:
            if step.choice and step.choice.slug == choice:
                for option in step.choice.options:
                    if option.slug == said:
                        return option.names[0]
        return one_line(said)

    def lead(self, terminal: str) -> str:
        """A terminal's colour as noted, '' for none."""
        return self.leads[terminal].colour if terminal in self.leads else ""

    def has_step(self, *slugs: str) -> bool:
        """Whether the procedure has one of these steps."""
        return any(step.slug in slugs for step in self.procedure.steps)


def wiring(entries: Sequence[Entry]) -> Wiring | None:
    """Return a job's wiring, None where its procedure wires nothing that is known here.

    Args:
        entries: a job's entries, in order.
    """
    opened = next((each for each in entries if each.kind == "job-opened" and each.payload), None)
    if opened is None:
        return None
    try:
        procedure = load(str(opened.payload.get("text", "")), opened.job, safety=False)
    except CompanionError:
        return None
    log = _read(procedure, entries)
    title = one_line(str(opened.payload.get("title", "")))
    date = opened.at.strftime("%Y-%m-%d")
    for has, made in _KINDS:
        if has(log):
            return replace(made(log), title=title, job=one_line(opened.job), date=date)
    return None


def _read(procedure: Procedure, entries: Sequence[Entry]) -> _Log:
    log = _Log(procedure)
    is_fault = False
    for entry in entries:
        said = entry.payload
        if entry.kind in {"fault-begun", "fault-ended"}:
            is_fault = entry.kind == "fault-begun"
        elif entry.kind == "question" and said:
            log.questions[str(said.get("sizing", ""))] = said
        elif is_fault:
            continue
        elif entry.kind == "choice" and said:
            log.answers[str(said.get("choice", ""))] = str(said.get("option", ""))
        elif entry.kind == "choice-withdrawn":
            log.answers.pop(str(said.get("choice", "")), None)
        elif entry.kind == "step-entered":
            log.done.discard(str(said.get("step", "")))
        elif entry.kind == "step-done":
            log.done.add(str(said.get("step", "")))
    standing = (each for each in logged_readings(entries) if each.status == "stands")
    log.readings = {each.point: each for each in standing}
    log.notes = logged_notes(entries)
    log.leads = leads(log.notes)
    return log


# ---------------------------------------------------------------- kinds of wiring


def _accessory(log: _Log) -> Wiring:
    """An accessory on a transformer of its own, run only with the blower."""
    switch = {
        "pressure-switch": Part("open", "air switch", "common to normally open"),
        "relay": Part("open", "relay contact", "normally open"),
    }.get(log.answers.get("interlock", ""), Part("unknown", "interlock", NOT_RECORDED))
    loop = [Part("fuse", "fuse", _fuse(log).value), switch]
    load = "accessory"
    if log.has_step("wire-humidistat"):
        loop.append(Part("closed", "humidistat", "closes when dry"))
        by_fan = log.answers.get("fan-feed")
        load = "solenoid, 24 V fan beside it" if by_fan == "low-voltage" else "solenoid"
        if log.answers.get("drain") == "pump":
            loop.append(Part("closed", "overflow switch", "normally closed"))
    elif log.has_step("wire-damper"):
        loop.append(Part("closed", "mixed air limit", "opens when cold"))
        load = "damper motor"
    elif log.has_step("wire-module"):
        load = "module"
    facts = [
        *_primary_facts(log),
        Fact("Transformer's place", *_answered(log, "transformer")),
        _fuse(log),
        *_own_fan(log),
        Fact("What proves the blower runs", *_answered(log, "interlock")),
        *_low_facts(log),
    ]
    return Wiring(
        primary=_primary(log),
        loop=tuple(loop),
        load=load,
        coil=log.answers.get("interlock") == "relay",
        facts=(*facts, *_done(log), *_noted(log)),
    )


def _own_fan(log: _Log) -> Iterator[Fact]:
    if log.answers.get("fan-feed") == "line":
        yield Fact("Its fan", "on line voltage, by a feed of its own; not drawn", "answered")


def _transformer(log: _Log) -> Wiring:
    """A control transformer in place of a failed one."""
    place = {"board": "on the board", "inline": "inline, at the transformer"}
    told = place.get(log.answers.get("fuse-place", ""), f"place {NOT_RECORDED}")
    return Wiring(
        primary=_primary(log),
        loop=(Part("fuse", "fuse", f"{_fuse(log).value}; {told}"),),
        load="board and controls, R to C",
        facts=(
            *_primary_facts(log),
            _fuse(log),
            Fact("Fuse's place", *_answered(log, "fuse-place")),
            *_low_facts(log),
            *_done(log),
            *_noted(log),
        ),
    )


def _proving_switch(log: _Log) -> Wiring:
    """An air switch put into the feed of an accessory that was there."""
    fitted = {"fitted": "was there", "missing": "fitted inline, if its step is done"}
    loop = [
        Part("fuse", "fuse", fitted.get(log.answers.get("source-fuse", ""), NOT_RECORDED)),
        Part("open", "air switch", "common to normally open"),
    ]
    if log.answers.get("now") == "relay":
        loop.insert(1, Part("open", "relay", "as it was"))
    return Wiring(
        begins="24 V hot, at its source",
        ends="24 V common",
        loop=tuple(loop),
        load="accessory",
        facts=(
            _fuse(log),
            Fact("Fuse at the source", *_answered(log, "source-fuse")),
            Fact("What switched it before", *_answered(log, "now")),
            Fact("Switch's minus port", *_answered(log, "low-port")),
            *_low_facts(log),
            *_done(log),
            *_noted(log),
        ),
    )


def _float_switch(log: _Log) -> Wiring:
    """A switch in the drain pan that breaks R, or the cooling call."""
    breaks = log.answers.get("breaks", "")
    begins, load = {
        "all": ("R, at the board", "thermostat, R side"),
        "cooling-call": ("Y, from the thermostat", "outdoor unit's contactor"),
    }.get(breaks, (f"line that it breaks: {NOT_RECORDED}", "load"))
    return Wiring(
        begins=begins,
        ends="C, at the board",
        loop=(Part("closed", "float switch", "normally closed"),),
        load=load,
        facts=(
            Fact("What it breaks", *_answered(log, "breaks")),
            Fact("Where it sits", *_answered(log, "switch-place")),
            *_low_facts(log),
            *_done(log),
            *_noted(log),
        ),
    )


# The terminals that a kind of system needs; more may be there, and their wires stay as tagged.
_NEEDED = {
    "heat-only": ("R", "W", "C"),
    "heat-cool": ("R", "W", "Y", "G", "C"),
    "heat-pump": ("R", "Y", "G", "O or B", "auxiliary heat", "C"),
}


def _thermostat(log: _Log) -> Wiring:
    """A thermostat and its common wire."""
    letters = _NEEDED.get(log.answers.get("system", ""), ("R", "C"))
    return Wiring(
        conductors=tuple((letter, _conductor(log, letter)) for letter in letters),
        facts=(
            Fact("Kind of system", *_answered(log, "system")),
            Fact("Transformers", *_answered(log, "sources")),
            Fact("C by", *_answered(log, "conductor")),
            _fuse(log),
            Fact("Fuse's place", *_answered(log, "fuse-place")),
            *_done(log),
            *_noted(log),
        ),
    )


def _conductor(log: _Log, letter: str) -> str:
    colours = [log.lead(each) for each in letter.split(" or ")]
    return next(filter(None, colours), f"color {NOT_RECORDED}")


_KINDS: tuple[tuple[Callable[[_Log], bool], Callable[[_Log], Wiring]], ...] = (
    (lambda log: "interlock" in _choices(log) and log.has_step("wire-120"), _accessory),
    (lambda log: log.has_step("wire-secondary") and log.has_step("wire-120"), _transformer),
    (lambda log: log.has_step("cut-in") and log.has_step("normally-open"), _proving_switch),
    (lambda log: "breaks" in _choices(log), _float_switch),
    (lambda log: log.has_step("wire-base"), _thermostat),
)


def _choices(log: _Log) -> set[str]:
    return {step.choice.slug for step in log.procedure.steps if step.choice}


# ---------------------------------------------------------------- what is recorded


def _answered(log: _Log, choice: str) -> tuple[str, str]:
    said = log.answer(choice)
    return (said, "answered") if said else (NOT_RECORDED, "")


def _primary(log: _Log) -> Primary:
    volts = log.answers.get("primary", "")
    tap = volts if volts in TAPS else ""
    has_neutral = tap in {"", "120"}
    other = "neutral" if has_neutral else "other hot"
    common = log.lead("primary common")
    return Primary(
        tap,
        hot=_coloured("hot", log.lead("hot") or log.lead(f"tap {tap}")),
        other=_coloured(other if tap else "neutral or other hot", common or log.lead(other)),
        unused="" if "cap-and-ground" in log.done else "; cap not logged",
    )


def _coloured(name: str, colour: str) -> str:
    return f"{name}: {colour}" if colour else f"{name}: color {NOT_RECORDED}"


def _primary_facts(log: _Log) -> Iterator[Fact]:
    volts = log.answers.get("primary", "")
    read = log.readings.get("primary-voltage")
    supply = f"{volts} V" if volts in TAPS else NOT_RECORDED
    if read:
        supply = f"{supply}; measured {measured(read.value, read.unit)}"
    yield Fact("Supply", supply, "answered" if volts in TAPS else "")
    if log.answers.get("licensed") == "no":
        yield Fact("Line side wired by", "the licensed person", "answered")
    elif volts in TAPS:
        done = f"wire-{volts}" in log.done
        yield Fact(
            "Primary tap",
            f"{volts} V tap and common",
            "its step is done" if done else "by the answer; its step is not logged as done",
        )
    else:
        yield Fact("Primary tap", NOT_RECORDED)
    tap = f"tap {volts}" if f"tap {volts}" in log.leads else "hot"
    yield _lead(log, "Lead on the tap", tap)
    yield _lead(log, "Lead on the primary's common", "primary common", "neutral", "other hot")
    yield _lead(log, "Ground", "ground")


def _low_facts(log: _Log) -> Iterator[Fact]:
    yield _lead(log, "24 V hot", "secondary hot", "R")
    yield _lead(log, "24 V common", "secondary common", "C")


def _lead(log: _Log, what: str, *terminals: str) -> Fact:
    for terminal in terminals:
        lead = log.leads.get(terminal)
        if lead:
            sure = "typed" if lead.is_typed else "heard, not verified"
            return Fact(what, lead.colour, f"note {lead.note}, {sure}")
    return Fact(what, f"color {NOT_RECORDED}")


def _fuse(log: _Log) -> Fact:
    read = log.readings.get("fuse-size")
    if read:
        return Fact("Fuse", measured(read.value, read.unit), "read")
    asked = log.questions.get("secondary-fuse")
    if asked:
        size = measured(str(asked.get("value", "")), str(asked.get("unit", "")))
        return Fact("Fuse", f"{size} worked out; the one fitted {NOT_RECORDED}", "sizing")
    return Fact("Fuse", NOT_RECORDED)


def _done(log: _Log) -> Iterator[Fact]:
    """Which steps of the wiring count, and which of them are logged as done."""
    steps = [
        step.slug
        for step in log.procedure.steps
        if step.slug.startswith("wire-") or step.slug in {"cap-and-ground", "fuse", "cut-in"}
        if all(log.answers.get(choice) in given for choice, given in step.when.answers)
    ]
    done = ", ".join(each for each in steps if each in log.done)
    left = ", ".join(each for each in steps if each not in log.done)
    if done:
        yield Fact("Steps logged as done", done, "log")
    if left:
        yield Fact("Steps not logged as done", left, "log")


_MOST_NOTES = 5


def _noted(log: _Log) -> Iterator[Fact]:
    """The notes that name a colour, as they stand: the last ones."""
    named = [each.note for each in log.notes if COLOURS.search(each.note.words)]
    for note in named[-_MOST_NOTES:]:
        sure = "typed" if note.is_typed else "heard, not verified"
        yield Fact(f"Note {note.number}", one_line(note.words), sure)
