"""Sentences that hold a measure, drawn for the moment: a value that is natural there, said.

Each function draws (moment, words, what a meaning must be to be meant); a draw may fail, when the
grammar leaves that way of saying it out, and is then drawn again.
"""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from functools import cache, partial
from typing import TYPE_CHECKING, TypeAlias

from companion import sizing
from companion.bench.hearing import places
from companion.bench.hearing.labels import rule_of
from companion.bench.hearing.saying import finished, unit_words, value_in, ways_to_say
from companion.language.expressions import phrase, sample
from companion.language.library import packaged_library
from companion.language.meanings import Choice, Command, Measure, Reading, TimerFor
from companion.numbers import NUMBER_WORDS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from random import Random

    from companion.bench.hearing.case import Moment
    from companion.bench.hearing.places import Span
    from companion.language.expressions import Expression
    from companion.language.meanings import Meaning
    from companion.ports import Exact

Words: TypeAlias = tuple[str, ...]
Meant: TypeAlias = Callable[["Meaning"], bool]
Draw: TypeAlias = tuple["Moment", Words, Meant]

_OUTSIDE_LIMIT = 0.1
_SPECIAL = {"ohm": 0.25, "A": 0.05, "V": 0.02}  # how often a meter shows no figure, by unit
_UNIT_SAID = 0.5
_GAUGES = (14, 16, 18, 20, 22, 24)  # that control wire comes in
_ZEROS_LEFT_OUT = 0.9  # every second walk of <whole> is "zero"
_LENGTHS = {"s": (5, 3600), "min": (1, 90), "h": (1, 4)}  # that anybody sets a timer for
_FRAMED = 0.3  # 'it's', 'i'm reading'
_VERBED = 0.4  # 'is', 'reads', 'at'


def grammar_rules() -> Mapping[str, Expression]:
    """Return the packaged rules, linked, by qualified name."""
    return packaged_library().rules


def walked(expression: Expression, chance: Random) -> Words:
    """Return a random walk through an expression."""
    return sample(expression, chance.randrange, grammar_rules())


def is_of(rule: str, meaning: Meaning) -> bool:
    """Return whether a meaning is the rule's; after an emergency the all clear is a choice."""
    if rule == "commands.all-clear" and meaning == Choice("clear", "clear"):
        return True
    return rule_of(meaning) == rule


def _reading(chance: Random) -> Draw:
    moment = chance.choice(places.with_points())
    point = chance.choice(moment.scope.points)
    verb = (
        walked(grammar_rules()["companion.readings.verb"], chance) if _is(_VERBED, chance) else ()
    )
    words, meant = _value(places.span_of(moment, point.slug), point.others, chance)
    named = (*walked(phrase(chance.choice(point.names)), chance), *verb, *words)
    return moment, named, lambda m: isinstance(m, Reading) and m.point == point.slug and meant(m)


def _bare(chance: Random) -> Draw:
    moment = chance.choice(places.reading_awaited(damper_only=True))
    point = _awaited(moment)
    words, meant = _value(
        places.span_of(moment, point), places.vocabulary(moment, point).others, chance
    )
    return moment, (*_framed(chance), *words), _bare_meant(meant)


def _bare_meant(meant: Meant) -> Meant:
    return lambda m: isinstance(m, Reading) and not m.point and meant(m)


def _awaited(moment: Moment) -> str:
    assert moment.expect  # noqa: S101 - it was picked for expecting a reading
    return moment.expect.point


def _framed(chance: Random) -> Words:
    frames = ("it's", "it is", "it reads", "reads", "i'm reading", "i read", "i get", "i've got")
    return tuple(chance.choice(frames).split()) if _is(_FRAMED, chance) else ()


def _is(share: float, chance: Random) -> bool:
    return chance.random() < share


