"""Every rule that can be said has its phrases, and takes no other rule's.

The phrases are data: one TOML file a grammar, one table a public rule. `says` and `means` list
what must be understood (with what the sentence names), `not` what must not be.
"""

from __future__ import annotations

import random
import re
import time
import tomllib
from collections import Counter
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

from companion.language import pieces, sentences
from companion.language.automata import Compiler
from companion.language.compose import compose
from companion.language.expressions import OneOf, phrase, rewrite, sample, tokens
from companion.language.library import packaged_library
from companion.language.meanings import (
    Change,
    Command,
    Correction,
    Emergency,
    Meaning,
    Measure,
    Question,
    Reading,
    TimerFor,
    Value,
)
from companion.ports import PointVocabulary, Scope
from companion.procedures import procedures

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.language.expressions import Expression, RuleRef

    _Named = dict[str, Any] | list[dict[str, Any]]

# Numbers and units have no sentences of their own; tests/test_numbers.py goes through them. Those
# of everyday talk mean nothing, and those of moves are made of a job's names: test_compose.py and
# the dialogue's tests.
GRAMMARS = sorted(
    {name.removeprefix("companion.") for name in packaged_library().files}
    - {"numbers", "units", "everyday", "moves"}
)
QUESTION_GRAMMARS = [name for name in GRAMMARS if name.startswith("questions")]
FOLDER = Path(__file__).parent

POINTS = (
    PointVocabulary("supply-static", ("supply static", "supply"), "inH2O", ("Pa",), awaited=True),
    PointVocabulary("primary-voltage", ("primary", "line voltage"), "V"),
    PointVocabulary("return-temperature", ("return temperature",), "degF"),
)
STEP = Scope("step", points=POINTS)
QUESTIONS = Scope("questions", commands=False)
_SAMPLES = 150
ASKED = {
    "readings.answer": Scope("input", asking_kind="measure", asking_units=("ft",)),
    "readings.size-answer": Scope("input", asking_kind="trade size"),
}


