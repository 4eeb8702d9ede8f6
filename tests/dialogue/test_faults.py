"""A fault is looked for within a job, which waits and goes on where it was."""

from __future__ import annotations

from datetime import timedelta
from random import Random

import pytest
from moves import START, answer
from talk import Talk, proved_dead

from companion.dialogue.awaiting import Doing, StepReading, awaiting
from companion.dialogue.events import Heard
from companion.dialogue.session import ConfirmFault
from companion.dialogue.state import fold
from companion.ports import Alternative, Hearing
from companion.procedures import faults, procedure

LATER = START + timedelta(minutes=5)
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
    assert talk.say(COMPLAINT).startswith("Not now: you are locked out")
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


@pytest.mark.parametrize("line", ["the fuse is blown", "it won't come on"])
def test_from_the_lock_out_until_first_power_is_met_no_fault_is_looked_for(line: str) -> None:
    talk = proved_dead()
    for said in ("done", "coil twenty", "done"):
        assert "Not now:" in talk.say(line)
        talk.say(said)
    assert talk.job.step == "power"
    assert not talk.job.dead
    assert "Not now:" in talk.say(line)  # the lock may hang there still
    talk.say("yes", "confirmed")
    assert "Look for the fault:" in talk.say(line)


def test_a_search_that_locked_out_is_not_left_but_by_its_end() -> None:
    locked = 0
    for seed in range(20):
        talk = measuring()
        talk.say("it runs all the time", "yes")
        chance = Random(seed)  # noqa: S311 - it only picks answers
        for _ in range(120):
            if talk.job.home is None or talk.job.ended or talk.job.half_done:
                break
            talk.say(answer(talk.job, awaiting(talk.job, talk.loop.session), chance))
        if not talk.job.half_done or talk.job.home is None:
            continue
        locked += 1
        assert "You opened it up." in talk.say("back to the job")
        for step in (each.slug for each in talk.job.procedure.steps if each.power):  # type: ignore[union-attr]
            talk.say(f"go to {step.replace('-', ' ')}", "yes")
            assert talk.job.locked_out, step
    assert locked


def at_a_left_safe_end() -> Talk:
    """Return a talk whose search leads out, with nothing opened up."""
    for seed in range(200):
        talk, chance = looking(), Random(seed)  # noqa: S311 - it only picks answers
        for _ in range(60):
            step = talk.job.current
            if talk.job.ended or talk.job.home is None or step is None or talk.job.locked_out:
                break
            if step.ends == "left safe":
                return talk
            if step.choice and step.choice.slug not in talk.job.answers:
                talk.say(chance.choice(step.choice.options).names[0])
            else:
                talk.say(answer(talk.job, awaiting(talk.job, talk.loop.session), chance))
    raise AssertionError("no way leads there")


def test_a_left_safe_end_with_nothing_opened_asks_and_a_no_goes_back_to_the_job() -> None:
    talk = at_a_left_safe_end()
    assert "Call the whole job off?" in talk.say("done")
    assert "Back to the job" in talk.say("no")
    assert talk.job.step == "measure"
    left = at_a_left_safe_end()
    left.say("done", "yes")
    assert left.job.calling_off


def test_a_change_right_after_a_search_is_asked_about() -> None:
    talk = looking()
    to_the_first_reading(talk)
    talk.say("back to the job")
    assert talk.job.home is None
    assert "from before" in said_by_voice(talk, "make it one eighteen")


def to_the_first_reading(talk: Talk) -> None:
    """Do what is asked until the search has read something."""
    chance = Random(3)  # noqa: S311 - it only picks answers
    for _ in range(60):
        if any(each.detour for each in talk.job.readings):
            return
        talk.say(answer(talk.job, awaiting(talk.job, talk.loop.session), chance))
    raise AssertionError("nothing was read")


def said_by_voice(talk: Talk, words: str) -> str:
    """Hear a sentence, which is less certain than a typed one."""
    hearing = Hearing((Alternative(tuple(words.split()), 0.99, 0.0),), is_calibrated=True)
    talk.said.clear()
    talk.loop.happen(Heard(hearing, talk.loop.language.candidates(hearing), LATER))
    return " ".join(talk.said)
