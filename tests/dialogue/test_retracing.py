"""Going back over a job: to a step by name, to an answer, and what was answered."""

from __future__ import annotations

import pytest
from talk import Talk, proved_dead

from companion.dialogue.awaiting import OpenChoice, awaiting
from companion.dialogue.session import ConfirmBack


def measured() -> Talk:
    """Return a talk at the lock, with the duct chosen and three readings taken."""
    talk = Talk()
    talk.say("sheet metal", "primary 119", "return point two", "supply point four", "done")
    assert talk.job.step == "lock"
    return talk


def test_a_step_gone_through_is_gone_back_to_by_its_name_once_it_was_asked() -> None:
    talk = measured()
    assert talk.say("go to measure") == "Back to measure? Nothing is undone. Yes or no."
    assert talk.job.step == "lock"
    assert "Measure before you touch anything." in talk.say("yes")
    assert talk.job.step == "measure"
    assert len(talk.job.standing()) == 3


def powered() -> Talk:
    """Return a talk behind first power."""
    talk = proved_dead()
    talk.say("done", "coil twenty", "done", "yes", "confirmed")
    assert talk.job.step == "static"
    return talk


def test_what_going_back_undoes_is_said_and_happens() -> None:
    talk = powered()
    asked = talk.say("go back to the duct")
    assert asked.startswith("Back to duct? Answers asked again: duct. Hold points to meet again: ")
    assert "locked out and proved dead, and first power" in asked
    talk.say("yes")
    assert talk.job.step == "duct"
    assert "duct" not in talk.job.answers
    assert not any(talk.job.holds[slug].met for slug in ("lock", "power"))
    assert isinstance(awaiting(talk.job, talk.loop.session), OpenChoice)


@pytest.mark.parametrize("words", ["go to measure", "change my answer", "go to the duct"])
def test_with_work_begun_under_the_lock_nothing_leads_out_but_first_power(words: str) -> None:
    talk = proved_dead()
    assert talk.job.step == "wire"
    assert talk.say(words).startswith("You are locked out, with work begun.")
    assert talk.loop.session.pending is None
    assert talk.job.step == "wire"
    assert talk.say("go to lock").startswith("Back to lock?")


def test_step_by_step_back_ends_at_the_lock_with_work_begun() -> None:
    talk = proved_dead()
    talk.say("go back")
    assert talk.job.step == "lock"
    assert talk.say("go back").startswith("You are locked out, with work begun.")
    assert talk.job.step == "lock"


def test_a_no_goes_on_where_it_was() -> None:
    talk = measured()
    talk.say("go to measure")
    assert talk.say("no") == "Going on."
    assert talk.job.step == "lock"
    assert talk.loop.session.pending is None


def test_nothing_is_jumped_over() -> None:
    talk = measured()
    assert "That comes later." in talk.say("go to wire")
    assert "That comes later." in talk.say("jump to the end")
    assert talk.job.step == "lock"


def test_the_step_at_hand_is_said_again() -> None:
    talk = Talk()
    talk.say("sheet metal")
    assert "Measure before you touch anything." in talk.say("go to the measure step")


def test_a_step_of_another_way_is_not_gone_to() -> None:
    talk = measured()
    assert talk.say("go to board note") == "That step is not on this way."


def test_what_was_answered_is_told() -> None:
    talk = measured()
    assert talk.say("what did i answer on duct") == "Duct: sheet metal."
    assert "Duct: sheet metal." in talk.say("what did i answer")


def test_before_anything_was_answered_that_is_said() -> None:
    talk = Talk()
    assert talk.say("what did i answer") == "Nothing answered yet."
    assert talk.say("what did i answer on the duct") == "Not answered yet: duct."
    assert talk.say("change my answer") == "Nothing answered yet."
    assert talk.job.step == "duct"


@pytest.mark.parametrize("words", ["change my answer", "change the answer on duct"])
def test_an_earlier_answer_is_changed_once_it_was_asked(words: str) -> None:
    talk = measured()
    assert talk.say(words).startswith("Back to duct? Answers asked again: duct.")
    assert isinstance(talk.loop.session.pending, ConfirmBack)
    talk.say("yes", "duct board")
    assert talk.job.answers["duct"] == "board"
    assert talk.job.step == "board-note"


def test_saying_something_else_drops_the_question_whether_to_go_back() -> None:
    talk = measured()
    talk.say("go to measure", "tell me more")
    assert talk.loop.session.pending is None
    assert talk.job.step == "lock"


def test_a_called_off_job_goes_nowhere() -> None:
    talk = measured()
    talk.say("call it off", "yes")
    for words in ("go to measure", "change my answer"):
        talk.say(words)
        assert talk.job.step == "lock"
        assert talk.job.calling_off


def test_a_reading_of_an_earlier_step_is_read_back_by_its_name() -> None:
    talk = measured()
    told = talk.say("what was the last return static")
    assert told == "Last return static: minus zero point two zero inches of water."
    assert "one one nine" in talk.say("last primary")