def _tables(grammar: str) -> dict[str, dict[str, Any]]:
    text = (FOLDER / f"{grammar}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _all(key: str) -> Iterator[tuple[str, str, Any]]:
    """Yield (subject.rule, sentence, what it names) from every table."""
    for grammar in GRAMMARS:
        subject = "questions" if grammar in QUESTION_GRAMMARS else grammar
        for rule, table in _tables(grammar).items():
            said = table.get(key, [])
            named = said if isinstance(said, dict) else {sentence: {} for sentence in said}
            yield from ((f"{subject}.{rule}", sentence, names) for sentence, names in named.items())


def _rule_and_names(  # noqa: C901, PLR0911 - one return for each kind of meaning
    meaning: Meaning,
) -> tuple[str, dict[str, Any]]:
    """Return the rule that a meaning comes from, and what the sentence named."""
    match meaning:
        case Emergency(hazard):
            return f"emergency.{hazard}", {}
        case Command("recall", point):
            return "readings.recall", {"point": point}
        case Command(name, point):
            return f"commands.{name}", {"point": point} if point else {}
        case Reading(point, measure, special):
            rule = "readings.reading" if point else "readings.bare"
            named = {"point": point, "special": special, **_measured(measure)}
            return rule, {key: value for key, value in named.items() if value}
        case Correction(measure):
            return "readings.correction", _measured(measure)
        case Change(measure):
            return "readings.change", _measured(measure)
        case Value(None, word):
            return "readings.size-answer", {"size": word}
        case Value(measure):
            return "readings.answer", _measured(measure)
        case TimerFor(measure, name):
            return "readings.set-timer", {**_measured(measure), **({"name": name} if name else {})}
        case Question(sizing, inputs):
            return f"questions.{sizing}", {name: _given(value) for name, value in inputs.items()}
    raise AssertionError(meaning)


def _measured(measure: Measure | None) -> dict[str, str]:
    if measure is None:
        return {}
    unit = {} if measure.unit is None else {"unit": measure.unit}
    return {"value": str(measure.value), **unit}


def _given(value: Measure | str | tuple[Measure, ...]) -> str | list[str]:
    match value:
        case Measure(number, unit):
            return f"{number} {unit}" if unit else str(number)
        case str():
            return value
        case _:
            return [str(_given(each)) for each in value]


def _understood(rule: str, said: str) -> list[tuple[str, dict[str, Any]]]:
    scope = ASKED.get(rule, STEP)
    return [_rule_and_names(meaning) for meaning in compose(scope).interpret(said.split())]


@pytest.mark.parametrize(("rule", "said", "named"), [*_all("says"), *_all("means")])
def test_a_phrase_means_its_rule_and_nothing_else(rule: str, said: str, named: _Named) -> None:
    expected = named if isinstance(named, list) else [named]
    assert _understood(rule, said) == [(rule, names) for names in expected]


@pytest.mark.parametrize(("rule", "said", "named"), list(_all("not")))
def test_what_is_not_a_rules_phrase_does_not_mean_it(rule: str, said: str, named: _Named) -> None:
    assert not named
    assert rule not in [found for found, _ in _understood(rule, said)]


# ---------------------------------------------------------------- gates over all grammars


@pytest.mark.parametrize("grammar", GRAMMARS)
def test_every_public_rule_has_its_phrases_and_every_table_its_rule(grammar: str) -> None:
    public = {rule.name for rule in packaged_library().files[f"companion.{grammar}"].public}
    tables = _tables(grammar)
    assert set(tables) == public
    for rule, table in tables.items():
        assert set(table) <= {"says", "means", "not"}, rule
        assert table.get("says") or table.get("means"), rule
        assert table["not"], rule


def _without_measures(grammar: str) -> dict[str, Expression]:
    """Public rules, with numbers and units left as one made-up word each."""
    rules = packaged_library().rules

    def fill(ref: RuleRef) -> Expression:
        if ref.name.startswith(("companion.numbers.", "companion.units.", "companion.moment.")):
            return phrase("measure")
        return rewrite(rules[ref.name], fill)

    return {
        name: rewrite(tree, fill)
        for name, tree in packaged_library().public(f"companion.{grammar}").items()
    }


@pytest.mark.parametrize("grammar", ["emergency", "commands", "readings"])
def test_the_phrases_use_every_word_of_their_rule(grammar: str) -> None:
    unused: dict[str, set[str]] = {}
    for rule, tree in _without_measures(grammar).items():
        table = _tables(grammar)[rule]
        said = {
            word for s in [*table.get("says", []), *table.get("means", {})] for word in s.split()
        }
        words = {word for token in tokens(tree) for word in token.words} - {"measure"}
        if words - said:
            unused[rule] = words - said
    assert unused == {}


def _scoped_rules() -> dict[str, Expression]:
    """Every rule that can be said in the step's scope, by grammar and name."""
    library = packaged_library()
    rules = {
        f"{grammar}.{name}": tree
        for grammar in ("emergency", "commands", *QUESTION_GRAMMARS)
        for name, tree in library.public(f"companion.{grammar}").items()
    }
    for frame in ("reading", "recall", "bare", "correction", "change"):
        rules[f"readings.{frame}"] = pieces.frame(
            frame,
            phrase("supply static"),
            ("inH2O", "Pa"),
        )
    return rules


def test_no_rule_takes_another_rules_sentence() -> None:
    compiler = Compiler(packaged_library().rules)
    compiled = {name: compiler.compile(tree) for name, tree in _scoped_rules().items()}
    taken = {
        (one, other): " ".join(both)
        for one, other in combinations(compiled, 2)
        if (both := sentences.shared(compiled[one], compiled[other])) is not None
    }
    assert taken == {}


@pytest.mark.parametrize("slug", sorted(procedures()))
def test_no_test_point_of_a_procedure_takes_another_sentence(slug: str) -> None:
    compiler = Compiler(packaged_library().rules)
    others = {name: compiler.compile(tree) for name, tree in _scoped_rules().items()}
    for frame in ("reading", "recall"):
        del others[f"readings.{frame}"]
    points = {
        f"{frame} of {point.slug}": compiler.compile(
            pieces.frame(
                frame,
                OneOf(tuple(phrase(name) for name in point.names)),
                (point.unit, *point.others),
            )
        )
        for point in procedures()[slug].points.values()
        for frame in ("reading", "recall")
    }
    pairs = [*combinations(points, 2), *((one, other) for one in points for other in others)]
    compiled = points | others
    taken = {
        (one, other): " ".join(both)
        for one, other in pairs
        if (both := sentences.shared(compiled[one], compiled[other])) is not None
    }
    assert taken == {}


def test_a_question_means_one_thing() -> None:
    """Numbers may stand side by side in a question; then only one cut between them may hold.

    'Mixed air' is let off where a temperature is no temperature: "point four twenty two hundred".
    """
    library = packaged_library()
    chosen = random.Random(2026)  # noqa: S311 - sentences for a test are no secret
    several: Counter[str] = Counter()
    for slug, rule in library.family("companion.questions").items():
        tree = library.rules[rule]
        for _ in range(_SAMPLES):
            said = sample(tree, chosen.randrange, library.rules)
            meanings = compose(QUESTIONS).interpret(said)
            assert meanings, said
            several[slug] += len(meanings) > 1
    assert several.pop("mixed-air") < 0.02 * _SAMPLES
    assert not +several


def test_a_sentence_is_understood_in_the_blink_of_an_eye() -> None:
    language = compose(STEP)
    all_said = [said.split() for _, said, _ in (*_all("says"), *_all("means"))]
    start = time.process_time()
    for said in all_said:
        language.interpret(said)
    took_s = time.process_time() - start
    assert took_s / len(all_said) < 0.005  # 5 ms each; about 0.1 ms when this was written


def test_the_words_can_be_spelled_by_a_recogniser() -> None:
    """Lower-case letters and an apostrophe inside: what the models' token tables spell."""
    odd = {
        word
        for part in compose(STEP).grammar.parts
        for word in sentences.vocabulary(part)
        if not re.fullmatch(r"[a-z]+('[a-z]+)?", word)
    }
    assert odd == set()


def test_a_commands_denial_is_heard_as_itself() -> None:
    """A sentence beside its denial: without the second, 'not' would be bent away."""
    language = compose(replace(STEP, questions=False))
    for said, denied in [
        ("i'm done", "i'm not done"),
        ("confirmed", "not confirmed"),
        ("i'm clear", "i'm not clear"),
        ("skip it", "don't skip it"),
        ("call it off", "don't call it off"),
    ]:
        yes, no = language.interpret(said.split()), language.interpret(denied.split())
        assert len(yes) == len(no) == 1
        assert yes != no
