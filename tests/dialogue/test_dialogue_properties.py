"""Whatever happens: nothing raises, the log folds to the job, and the safety rules hold."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from moves import JOB, Walk, Witness, make, moves
from talk import small

from companion.dialogue.events import Say
from companion.dialogue.state import fold
from companion.language.phrasing import phrases
from companion.procedures import procedure

CANNOT_SAVE = "I can't save. Nothing more is logged. Free the disk, then say resume."
HAZARDS = {words for key, words in phrases().items() if key.startswith("emergency.")}

SLOW = settings(
    deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large]
)


@settings(SLOW, max_examples=120)
@given(moves)
def test_the_small_job_keeps_every_rule_whatever_happens(made: list[tuple[object, ...]]) -> None:
    walk = Walk(small())
    for move in made:
        make(walk, move)
    walk.check_whole_log()


@settings(SLOW, max_examples=40)
@given(moves)
def test_the_damper_job_keeps_every_rule_whatever_happens(made: list[tuple[object, ...]]) -> None:
    walk = Walk(procedure("fresh-air-damper"))
    for move in made:
        make(walk, move)
    walk.check_whole_log()


@pytest.mark.parametrize("seed", range(6))
def test_a_willing_technician_comes_to_the_end_of_the_damper_job(seed: int) -> None:
    walk = Walk(procedure("fresh-air-damper"))
    chance = Random(seed)  # noqa: S311 - a repeatable walk
    for _ in range(600):
        if walk.job.ended:
            break
        walk.go_on(chance)
    assert walk.job.ended in ("finished", "left safe")
    walk.check_whole_log()


@settings(SLOW, max_examples=60)
@given(moves)
def test_nothing_is_said_before_it_is_stored(made: list[tuple[object, ...]]) -> None:
    walk = Walk(small())
    for move in made:
        before = len(walk.witness.seen)
        walk.turns.clear()
        make(walk, move)
        seen = walk.witness.seen[before:]
        for happened in walk.turns:
            mine = [("stored", tuple(d.kind for d in happened.outcome.drafts))]
            said = [("played", a.text) for a in happened.outcome.acts if isinstance(a, Say)]
            expected = (mine if happened.outcome.drafts else []) + said
            assert seen[: len(expected)] == expected
            seen = seen[len(expected) :]
        assert not seen


@settings(SLOW, max_examples=60)
@given(moves, st.sets(st.integers(1, 60), min_size=1, max_size=8))
def test_a_turn_that_cannot_be_stored_did_not_happen(
    made: list[tuple[object, ...]], fails_at: set[int]
) -> None:
    walk = Walk(small(), Witness(fails_at=frozenset(fails_at - {1})))
    for move in made:
        if move == ("kill",):
            continue
        walk.turns.clear()
        job, session, appends = walk.job, walk.loop.session, walk.witness.appends
        one_turn = move[0] not in ("go on", "hear out")
        make(walk, move)
        failed = [n for n in range(appends + 1, walk.witness.appends + 1) if n in fails_at]
        if one_turn and failed:
            said = [a.text for h in walk.turns for a in h.outcome.acts if isinstance(a, Say)]
            assert said[-1:] == [CANNOT_SAVE]
            assert all(hazard in HAZARDS for hazard in said[:-1])
            assert walk.job == job
            assert walk.loop.session.pending == session.pending
    walk.check_whole_log()


@settings(SLOW, max_examples=40)
@given(moves)
def test_a_job_taken_up_anywhere_is_the_job_that_was_left(made: list[tuple[object, ...]]) -> None:
    walk = Walk(small())
    for move in made:
        make(walk, move)
    before = walk.job
    assert fold(walk.witness.entries(JOB)) == before
    walk.kill_and_resume()
    assert walk.job.readings == before.readings
    assert walk.job.answers == before.answers
    if not before.ended:
        assert walk.entries[-1].kind in {"resumed", "step-entered", "hold-opened"}
