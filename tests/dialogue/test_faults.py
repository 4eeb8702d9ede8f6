"""A fault is looked for within a job, which waits and goes on where it was."""

from __future__ import annotations

from random import Random

import pytest
from moves import answer
from talk import Talk, proved_dead

from companion.dialogue.awaiting import Doing, StepReading, awaiting
from companion.dialogue.session import ConfirmFault
from companion.dialogue.state import fold
from companion.procedures import faults, procedure

COMPLAINT = "it won't come on"
FAULT = "indicator-off"


def measuring() -> Talk:
    """Return a talk that has read one of three."""
    talk = Talk()
    talk.say("sheet metal", "primary 119")
    assert isinstance(awaiting(talk.job, talk.loop.session), StepReading)
    return talk


def looking() -> Talk:
    """Return a talk in which a fault is looked for."""
    talk = measuring()
    talk.say(COMPLAINT, "yes")
    assert talk.job.home is not None
    return talk


def to_its_end(talk: Talk, most: int = 250, seed: int = 1) -> None:
    """Do what is asked until the search is over."""
    chance = Random(seed)  # noqa: S311 - it only picks answers
    for _ in range(most):
        if talk.job.home is None or talk.job.ended:
            return
        talk.say(answer(talk.job, awaiting(talk.job, talk.loop.session), chance))
    raise AssertionError(f"still at {talk.job.step}")


def test_there_are_the_eight_faults() -> None:
    assert {each.slug for each in faults()} == {
        "no-control-voltage", "blown-fuse", "switch-not-closing", "tubes-reversed",
        "indicator-off", "runs-all-the-time", "low-voltage-under-load", "high-static",
    }  # fmt: skip


@pytest.mark.parametrize("slug", [each.slug for each in faults()])
def test_each_complaint_leads_to_its_fault_once_it_was_asked(slug: str) -> None:
    for complaint in procedure(slug).names:
        talk = measuring()
        assert talk.say(complaint).startswith("Look for the fault: ")
        assert talk.loop.session.pending == ConfirmFault(slug)
        talk.say("yes")
        assert talk.job.procedure is not None
        assert talk.job.procedure.slug == slug


@pytest.mark.parametrize("slug", [each.slug for each in faults()])
@pytest.mark.parametrize("seed", range(3))
def test_a_search_comes_back_to_where_the_job_was_or_leaves_it_safe(slug: str, seed: int) -> None:
    talk = measuring()
    talk.say(procedure(slug).names[0], "yes")
    to_its_end(talk, seed=seed)
    if talk.job.ended:
        assert talk.job.ended == "left safe"
    else:
        assert talk.job.step == "measure"
        assert "Back to the job" in " ".join(talk.said)
        assert isinstance(awaiting(talk.job, talk.loop.session), StepReading)


def test_a_no_looks_for_nothing() -> None:
    talk = measuring()
    talk.say(COMPLAINT)
    assert talk.say("no") == "Going on."
    assert talk.job.home is None


def test_what_can_be_looked_for_is_told() -> None:
    told = measuring().say("find the fault")
    assert all(each.title.lower() in told for each in faults())


def test_back_to_the_job_before_anything_was_opened() -> None:
    talk = looking()
    assert "Back to the job: Fitting a small fan." in talk.say("back to the job")
    assert talk.job.step == "measure"
    assert talk.job.home is None
    assert len(talk.job.standing()) == 1
    assert "Return static?" in " ".join(talk.said)


def test_readings_of_a_search_stand_for_none_of_the_jobs_and_are_remembered() -> None:
    talk = looking()
    assert talk.job.standing() == ()
    assert talk.job.last_at("primary-voltage") is not None
    talk.say("back to the job")
    assert [each.point for each in talk.job.standing()] == ["primary-voltage"]


def test_a_jobs_own_reading_is_the_last_at_its_point_whatever_a_search_read() -> None:
    talk = Talk()
    talk.say("sheet metal", "primary 119", "return point two", "supply point four")
    talk.say("the static is too high", "yes")
    to_its_end(talk)
    there = [r for r in talk.job.readings if r.point == "supply-static" and r.detour]
    assert there
    last = talk.job.last_at("supply-static")
    assert last is not None
    assert last.value == "0.4"


def test_locked_out_no_fault_is_looked_for() -> None:
    talk = proved_dead()
    assert talk.say(COMPLAINT).startswith("You are locked out.")
    assert talk.loop.session.pending is None
    assert isinstance(awaiting(talk.job, talk.loop.session), Doing)


def test_one_fault_at_a_time() -> None:
    talk = looking()
    assert talk.say("the static is too high").startswith("One fault at a time.")
    assert talk.say(COMPLAINT) == "You are looking for that one now."


def test_back_to_the_job_without_a_search_says_so() -> None:
    assert measuring().say("back to the job") == "No fault is being looked for."


def test_a_killed_search_is_taken_up_again_where_it_was() -> None:
    talk = looking()
    step = talk.job.step
    assert "Resuming." in talk.kill_and_resume()
    assert talk.job.home is not None
    assert talk.job.step == step
    talk.say("back to the job")
    assert talk.job.step == "measure"
    assert fold(talk.store.entries("job-1")) == talk.job


def test_an_emergency_in_a_search_drops_everything_and_comes_back_to_it() -> None:
    talk = looking()
    talk.say("i smell gas")
    assert talk.job.emergency == "gas"
    talk.say("i'm clear")
    assert talk.job.home is not None


def test_called_off_in_a_search_the_whole_job_is_left_safe() -> None:
    talk = looking()
    talk.say("call it off", "yes", "yes", "yes", "yes", "the office")
    assert talk.job.ended == "left safe"


def test_after_power_was_off_in_a_search_nothing_counts_as_dead() -> None:
    talk = looking()
    to_its_end(talk)
    assert not talk.job.dead
