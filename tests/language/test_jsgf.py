"""The format is the W3C note 'JSpeech Grammar Format', 5 June 2000; sections are named beside."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from jsgf_strategies import any_expressions, plain_expressions

from companion.errors import GrammarError
from companion.language.expressions import (
    NULL,
    VOID,
    Expression,
    InOrder,
    Maybe,
    OneOf,
    Repeated,
    RuleRef,
    Tagged,
    Token,
    sample,
)
from companion.language.jsgf import (
    GrammarFile,
    Rule,
    parse,
    parse_expression,
)
from companion.language.jsgf_text import expression_text, to_text
from companion.packaged import packaged_folder

if TYPE_CHECKING:
    from pathlib import Path

HEAD = "#JSGF V1.0;\ngrammar companion.demo;\n"
A, B, C = Token("a"), Token("b"), Token("c")


@given(any_expressions)
def test_an_expression_printed_and_parsed_is_itself(expression: Expression) -> None:
    assert parse_expression(expression_text(expression)) == expression


@given(any_expressions, any_expressions)
def test_a_grammar_printed_and_parsed_is_itself(one: Expression, two: Expression) -> None:
    rules = {"one": Rule("one", one, public=True), "two": Rule("two", two)}
    imports = (RuleRef("companion.units.*"), RuleRef("companion.numbers.number"))
    file = GrammarFile("companion.demo", rules, imports, "UTF-8", "en")
    assert parse(to_text(file)) == file


@pytest.mark.parametrize("path", sorted(packaged_folder("grammars").glob("*.jsgf")), ids=str)
def test_every_packaged_grammar_survives_printing(path: Path) -> None:
    file = parse(path.read_text(encoding="utf-8"), path.name)
    assert file.name == f"companion.{path.stem}"
    assert parse(to_text(file)) == file


@pytest.mark.parametrize(
    ("text", "tree"),
    [
        # 4.2 composition: a sequence binds tighter than alternatives
        ("a b | c", OneOf((InOrder((A, B)), C))),
        ("a (b | c)", InOrder((A, OneOf((B, C))))),
        # 4.3 grouping: [] is optional
        ("[a b] c", InOrder((Maybe(InOrder((A, B))), C))),
        # 4.4 unary operators bind to what stands before them, tighter than a sequence
        ("a b*", InOrder((A, Repeated(B, 0)))),
        ("(a b)+", Repeated(InOrder((A, B)), 1)),
        # 4.5 tags, several on one thing, braces and backslashes escaped
        ("a b {x} {y}", InOrder((A, Tagged(Tagged(B, "x"), "y")))),
        (r"a {x \} y}", Tagged(A, "x } y")),
        # 4.2 weights
        ("/10/ a | /2.5/ b | c", OneOf((A, B, C), ("10", "2.5", None))),
        # 2.4 special rules
        ("a <NULL>", InOrder((A, NULL))),
        ("<VOID>", VOID),
        # 2.5 quoted tokens; 2.2 a rule name may be qualified
        ('"new york" a', InOrder((Token("new york"), A))),
        ("<companion.units.V>", RuleRef("companion.units.V")),
        # 2.6 comments may stand anywhere
        ("a // so\n | /* or\n so */ b", OneOf((A, B))),
    ],
)
def test_each_construct_is_read_as_the_note_says(text: str, tree: Expression) -> None:
    assert parse_expression(text) == tree


def test_header_name_imports_and_publicity_are_read() -> None:
    file = parse(
        "#JSGF V1.0 ISO8859-5 en;\n/** About it. */\ngrammar companion.demo;\n"
        "import <companion.units.*>;\nimport <companion.numbers.number>;\n"
        "<x> = a;\npublic <y> = <x>;\n"
    )
    assert (file.name, file.encoding, file.locale) == ("companion.demo", "ISO8859-5", "en")
    assert [name.name for name in file.imports] == ["companion.units.*", "companion.numbers.number"]
    assert [rule.name for rule in file.public] == ["y"]
    assert file.rules["y"].line == 7


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("grammar x;", "demo:1:1: The file does not begin with '#JSGF V1.0;'"),
        ("#JSGF V1.0;\n<a> = b;", "demo:2:1: Expected the grammar's name, found '<a>'"),
        ("#JSGF V1.0;\ngrammar 9x;", "demo:2:9: '9x' is no name of a grammar"),
        (HEAD + "<a> = b", "demo:3:8: Expected ';', found 'the end of the file'"),
        (HEAD + "<a> b;", "demo:3:5: Expected '=', found 'b'"),
        (HEAD + "<a> = ;", "demo:3:7: Expected words, found ';'"),
        (HEAD + "<a> = b |;", "demo:3:10: Expected words, found ';'"),
        (HEAD + "<a> = (b;", "demo:3:9: Expected ')', found ';'"),
        (HEAD + "<a> = b];", "demo:3:8: Expected ';', found ']'"),
        (HEAD + "<a> = b*+;", "demo:3:9: '+' follows another repetition"),
        (HEAD + "<a> = b {x;", "demo:3:9: '{' cannot stand here: an open tag has no end"),
        (HEAD + '<a> = "b;', "demo:3:7: '\"' cannot stand here: an open quoted word has no end"),
        (HEAD + '<a> = "";', "demo:3:7: A quoted word is empty"),
        (HEAD + "<a> = <b c>;", "demo:3:7: '<' cannot stand here: an open rule name has no end"),
        (HEAD + "<a> = b;\n<a> = c;", "demo:4:1: Rule <a> is defined twice, first on line 3"),
        (HEAD + "<NULL> = b;", "demo:3:1: <NULL> has its own meaning"),
        (HEAD + "<a> = <b.*>;", "demo:3:7: <b.*> stands for many rules"),
        (HEAD + "import <units>;", "demo:3:8: Expected a qualified rule, found '<units>'"),
        (HEAD + "<a> = b;\nimport <x.y>;", "demo:4:1: Expected a rule, found 'import'"),
    ],
)
def test_an_error_says_where_and_what(text: str, message: str) -> None:
    with pytest.raises(GrammarError) as caught:
        parse(text, "demo")
    assert str(caught.value).startswith(message)
    assert caught.value.remedy.endswith((".", "'."))


def test_an_expression_ends_where_it_ends() -> None:
    with pytest.raises(GrammarError, match="follows the end"):
        parse_expression("a; b")


@given(plain_expressions)
def test_tokens_are_kept_as_written_and_said_in_lower_case(expression: Expression) -> None:
    said = sample(expression, lambda n: n - 1 if n > 2 else 0)
    assert all(word == word.lower() for word in said)
    assert Token("New York").words == ("new", "york")
