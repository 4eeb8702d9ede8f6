"""The schedule of rounds, as properties over the cases and how many rounds there are."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from companion.bench.hearing.case import Case
from companion.bench.hearing.moments import moment, moments
from companion.bench.hearing.rounds import ACROSS_THE_ROOM_DB, STANDING_BY, in_rounds, waiting
from companion.bench.hearing.written import remark_cases
from companion.language.compose import compose

ADDRESSED = Case("own-1", "own", "lock-out.doing", ("done",), addressed=True, speaker="flite:slt")
TALK = replace(ADDRESSED, id="talk-1", words=("point", "taken"), addressed=False)
REMARKS = remark_cases(["flite:slt"])
remark = st.builds(replace, st.sampled_from(REMARKS), id=st.text("abc-123", min_size=1))
rounds = st.integers(2, 40)


@settings(deadline=None)  # the first call walks the whole job
@given(remark, st.integers(1, 9))
def test_what_is_addressed_is_heard_once_and_as_it_is(talk: Case, count: int) -> None:
    found = in_rounds([ADDRESSED, talk], count)
    assert found[0] == ADDRESSED
    assert len(found) == 1 + count


@settings(deadline=None)  # the first call walks the whole job
@given(remark)
def test_one_round_is_the_case_itself(talk: Case) -> None:
    assert in_rounds([talk], 1) == [talk]


@settings(deadline=None)  # the first call walks the whole job
@given(remark, rounds)
def test_each_round_is_named_and_said_in_the_same_manner(talk: Case, count: int) -> None:
    found = in_rounds([talk], count)
    assert [each.id for each in found] == [f"{talk.id}-round{n}" for n in range(1, count + 1)]
    assert [each.round for each in found] == list(range(1, count + 1))
    assert {each.spoken for each in found} == {talk.spoken} == {talk.id}
    assert {each.words for each in found} == {talk.words}


@settings(deadline=None)  # the first call walks the whole job
@given(remark, rounds)
def test_more_rounds_go_on_where_fewer_ended(talk: Case, count: int) -> None:
    assert in_rounds([talk], count + 3)[:count] == in_rounds([talk], count)


@settings(deadline=None)  # the first call walks the whole job
@given(remark, rounds, st.data())
def test_the_rounds_before_the_first_wanted_are_left_out_with_what_is_addressed(
    talk: Case, count: int, data: st.DataObject
) -> None:
    first = data.draw(st.integers(2, count))
    found = in_rounds([ADDRESSED, talk], count, first)
    assert found == in_rounds([talk], count)[first - 1 :]


@settings(deadline=None)  # the first call walks the whole job
@given(remark, st.integers(1, 20))
def test_one_in_two_is_softer(talk: Case, pairs: int) -> None:
    found = [each.gain_db for each in in_rounds([talk], 2 * pairs)]
    for pair in range(pairs):
        assert sorted(found[2 * pair : 2 * pair + 2]) == [ACROSS_THE_ROOM_DB, 0.0]


@settings(deadline=None)  # the first call walks the whole job
@given(remark, st.integers(1, 10))
def test_one_in_four_stands_by_and_never_the_first_which_is_at_its_own_moment(
    talk: Case, groups: int
) -> None:
    found = [each.moment for each in in_rounds([talk], 4 * groups)]
    assert found[0] == talk.moment
    for group in range(groups):
        at = found[4 * group : 4 * group + 4]
        assert at[1:].count(STANDING_BY) == 1  # 'at[0]' of the first may be a remark's own


@settings(deadline=None)  # the first language of a moment takes its time
@given(remark, rounds)
def test_the_other_rounds_wait_for_something_and_no_moment_comes_twice(
    talk: Case, count: int
) -> None:
    at = [each.moment for each in in_rounds([talk], count)[1:] if each.moment != STANDING_BY]
    assert set(at) <= set(waiting()) - {talk.moment}
    assert max(Counter(at).values(), default=1) == 1


@settings(deadline=None)
@given(st.sampled_from(["twenty six", "point four volts", "supply static ninety"]), rounds)
def test_in_no_further_round_are_the_words_a_sentence_of_the_moment(said: str, count: int) -> None:
    words = tuple(said.split())
    for each in in_rounds([replace(TALK, words=words)], count)[1:]:
        assert not compose(moment(each.moment).scope).interpret(words)


@settings(deadline=None)
@given(rounds)
def test_nor_is_what_lies_between_breaths(count: int) -> None:
    talk = replace(TALK, words=("twenty", "six", "dollars"), breaths=(2,))
    for each in in_rounds([talk], count)[1:]:
        assert not compose(moment(each.moment).scope).interpret(("twenty", "six"))


@pytest.mark.parametrize("said", ["done", "i smell gas"])
def test_what_is_a_sentence_everywhere_stays_at_its_own_moment(said: str) -> None:
    found = in_rounds([replace(TALK, words=tuple(said.split()))], 8)
    assert {each.moment for each in found} - {STANDING_BY} == {TALK.moment}
    assert (STANDING_BY in {each.moment for each in found}) == (said == "done")


def test_all_that_waits_is_awake_and_every_kind_is_there() -> None:
    there = [moments()[name] for name in waiting()]
    assert all(each.scope.awake for each in there)
    assert any(each.expect for each in there)
    for part in (".check-", ".right-", ".confirm", ".doing"):
        assert any(part in each.name for each in there), part


def test_rounds_are_spread_over_the_moments_and_over_what_is_soft() -> None:
    found = in_rounds(remark_cases(["a", "b", "c", "d"]), 4)
    at = Counter(each.moment for each in found)
    assert set(waiting()) <= at.keys()
    assert at[STANDING_BY] == pytest.approx(len(found) / 4, rel=0.02)  # some are at home there
    standing_by = Counter(each.gain_db for each in found if each.moment == STANDING_BY)
    assert min(standing_by.values()) > 0.4 * at[STANDING_BY]
