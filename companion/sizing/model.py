"""What a sizing is: a declaration that reads like a page of a handbook.

A declaration names its inputs (what each is called, measured in, how it is asked for aloud, what
is assumed where it is left out, which readings on the log may fill it), its formula, assumption,
caution and sources, and the function that works it out. Everything else follows from it: what is
asked, what is refused, how the answer is said.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Protocol, TypeAlias

from companion import quantities
from companion.numbers import exact_decimal, say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from companion.ports import Exact
    from companion.quantities import Quantity


class MeasureLike(Protocol):
    """A number as said, with its unit slug, or None where the unit was left out."""

    @property
    def value(self) -> Exact:
        """The number, exactly as said."""

    @property
    def unit(self) -> str | None:
        """The unit slug."""


Said: TypeAlias = "MeasureLike | str | tuple[MeasureLike, ...]"
Inputs: TypeAlias = "Mapping[str, Said]"


@dataclass(frozen=True, slots=True)
class Amount:
    """A measure with its unit settled."""

    value: Exact
    unit: str

    def to(self, unit: str) -> Exact:
        """Return the value in another unit, exactly where the two are the same."""
        return self.value if unit == self.unit else quantities.convert(self.value, self.unit, unit)

    def spoken(self) -> str:
        """Return it in words: 'sixty feet'."""
        return quantities.spoken(_sayable(self.value), self.unit)

    def number(self) -> str:
        """Return the number alone, in words: 'sixty'."""
        return say(_sayable(self.value))

    def written(self) -> str:
        """Return it in figures: '60 ft'."""
        return quantities.written(self.value, self.unit)


@dataclass(frozen=True, slots=True)
class Range:
    """The valid values of an input in one unit, ends included.

    >>> Range("1", "500", "ft").holds(Amount(Decimal("12.5"), "ft"))
    True
    """

    low: str
    high: str
    unit: str

    def holds(self, amount: Amount) -> bool:
        """Return whether an amount of the same dimension lies inside."""
        return Decimal(self.low) <= exact(amount.to(self.unit)) <= Decimal(self.high)


@dataclass(frozen=True, slots=True)
class Option:
    """One answer of an input that is chosen, not measured.

    `value` is what it is called in data ('1-1/4', 'yes'); `spoken` is how it is said back
    ('one and a quarter inch', 'continuous'); '' is said back by leaving it out.
    """

    value: str
    spoken: str


_SAID_WITH = {"gauge": ("gauge",), "trade size": ("in",)}


def always(_given: Mapping[str, object]) -> bool:
    """Needed whatever else was said."""
    return True


def never(_given: Mapping[str, object]) -> bool:
    """Taken when said, never asked for."""
    return False


@dataclass(frozen=True, slots=True)
class Input:
    """What a sizing wants to know.

    Attributes:
        name: the slot's name in the grammar and in data ('length').
        spoken: what it is called aloud ('one-way length').
        ask: the question that asks for it ('How many feet, one way?').
        ranges: valid values, one for each dimension it may be given in; a number without a unit
            is in the first one's.
        options: the answers, where it is chosen and not measured; then `ranges` is empty.
        kind: 'measure', 'count', 'gauge', 'trade size' or 'yes or no': what a bare answer to
            `ask` may be.
        heard: how it is said back: '{}' stands for the value, '{number}' for the value without
            its unit where that is the first range's; a leading '~' joins it without a comma.
        default: the value assumed where it is left out, in the first range's unit; '' for none.
        assumed: the words that say so ('twenty four volts').
        from_log: the test points whose latest reading may fill it.
        many: it takes several measures, which add up.
        needed: whether it matters, by what else is known: only then is it asked for, read off
            the log or assumed.
    """

    name: str
    spoken: str
    ask: str = ""
    ranges: tuple[Range, ...] = ()
    options: tuple[Option, ...] = ()
    kind: str = "measure"
    heard: str = "{}"
    default: str = ""
    assumed: str = ""
    from_log: tuple[str, ...] = ()
    many: bool = False
    needed: Callable[[Mapping[str, object]], bool] = always

    @property
    def unit(self) -> str:
        """The unit slug of a number said without one; '' where it is chosen."""
        return self.ranges[0].unit if self.ranges else ""

    @property
    def units(self) -> tuple[str, ...]:
        """The unit slugs that may be said with its number, the default one first."""
        return tuple(valid.unit for valid in self.ranges) or _SAID_WITH.get(self.kind, ())


@dataclass(frozen=True, slots=True)
class Given:
    """The inputs of one question, settled: said, read off the log, or assumed."""

    amounts: Mapping[str, tuple[Amount, ...]]
    picks: Mapping[str, str]
    assumed: frozenset[str]

    def has(self, name: str) -> bool:
        """Return whether the input is known."""
        return name in self.amounts or name in self.picks

    def amount(self, name: str) -> Amount:
        """Return a measured input as it was given."""
        return self.amounts[name][0]

    def exact(self, name: str, unit: str) -> Exact:
        """Return a measured input's value in `unit`."""
        return self.amount(name).to(unit)

    def quantity(self, name: str) -> Quantity:
        """Return a measured input as a quantity."""
        amount = self.amount(name)
        return quantities.quantity(amount.value, amount.unit)

    def listed(self, name: str) -> tuple[Quantity, ...]:
        """Return all measures of an input that takes several."""
        return tuple(quantities.quantity(a.value, a.unit) for a in self.amounts[name])

    def pick(self, name: str) -> str:
        """Return a chosen input, '' where it was left out."""
        return self.picks.get(name, "")


