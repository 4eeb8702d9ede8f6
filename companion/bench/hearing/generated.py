"""Sentences driven by the grammars: every public rule and every option, each where it is at home.

Words are random walks through the rule's own expression; readings and other measures take a value
that is natural at the moment (inside its plausible range and its limit, one in ten outside the
limit) and say it in one of the ways of the trade. A sentence is kept only where the moment's
language gives it the meaning that was intended.
"""

from __future__ import annotations

from functools import cache
from itertools import cycle, islice
from random import Random
from typing import TYPE_CHECKING

from companion import sizing
from companion.bench.hearing import places
from companion.bench.hearing.case import Case
from companion.bench.hearing.drawing import (
    FRAMES,
    bare_number,
    grammar_rules,
    is_awaited,
    is_of,
    walked,
    with_unit,
)
from companion.bench.hearing.labels import public_rules
from companion.bench.hearing.moments import moments
from companion.bench.hearing.saying import value_in, ways_to_say
from companion.dialogue.questions import fits
from companion.language.compose import compose
from companion.language.expressions import OneOf, phrase, sample
from companion.language.library import packaged_library
from companion.language.meanings import Choice, Command, Question

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from companion.bench.hearing.case import Moment
    from companion.bench.hearing.drawing import Draw, Words
    from companion.language.expressions import Expression
    from companion.language.meanings import Meaning

_MOST_DRAWS = 400
_MOST_WORDS = 22  # one breath
# The measures of a job, as often as they come: a reading is what may not go wrong.
_MEASURED = tuple(
    f"readings.{rule}"
    for rule in ("reading", "bare", "reading", "bare", "correction", "answer", "change")
)


def generated(count: int, seed: int, speakers: Sequence[str]) -> list[Case]:
    """Return cases: each rule once, then by turns a measure and one of all other rules.

    The first cases of a longer list are those of a shorter one of the same seed and speakers.

    Args:
        count: how many; never fewer than there are rules.
        seed: another seed gives other sentences.
        speakers: names of synthetic speakers; each rule goes through all of them in turn.
    """
    rules = generated_rules()
    dealt = islice(_schedule(rules), max(count, len(rules)))
    return [
        _case(place, rule, nth, seed, speakers[(rules.index(rule) + nth) % len(speakers)])
        for place, (rule, nth) in enumerate(dealt)
    ]


@cache
def generated_rules() -> tuple[str, ...]:
    """Return what is covered: public rules, 'choices.SLUG.OPTION', 'attention.wake'.

    A unit that is only said inside a question has no sentence of its own.
    Of the states and provinces there are too many for each to come in turn: 'choices.region'.
    """
    options = {
        f"choices.{choice.slug}" + ("" if choice.slug == "region" else f".{option}"): None
        for moment in moments().values()
        if (choice := moment.scope.choice) is not None
        for option, _ in choice.options
    }
    rules = (
        rule
        for rule in public_rules()
        if not rule.startswith("units.") or is_awaited(rule.removeprefix("units."))
    )
    return (*rules, "attention.wake", *options)


def _schedule(rules: Sequence[str]) -> Iterator[tuple[str, int]]:
    """Yield (rule, how often it came before): all once, then measures and others by turns."""
    yield from ((rule, 0) for rule in rules)
    others = [rule for rule in rules if rule not in _MEASURED]
    seen = dict.fromkeys(rules, 0)
    for pair in zip(cycle(_MEASURED), cycle(others), strict=True):
        for rule in pair:
            seen[rule] += 1
            yield rule, seen[rule]


def _case(place: int, rule: str, nth: int, seed: int, speaker: str) -> Case:
    chance = Random(f"{seed} {rule} {nth}")  # noqa: S311 - a seeded corpus is no secret
    draw = _drawer(rule)
    for _ in range(_MOST_DRAWS):
        moment, words, meant = draw(chance)
        if len(words) <= _MOST_WORDS and any(map(meant, _meanings(moment, words))):
            name = f"generated-{seed}-{place:04}-{speaker.replace(':', '_')}"
            return Case(name, "generated", moment.name, words, True, speaker, rule=rule)  # noqa: FBT003 - addressed
    raise AssertionError(f"no sentence of {rule} is live where it is at home")


def _meanings(moment: Moment, words: Words) -> tuple[Meaning, ...]:
    return compose(moment.scope).interpret(words)


def _drawer(rule: str) -> Callable[[Random], Draw]:  # noqa: PLR0911 - one return for each kind of rule
    kind, _, name = rule.partition(".")
    match kind:
        case "emergency":
            return lambda chance: _from_rule(rule, places.for_emergency(), chance)
        case "commands":
            return lambda chance: _from_rule(rule, places.for_command(name), chance)
        case "questions":
            return lambda chance: _question(name, chance)
        case "attention":
            return _attention
        case "choices":
            return lambda chance: _choice(*name.split("."), chance=chance)
        case "numbers":
            return lambda chance: bare_number(rule, chance)
        case "units":
            return lambda chance: with_unit(name, chance)
        case _:
            return FRAMES[name]


# ---------------------------------------------------------------- sentences without measures


def _from_rule(rule: str, at: Sequence[Moment], chance: Random) -> Draw:
    words = walked(grammar_rules()[f"companion.{rule}"], chance)
    return chance.choice(at), words, lambda meaning: is_of(rule, meaning)


def _attention(chance: Random) -> Draw:
    moment = chance.choice(places.asleep())
    words = walked(phrase(moment.scope.attention), chance)
    return moment, words, lambda meaning: meaning == Command("wake")


def _choice(slug: str, option: str = "", *, chance: Random) -> Draw:
    moment = chance.choice(places.with_choice(slug))
    assert moment.scope.choice  # noqa: S101 - it was picked for having one
    options = dict(moment.scope.choice.options)
    picked = option or chance.choice(sorted(options))
    words = walked(phrase(chance.choice(options[picked])), chance)
    return moment, words, lambda meaning: meaning == Choice(slug, picked)


def _question(slug: str, chance: Random) -> Draw:
    """A question whose numbers, in most walks, are such as the sizing holds for."""
    rules = dict(grammar_rules())
    if chance.random() < 0.8:  # noqa: PLR2004 - the grammar's own numbers now and then
        rules["companion.numbers.number"] = _likely(slug, 1, chance)
        rules["companion.numbers.whole"] = _likely(slug, 0, chance)
    asked = packaged_library().family("companion.questions")[slug]
    words = sample(rules[asked], chance.randrange, rules)

    def meant(meaning: Meaning) -> bool:
        return (
            isinstance(meaning, Question) and meaning.sizing == slug and fits(slug, meaning.inputs)
        )

    return chance.choice(places.at_work()), words, meant


def _likely(slug: str, tenths: int, chance: Random) -> Expression:
    """Return ways to say numbers from the ranges of a sizing's inputs."""
    spans = [s for i in sizing.sizings()[slug].inputs for s in places.spans_of_input(i)]
    values = [
        value_in(span.low, min(span.high, span.low + 400), min(tenths, span.places), chance)
        for span in spans * 2
    ]
    said = [words for value in values for words in ways_to_say(value)] or [("eighteen",)]
    return OneOf(tuple(phrase(" ".join(words)) for words in said))
