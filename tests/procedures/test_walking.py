"""Walking a small procedure that has every shape of branch; the ways are read off its file."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import pytest

from companion.procedures import (
    dead_hold,
    first_step,
    is_deferred,
    load,
    next_step,
    previous_step,
    procedure,
    steps_to_go,
    walks,
)

FILE = Path(__file__).parent / "data" / "branches.toml"
BRANCHES = load(FILE.read_text("utf-8"), FILE.name, safety=False)

WAYS = [
    ("flex", "", "", "start leave"),
    ("metal", "yes", "120", "start cut-metal measure metal-at-120 static end"),
    ("metal", "yes", "240", "start cut-metal measure static end"),
    ("metal", "no", "120", "start cut-metal measure told metal-at-120 static end"),
    ("metal", "no", "240", "start cut-metal measure told static end"),
    ("board", "yes", "120", "start cut-board measure static end"),
    ("board", "yes", "240", "start cut-board measure static end"),
    ("board", "no", "120", "start cut-board measure told static end"),
    ("board", "no", "240", "start cut-board measure told static end"),
]


def _given(duct: str, licensed: str, supply: str) -> dict[str, str]:
    given = {"duct": duct, "licensed": licensed, "supply": supply}
    return {choice: option for choice, option in given.items() if option}


@pytest.mark.parametrize(("duct", "licensed", "supply", "way"), WAYS)
def test_next_step_follows_the_answers(duct: str, licensed: str, supply: str, way: str) -> None:
    answers = _given(duct, licensed, supply)
    step = first_step(BRANCHES, answers)
    walked = []
    while step:
        walked.append(step.slug)
        step = next_step(BRANCHES, step.slug, answers)
    assert " ".join(walked) == way


@pytest.mark.parametrize(("duct", "licensed", "supply", "way"), WAYS)
def test_going_back_retraces_the_way_without_what_was_deferred(
    duct: str, licensed: str, supply: str, way: str
) -> None:
    answers = _given(duct, licensed, supply)
    slugs = [slug for slug in way.split() if licensed != "no" or slug != "measure"]
    for before, after in pairwise(slugs):
        found = previous_step(BRANCHES, after, answers)
        assert found is not None
        assert found.slug == before
    assert previous_step(BRANCHES, "start", answers) is None


def test_walks_are_all_the_ways_and_no_other() -> None:
    found = {" ".join(step.slug for step in walk.steps) for walk in walks(BRANCHES)}
    assert found == {way for *_, way in WAYS}


def test_goto_counts_only_where_its_option_was_chosen() -> None:
    step = next_step(BRANCHES, "start", {"duct": "flex"})
    assert step is not None
    assert step.slug == "leave"
    step = next_step(BRANCHES, "start", {"duct": "board"})
    assert step is not None
    assert step.slug == "cut-board"


@pytest.mark.parametrize(
    ("slug", "answers", "count"),
    [
        ("start", {}, 5),  # metal, licensed, one twenty: the first options
        ("start", {"duct": "flex"}, 1),
        ("start", {"duct": "board"}, 4),
        ("start", {"duct": "metal", "licensed": "no"}, 5),  # told instead of measured
        ("measure", {"duct": "metal", "licensed": "yes", "supply": "240"}, 2),
        ("static", {"duct": "metal"}, 1),
        ("end", {"duct": "metal"}, 0),
        ("nowhere", {}, 0),
    ],
)
def test_steps_to_go_assumes_first_options(slug: str, answers: dict[str, str], count: int) -> None:
    assert steps_to_go(BRANCHES, slug, answers) == count


def test_nothing_follows_an_end_or_an_unknown_step() -> None:
    assert next_step(BRANCHES, "end", {}) is None
    assert next_step(BRANCHES, "nowhere", {}) is None
    assert previous_step(BRANCHES, "nowhere", {"duct": "metal"}) is None


def test_only_line_voltage_is_deferred_and_only_unlicensed() -> None:
    measure = next(step for step in BRANCHES.steps if step.slug == "measure")
    static = next(step for step in BRANCHES.steps if step.slug == "static")
    assert is_deferred(measure, {"licensed": "no"})
    assert not is_deferred(measure, {"licensed": "yes"})
    assert not is_deferred(static, {"licensed": "no"})


def test_dead_hold_is_the_one_of_the_way() -> None:
    assert dead_hold(BRANCHES, {}) is None
    damper = procedure("fresh-air-damper")
    licensed, unlicensed = (dead_hold(damper, {"licensed": said}) for said in ("yes", "no"))
    assert licensed is not None
    assert licensed.slug == "prove-dead"
    assert unlicensed is not None
    assert unlicensed.slug == "proved-dead-for-you"
