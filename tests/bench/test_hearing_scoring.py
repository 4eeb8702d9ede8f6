"""What came of a case, each kind once, at real moments of a real job."""

from __future__ import annotations

import pytest

from companion.bench.hearing.case import Case
from companion.bench.hearing.moments import moment
from companion.bench.hearing.scoring import Came, Score, scored
from companion.ports import Alternative, Hearing

READING = "found-static.supply-static"


def hearing(*sentences: str, match: float = 1.0, margin: float = 9.0) -> Hearing:
    """What was heard, best first, each so much less likely than the one before."""
    return Hearing(
        tuple(
            Alternative(tuple(sentence.split()), match, -margin * rank)
            for rank, sentence in enumerate(sentences)
        )
    )


def came(
    said: str,
    *hearings: Hearing,
    at: str = READING,
    addressed: bool = True,
    means: str = "",
) -> Score:
    case = Case("one", "own", at, tuple(said.split()), addressed, "flite:slt", means=means)
    return scored(case, moment(at), hearings)


SAID = "supply static point four five"


def test_the_same_words_are_right() -> None:
    score = came(SAID, hearing(SAID))
    assert score.came is Came.RIGHT
    assert score.is_known
    assert score.holds_value


def test_other_words_for_the_same_meaning_are_right() -> None:
    assert came(SAID, hearing("supply point four five")).came is Came.RIGHT
    assert came("which step", hearing("where am i")).came is Came.RIGHT


def test_another_number_taken_is_a_silent_error() -> None:
    score = came(SAID, hearing("supply static point four nine"))
    assert score.came is Came.SILENT_ERROR
    assert "0.49" in score.taken


@pytest.mark.parametrize(
    "doubtful",
    [
        hearing("supply static point four nine", SAID, margin=0.5),  # between two
        hearing("supply static point four nine", match=0.4),  # say again
        hearing("supply static nine point four five"),  # implausible there
    ],
)
def test_what_is_asked_about_is_asked(doubtful: Hearing) -> None:
    assert came(SAID, doubtful).came is Came.ASKED


def test_nothing_heard_is_missed() -> None:
    assert came(SAID).came is Came.MISSED
    assert came(SAID, Hearing(())).came is Came.MISSED
    assert came(SAID, hearing(SAID, match=0.1)).came is Came.MISSED


def test_another_command_obeyed_is_no_silent_error_but_wrong() -> None:
    assert came("which step", hearing("repeat")).came is Came.OTHER_WRONG
    assert came("which step", hearing(SAID)).came is Came.SILENT_ERROR


def test_a_command_obeyed_beside_the_right_reading_is_no_silent_error() -> None:
    score = came(SAID, hearing(SAID), hearing("which step"))
    assert score.came is Came.OTHER_WRONG


def test_a_choice_taken_wrong_is_a_silent_error() -> None:
    score = came("nothing there", hearing("danger"), at="arrival.danger")
    assert score.came is Came.SILENT_ERROR
    assert score.holds_value


def test_a_hold_points_reading_is_read_back_before_it_counts() -> None:
    at = "prove-dead.known-source"
    right = came("one nineteen", hearing("one nineteen"), at=at)
    wrong = came("one nineteen", hearing("one twenty"), at=at)
    assert (right.came, wrong.came) == (Came.RIGHT, Came.READ_BACK)


def test_a_wrong_reading_of_a_hold_point_that_is_affirmed_too_is_a_silent_error() -> None:
    at = "prove-dead.known-source"
    affirmed = came("one nineteen", hearing("one twenty"), hearing("yes"), at=at)
    assert affirmed.came is Came.SILENT_ERROR


def test_a_sentence_cut_in_two_is_judged_by_what_came_of_both() -> None:
    score = came(SAID, hearing("supply static point four"), hearing("which step"))
    assert score.came is Came.SILENT_ERROR


def test_talk_that_nothing_comes_of_is_quiet() -> None:
    talk = "did you see the game last night"
    assert came(talk, addressed=False).came is Came.QUIET
    assert came(talk, hearing(SAID, match=0.1), addressed=False).came is Came.QUIET
    assert came(talk, hearing(SAID, match=0.4), addressed=False).came is Came.DISTURBED
    assert came(talk, hearing(SAID), addressed=False).came is Came.FALSE_ACCEPT
    assert came(talk, hearing("which step"), addressed=False).came is Came.FALSE_ACCEPT