def _value(span: Span, others: Sequence[str], chance: Random) -> tuple[Words, Meant]:
    """Return a value in words, and what a meaning must hold to be it."""
    if _is(_SPECIAL.get(span.unit, 0.0), chance) or span.within()[0] > 9999:  # noqa: PLR2004 - beyond what is said
        words = walked(grammar_rules()["companion.readings.special"], chance)
        special = "open" if "open" in words else "over limit"
        return words, lambda m: isinstance(m, Reading) and m.special == special
    unit = chance.choice(others) if others and _is(0.15, chance) else ""
    return _measure(places.span_in(span, unit or span.unit), unit, chance)


def _measure(span: Span, unit: str, chance: Random) -> tuple[Words, Meant]:
    """Return a measure in words; a unit that is not the point's own is always said."""
    low, high = span.within()
    if span.outside() and _is(_OUTSIDE_LIMIT, chance):
        low, high = chance.choice(span.outside())
    value = value_in(low, high, span.places, chance)
    if not unit and _is(_UNIT_SAID, chance) and f"companion.units.{span.unit}" in grammar_rules():
        unit = span.unit
    said = chance.choice(ways_to_say(value))
    words = (*said, *(unit_words(unit, said, chance) if unit else ()))
    return words, lambda m: _holds(m, value, unit)


def _holds(meaning: Meaning, value: Exact, unit: str) -> bool:
    measure: Measure | None = getattr(meaning, "measure", None)
    return (
        measure is not None
        and Fraction(measure.value) == Fraction(value)
        and (measure.unit or "") == unit
    )


def bare_number(rule: str, chance: Random) -> Draw:
    """A number as the grammar walks it, as the reading that is awaited where all values are."""
    moment = chance.choice([m for m in places.reading_awaited() if m.scope.points])
    span = places.span_of(moment, _awaited(moment))
    words = finished(walked(grammar_rules()[f"companion.{rule}"], chance), span.unit)

    def plausible(meaning: Meaning) -> bool:
        measure = meaning.measure if isinstance(meaning, Reading) and not meaning.point else None
        is_dull = measure is not None and not measure.value and chance.random() < _ZEROS_LEFT_OUT
        if measure is None or is_dull:
            return False
        return span.within()[0] <= measure.value <= span.within()[1]

    return moment, words, plausible


def with_unit(unit: str, chance: Random) -> Draw:
    """A measure in a unit, where a reading or an input of that unit is awaited."""
    at = _unit_places(unit)
    moment, span = chance.choice(at)
    if unit == "gauge":
        value = Decimal(chance.choice(_GAUGES))
        span = places.Span(value, value, 0, unit)
    words, meant = _measure(places.span_in(span, unit), unit, chance)
    return moment, words, meant


def is_awaited(unit: str) -> bool:
    """Return whether a reading, or an asked input, is ever awaited in a unit."""
    return bool(_unit_places(unit))


@cache
def _unit_places(unit: str) -> tuple[tuple[Moment, Span], ...]:
    found = [
        (moment, places.span_of(moment, _awaited(moment)))
        for moment in places.reading_awaited()
        if unit in _units_of(moment)
    ]
    for moment in places.asking("measure", "count"):
        found += [(moment, span) for span in places.spans_asked(moment) if span.unit == unit]
    if unit == "gauge":
        gauges = places.asking("gauge")
        found += [
            (moment, places.Span(Decimal(_GAUGES[0]), Decimal(_GAUGES[-1]), 0, unit))
            for moment in gauges
        ]
    return tuple(found)


def _units_of(moment: Moment) -> tuple[str, ...]:
    point = places.vocabulary(moment, _awaited(moment))
    return (point.unit, *point.others)


def _correction(chance: Random) -> Draw:
    moment = chance.choice(places.after_reading())
    span = places.span_of(moment, places.last_point(moment))
    words, meant = _measure(span, "", chance)
    opening = chance.choice(
        ("make it", "make that", "change it to", "i meant", "correction", "i said", "it should be")
    )
    return (
        moment,
        (*opening.split(), *words),
        lambda m: is_of("readings.correction", m) and meant(m),
    )


