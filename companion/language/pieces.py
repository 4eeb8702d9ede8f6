"""The parts that a scope's grammar is put together from, each compiled once, when it is needed.

A piece is a set of sentences with what they mean: its automaton goes to the recogniser, its readers
turn the words that come back into meanings. The large pieces (questions, commands) are the same at
every step; the small ones are made of the scope's test points and choice. All are kept by what
they are made of, so a step seen before costs nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache, cached_property, lru_cache
from typing import TYPE_CHECKING, TypeAlias

from companion.language import automata, sentences
from companion.language.expressions import (
    VOID,
    Expression,
    OneOf,
    RuleRef,
    one_of,
    phrase,
    references,
    rewrite,
    tokens,
)
from companion.language.library import packaged_library
from companion.language.matching import Captures, Matcher, MatcherMaker, Slot
from companion.language.meanings import (
    Change,
    Choice,
    Command,
    Correction,
    Emergency,
    Meaning,
    Measure,
    Question,
    Reading,
    Talk,
    TimerFor,
    Value,
)
from companion.language.slots import inputs, measure, slot_text, word_value

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping, Sequence

    from companion.ports import Automaton, ChoiceVocabulary, PointVocabulary

_Words: TypeAlias = "Sequence[str]"
_Mean: TypeAlias = "Callable[[_Words, Captures], Meaning | None]"

_NUMBERS, _UNITS = "companion.numbers", "companion.units"
_KEPT_SCOPES = 256


@dataclass(frozen=True, eq=False)
class Piece:
    """Sentences and what they mean.

    The automaton, which a recogniser needs, is compiled when it is asked for: reading needs none.
    `parts` are expressions with what each means, tried in order on every sentence.
    """

    name: str
    parts: tuple[tuple[Expression, _Mean], ...]

    @cached_property
    def automaton(self) -> Automaton:
        """The sentences of all parts together."""
        return _compiler().compile(OneOf(tuple(expression for expression, _ in self.parts)))

    def adopt(self, automaton: Automaton) -> None:
        """Take an automaton that was compiled of the same sentences before."""
        self.__dict__["automaton"] = automaton

    @cached_property
    def digest(self) -> str:
        """Changes when a sentence does."""
        return sentences.digest((self.automaton,))

    @cached_property
    def vocabulary(self) -> frozenset[str]:
        """Every word that a part holds."""
        return frozenset[str]().union(*(words_of(part) for part, _ in self.parts))

    @cached_property
    def _readers(self) -> tuple[tuple[Matcher, _Mean], ...]:
        return tuple((_maker().make(expression), mean) for expression, mean in self.parts)

    def meanings(self, words: _Words) -> Iterable[Meaning]:
        """Yield what the words mean here; nothing where they are no sentence."""
        compiled = self.__dict__.get("automaton")
        is_sentence = (
            self.vocabulary.issuperset(words)
            if compiled is None
            else sentences.accepts(compiled, words)
        )
        if not is_sentence:
            return
        for matcher, mean in self._readers:
            for captures in matcher.matches(words):
                meaning = mean(words, captures)
                if meaning is not None:
                    yield meaning


@cache
def _compiler() -> automata.Compiler:
    return automata.Compiler(packaged_library().rules)


@cache
def _maker() -> MatcherMaker:
    return MatcherMaker(packaged_library().rules, _compiler().rule, (_NUMBERS, _UNITS))


def words_of(expression: Expression) -> frozenset[str]:
    """Return every word of an expression of the packaged rules, those of rules it names too."""
    found = frozenset(word for token in tokens(expression) for word in token.words)
    return found.union(*(_words_of_rule(ref.name) for ref in references(expression)))


@cache
def _words_of_rule(name: str) -> frozenset[str]:
    return words_of(packaged_library().rules[name])


def _piece(name: str, parts: Iterable[tuple[Expression, _Mean]]) -> Piece:
    """Put the expressions together; each keeps its own meaning."""
    return Piece(name, tuple(parts))


# ---------------------------------------------------------------- the same at every step


@cache
def emergency() -> Piece:
    """Return the words that drop everything."""
    rules = packaged_library().public("companion.emergency")
    return _piece("emergency", ((rule, _always(Emergency(name))) for name, rule in rules.items()))


@cache
def commands() -> Piece:
    """Return the commands; a skip's reason, a note's number or what is timed in `point`."""
    rules = packaged_library().public("companion.commands")
    return _piece("commands", ((rule, _command(name)) for name, rule in rules.items()))


@cache
def everyday() -> Piece:
    """Return the words of everyday talk that sound like a command or an answer."""
    rules = packaged_library().public("companion.everyday")
    return _piece("everyday", ((rule, _always(Talk())) for rule in rules.values()))


@cache
def denials() -> Piece:
    """Return the ways to say no, for a scope with a choice and no commands.

    After an emergency "I'm clear" is all that is waited for; "I'm not clear" must not be bent
    to it for want of a sentence of its own.
    """
    rules = packaged_library().public("companion.commands")
    return _piece("denials", [(rules["no"], _always(Command("no")))])


@cache
def questions() -> Piece:
    """Return the sizing questions."""
    library = packaged_library()
    rules = library.family("companion.questions")
    return _piece("questions", ((library.rules[at], _question(rule)) for rule, at in rules.items()))


@cache
def follow_ups() -> Piece:
    """Return 'what about ninety feet': the last question with one thing changed."""
    return _piece("follow-ups", [(frame("change"), _measured(Change))])


@cache
def corrections() -> Piece:
    """Return 'make it one ninety', with any unit, since the last reading may be of any kind."""
    return _piece("corrections", [(frame("correction"), _measured(Correction))])


@cache
def timers() -> Piece:
    """Return 'remind me in ten minutes'."""
    return _piece("timers", [(frame("set-timer"), _timer)])


def _timer(words: _Words, captures: Captures) -> Meaning | None:
    seconds = word_value(captures, "seconds")
    said = Measure(Decimal(seconds), "s") if seconds else measure(words, _inside(captures))
    return None if said is None else TimerFor(said, word_value(captures, "timed"))


def _always(meaning: Meaning) -> _Mean:
    return lambda _words, _captures: meaning


def _command(name: str) -> _Mean:
    def mean(words: _Words, captures: Captures) -> Meaning:
        said = (slot_text(words, captures, slot) for slot in ("reason", "which"))
        return Command(name, next(filter(None, said), "") or word_value(captures, "timed"))

    return mean


def _question(name: str) -> _Mean:
    def mean(words: _Words, captures: Captures) -> Meaning | None:
        given = inputs(words, captures)
        return None if given is None else Question(name, given)

    return mean


def _measured(kind: Callable[..., Correction | Change]) -> _Mean:
    def mean(words: _Words, captures: Captures) -> Meaning | None:
        said = measure(words, _inside(captures))
        return None if said is None else kind(said)

    return mean


# ---------------------------------------------------------------- made of the scope


@lru_cache(maxsize=_KEPT_SCOPES)
def attention(text: str) -> Piece:
    """Return the phrase that wakes it."""
    return _piece("attention", [(phrase(text), _always(Command("wake")))])


@lru_cache(maxsize=_KEPT_SCOPES)
def readings(points: tuple[PointVocabulary, ...]) -> Piece:
    """Return the readings of the points, the bare values of awaited ones, and their recall."""
    parts: list[tuple[Expression, _Mean]] = []
    for point in points:
        names = OneOf(tuple(phrase(name) for name in point.names))
        units = (point.unit, *point.others)
        parts.append((frame("reading", names, units), _reading(point.slug)))
        parts.append((frame("recall", names, units), _always(Command("recall", point.slug))))
    awaited = [unit for point in points if point.awaited for unit in (point.unit, *point.others)]
    if awaited:
        parts.append((frame("bare", VOID, tuple(dict.fromkeys(awaited))), _reading("")))
    return _piece("readings", parts)


@lru_cache(maxsize=_KEPT_SCOPES)
def choice(asked: ChoiceVocabulary) -> Piece:
    """Return the options of a choice."""
    return _piece(
        f"choice {asked.slug}",
        (
            (one_of(*(phrase(name) for name in names)), _always(Choice(asked.slug, option)))
            for option, names in asked.options
        ),
    )


@lru_cache(maxsize=_KEPT_SCOPES)
def answers(kind: str, units: tuple[str, ...]) -> Piece:
    """Return the bare answers to what was asked.

    Args:
        kind: 'yes or no', 'trade size' and 'reason' (of a skip) are answered with words, 'gauge'
            with a number, its unit understood, all else with a number in one of the units.
        units: unit slugs that may be named; none for a count.
    """
    if kind == "yes or no":
        rules = packaged_library().public("companion.commands")
        return _piece(kind, ((rules[word], _always(Value(None, word))) for word in ("yes", "no")))
    if kind == "reason":
        reason = packaged_library().rules["companion.commands.reason"]
        return _piece(kind, [(reason, lambda words, _: Value(None, " ".join(words)))])
    if kind == "trade size":
        return _piece(kind, [(frame("size-answer"), _size)])
    if kind == "gauge":
        units = tuple(dict.fromkeys((*units, "gauge")))
    return _piece(f"answer {kind}", [(frame("answer", VOID, units), _value)])


@lru_cache(maxsize=_KEPT_SCOPES)
def named(frame_name: str, places: ChoiceVocabulary, command: str = "") -> Piece:
    """Return the sentences of a frame of moves.jsgf that name a place, its slug as the detail.

    Args:
        frame_name: 'go-to', 'what-answered', 'change-answer' or 'complaint'.
        places: what may be named, each by its slug.
        command: what they mean; the command that is called as the frame unless given.
    """
    rule = packaged_library().rules[f"companion.moves.{frame_name}"]

    def filled(names: Expression) -> Expression:
        moment = "companion.moment.name"
        return rewrite(rule, lambda ref: names if ref.name == moment else ref)

    return _piece(
        f"{frame_name} {places.slug}",
        (
            (
                filled(one_of(*(phrase(name) for name in names))),
                _always(Command(command or frame_name, slug)),
            )
            for slug, names in places.options
        ),
    )


def _size(_words: _Words, captures: Captures) -> Meaning:
    return Value(None, word_value(captures, "size"))


def _value(words: _Words, captures: Captures) -> Meaning | None:
    said = measure(words, _inside(captures))
    return None if said is None else Value(said)


def _reading(slug: str) -> _Mean:
    def mean(words: _Words, captures: Captures) -> Meaning | None:
        special = word_value(captures, "special")
        if special:
            return Reading(slug, None, special)
        said = measure(words, _inside(captures))
        return None if said is None else Reading(slug, said)

    return mean


def _inside(captures: Captures) -> Captures:
    return next((c.inside for c in captures if isinstance(c, Slot)), ())


def frame(name: str, point: Expression = VOID, units: tuple[str, ...] = ()) -> Expression:
    """Return a frame of readings.jsgf with the moment's names and units put in."""
    rules = packaged_library().rules
    every = tuple(rule for rule in rules if rule.startswith(f"{_UNITS}."))
    filled: Mapping[str, Expression] = {
        "companion.moment.point": point,
        "companion.moment.unit": _units(f"{_UNITS}.{unit}" for unit in units),
        "companion.moment.any-unit": _units(every),
    }

    def fill(ref: RuleRef) -> Expression:
        if ref.name in filled:
            return filled[ref.name]
        if ref.name.startswith("companion.readings."):
            return rewrite(rules[ref.name], fill)
        return ref

    return rewrite(rules[f"companion.readings.{name}"], fill)


def _units(names: Iterable[str]) -> Expression:
    """Return any of the units; one without a rule ('count') is never named."""
    rules = packaged_library().rules
    return OneOf(tuple(RuleRef(name) for name in names if name in rules))