def test_talk_that_only_a_doubt_comes_of_disturbs_as_it_would_ask_who_is_addressed() -> None:
    odd = hearing("supply static nine point four five")  # implausible there
    assert came("nine of them", odd, addressed=False).came is Came.DISTURBED
    twice = came("nine of them", odd, hearing("yes"), addressed=False)
    assert twice.came is Came.FALSE_ACCEPT


def test_talk_that_silences_what_is_silent_does_nothing() -> None:
    assert came("stop it", hearing("stop"), addressed=False).came is Came.QUIET
    both = came("stop it", hearing("stop"), hearing("which step"), addressed=False)
    assert both.came is Came.FALSE_ACCEPT


def test_words_that_the_grammar_lacks_may_be_missed_asked_or_understood_but_not_mistaken() -> None:
    said = "tell me that one more time would you"
    assert not came(said, means="commands.repeat").is_known
    assert came(said, means="commands.repeat").came is Came.MISSED
    assert came(said, hearing("repeat"), means="commands.repeat").came is Came.RIGHT
    assert came(said, hearing("repeat", match=0.4), means="commands.repeat").came is Came.ASKED
    assert came(said, hearing(SAID), means="commands.repeat").came is Came.SILENT_ERROR


def test_a_reading_that_nobody_said_is_a_silent_error_though_no_value_was_said() -> None:
    score = came("which step", hearing(SAID))
    assert (score.came, score.holds_value) == (Came.SILENT_ERROR, False)


@pytest.mark.parametrize("at", ["between", "confirm-unlikely", "confirm-end"])
def test_talk_into_an_open_question_is_quiet_when_nothing_is_heard(at: str) -> None:
    assert came("nice weather we have", at=at, addressed=False).came is Came.QUIET


def test_which_of_the_two_once_more_is_asking() -> None:
    unsettled = hearing("fifty", "fifteen", margin=0.01)
    assert came("fifty", unsettled, at="between").came is Came.ASKED
    assert came("so he sold it", unsettled, at="between", addressed=False).came is Came.DISTURBED


def test_talk_that_is_asked_about_and_then_obeyed_is_a_false_accept() -> None:
    heard = hearing("repeat", match=0.4), hearing("which step")
    assert came("so he sold it", *heard, addressed=False).came is Came.FALSE_ACCEPT


def test_a_meaning_is_met_whole() -> None:
    said, heard = "supply about point four ish", hearing("supply static point four five")
    short = came(said, heard, means="readings.reading supply-static 0.4")
    whole = came(said, heard, means="readings.reading supply-static 0.45")
    assert (short.came, whole.came) == (Came.SILENT_ERROR, Came.RIGHT)


def test_words_of_his_own_that_silence_it_are_understood() -> None:
    score = came("hush now would you", hearing("quiet"), means="commands.quiet")
    assert score.came is Came.RIGHT


@pytest.mark.parametrize(
    ("at", "heard"),
    [("suitable.confirm", "confirmed"), ("suitable.right-hood-clearance", "yes")],
)
def test_a_hold_point_answered_by_mistake_is_a_silent_error(at: str, heard: str) -> None:
    assert came("no", hearing(heard), at=at).came is Came.SILENT_ERROR
    score = came(heard, hearing(heard), at=at)
    assert (score.came, score.holds_value) == (Came.RIGHT, True)


def test_what_was_logged_is_told_by_kind_without_how_it_was_heard() -> None:
    [(kind, named), *_] = came("so he sold it", hearing(SAID, match=0.95), addressed=False).logged
    assert kind == "reading"
    assert "supply-static" in named
    assert "0.45" in named
    assert "0.95" not in named
    assert came("so he sold it", hearing("repeat"), addressed=False).logged == ()


def test_what_was_said_is_told_as_a_label_as_far_as_anything_knows() -> None:
    assert came("i smell gas", at="standing-by").means == "emergency.gas"
    assert came("toolbox listen up", at="standing-by").means == "commands.wake"
    assert came("a whiff of gas here", means="emergency.gas").means == "emergency.gas"
    assert came("so he sold it", addressed=False).means == ""
