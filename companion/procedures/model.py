"""What a procedure is: ordered steps, each with what it says, asks, measures and holds.

A procedure is linear with conditions: every step may carry `when`, a set of answers to earlier
choices that must hold for it to apply, and an option of a choice may jump forward with `goto`. The
choice slugs 'licensed' ('yes', 'no') and 'region' (a state or province) are asked by the dialogue
itself before the first line-voltage step and may be used in `when` like any other.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from types import MappingProxyType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Mapping
    from decimal import Decimal


@dataclass(frozen=True, slots=True)
class When:
    """Conditions: each choice slug must have been answered with one of the options named."""

    answers: tuple[tuple[str, tuple[str, ...]], ...] = ()

    def holds(self, given: Mapping[str, str]) -> bool:
        """Return whether the answers given so far meet every condition."""
        return all(given.get(choice) in options for choice, options in self.answers)


@dataclass(frozen=True, slots=True)
class TestPoint:
    """Where a reading is taken; owns the unit, the sign and the plausible range.

    `names` are the phrases that name it, the first one spoken back; `unit` and `others` are unit
    slugs of `quantities`; `low` and `high` bound the plausible range in `unit`; `sign` is 'any',
    'plus' or 'minus' (a return static said as 'point two' is minus 0.20); `decimals` is how many
    places a meter shows there.
    """

    __test__ = False  # not a pytest class

    slug: str
    names: tuple[str, ...]
    unit: str
    low: Decimal
    high: Decimal
    decimals: int
    sign: str = "any"
    others: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Limit:
    """The acceptable range, in the test point's unit; either end may be open.

    An end may instead come from another test point's last reading: `low_of` with `low_times`
    ('1.5 times the switch setting'), `high_of` with `high_plus` ('as found plus 0.10').
    `otherwise` is what to do when a reading is outside, one short spoken sentence. `stops`: the
    job does not go on past the step while the reading stands outside.
    """

    low: Decimal | None = None
    high: Decimal | None = None
    low_of: str = ""
    low_times: Decimal | None = None
    high_of: str = ""
    high_plus: Decimal | None = None
    source: str = ""
    otherwise: str = ""
    stops: bool = False


@dataclass(frozen=True, slots=True)
class ReadingRequest:
    """A reading that a step wants: the test point, how it is asked for, its limit and phase.

    `phase` is 'as found', 'as left' or ''.
    """

    point: str
    ask: str
    limit: Limit | None = None
    when: When = field(default_factory=When)
    phase: str = ""


@dataclass(frozen=True, slots=True)
class Option:
    """One answer of a choice; `goto` names a later step to go on from, else the next one."""

    slug: str
    names: tuple[str, ...]
    goto: str = ""


@dataclass(frozen=True, slots=True)
class ChoiceRequest:
    """A choice that a step asks."""

    slug: str
    ask: str
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class Check:
    """Something a hold point wants affirmed aloud; answered yes or no.

    `if_no` is the short spoken sentence for 'no'. Checks are asked before the hold point's
    readings; one that is `last`, after them ('the fuse is back in').
    """

    slug: str
    ask: str
    if_no: str
    when: When = field(default_factory=When)
    last: bool = False


@dataclass(frozen=True, slots=True)
class Hold:
    """What must be met, confirmed and logged before the step may be passed.

    The step's readings (all of them within limit, in order) and these checks are the condition;
    then `confirm` is spoken and 'confirmed' meets it. `number` is 'H1' to 'H7'; `proves` is
    'dead' for the lock-out, 'readings' where the job's readings are accepted (those outside are
    named then), else ''. In a dead hold the same test point may be read twice: the known source
    before and after.
    """

    number: str
    title: str
    confirm: str
    checks: tuple[Check, ...] = ()
    proves: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing to do, said in one breath (about 20 words).

    `short` is what an experienced hand hears instead who asked for it; '' says `say` to all.

    `line_voltage` marks work for the licensed trade; `needs_dead` that the circuit must be proved
    dead while it is done (so a resume or a step back opens the dead hold again); `cuts` that it
    cuts into something; `power` is 'on'
    for the step that restores power, 'live' for one done with power on, else ''. `works_out`
    names a sizing that is answered from the log when the step is entered. `ends` is 'finished' or
    'left safe' for the last step of a path. Three keys are for the report, and count once the step
    is done: `customer` is what the customer must know, said to them in plain words; `labels` marks
    the step that places labels; `service_months` is how long after the job the next service is
    due, 0 where the step tells nothing of it. A step with both asks its choice before its readings,
    and a reading's `when` may name that choice.
    """

    slug: str
    say: str
    short: str = ""
    more: str = ""
    caution: str = ""
    when: When = field(default_factory=When)
    readings: tuple[ReadingRequest, ...] = ()
    choice: ChoiceRequest | None = None
    hold: Hold | None = None
    line_voltage: bool = False
    needs_dead: bool = False
    cuts: bool = False
    power: str = ""
    works_out: str = ""
    ends: str = ""
    customer: str = ""
    labels: bool = False
    service_months: int = 0


@dataclass(frozen=True, slots=True)
class Procedure:
    """The ordered steps of a kind of work.

    `text` is the file as loaded and `digest` its SHA-256: the job keeps both. `names` are the
    phrases that name the kind of work; of `kind` 'fault' they are complaints ("the fuse is
    blown"), by which it is reached from any job. `tools` are spoken on 'tools'; `places` is where
    each step stands, by its slug.
    """

    slug: str
    title: str
    version: str
    scope_note: str
    tools: tuple[str, ...]
    points: Mapping[str, TestPoint]
    steps: tuple[Step, ...]
    text: str
    digest: str
    names: tuple[str, ...] = ()
    kind: str = "work"
    places: Mapping[str, int] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """Note where each step stands; of two of one slug, the first."""
        slugs = [step.slug for step in self.steps]
        found = {slug: place for place, slug in reversed([*enumerate(slugs)])}
        object.__setattr__(self, "places", MappingProxyType(found))