def _recall(chance: Random) -> Draw:
    moment = chance.choice(places.with_points())
    point = chance.choice(moment.scope.points)
    opening = chance.choice(("what was the last", "what's the last", "recall the last", "last"))
    words = (*opening.split(), *walked(phrase(chance.choice(point.names)), chance))
    return moment, words, lambda m: m == Command("recall", point.slug)


def _answer(chance: Random) -> Draw:
    asking = [each for each in places.asking("measure", "count") if places.spans_asked(each)]
    moment = chance.choice(asking)
    words, meant = _measure(chance.choice(places.spans_asked(moment)), "", chance)
    opening = chance.choice(((), (), ("it's",), ("about",), ("it", "is")))
    return moment, (*opening, *words), lambda m: is_of("readings.answer", m) and meant(m)


def _size_answer(chance: Random) -> Draw:
    moment = chance.choice(places.asking("trade size"))
    words = walked(grammar_rules()["companion.readings.size-answer"], chance)
    return moment, words, lambda m: is_of("readings.size-answer", m)


def _change(chance: Random) -> Draw:
    """What about ninety feet: one measure of the question that was just answered."""
    moment = chance.choice([m for m in places.answered() if _changeable(m)])
    words, meant = _measure(chance.choice(_changeable(moment)), "", chance)
    opening = chance.choice(("what about", "how about", "what if it's", "and at", "and for"))
    if NUMBER_WORDS.issuperset(words):  # "and at ninety" has no unit
        opening = "what about"
    return moment, (*opening.split(), *words), lambda m: is_of("readings.change", m) and meant(m)


def _changeable(moment: Moment) -> tuple[Span, ...]:
    asked = moment.session.asked
    assert asked  # noqa: S101 - it was picked for an answered question
    inputs = (i for i in sizing.sizings()[asked.sizing].inputs if i.name in asked.given)
    return tuple(span for each in inputs for span in places.spans_of_input(each))


_MOVES = {
    "go-to": ("go to {}", "back to the {}", "take me to {}"),
    "what-answered": ("what did i answer on {}", "what was my answer for the {}"),
    "change-answer": ("change my answer on {}", "change the answer to the {}"),
    "recall-earlier": ("what was the last {}", "last {}", "read back the last {}"),
    "complaint": ("{}",),
}


def _move(frame: str, chance: Random) -> Draw:
    """A step, an earlier answer or a fault by its name, wherever it is live."""
    fields = {"go-to": "steps", "complaint": "faults", "recall-earlier": "logged"}
    field = fields.get(frame, "choices")
    moment = chance.choice([m for m in places.at_work() if getattr(m.scope, field)])
    slug, names = chance.choice(getattr(moment.scope, field).options)
    words = chance.choice(_MOVES[frame]).format(chance.choice(names)).split()
    command = {"complaint": "find-fault", "recall-earlier": "recall"}.get(frame, frame)
    return moment, tuple(words), lambda m: m == Command(command, slug)


def _set_timer(chance: Random) -> Draw:
    """A length of time that somebody waits, as its grammar walks it."""
    words = walked(grammar_rules()["companion.readings.set-timer"], chance)

    def fits(meaning: Meaning) -> bool:
        if not isinstance(meaning, TimerFor):
            return False
        shortest, longest = _LENGTHS[meaning.measure.unit or "s"]
        return shortest <= meaning.measure.value <= longest

    return chance.choice(places.at_work()), words, fits


FRAMES: Mapping[str, Callable[[Random], Draw]] = {
    "reading": _reading,
    "bare": _bare,
    "correction": _correction,
    "recall": _recall,
    "answer": _answer,
    "size-answer": _size_answer,
    "change": _change,
    "set-timer": _set_timer,
    **{frame: partial(_move, frame) for frame in _MOVES},
}
