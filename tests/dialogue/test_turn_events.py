"""Events beside what is said: speech heard out, a failing store, a lost microphone, a restart."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from random import Random
from typing import TYPE_CHECKING

import pytest
from moves import START, Walk, Witness, answer
from talk import Talk, at_the_lock, proved_dead, small

from companion.dialogue.awaiting import (
    Doing,
    HoldCheck,
    Licence,
    OpenChoice,
    StepReading,
    Waking,
    awaiting,
)
from companion.dialogue.commands import COMMANDS, obey
from companion.dialogue.events import (
    Cue,
    EarBack,
    EarLost,
    Heard,
    Interrupted,
    Say,
    SpeechEnded,
    StoreFailed,
    Tick,
    Unclear,
)
from companion.dialogue.outcome import Turn
from companion.dialogue.session import (
    Between,
    ConfirmEnd,
    ConfirmHeard,
    ConfirmReading,
    MissingInput,
    Session,
)
from companion.dialogue.state import Job
from companion.dialogue.turn import take
from companion.language.jsgf import parse
from companion.packaged import packaged_folder
from companion.ports import Alternative, Hearing
from companion.procedures import procedure

if TYPE_CHECKING:
    from collections.abc import Callable

    from companion.dialogue.events import Event

LATER = START + timedelta(minutes=5)


def said(talk: Talk, event: Event) -> list[str]:
    """Return what an event makes the talk say, without letting it stand."""
    acts = take(talk.job, talk.loop.session, event).acts
    return [act.text for act in acts if isinstance(act, Say)]


def doubt(talk: Talk, first: str, second: str, margin: float = 1.0) -> str:
    """Hear two sentences nearly alike; return what is answered."""
    alternatives = tuple(
        Alternative(tuple(words.split()), 0.95, -1.0 - place * margin)
        for place, words in enumerate((first, second))
    )
    hearing = Hearing(alternatives)
    talk.loop.happen(Heard(hearing, talk.loop.language.candidates(hearing), LATER))
    return " ".join(talk.said)


def at_the_primary() -> Talk:
    talk = Talk()
    talk.say("sheet metal")
    return talk


# ---------------------------------------------------------------- every command is handled


def test_every_command_of_the_grammar_has_its_answer() -> None:
    spoken = set[str]()
    for name in ("commands.jsgf", "moves.jsgf"):
        path = packaged_folder("grammars") / name
        spoken |= {rule.name for rule in parse(path.read_text("utf-8"), name).public}
    spoken -= {"complaint", "recall-earlier"}  # they find a fault, and recall
    assert spoken | {"wake", "recall"} == COMMANDS


@pytest.mark.parametrize("begin", [Talk, at_the_primary, at_the_lock, proved_dead])
@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_no_command_fails_anywhere(name: str, begin: Callable[[], Talk]) -> None:
    talk = begin()
    for pending in (None, ConfirmEnd("finish"), ConfirmEnd("call-it-off")):
        session = replace(talk.loop.session, pending=pending)
        obey(Turn(talk.job, session, LATER), name, "")


@pytest.mark.parametrize("name", sorted(COMMANDS - {"wake"}))
def test_no_command_fails_where_there_is_no_job(name: str) -> None:
    turn = Turn(Job(), Session(), LATER)
    obey(turn, name, "")
    assert not [draft for draft in turn.drafts if draft.kind.startswith(("step", "hold"))]


# ---------------------------------------------------------------- cautions


def test_a_caution_that_was_cut_does_not_count_and_one_heard_out_does() -> None:
    walk = Walk(small())
    walk.say("duct board")
    walk.say("done")  # the caution of 'measure' begins
    for line in ("primary one nineteen", "return point two", "supply point three"):
        walk.say(line)  # each answer cuts what was being said
    walk.say("done")
    assert [e.kind for e in walk.entries].count("step-done") == 2  # duct and note
    assert walk.turns[-1].outcome.acts[0] == Say(
        "Hear the caution first. This is live. One hand, dry gloves.", "caution:measure"
    )
    walk.witness.hear_out()
    walk.loop.poll()
    assert walk.entries[-1].kind == "caution-given"
    walk.say("done")
    assert walk.entries[-1].payload["step"] == "lock"


def test_a_choice_waits_for_its_caution_and_then_leads_on_by_itself() -> None:
    walk = Walk(procedure("fresh-air-damper"))  # its first step has a caution and a choice
    walk.say("nothing there")
    assert walk.job.step == "arrival"
    assert walk.entries[-1].kind == "choice"
    walk.witness.hear_out()
    walk.loop.poll()
    assert walk.job.step == "wrap"
    kinds = [e.kind for e in walk.entries]
    assert kinds.index("caution-given") < kinds.index("step-done")


def test_a_choice_that_leads_out_of_danger_waits_for_nothing() -> None:
    walk = Walk(procedure("fresh-air-damper"))
    walk.say("danger")
    assert walk.job.step == "stop-danger"
    assert "step-done" not in [e.kind for e in walk.entries]


def test_speech_that_is_no_caution_ends_without_an_entry() -> None:
    talk = Talk()
    outcome = take(talk.job, talk.loop.session, SpeechEnded("", 1.0, LATER))
    assert outcome.drafts == ()


def test_what_was_interrupted_was_not_given() -> None:
    talk = Talk()
    outcome = take(talk.job, talk.loop.session, Interrupted("caution:measure", 0.3, LATER))
    assert outcome.drafts == ()
    assert not [act for act in outcome.acts if isinstance(act, Say)]


def test_another_primary_voltage_has_other_conductors_to_prove_dead() -> None:
    walk = Walk(procedure("fresh-air-damper"))
    chance = Random(0)  # noqa: S311 - repeatable
    answers = {"primary": "one twenty", "danger": "nothing there", "licensed": "yes"}
    for _ in range(120):
        if walk.job.step == "mark":
            break
        waits = awaiting(walk.job, walk.loop.session)
        choice = (
            waits.step.choice.slug if isinstance(waits, OpenChoice) and waits.step.choice else ""
        )
        choice = "licensed" if waits == Licence("licensed") else choice
        walk.witness.hear_out()
        walk.loop.poll()
        walk.say(answers.get(choice) or answer(walk.job, waits, chance))
    assert walk.job.dead
    while walk.job.step != "supply":
        walk.say("go back")
    assert not walk.job.dead
    walk.say("two forty")
    for _ in range(40):
        if walk.job.step == "prove-dead":
            break
        walk.go_on(chance)
    waits = awaiting(walk.job, walk.loop.session)
    assert isinstance(waits, HoldCheck)
    assert walk.entries[-1].kind == "hold-opened"


def test_a_check_struck_after_power_was_on_proves_dead_before_it_is_done_again() -> None:
    walk = Walk(procedure("fresh-air-damper"))
    chance = Random(3)  # noqa: S311 - repeatable
    for _ in range(400):
        if walk.job.step == "first-power":
            break
        walk.witness.hear_out()
        walk.loop.poll()
        waits = awaiting(walk.job, walk.loop.session)
        is_licence = waits == Licence("licensed")
        walk.say("yes" if is_licence else answer(walk.job, waits, chance))
    assert walk.job.step == "first-power"
    walk.say("strike that")
    assert [e.kind for e in walk.entries[-4:]] == [
        "struck", "hold-opened", "hold-opened", "step-entered",
    ]  # fmt: skip
    assert walk.job.step == "prove-dead"
    assert walk.job.holds["prove-dead"].then == "cold-check"


# ---------------------------------------------------------------- the store


def test_a_store_that_fails_is_told_and_nothing_else() -> None:
    talk = Talk()
    outcome = take(talk.job, talk.loop.session, StoreFailed("I can't save.", LATER))
    assert [act for act in outcome.acts if isinstance(act, Say)] == [Say("I can't save.")]
    assert outcome.drafts == ()


def test_a_reading_that_could_not_be_stored_is_not_read_back_and_may_be_said_again() -> None:
    witness = Witness(fails_at=frozenset({3}))  # the third: open, choice, reading
    walk = Walk(small(), witness)
    walk.say("sheet metal")
    walk.say("primary one nineteen")
    played = [text for what, text in witness.seen if what == "played"]
    assert played[-1] == "I can't save. Nothing more is logged. Free the disk, then say resume."
    assert not any("one one nine" in str(text) for text in played)
    assert not walk.job.readings
    walk.say("resume")
    walk.say("primary one nineteen")
    assert witness.seen[-1] == ("played", "Return static?")
    assert [r.value for r in walk.job.readings] == ["119"]


def test_an_answer_between_two_that_could_not_be_stored_is_still_asked() -> None:
    walk = Walk(small(), Witness(fails_at=frozenset({4})))
    walk.say("sheet metal")
    walk.hear(
        (("primary", "one", "nineteen"), 0.9, -1.0), (("primary", "one", "ninety"), 0.9, -2.0)
    )
    assert isinstance(walk.loop.session.pending, Between)
    walk.say("the first")
    assert isinstance(walk.loop.session.pending, Between)
    walk.say("the first")
    assert [r.value for r in walk.job.readings] == ["119"]


# ---------------------------------------------------------------- microphone, silence, time


@pytest.mark.parametrize(
    ("event", "told"),
    [
        (EarLost(LATER), ["I lost the headset. Check it. The job is kept."]),
        (Unclear("too long", LATER), []),
        (Tick(LATER), []),
    ],
)
def test_what_happens_around_the_talk_is_told(event: Event, told: list[str]) -> None:
    assert said(Talk(), event) == told


def test_standing_by_too_long_a_speech_is_not_for_me() -> None:
    talk = Talk()
    talk.say("stand by")
    assert said(talk, Unclear("too long", LATER)) == []


def test_an_emergency_is_said_again_every_ten_seconds_until_all_is_clear() -> None:
    talk = Talk()
    warning = talk.say("i smell gas")
    at = talk.loop.session.warned_at
    assert at is not None
    assert said(talk, Tick(at + timedelta(seconds=9))) == []
    assert said(talk, Tick(at + timedelta(seconds=10))) == [warning]
    forgotten = take(talk.job, Session(), Tick(at))
    assert forgotten.acts[0] == Say(warning, urgency="urgent")
    talk.say("i'm clear")
    assert said(talk, Tick(at + timedelta(minutes=9))) == []


@pytest.mark.parametrize("line", ["not clear", "i'm not clear yet", "done", "confirmed"])
def test_only_all_clear_ends_an_emergency(line: str) -> None:
    talk = proved_dead()
    talk.say("fire")
    talk.say(line)
    assert talk.job.emergency == "fire"


def test_a_job_without_steps_says_so() -> None:
    job = Job()
    heard = Hearing((Alternative(("done",), 1.0, 0.0),))
    talk = Talk()
    candidates = talk.loop.language.candidates(heard)
    outcome = take(job, Session(), Heard(heard, candidates, LATER))
    assert [a.text for a in outcome.acts if isinstance(a, Say)] == ["No step is open."]


# ---------------------------------------------------------------- poor hearings


def poor(talk: Talk, line: str, match: float) -> str:
    hearing = Hearing((Alternative(tuple(line.split()), match, -1.0),))
    talk.loop.happen(Heard(hearing, talk.loop.language.candidates(hearing), LATER))
    return " ".join(talk.said)


def test_a_poor_hearing_is_asked_again_and_logged_as_such() -> None:
    talk = Talk()
    assert poor(talk, "sheet metal", 0.5) == "Say again."
    assert talk.logged("asked-again")[-1]["words"] == "sheet metal"
    assert isinstance(awaiting(talk.job, talk.loop.session), OpenChoice)
    assert "Caution. This is live." in talk.say("sheet metal")


def test_what_repeat_repeats_is_not_the_say_again() -> None:
    talk = Talk()
    poor(talk, "sheet metal", 0.5)
    assert "Look at the duct." in talk.say("repeat")


def test_what_does_not_match_is_answered_by_a_soft_cue_alone() -> None:
    talk = Talk()
    hearing = Hearing((Alternative(("sheet", "metal"), 0.1, -9.0),))
    event = Heard(hearing, talk.loop.language.candidates(hearing), LATER)
    outcome = take(talk.job, talk.loop.session, event)
    assert outcome.drafts == ()
    assert [a for a in outcome.acts if isinstance(a, (Say, Cue))] == [Cue("not understood")]


def test_standing_by_a_doubt_is_not_asked_about() -> None:
    talk = Talk()
    talk.say("stand by")
    before = len(talk.entries)
    assert poor(talk, "toolbox listen up", 0.1) == ""
    assert len(talk.entries) == before


def doubtful_emergency_asleep() -> Talk:
    talk = Talk()
    talk.say("stand by")
    assert heard_between(talk, ("i smell gas", 0.3, 0.0)) == ""
    assert "I smell gas? Yes or no." in heard_between(talk, ("i smell gas", 0.6, 0.0))
    assert not talk.job.emergency
    return talk


def test_standing_by_a_doubtful_emergency_is_asked_about_and_taken_on_yes() -> None:
    talk = doubtful_emergency_asleep()
    assert "Get out" in talk.say("yes")
    assert talk.job.emergency == "gas"


def test_standing_by_a_no_to_a_doubtful_emergency_leaves_it_standing_by() -> None:
    talk = doubtful_emergency_asleep()
    assert "Standing by." in talk.say("no")
    assert not talk.job.emergency
    assert isinstance(awaiting(talk.job, talk.loop.session), Waking)


def test_standing_by_nothing_but_the_answer_is_heard_while_an_emergency_is_doubted() -> None:
    talk = doubtful_emergency_asleep()
    language = talk.loop.language
    assert not language.interpret(("done",))
    assert language.interpret(("fire",))
    assert language.interpret(("yes",))


def test_standing_by_a_doubtful_emergency_that_nobody_answers_was_talk() -> None:
    talk = doubtful_emergency_asleep()
    talk.loop.happen(Tick(LATER + timedelta(seconds=11)))
    assert isinstance(talk.loop.session.pending, ConfirmHeard)
    talk.loop.happen(Tick(LATER + timedelta(seconds=12)))
    assert talk.loop.session.pending is None
    assert isinstance(awaiting(talk.job, talk.loop.session), Waking)
    assert not talk.loop.language.interpret(("yes",))


def test_a_question_pending_before_a_doubtful_emergency_is_asked_again_on_waking() -> None:
    talk = Talk()
    talk.say("what gauge for half an amp")
    talk.say("stand by")
    heard_between(talk, ("i smell gas", 0.6, 0.0))
    talk.say("no")
    assert isinstance(talk.loop.session.pending, MissingInput)


def test_the_same_poor_hearing_twice_is_asked_about_and_taken_on_yes() -> None:
    talk = Talk()
    poor(talk, "sheet metal", 0.5)
    assert "Sheet metal" in poor(talk, "sheet metal", 0.5)
    assert talk.job.answers == {}
    talk.say("yes")
    assert talk.job.answers == {"duct": "metal"}


def test_the_same_poor_hearing_twice_is_dropped_on_no() -> None:
    talk = Talk()
    poor(talk, "sheet metal", 0.5)
    poor(talk, "sheet metal", 0.5)
    talk.say("no")
    assert talk.job.answers == {}
    assert isinstance(awaiting(talk.job, talk.loop.session), OpenChoice)
    poor(talk, "sheet metal", 0.5)
    poor(talk, "duct board", 0.5)  # another one: no second time of the same
    assert isinstance(awaiting(talk.job, talk.loop.session), OpenChoice)


# ---------------------------------------------------------------- asking between two


@pytest.mark.parametrize(
    ("answer", "value"),
    [
        ("one one nine", "119"),
        ("one nineteen", "119"),
        ("the first", "119"),
        ("first one", "119"),
        ("one nine zero", "190"),
        ("one ninety", "190"),
        ("the second", "190"),
        ("second one", "190"),
    ],
)
def test_a_doubt_is_settled_in_every_way_of_answering(answer: str, value: str) -> None:
    talk = at_the_primary()
    asked = doubt(talk, "primary one nineteen", "primary one ninety")
    assert asked == "One hundred nineteen, one one nine; or one hundred ninety, one nine zero?"
    talk.say(answer)
    assert [r.value for r in talk.job.readings] == [value]
    assert talk.loop.session.pending is None


@pytest.mark.parametrize("answer", ["neither", "neither one"])
def test_neither_asks_anew(answer: str) -> None:
    talk = at_the_primary()
    doubt(talk, "primary one nineteen", "primary one ninety")
    assert talk.say(answer).startswith("Neither. Say it again")
    assert talk.job.readings == ()
    assert isinstance(awaiting(talk.job, talk.loop.session), StepReading)


def test_saying_the_reading_anew_settles_a_doubt_too() -> None:
    talk = at_the_primary()
    doubt(talk, "primary one nineteen", "primary one ninety")
    talk.say("primary one twenty")
    assert [r.value for r in talk.job.readings] == ["120"]
    assert talk.loop.session.pending is None


def test_a_doubt_about_an_answer_brings_back_the_question() -> None:
    talk = Talk()
    talk.say("what gauge for half an amp")
    assert isinstance(talk.loop.session.pending, MissingInput)
    doubt(talk, "fifteen feet", "fifty feet")
    assert isinstance(talk.loop.session.pending, Between)
    assert "fifteen feet" in talk.say("one five")
    assert talk.loop.session.pending is None
    talk.say("what gauge for half an amp")
    doubt(talk, "fifteen feet", "fifty feet")
    talk.say("neither")
    assert isinstance(talk.loop.session.pending, MissingInput)
    assert "sixty feet" in talk.say("sixty feet")


def test_a_doubt_within_a_doubt_leads_back_to_what_was_asked_first() -> None:
    talk = Talk()
    talk.say("what gauge for half an amp")
    doubt(talk, "fifteen feet", "fifty feet")
    doubt(talk, "fifteen", "fifty", margin=0.01)
    assert isinstance(talk.loop.session.pending, Between)
    talk.say("neither")
    assert isinstance(talk.loop.session.pending, MissingInput)


def test_two_options_that_sound_alike_are_asked_between_and_either_is_taken() -> None:
    talk = Talk()
    assert doubt(talk, "metal", "board") == "Metal; or board?"
    assert "Keep the plug" in talk.say("board")
    assert talk.job.answers == {"duct": "board"}


def test_an_emergency_goes_through_a_doubt() -> None:
    talk = at_the_primary()
    doubt(talk, "primary one nineteen", "primary one ninety")
    assert talk.say("i smell gas").startswith("Touch no switch.")
    talk.say("i'm clear")
    assert talk.loop.session.pending is None


def test_of_an_unlikely_and_a_likely_reading_the_likely_one_is_offered() -> None:
    talk = at_the_primary()  # plausible: 90 to 260 V
    answer = doubt(talk, "primary fifteen", "primary one fifteen", margin=20.0)
    assert answer == "Fifteen, one five; or one hundred fifteen, one one five?"


def test_an_unlikely_reading_waits_for_yes_and_is_dropped_by_anything_else() -> None:
    talk = at_the_primary()
    talk.say("primary 11")
    assert isinstance(talk.loop.session.pending, ConfirmReading)
    talk.say("which step")
    assert talk.loop.session.pending is None
    talk.say("yes")
    assert talk.job.readings == ()


# ---------------------------------------------------------------- killed and resumed

SMALL_JOB = (
    "sheet metal", "primary 119", "return 0.2", "supply 0.3", "done", "yes", "ohio", "yes",
    "known source 120", "yes", "line to neutral 0", "yes", "known source 121", "yes", "confirmed",
    "done", "coil 120", "done", "yes", "confirmed", "supply 0.35", "done", "done", "yes",
)  # fmt: skip


def finish(talk: Talk) -> None:
    """Answer what is asked until the job is done, as the willing technician of the small job."""
    chance = Random(0)  # noqa: S311 - repeatable
    for _ in range(120):
        if talk.job.ended:
            return
        waits = awaiting(talk.job, talk.loop.session)
        is_licence = waits == Licence("licensed")
        talk.say("yes" if is_licence else answer(talk.job, waits, chance))
    raise AssertionError("the job does not end")


def test_the_small_job_as_scripted_is_finished() -> None:
    talk = Talk()
    talk.say(*SMALL_JOB)
    assert talk.job.ended == "finished"


@pytest.mark.parametrize("turns", range(len(SMALL_JOB)))
def test_killed_after_any_turn_it_resumes_says_where_and_can_be_finished(turns: int) -> None:
    talk = Talk()
    talk.say(*SMALL_JOB[:turns])
    before = talk.job
    answered = talk.kill_and_resume()
    assert answered.startswith("Resuming. Fitting a small fan.")
    assert talk.logged("resumed") == [{}]
    if before.dead or (before.step == "lock" and before.holds.get("lock") is not None):
        assert not talk.job.dead
    if before.dead:
        assert "You were locked out. Is your lock still on? Prove dead again." in answered
        assert talk.logged("hold-opened")[-1] == {
            "step": "lock", "hold": "H2", "why": "resumed", "then": before.step,
        }  # fmt: skip
        assert isinstance(awaiting(talk.job, talk.loop.session), HoldCheck)
    else:
        assert talk.job.current
        asked = ("Line voltage next.", "state or province", talk.job.current.say)
        assert any(words in answered for words in asked)
    assert talk.job.readings == before.readings
    finish(talk)
    assert talk.job.ended == "finished"


@pytest.mark.parametrize("turns", range(7, 14))
def test_half_a_proof_of_dead_counts_for_nothing_after_a_restart(turns: int) -> None:
    talk = Talk()
    talk.say(*SMALL_JOB[: turns + 1])
    assert talk.job.step == "lock"
    assert "Prove dead again." in talk.kill_and_resume()
    waits = awaiting(talk.job, talk.loop.session)
    assert isinstance(waits, HoldCheck)
    assert waits.check.slug == "lock"


def test_a_finished_job_is_not_resumed() -> None:
    talk = Talk()
    talk.say(*SMALL_JOB)
    before = len(talk.entries)
    assert talk.kill_and_resume() == "This job has ended: finished. Start a new one."
    assert len(talk.entries) == before


def test_resumed_in_an_emergency_it_says_the_emergency_again() -> None:
    talk = proved_dead()
    warning = talk.say("i got shocked")
    assert warning in talk.kill_and_resume()
    assert "Prove dead again." in talk.say("i'm clear")


def test_resumed_while_leaving_it_asks_on_and_says_no_step() -> None:
    talk = proved_dead()
    talk.say("call it off", "yes")
    answered = talk.kill_and_resume()
    assert answered.startswith("Resuming.")
    assert "Is the power off?" in answered
    assert "Wire the fan." not in answered


def test_proved_again_the_job_goes_on_where_it_was() -> None:
    talk = proved_dead()
    talk.kill_and_resume()
    talk.say("yes")
    for line in ("known source 120", "line to neutral 0", "known source 120"):
        talk.say(line, "yes")
    assert "Wire the fan." in talk.say("confirmed")
    assert isinstance(awaiting(talk.job, talk.loop.session), Doing)


def test_restarted_at_the_met_hold_itself_it_leads_on_and_not_round() -> None:
    talk = proved_dead()
    talk.say("go back")
    assert talk.job.step == "lock"
    talk.kill_and_resume()
    talk.say("yes")
    for line in ("known source 120", "line to neutral 0", "known source 120"):
        talk.say(line, "yes")
    talk.say("confirmed")
    assert talk.job.step == "wire"


def test_all_clear_heard_poorly_twice_in_a_row_ends_an_emergency() -> None:
    """There is nobody to answer 'yes or no' there: only "I'm clear" can be said."""
    talk = Talk()
    talk.say("i smell gas")
    words = ("i'm", "clear")
    for cleared in ("gas", ""):
        hearing = Hearing((Alternative(words, match=0.45, log_prob=-3.0),))
        talk.loop.happen(Heard(hearing, talk.loop.language.candidates(hearing), LATER))
        assert talk.job.emergency == cleared


# ---------------------------------------------------------------- talk that is not for it


def heard(talk: Talk, words: str, match: float, start_s: float, end_s: float) -> str:
    """Hear a sentence at a place in the stream; return what is answered, '' for nothing."""
    hearing = Hearing(
        (Alternative(tuple(words.split()), match, -1.0),), start_s=start_s, end_s=end_s
    )
    talk.said.clear()
    talk.loop.happen(Heard(hearing, talk.loop.language.candidates(hearing), LATER))
    return " ".join(talk.said)


@pytest.mark.parametrize(
    ("gap_s", "is_taken"),
    [(0.3, False), (1.4, False), (1.6, True)],
)
def test_right_behind_talk_a_doubtful_sentence_is_not_taken(
    gap_s: float,
    is_taken: bool,  # noqa: FBT001 - a parameter of the test
) -> None:
    talk = Talk()
    assert heard(talk, "sheet metal", 0.05, 10.0, 12.0) == ""  # two seconds of talk
    heard(talk, "sheet metal", 0.9, 12.0 + gap_s, 12.5 + gap_s)
    assert bool(talk.logged("choice")) is is_taken


def test_a_noise_before_a_sentence_is_no_talk() -> None:
    talk = Talk()
    assert heard(talk, "sheet metal", 0.05, 10.0, 10.3) == ""
    heard(talk, "sheet metal", 0.9, 10.8, 11.2)
    assert talk.logged("choice")


def test_an_emergency_right_behind_talk_is_taken() -> None:
    talk = Talk()
    assert heard(talk, "done", 0.05, 10.0, 12.0) == ""
    assert heard(talk, "i smell gas", 0.55, 12.2, 13.0) != ""
    assert talk.job.emergency


@pytest.mark.parametrize("word", ["yes", "no"])
def test_a_yes_or_no_that_nobody_asked_for_is_not_for_it(word: str) -> None:
    talk = Talk()
    talk.say("sheet metal")
    assert isinstance(awaiting(talk.job, talk.loop.session), StepReading)
    before = talk.job
    assert heard(talk, word, 0.99, 10.0, 10.4) == ""
    assert talk.job == before


def heard_between(talk: Talk, *nearly: tuple[str, float, float], calibrated: bool = True) -> str:
    """Hear (words, match, log-probability) nearly alike; return what is answered."""
    hearing = Hearing(
        tuple(Alternative(tuple(words.split()), match, nats) for words, match, nats in nearly),
        is_calibrated=calibrated,
    )
    talk.said.clear()
    talk.loop.happen(Heard(hearing, talk.loop.language.candidates(hearing), LATER))
    return " ".join(talk.said)


def at_a_reading() -> Talk:
    """A talk that waits for a reading."""
    talk = Talk()
    talk.say("sheet metal")
    assert isinstance(awaiting(talk.job, talk.loop.session), StepReading)
    return talk


def test_behind_a_no_that_nobody_asked_for_no_number_is_taken_instead() -> None:
    talk = at_a_reading()
    assert heard_between(talk, ("no", 0.92, 2.8), ("primary one nineteen", 0.9, 1.9)) == ""
    assert not talk.logged("reading")


def test_a_number_that_may_have_been_a_no_is_not_taken() -> None:
    talk = at_a_reading()
    heard_between(talk, ("primary one nineteen", 0.9, 2.8), ("no", 0.9, 2.6))
    assert not talk.logged("reading")


def test_a_no_right_behind_a_reading_is_answered() -> None:
    talk = at_a_reading()
    talk.say("primary 119")
    assert heard_between(talk, ("no", 0.95, 0.0)) != ""
    assert talk.logged("reading")
    assert not talk.logged("struck")


def test_while_this_or_that_is_asked_another_reading_needs_what_it_always_needs() -> None:
    talk = at_a_reading()
    heard_between(talk, ("primary one fifteen", 0.95, 0.0), ("primary one fifty", 0.95, -0.1))
    assert isinstance(talk.loop.session.pending, Between)
    heard_between(talk, ("primary one eighteen", 0.4, 0.0))
    assert not talk.logged("reading")


def test_an_engine_whose_margins_are_no_chances_is_held_to_wider_ones() -> None:
    nearly = (("primary one fifteen", 1.0, 0.0), ("primary one fifty", 0.9, -3.5))
    sure, unsure = at_a_reading(), at_a_reading()
    heard_between(sure, *nearly, calibrated=True)
    heard_between(unsure, *nearly, calibrated=False)
    assert sure.logged("reading")
    assert not unsure.logged("reading")


def test_to_take_a_reading_back_is_never_harder_behind_talk() -> None:
    talk = at_a_reading()
    talk.say("primary 119")
    assert heard(talk, "sheet metal", 0.05, 10.0, 12.0) == ""  # two seconds of talk
    heard(talk, "strike that", 0.9, 12.2, 12.9)
    assert talk.logged("struck")


@pytest.mark.parametrize("words", ["why", "source", "in metric"])
def test_a_why_where_no_sizing_was_asked_is_not_for_it(words: str) -> None:
    talk = at_a_reading()
    before = talk.job
    assert heard(talk, words, 0.99, 10.0, 10.4) == ""
    assert talk.job == before
    talk.say("what gauge for half an amp at sixty feet")
    assert heard(talk, words, 0.99, 30.0, 30.4) != ""


def test_a_bare_number_right_behind_talk_is_asked_about_and_taken_when_said_again() -> None:
    talk = at_a_reading()
    assert heard(talk, "one nineteen", 0.05, 10.0, 12.0) == ""  # two seconds of talk
    assert "again" in heard(talk, "one nineteen", 0.99, 12.4, 13.0).lower()
    assert not talk.logged("reading")
    heard(talk, "one nineteen", 0.99, 13.8, 14.4)
    assert talk.logged("reading")


def test_talk_right_behind_a_bare_number_takes_it_back() -> None:
    talk = at_a_reading()
    heard(talk, "one nineteen", 0.99, 10.0, 10.6)
    assert talk.logged("reading")
    told = heard(talk, "sheet metal", 0.05, 11.5, 13.0)
    assert told.startswith("That sounded like talk.")
    assert "Primary voltage?" in told
    assert talk.job.standing() == ()


def test_a_number_that_took_far_too_long_is_asked_for_again() -> None:
    talk = at_a_reading()
    heard(talk, "one nineteen", 0.99, 10.0, 13.0)
    assert not talk.logged("reading")
    heard(talk, "one nineteen", 0.99, 20.0, 21.1)
    assert talk.logged("reading")


@pytest.mark.parametrize("said", ["it's one nineteen", "one hundred nineteen volts", "it's open"])
def test_talk_right_behind_a_value_without_its_test_point_takes_it_back(said: str) -> None:
    talk = at_a_reading()
    heard(talk, said, 0.99, 10.0, 10.9)
    assert talk.logged("reading")
    assert heard(talk, "sheet metal", 0.05, 11.5, 13.0).startswith("That sounded like talk.")
    assert talk.job.standing() == ()


def test_talk_right_behind_a_longer_yes_withdraws_the_check_too() -> None:
    talk = at_the_lock()
    heard(talk, "yes i have", 0.99, 10.0, 10.8)
    assert talk.job.holds["lock"].checks
    heard(talk, "sheet metal", 0.05, 11.2, 13.0)
    assert not talk.job.holds["lock"].checks


@pytest.mark.parametrize(("words", "is_taken"), [("fire", False), ("i smell gas", True)])
def test_an_emergency_of_one_word_right_behind_talk_is_asked_about(
    words: str, *, is_taken: bool
) -> None:
    alone, amid = at_a_reading(), at_a_reading()
    heard(alone, words, 0.55, 10.0, 10.5)
    assert alone.job.emergency
    heard(amid, "sheet metal", 0.05, 10.0, 12.0)
    heard(amid, words, 0.55, 12.7, 13.2)
    assert bool(amid.job.emergency) is is_taken
    if not is_taken:
        assert isinstance(awaiting(amid.job, amid.loop.session), ConfirmHeard)
        heard(amid, "yes", 0.99, 15.0, 15.4)
        assert amid.job.emergency == "fire"


def test_an_emergency_cried_again_is_its_own_answer() -> None:
    talk = at_a_reading()
    heard(talk, "sheet metal", 0.05, 10.0, 12.0)
    heard(talk, "fire", 0.55, 12.7, 13.2)
    assert not talk.logged("emergency")
    heard(talk, "fire", 0.3, 14.0, 14.5)
    assert talk.job.emergency == "fire"


def test_the_answer_to_whether_there_is_an_emergency_is_heard_amid_talk() -> None:
    talk = at_a_reading()
    heard(talk, "sheet metal", 0.05, 10.0, 12.0)
    heard(talk, "fire", 0.55, 12.7, 13.2)
    heard(talk, "sheet metal", 0.05, 13.5, 15.0)
    heard(talk, "yes", 0.95, 15.5, 15.9)
    assert talk.job.emergency == "fire"


def test_talk_some_time_behind_a_bare_number_or_behind_a_named_one_takes_nothing_back() -> None:
    talk = at_a_reading()
    heard(talk, "one nineteen", 0.99, 10.0, 10.6)
    assert heard(talk, "sheet metal", 0.05, 12.2, 14.0) == ""
    named = at_a_reading()
    heard(named, "primary one nineteen volts", 0.99, 10.0, 10.6)
    assert heard(named, "sheet metal", 0.05, 11.0, 13.0) == ""
    for each in (talk, named):
        assert len(each.job.standing()) == 1


def test_talk_right_behind_a_yes_withdraws_a_hold_points_check() -> None:
    talk = at_the_lock()
    assert isinstance(awaiting(talk.job, talk.loop.session), HoldCheck)
    heard(talk, "yes", 0.99, 10.0, 10.4)
    assert talk.job.holds["lock"].checks
    told = heard(talk, "sheet metal", 0.05, 11.2, 13.0)
    assert told.startswith("That sounded like talk.")
    assert not talk.job.holds["lock"].checks


def test_a_click_behind_a_bare_number_takes_nothing_back() -> None:
    talk = at_a_reading()
    heard(talk, "one nineteen", 0.99, 10.0, 10.6)
    assert heard(talk, "sheet metal", 0.05, 11.0, 11.2) == ""
    assert len(talk.job.standing()) == 1


def test_to_change_a_reading_of_another_step_is_asked_about_first() -> None:
    talk = at_a_reading()
    talk.say("primary 119", "return point two", "supply point four", "done")
    assert talk.job.step == "lock"
    assert "from before" in heard_between(talk, ("make it point five", 0.99, 0.0))
    assert not talk.logged("correction")
    heard_between(talk, ("yes", 0.99, 0.0))
    assert talk.logged("correction")


def test_what_about_something_where_no_sizing_was_asked_is_not_for_it() -> None:
    talk = at_a_reading()
    before = talk.job
    assert heard(talk, "what about ninety feet", 0.99, 10.0, 11.0) == ""
    assert talk.job == before
    talk.say("what gauge for half an amp at sixty feet")
    assert heard(talk, "what about ninety feet", 0.99, 30.0, 31.0) != ""


# ---------------------------------------------------------------- terse and full


def test_kept_short_a_step_is_said_in_few_words_its_caution_whole_and_the_rest_on_asking() -> None:
    talk = Talk(procedure("overflow-switch"))
    first = talk.job.current
    assert first is not None
    assert first.short
    talk.say("keep it short")
    told = talk.say("resume")
    assert first.short in told
    assert first.say not in told
    assert first.caution in told
    assert first.say in talk.say("tell me more")
    talk.say("say it in full")
    assert first.say in talk.say("resume")


def test_a_step_without_short_words_is_said_whole() -> None:
    talk = Talk()
    talk.say("keep it short")
    assert "Look at the duct." in talk.say("resume")


# ---------------------------------------------------------------- the headset gone and back


def lose_and_find(talk: Talk, gone_for_s: float) -> str:
    talk.loop.happen(EarLost(START + timedelta(minutes=1)))
    talk.loop.happen(EarBack(START + timedelta(minutes=1, seconds=gone_for_s)))
    return " ".join(talk.said)


def test_after_a_short_loss_it_asks_again_what_it_waited_for() -> None:
    talk = at_the_lock()
    assert lose_and_find(talk, 20.0).endswith("Is your lock on?")


def test_after_a_long_loss_dead_is_proved_anew() -> None:
    short, long = proved_dead(), proved_dead()
    lose_and_find(short, 200.0)
    assert short.job.dead
    assert "Prove dead again." in lose_and_find(long, 301.0)
    assert not long.job.dead


def test_a_loss_while_standing_by_wakes_nothing() -> None:
    talk = at_the_lock()
    talk.say("stand by")
    assert lose_and_find(talk, 20.0) == "I hear you again."
    assert talk.loop.session.standing_by


def test_in_an_emergency_its_answer_is_said_again_once_it_is_back() -> None:
    talk = at_the_lock()
    talk.say("i smell gas")
    assert "Touch no switch." in lose_and_find(talk, 20.0)
