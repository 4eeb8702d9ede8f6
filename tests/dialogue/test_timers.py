"""Timers, reminders and the stopwatch: set, told when due, kept over a restart."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from talk import Talk, small

from companion.dialogue.awaiting import awaiting
from companion.dialogue.events import Heard, Say, Tick
from companion.dialogue.prompting import asked
from companion.dialogue.session import ConfirmEnd
from companion.dialogue.timers import MOST_AT_ONCE, is_out_of_date, length_said
from companion.numbers import parse
from companion.ports import Alternative, Hearing


def at_work() -> Talk:
    talk = Talk(small())
    talk.say("sheet metal")
    return talk


def wait(talk: Talk, seconds: int) -> str:
    """Let time pass; return what is said at its end, let it be heard, and take that in."""
    talk.said.clear()
    talk.seconds += seconds
    talk.loop.happen(Tick(talk.loop.now()))
    return " ".join(talk.said)


def heard(talk: Talk, *sentences: str, margin: float = 1.0) -> str:
    """Hear sentences nearly alike; return what is answered."""
    alternatives = tuple(
        Alternative(tuple(words.split()), 0.96, -1.0 - place * margin)
        for place, words in enumerate(sentences)
    )
    at_s = 10.0 * talk.seconds  # long after what was said before
    hearing = Hearing(alternatives, start_s=at_s, end_s=at_s + 0.5, is_calibrated=True)
    talk.loop.happen(Heard(hearing, talk.loop.language.candidates(hearing), talk.loop.now()))
    return " ".join(talk.said)


def test_a_reminder_is_said_back_and_told_when_it_is_due() -> None:
    talk = at_work()
    assert talk.say("remind me in ten minutes") == "Ten minutes, from now."
    assert wait(talk, 590) == ""
    assert wait(talk, 12) == "Timer of ten minutes: time's up."
    assert talk.logged("timer-told") == [{"id": 1}]
    assert wait(talk, 60) == ""


def test_a_timer_with_a_name_is_told_by_it() -> None:
    talk = at_work()
    answer = talk.say("call the ten minutes of steady running")
    assert answer == "Ten minutes of steady running, from now."
    assert wait(talk, 605) == "Steady running: time's up."


def test_several_run_at_once_and_are_told_soonest_first() -> None:
    talk = at_work()
    talk.say("time five minutes of the leak check", "remind me in two minutes")
    assert talk.say("what timers are running").startswith("Timer of two minutes: one minute, ")
    assert wait(talk, 400) == (
        "Timer of two minutes: time was up four minutes, forty two seconds ago. "
        "Leak check: time was up one minute, forty three seconds ago."
    )


def test_timers_survive_a_restart_and_an_overdue_one_says_how_late_it_is() -> None:
    talk = at_work()
    talk.say("remind me in ten minutes")
    talk.seconds += 700
    talk.kill_and_resume()
    assert wait(talk, 1).startswith("Timer of ten minutes: time was up one minute")
    assert not talk.job.timers


def test_a_due_timer_that_was_not_heard_is_told_again() -> None:
    talk = at_work()
    talk.say("remind me in one minute")
    talk.loop.is_ducked = True  # somebody speaks all the while
    assert "up" in wait(talk, 61)
    assert talk.job.timers
    talk.kill_and_resume()
    assert "time's up" in wait(talk, 2)
    assert not talk.job.timers


def test_while_standing_by_a_timer_is_told_and_wakes_nothing() -> None:
    talk = at_work()
    talk.say("remind me in one minute", "stand by")
    assert "time's up" in wait(talk, 70)
    assert talk.loop.session.standing_by


def test_in_an_emergency_a_timer_waits_for_the_all_clear() -> None:
    talk = at_work()
    talk.say("remind me in one minute", "i smell gas")
    assert "timer" not in wait(talk, 90)
    talk.say("i'm clear")
    assert "time was up" in wait(talk, 2)


def test_the_stopwatch_is_stopped_by_mark_and_logged() -> None:
    talk = at_work()
    assert talk.say("time the blower delay").startswith("Blower delay: the clock runs.")
    talk.seconds += 44
    assert talk.say("mark") == "Blower delay: forty five seconds."
    assert talk.logged("clock-stopped") == [{"name": "blower delay", "seconds": 45}]


def test_mark_while_no_clock_runs_was_said_to_somebody_else() -> None:
    talk = at_work()
    assert heard(talk, "mark") == ""
    talk.say("start the clock")
    assert "second" in heard(talk, "mark")
    assert talk.logged("clock-stopped")


def test_a_length_that_sounds_like_another_is_asked_about() -> None:
    talk = at_work()
    asked = heard(talk, "remind me in fifteen minutes", "remind me in fifty minutes")
    assert asked == "Fifteen, one five; or fifty, five zero?"
    assert not talk.job.timers
    assert talk.say("five zero") == "Fifty, five zero, minutes, from now."


def test_one_of_several_is_cancelled_by_its_name() -> None:
    talk = at_work()
    talk.say("time five minutes of the leak check", "time ten minutes of the purge")
    assert talk.say("cancel the timer").startswith("Which one: leak check, or purge?")
    assert talk.say("cancel the purge") == "Purge: cancelled."
    assert [each.name for each in talk.job.timers] == ["leak check"]
    assert talk.say("cancel the timer") == "Leak check: cancelled."
    assert talk.say("cancel the timer") == "No timer is running."


def test_all_are_cancelled_together() -> None:
    talk = at_work()
    talk.say("remind me in ten minutes", "start the clock")
    assert talk.say("cancel all timers") == "All timers cancelled."
    assert (talk.job.timers, talk.job.clocks) == ((), ())


@pytest.mark.parametrize("line", ["remind me in zero minutes", "remind me in fifteen hours"])
def test_a_length_out_of_range_is_refused(line: str) -> None:
    talk = at_work()
    assert talk.say(line) == "From one second to twelve hours. Say it again."
    assert not talk.job.timers


def test_there_is_an_end_to_how_many_run() -> None:
    talk = at_work()
    for _ in range(MOST_AT_ONCE):
        talk.say("remind me in ten minutes")
    assert talk.say("remind me in ten minutes").startswith("Eight timers run already.")
    assert len(talk.job.timers) == MOST_AT_ONCE


def test_timers_go_on_while_a_fault_is_looked_for_and_after() -> None:
    talk = at_work()
    talk.say("remind me in ten minutes")
    before = talk.job.timers
    talk.say("the fuse is blown", "yes")
    assert talk.job.timers == before


def test_a_timer_is_told_without_cutting_and_repeat_does_not_repeat_it() -> None:
    talk = at_work()
    talk.say("remind me in one minute", "which step")
    before = talk.loop.session.said
    talk.seconds += 90
    outcome: list[Say] = []
    talk.loop.watch = lambda happened: outcome.extend(
        act for act in happened.outcome.acts if isinstance(act, Say)
    )
    talk.loop.happen(Tick(talk.loop.now()))
    assert [act.urgency for act in outcome] == ["routine"]
    assert talk.loop.session.said == before


@given(st.integers(min_value=1, max_value=12 * 3600))
def test_a_length_is_said_so_that_it_can_be_read_back(seconds: int) -> None:
    units = {"hour": 3600, "minute": 60, "second": 1}
    total = 0
    for part in length_said(seconds).split(", "):
        *number, unit = part.split()
        total += int(parse(tuple(number))) * units[unit.removesuffix("s")]
    assert total == seconds
    assert timedelta(seconds=total) <= timedelta(hours=12)


def waiting(talk: Talk) -> str:
    """Set a timer that comes due while it speaks; return what waits to be told."""
    talk.say("remind me in one minute")
    talk.seconds += 90
    told: list[Say] = []
    talk.loop.watch = lambda happened: told.extend(
        act for act in happened.outcome.acts if isinstance(act, Say)
    )
    talk.loop.happen(Tick(talk.loop.now()))
    return told[0].what


def test_a_timer_that_is_cancelled_while_it_waits_to_be_told_is_out_of_date() -> None:
    talk = at_work()
    what = waiting(talk)
    assert what == "timer:1"
    assert is_out_of_date(talk.job, what)  # nobody spoke: it was told at once
    talk.say("remind me in ten minutes")
    assert not is_out_of_date(talk.job, "timer:2")
    talk.say("cancel the timer")
    assert is_out_of_date(talk.job, "timer:2")
    assert not is_out_of_date(talk.job, "caution:fuse")


def test_of_several_timers_one_is_cancelled_by_its_place() -> None:
    talk = at_work()
    talk.say("remind me in twenty minutes", "remind me in ten minutes")
    asked = talk.say("cancel the timer")
    assert asked.startswith("Which one: timer of ten minutes, or timer of twenty minutes?")
    assert talk.say("cancel the third timer").startswith("There is no third timer.")
    assert talk.say("cancel the last timer") == "Timer of twenty minutes: cancelled."
    assert talk.say("cancel the first timer") == "Timer of ten minutes: cancelled."
    assert talk.say("cancel the first timer") == "No timer is running."


@given(st.floats(0.0, 1.5), st.floats(0.0, 1.5))
def test_the_stopwatch_runs_from_last_word_to_last_word(first_s: float, second_s: float) -> None:
    """However long each of them took to be understood."""
    talk = at_work()
    began = talk.loop.now()
    for words, after_s, late_s in (("start the clock", 0, first_s), ("mark", 60, second_s)):
        said_at = began + timedelta(seconds=after_s)
        hearing = Hearing((Alternative(tuple(words.split()), 1.0, 0.0),))
        candidates = talk.loop.language.candidates(hearing)
        understood = said_at + timedelta(seconds=late_s)
        talk.loop.happen(Heard(hearing, candidates, understood, typed=True, said_at=said_at))
    assert talk.logged("clock-stopped") == [{"name": "", "seconds": 60}]


def test_before_a_job_ends_it_is_told_that_a_timer_still_runs() -> None:
    talk = at_work()
    talk.say("remind me in an hour")
    job, session = talk.job, replace(talk.loop.session, pending=ConfirmEnd("finish"))
    assert asked(job, awaiting(job, session)).startswith("A timer still runs.")
    talk.say("cancel the timer")
    assert asked(talk.job, awaiting(talk.job, session)) == "Finish the job? Yes or no."
