"""Hypothesis strategies for JSGF: trees in the form that the parser makes of a text."""

from __future__ import annotations

from hypothesis import strategies as st

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
)

words = st.sampled_from(["go", "back", "o", "l", "can't", "volts", "a", "b"])
odd_tokens = st.sampled_from(["new york", 'say "ah"', "a/b", "c\\d", "x;y", "//", "é", "<", "p*"])
names = st.sampled_from(["number", "V", "voltage-drop", "companion.units.V"])
tags = st.sampled_from(["load", "material=aluminum", "a } b", "back\\slash", ""])
weights = st.one_of(st.none(), st.sampled_from(["1", "0.5", ".25", "2e3"]))


def _several(inner: st.SearchStrategy[Expression]) -> st.SearchStrategy[Expression]:
    some = st.lists(inner, min_size=2, max_size=3).map(tuple)
    return st.one_of(
        some.map(InOrder),
        some.map(OneOf),
        some.flatmap(_weighted),
        inner.map(Maybe),
        st.builds(Repeated, inner, st.integers(0, 1)),
        st.builds(Tagged, inner, tags),
    )


def _weighted(branches: tuple[Expression, ...]) -> st.SearchStrategy[Expression]:
    """Weights are kept only where at least one is given, as the parser does."""
    given_weights = st.lists(weights, min_size=len(branches), max_size=len(branches)).map(tuple)
    return given_weights.filter(any).map(lambda given: OneOf(branches, given))


plain_expressions: st.SearchStrategy[Expression] = st.recursive(
    st.one_of(words.map(Token), st.just(NULL)), _several, max_leaves=8
)
any_expressions: st.SearchStrategy[Expression] = st.recursive(
    st.one_of(
        words.map(Token), odd_tokens.map(Token), names.map(RuleRef), st.sampled_from([NULL, VOID])
    ),
    _several,
    max_leaves=12,
)