@dataclass(frozen=True, slots=True)
class Result:
    """What a sizing's function found, before it is put into an answer.

    Attributes:
        lead: the result in trade terms and trade rounding, as spoken ('eighteen gauge').
        value: the result unrounded, a decimal string or a name ('0.4662', '1/0').
        unit: its unit slug, '' for a name.
        working: the account, line by line.
        why: the working in one spoken breath.
        metric: the result in metric, as spoken.
        over: the limit that the result breaks, one short sentence; '' where it breaks none.
        assumption: a spoken sentence on what was assumed beyond the declaration.
        caution: what this result warns of beyond the declaration.
    """

    lead: str
    value: str
    unit: str
    working: tuple[str, ...]
    why: str
    metric: str
    over: str = ""
    assumption: str = ""
    caution: str = ""


@dataclass(frozen=True, slots=True)
class Sizing:
    """A calculation of the trade.

    Attributes:
        slug: its name in grammar, data and tests ('voltage-drop').
        title: what it is called.
        group: the part of the trade it belongs to.
        example: a question that asks for it.
        formula: as a handbook prints it.
        inputs: in the order in which they are asked for.
        work: the function that works it out.
        sources: where formula and figures come from.
        assumption: what every answer takes for granted, a few spoken words.
        caution: one or two short spoken sentences.
        defers: whether it sizes line-voltage conductors or their protection.
        united_states_only: whether it rests on NFPA 70 tables that Canada's code replaces.
    """

    slug: str
    title: str
    group: str
    example: str
    formula: str
    inputs: tuple[Input, ...]
    work: Callable[[Given], Result]
    sources: tuple[str, ...]
    assumption: str = ""
    caution: str = ""
    defers: bool = False
    united_states_only: bool = False

    def input(self, name: str) -> Input:
        """Return an input by name.

        Raises:
            KeyError: the sizing has no such input.
        """
        return next(wanted for wanted in self.inputs if wanted.name == name)


@dataclass(frozen=True, slots=True)
class Answer:
    """A sizing answered.

    Attributes:
        spoken: one breath: a broken limit first, then the result, then the inputs as heard.
        value: the result unrounded, an exact decimal string, or a name ('1/0').
        unit: its unit slug, '' for a name.
        working: the account, line by line, with the figures' sources.
        spoken_working: the same in a breath, for 'why'.
        assumptions: the first is the one that matters, a spoken sentence.
        caution: short spoken sentences; '' for none.
        sources: formula and figures.
        inputs: what was heard or read off the log, written, by spoken name.
        from_log: the test points whose readings were used.
        over_limit: whether the result breaks a limit.
        defers: whether the local code and a licensed electrician have the last word.
        in_metric: the result in metric, as spoken.
    """

    spoken: str
    value: str
    unit: str
    working: tuple[str, ...]
    spoken_working: str
    assumptions: tuple[str, ...]
    caution: str
    sources: tuple[str, ...]
    inputs: Mapping[str, str] = field(default_factory=dict)
    from_log: tuple[str, ...] = ()
    over_limit: bool = False
    defers: bool = False
    in_metric: str = ""


def _sayable(value: Exact) -> Exact:
    """Return the value, or the nearest thousandth where it has no exact words."""
    try:
        say(value)
    except ValueError:
        return round(exact(value), 3)
    return value


def exact(value: Exact) -> Decimal:
    """Return a value as a `Decimal`; a third becomes 28 digits of it."""
    if isinstance(value, Fraction):
        try:
            return exact_decimal(value)
        except ValueError:
            return Decimal(value.numerator) / Decimal(value.denominator)
    return value
