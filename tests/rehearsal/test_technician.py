"""The synthetic technician: picks a side, repeats, repairs, waits, gives up."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.dialogue.between import difference, spoken
from companion.language.phrasing import phrase
from companion.procedures import procedure
from companion.rehearsal.technician import (
    ANSWER_WITHIN_S,
    MOST_TRIES,
    REACTION_S,
    Line,
    Technician,
    figure_by_figure,
    script,
)

if TYPE_CHECKING:
    from companion.rehearsal.technician import Spoken

VOLTS = Line("primary one nineteen", ("one one nine",), reads=("primary-voltage", "119"))
METAL = Line("sheet metal", ("rating plate",))
DONE = Line("done", ("wire the fan",))
REMARK = Line("honey where is the coffee", kind="remark")


def technician(*lines: Line) -> Technician:
    return Technician(lines)


def next_words(someone: Technician, *answers: str, silent_s: float = 1.0) -> str | None:
    """Let him hear answers, then say something."""
    for answer in answers:
        someone.listen(answer)
    spoken_now = someone.speak(silent_s)
    return spoken_now.text if spoken_now else None


def begun(*lines: Line) -> Technician:
    """Return one who has said his first line."""
    someone = technician(*lines)
    assert next_words(someone) == lines[0].say
    return someone


def asked_between(first: str, second: str) -> str:
    """Return what the companion itself would ask about two sentences."""
    one, two = difference(tuple(first.split()), tuple(second.split()))
    return phrase("between.ask", first=spoken(one).capitalize(), second=spoken(two))


# ---------------------------------------------------------------- going on


def test_he_says_his_lines_one_after_the_other_as_he_is_understood() -> None:
    someone = begun(METAL, DONE)
    assert next_words(someone, "Sheet metal.", "Read the rating plate to me.") == "done"
    assert next_words(someone, "Wire the fan.") is None
    assert someone.line is None
    assert (someone.corrected, someone.between, someone.gave_up) == (0, 0, "")


def test_he_keeps_quiet_until_both_have_been_silent() -> None:
    someone = technician(METAL)
    assert someone.speak(REACTION_S - 0.01) is None
    first = someone.speak(REACTION_S)
    assert first is not None
    assert (first.text, first.first, first.is_line) == ("sheet metal", True, True)


def test_he_waits_for_an_answer_and_then_says_it_again() -> None:
    someone = begun(METAL)
    assert next_words(someone, silent_s=ANSWER_WITHIN_S - 0.01) is None
    again = someone.speak(ANSWER_WITHIN_S)
    assert again is not None
    assert (again.text, again.first) == ("sheet metal", False)


def test_a_line_may_wait_for_silence_or_for_more_to_be_said() -> None:
    someone = technician(Line("done", after_s=1.5), Line("yes", after_said=2))
    assert next_words(someone, silent_s=1.4) is None
    assert next_words(someone, silent_s=1.5) == "done"


def test_a_remark_needs_no_answer_and_one_is_let_go() -> None:
    someone = begun(REMARK, DONE)
    assert next_words(someone, silent_s=ANSWER_WITHIN_S) == "done"
    someone = begun(REMARK, DONE)
    assert next_words(someone, "Say again.") == "done"
    assert someone.corrected == 0


# ---------------------------------------------------------------- repairing


@pytest.mark.parametrize(
    "answer",
    [phrase("unclear.again"), phrase("unclear.help"), phrase("reading.unawaited")],
)  # fmt: skip
def test_asked_to_say_it_again_he_does(answer: str) -> None:
    someone = begun(METAL)
    assert next_words(someone, answer) == "sheet metal"
    assert someone.corrected == 0


def test_of_a_wrong_readback_he_says_that_it_is_wrong_and_then_says_it_again() -> None:
    someone = begun(VOLTS)
    assert next_words(someone, "Primary, one nine zero volts. Outside limits.") == "that's wrong"
    assert next_words(someone, phrase("reading.again", ask="Primary voltage?")) is not None
    assert someone.corrected == 1


@pytest.mark.parametrize(
    "answer",
    [
        "Primary, one nine zero volts. Right?",
        "Primary, one nine volts? That's unlikely there. Yes or no.",
        "Call it off and leave it safe? Yes or no.",
    ],
)
def test_to_a_wrong_question_he_says_no(answer: str) -> None:
    someone = begun(VOLTS)
    assert next_words(someone, answer) == "no"


def test_asked_whether_that_was_it_he_says_yes() -> None:
    someone = begun(METAL)
    assert next_words(someone, "Sheet metal? Yes or no.") == "yes"
    assert next_words(someone, "Read the rating plate to me.") is None
    assert someone.line is None


def test_he_gives_up_after_so_many_tries_and_says_at_what() -> None:
    someone = technician(METAL, DONE)
    said = 0
    while someone.line and said < 50:
        said += next_words(someone, "Look at the duct.") is not None
    assert said == MOST_TRIES
    assert someone.gave_up == "'sheet metal' was answered: Look at the duct."
    assert someone.speak(10.0) is None


def test_with_no_answer_at_all_he_gives_up_too() -> None:
    someone = technician(METAL)
    for _ in range(MOST_TRIES):
        assert next_words(someone, silent_s=ANSWER_WITHIN_S) == "sheet metal"
    assert next_words(someone, silent_s=ANSWER_WITHIN_S) is None
    assert someone.gave_up == "'sheet metal' was answered: (nothing)"


def test_he_finds_other_words_before_he_gives_up() -> None:
    someone = begun(Line("metal", ("plate",), or_say="sheet metal"))
    tried = {next_words(someone, "Say again.") for _ in range(MOST_TRIES - 1)}
    assert tried == {"sheet metal", "metal"}


def test_asked_for_figures_he_says_the_number_figure_by_figure() -> None:
    someone = begun(VOLTS)
    assert next_words(someone, phrase("between.neither")) == "primary one one nine"


@pytest.mark.parametrize(
    ("line", "figures"),
    [
        ("primary one nineteen", "primary one one nine"),
        ("supply static point four five", "supply static zero point four five"),
        ("sheet metal", "sheet metal"),
        ("primary to case o l", "primary to case o l"),
    ],
)
def test_figures_are_those_of_the_number(line: str, figures: str) -> None:
    assert figure_by_figure(line) == figures


# ---------------------------------------------------------------- one of two


@pytest.mark.parametrize(
    ("meant", "first", "second", "picks"),
    [
        ("primary one nineteen", "primary one nineteen", "primary one ninety", "one one nine"),
        ("primary one ninety", "primary one nineteen", "primary one ninety", "one nine zero"),
        ("supply point five", "supply five", "supply point five", "zero point five"),
        ("sheet metal", "duct board", "sheet metal", "the second"),
        ("sheet metal", "sheet metal", "duct board", "the first"),
        ("primary one eighteen", "primary one fifteen", "primary one fifty", "neither"),
    ],
)
def test_of_two_he_picks_what_he_said(meant: str, first: str, second: str, picks: str) -> None:
    someone = begun(Line(meant, ("never",)))
    assert next_words(someone, asked_between(first, second)) == picks
    assert someone.between == 1
    assert someone.corrected == 0


def test_he_finds_the_question_behind_other_sentences() -> None:
    someone = begun(VOLTS)
    asked = asked_between("primary one nineteen", "primary one ninety")
    assert next_words(someone, "Wait. That was unclear.", asked) == "one one nine"


def test_asked_for_the_side_he_names_it() -> None:
    someone = begun(VOLTS)
    next_words(someone, asked_between("primary one ninety", "primary one nineteen"))
    assert next_words(someone, "The first, or the second?") == "the second"


_words = st.lists(
    st.sampled_from(
        ["a", "and", "o", "half", "minus", "point", "oh", "fan", "one", "nineteen", "hundred"]
    ),
    min_size=1,
    max_size=7,
).map(" ".join)


@given(_words, _words, _words)
def test_whatever_is_asked_he_answers_something(meant: str, first: str, second: str) -> None:
    someone = begun(Line(meant, ("never",)))
    if first == second:
        return
    said = next_words(someone, asked_between(first, second))
    assert said
    assert figure_by_figure(meant)


# ---------------------------------------------------------------- the prepared job


def test_the_prepared_job_holds_everything_that_is_asked_of_it() -> None:
    lines = script(procedure("fresh-air-damper"))
    shown = " / ".join(line.shows for line in lines if line.shows)
    for each in (  # issue 2, item 2
        "choice", "caution", "hold", "live", "outside", "struck", "correction", "between",
        "sizing", "input", "not for the companion", "emergency", "standing by", "killed",
    ):  # fmt: skip
        assert each in shown.lower(), f"nothing shows '{each}'"
    assert sum(line.kind == "remark" for line in lines) >= 1
    assert sum(line.kind == "kill" for line in lines) >= 1
    assert any(not line.stands for line in lines)
    assert any(line.say == "i'm clear" for line in lines)
    assert sum("sizing" in line.shows for line in lines) == 3


def test_every_line_knows_how_it_is_answered() -> None:
    made = procedure("fresh-air-damper")
    for line in script(made):
        if line.kind == "say":
            assert line.hears, line.say
            assert all(line.hears)
        if line.reads:
            assert line.reads[0] in made.points


def spoken_first(someone: Technician) -> Spoken:
    found = someone.speak(10.0)
    assert found
    return found


def test_a_kill_is_a_line_without_words() -> None:
    someone = technician(Line("", kind="kill"), DONE)
    assert spoken_first(someone).line.kind == "kill"
