"""JSGF, read: the W3C note 'JSpeech Grammar Format' (5 June 2000).

The parser is a hand-written recursive descent over a token scan. The format has five levels of
precedence and no ambiguity, so a parser library would bring a grammar of the same length, a
dependency at run time, and errors that speak of its own terminals; this one names the file, the
line and the column, and reads the six packaged files in a few milliseconds.

Three things are stricter or wider than the note:

- words are lower-cased when sentences are made of them (`Token.words`), because the recogniser
  works in lower case;
- an import may name a rule that is not public: here 'public' means that the rule can be said by
  itself, which a unit cannot;
- recursion is refused (`library.py`): everything must compile to a finite automaton.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from companion.errors import GrammarError
from companion.language.expressions import (
    NULL,
    VOID,
    Expression,
    Maybe,
    OneOf,
    Repeated,
    RuleRef,
    Tagged,
    Token,
    in_order,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

_RULE_NAME = r"[\w.$\-+:;,=|/\\()\[\]@#%!^&~']+"

_SCAN = re.compile(
    rf"""
      (?P<space>\s+|//[^\n]*|/\*.*?\*/)
    | (?P<rule><\s*{_RULE_NAME}(?:\.\*)?\s*>)
    | (?P<tag>\{{(?:\\.|[^\\}}])*\}})
    | (?P<quoted>"(?:\\.|[^"\\])*")
    | (?P<weight>/\s*(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?\s*/)
    | (?P<mark>[;=|*+()\[\]])
    | (?P<word>(?:(?!//|/\*)[^\s;=|*+<>()\[\]{{}}"])+)
    """,
    re.VERBOSE | re.DOTALL,
)
_HEADER = re.compile(
    r"\ufeff?#JSGF[ \t]+V(?P<version>\d+\.\d+)(?P<rest>(?:[ \t]+[^\s;]+){0,2})[ \t]*;"
)
_SPECIAL: dict[str, Expression] = {"NULL": NULL, "VOID": VOID}
_GRAMMAR_NAME = re.compile(r"[A-Za-z_][\w\-]*(?:\.[A-Za-z_][\w\-]*)*")


@dataclass(frozen=True, slots=True)
class Rule:
    """A rule of a grammar file; `line` (from 1) is where its name stands."""

    name: str
    expression: Expression
    public: bool = False
    line: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class GrammarFile:
    """A grammar file as read. `imports` are qualified: 'companion.units.*'.

    `encoding` and `locale` are the header's, '' where left out; `where` is the path or name that
    errors use.
    """

    name: str
    rules: Mapping[str, Rule]
    imports: tuple[RuleRef, ...] = ()
    encoding: str = ""
    locale: str = ""
    where: str = field(default="", compare=False)

    @property
    def public(self) -> tuple[Rule, ...]:
        """The rules that can be said by themselves, in the file's order."""
        return tuple(rule for rule in self.rules.values() if rule.public)


class _Piece(NamedTuple):
    """A token of the scan, with its place."""

    kind: str
    text: str
    line: int
    column: int


def parse(text: str, where: str = "<text>") -> GrammarFile:
    r"""Return the grammar that a JSGF text spells.

    Args:
        text: the whole file.
        where: what errors call it ('grammars/commands.jsgf').

    Raises:
        GrammarError: the text breaks a rule of the format; says file, line and column.

    >>> file = parse("#JSGF V1.0;\ngrammar companion.demo;\npublic <done> = [i'm] done;")
    >>> file.name, [rule.name for rule in file.public]
    ('companion.demo', ['done'])
    """
    header = _HEADER.match(text)
    if header is None:
        raise GrammarError(
            "The file does not begin with '#JSGF V1.0;'",
            "Make that its first line.",
            where=f"{where}:1:1",
        )
    encoding, locale = [*header["rest"].split(), "", ""][:2]
    parser = _Parser(_scan(text, header.end(), where), where)
    name, imports = parser.preamble()
    return GrammarFile(name, parser.rules(), imports, encoding, locale, where)


def parse_expression(text: str, where: str = "<text>") -> Expression:
    """Return the tree of one rule expansion, as it stands right of the '='.

    >>> parse_expression("go back | back up")
    OneOf(branches=(InOrder(items=(Token(text='go'), Token(text='back'))), \
InOrder(items=(Token(text='back'), Token(text='up')))), weights=())
    """
    parser = _Parser(_scan(text + "\n;", 0, where), where)
    expression = parser.alternatives()
    parser.expect(";")
    parser.expect_end()
    return expression


def _scan(text: str, start: int, where: str) -> list[_Piece]:
    """Cut the text into tokens with their places; comments and space fall away."""
    pieces: list[_Piece] = []
    at = start
    line, line_start = text.count("\n", 0, start) + 1, text.rfind("\n", 0, start) + 1
    while at < len(text):
        found = _SCAN.match(text, at)
        if found is None or found.lastgroup is None:
            raise GrammarError(
                f"{text[at]!r} cannot stand here{_unclosed(text[at])}",
                "Close it, or quote the word.",
                where=f"{where}:{line}:{at - line_start + 1}",
            )
        if found.lastgroup != "space":
            pieces.append(_Piece(found.lastgroup, found.group(), line, at - line_start + 1))
        if newlines := found.group().count("\n"):
            line += newlines
            line_start = at + found.group().rfind("\n") + 1
        at = found.end()
    pieces.append(_Piece("end", "the end of the file", line, at - line_start + 1))
    return pieces


def _unclosed(opener: str) -> str:
    names = {"<": "rule name", "{": "tag", '"': "quoted word", "/": "comment or weight"}
    return f": an open {names[opener]} has no end" if opener in names else ""


class _Parser:
    """Walks the tokens once; each method reads one construct of the note."""

    def __init__(self, pieces: list[_Piece], where: str) -> None:
        self._pieces, self._at, self._where = pieces, 0, where

    @property
    def _next(self) -> _Piece:
        return self._pieces[self._at]

    def _fault(self, problem: str, remedy: str, at: _Piece | None = None) -> GrammarError:
        piece = at or self._next
        return GrammarError(problem, remedy, where=f"{self._where}:{piece.line}:{piece.column}")

    def _take(self) -> _Piece:
        piece = self._next
        self._at += 1
        return piece

    def _is(self, *marks: str) -> bool:
        return self._next.kind in ("mark", "word") and self._next.text in marks

    def expect(self, mark: str) -> None:
        """Take the mark or say what stands there instead."""
        if not self._is(mark):
            raise self._fault(
                f"Expected '{mark}', found {self._next.text!r}", f"Put '{mark}' before it."
            )
        self._at += 1

    def expect_end(self) -> None:
        """Say so if anything is left."""
        if self._next.kind != "end":
            raise self._fault(f"{self._next.text!r} follows the end", "Take it out.")

    def preamble(self) -> tuple[str, tuple[RuleRef, ...]]:
        """Read the grammar's name and its imports."""
        if not self._is("grammar"):
            raise self._fault(
                f"Expected the grammar's name, found {self._next.text!r}",
                "Write 'grammar companion.NAME;' after the header.",
            )
        self._at += 1
        name = self._take()
        if not _GRAMMAR_NAME.fullmatch(name.text):
            raise self._fault(
                f"{name.text!r} is no name of a grammar", "Use letters, digits and dots.", name
            )
        self.expect(";")
        imports: list[RuleRef] = []
        while self._is("import"):
            self._at += 1
            imports.append(self._rule_name(imported=True))
            self.expect(";")
        return name.text, tuple(imports)

    def rules(self) -> dict[str, Rule]:
        """Read the rules to the end of the file."""
        rules: dict[str, Rule] = {}
        while self._next.kind != "end":
            start = self._next
            rule = self._rule()
            if rule.name in rules:
                raise self._fault(
                    f"Rule <{rule.name}> is defined twice, first on line {rules[rule.name].line}",
                    "Keep one of them.",
                    start,
                )
            rules[rule.name] = rule
        return rules

    def _rule(self) -> Rule:
        public = self._is("public")
        if public:
            self._at += 1
        if self._next.kind != "rule":
            raise self._fault(
                f"Expected a rule, found {self._next.text!r}",
                "Write '<name> = words;', and 'import' lines before the first rule.",
            )
        name = self._rule_name()
        if name.name in ("NULL", "VOID"):
            raise self._fault(
                f"<{name.name}> has its own meaning", "Choose another name.", self._behind()
            )
        self.expect("=")
        expression = self.alternatives()
        self.expect(";")
        return Rule(name.name, expression, public, name.line)

    def _behind(self) -> _Piece:
        return self._pieces[self._at - 1]

    def _rule_name(self, *, imported: bool = False) -> RuleRef:
        piece = self._take()
        name = piece.text[1:-1].strip()
        if piece.kind != "rule" or (imported and "." not in name):
            raise self._fault(
                f"Expected a qualified rule, found {piece.text!r}",
                "Write 'import <companion.units.*>;'.",
                piece,
            )
        if name.endswith("*") and not imported:
            raise self._fault(f"<{name}> stands for many rules", "Name one of them.", piece)
        return RuleRef(name, piece.line, piece.column)

    def alternatives(self) -> Expression:
        """Read branches with '|' between them."""
        weight, branch = self._weighted()
        weights, branches = [weight], [branch]
        while self._is("|"):
            self._at += 1
            weight, branch = self._weighted()
            weights.append(weight)
            branches.append(branch)
        if len(branches) == 1 and weights == [None]:
            return branches[0]
        return OneOf(tuple(branches), tuple(weights) if any(weights) else ())

    def _weighted(self) -> tuple[str | None, Expression]:
        weight = None
        if self._next.kind == "weight":
            weight = self._take().text[1:-1].strip()
        return weight, self._sequence()

    def _sequence(self) -> Expression:
        items: list[Expression] = []
        while self._next.kind in ("word", "quoted", "rule") or self._is("(", "["):
            items.append(self._postfix(self._item()))
        if not items:
            raise self._fault(
                f"Expected words, found {self._next.text!r}",
                "Write what is said; <NULL> stands for nothing.",
            )
        return in_order(*items)

    def _item(self) -> Expression:
        if self._is("(", "["):
            opener = self._take()
            inner = self.alternatives()
            self.expect(")" if opener.text == "(" else "]")
            return inner if opener.text == "(" else Maybe(inner)
        if self._next.kind == "rule":
            name = self._rule_name()
            return _SPECIAL.get(name.name, name)
        piece = self._take()
        if piece.kind == "quoted":
            text = re.sub(r"\\(.)", r"\1", piece.text[1:-1], flags=re.DOTALL)
            if not text.split():
                raise self._fault("A quoted word is empty", "Put the word inside.", piece)
            return Token(text)
        return Token(piece.text)

    def _postfix(self, item: Expression) -> Expression:
        """Read '*', '+' and tags behind an item; at most one of '*' and '+'."""
        repeated = False
        while self._is("*", "+") or self._next.kind == "tag":
            piece = self._take()
            if piece.kind == "tag":
                item = Tagged(item, re.sub(r"\\(.)", r"\1", piece.text[1:-1]).strip())
            elif repeated:
                raise self._fault(
                    f"'{piece.text}' follows another repetition", "Keep one of them.", piece
                )
            else:
                item, repeated = Repeated(item, 1 if piece.text == "+" else 0), True
        return item
