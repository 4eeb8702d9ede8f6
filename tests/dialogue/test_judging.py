"""Judging a hearing: what is taken, asked between, asked again and left alone (DESIGN.md 5)."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, TypeAlias

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.dialogue.judging import (
    Accept,
    AskAgain,
    AskBetween,
    Ignore,
    Likelihood,
    is_slight,
    judge,
    number_runs,
    thresholds,
)
from companion.language.meanings import (
    Candidate,
    Change,
    Choice,
    Command,
    Correction,
    Emergency,
    Meaning,
    Measure,
    Question,
    Reading,
    Talk,
    Value,
)
from companion.numbers import parse

if TYPE_CHECKING:
    from collections.abc import Callable

if TYPE_CHECKING:
    from collections.abc import Callable

    Judge: TypeAlias = Callable[[Meaning], Likelihood]

LIMITS = replace(
    thresholds(),
    ignore_match=0.3,
    accept_match=0.6,
    slight_match=0.6,
    slight_answer_match=0.6,
    slight_reading_match=0.6,
    sure_match=0.8,
    emergency_match=0.5,
    emergency_ask_match=0.4,
    wake_match=0.4,
    margin_nats=2.0,
    confusion_margin_nats=4.0,
    outside_margin_nats=6.0,
    fitting_margin_nats=0.0,
)


def anything(_: Meaning) -> Likelihood:
    return Likelihood.EXPECTED


def candidate(
    words: str, meaning: Meaning, match: float = 0.95, log_prob: float = -1.0
) -> Candidate:
    return Candidate(meaning, tuple(words.split()), match, log_prob)


def reading(words: str, number: str, match: float = 0.95, log_prob: float = -1.0) -> Candidate:
    """A reading of 'supply static'; `number` is its number as said."""
    measure = Measure(parse(number.split()), None)
    return candidate(words, Reading("supply-static", measure), match, log_prob)


def volts(number: str, match: float = 0.95, log_prob: float = -1.0) -> Candidate:
    measure = Measure(parse(number.split()), "V")
    return candidate(f"primary {number} volts", Reading("primary", measure), match, log_prob)


def below(highest: int, otherwise: Likelihood = Likelihood.IMPLAUSIBLE) -> Judge:
    """Return how likely readings are where they are expected up to a value."""

    def likelihood(meaning: Meaning) -> Likelihood:
        measure = getattr(meaning, "measure", None)
        is_expected = measure is None or abs(measure.value) <= highest
        return Likelihood.EXPECTED if is_expected else otherwise

    return likelihood


DONE = candidate("done", Command("done"))


def test_nothing_in_the_grammar_is_not_for_me() -> None:
    assert judge((), anything, LIMITS) == Ignore()


def test_quiet_is_taken_unless_something_is_near_that_would_be_lost_by_it() -> None:
    quiet = Candidate(Command("quiet"), ("quiet",), 0.65, -1.0)
    near = Candidate(Command("repeat"), ("repeat",), 0.65, -1.1)
    assert judge((quiet, near), anything, LIMITS) == Accept(quiet)
    four = Measure(Decimal(4), None)
    for lost in (Command("done"), Emergency("fire"), Reading("supply-static", four)):
        other = Candidate(lost, ("other",), 0.65, -1.1)
        assert judge((quiet, other), anything, LIMITS) != Accept(quiet)
    poor = replace(quiet, match=0.5)
    assert judge((poor, near), anything, LIMITS) != Accept(poor)


@pytest.mark.parametrize(
    ("match", "expected"),
    [
        (0.299, Ignore()),
        (0.3, AskAgain),
        (0.599, AskAgain),
        (0.6, Accept),
        (1.0, Accept),
    ],
)
def test_the_thresholds_are_inclusive_from_below(match: float, expected: object) -> None:
    judged = judge((replace(DONE, match=match),), anything, LIMITS)
    assert judged == expected if isinstance(expected, Ignore) else type(judged) is expected


@pytest.mark.parametrize(("match", "expected"), [(0.39, Ignore), (0.49, AskAgain), (0.5, Accept)])
def test_an_emergency_has_its_own_line_and_no_rival(match: float, expected: type) -> None:
    gas = candidate("i smell gas", Emergency("gas"), match)
    rival = candidate("skip this", Command("skip"), match, -1.01)
    assert isinstance(judge((gas, rival), anything, LIMITS), expected)


def test_an_emergency_close_behind_is_never_passed_over_in_silence() -> None:
    best = candidate("higher", Command("speak-up"))
    fire = candidate("fire", Emergency("fire"), log_prob=-1.5)
    assert isinstance(judge((best, fire), anything, LIMITS), AskAgain)


@pytest.mark.parametrize(("match", "expected"), [(0.39, Ignore), (0.4, Accept)])
def test_the_attention_phrase_has_its_own_line(match: float, expected: type) -> None:
    wake = candidate("toolbox listen up", Command("wake"), match)
    assert isinstance(judge((wake,), anything, LIMITS), expected)


# ---------------------------------------------------------------- two things near one another


@pytest.mark.parametrize(("margin", "expected"), [(1.99, AskBetween), (2.0, Accept)])
def test_two_readings_are_asked_between_within_the_margin(margin: float, expected: type) -> None:
    best = reading("supply static point four one", "point four one")
    other = reading("supply static point two six", "point two six", log_prob=-1.0 - margin)
    assert isinstance(judge((best, other), anything, LIMITS), expected)


@pytest.mark.parametrize(
    ("said", "heard"),
    [  # DESIGN.md section 5 names these confusions
        ("fifteen", "fifty"),
        ("one nineteen", "one ninety"),
        ("point five", "point nine"),
        ("point eight", "point nine"),
        ("four", "forty"),
        ("point five", "five"),
        ("minus five", "five"),
        ("point five", "point oh five"),
    ],
)
@pytest.mark.parametrize(("margin", "expected"), [(3.99, AskBetween), (4.0, Accept)])
def test_known_confusions_are_asked_between_from_further_off(
    said: str, heard: str, margin: float, expected: type
) -> None:
    best, other = volts(heard), volts(said, log_prob=-1.0 - margin)
    judged = judge((best, other), anything, LIMITS)
    assert isinstance(judged, expected)
    if isinstance(judged, AskBetween):
        assert (judged.first, judged.second) == (best, other)


def test_done_against_dead_is_said_again_not_taken() -> None:
    other = candidate("dead", Command("confirmed"), log_prob=-1.5)
    assert isinstance(judge((DONE, other), anything, LIMITS), AskAgain)


def test_other_words_for_the_same_meaning_are_no_rival() -> None:
    other = candidate("i'm done", Command("done"), log_prob=-1.01)
    assert judge((DONE, other), anything, LIMITS) == Accept(DONE)
    twenty = reading("supply static point two", "point two")
    long = reading("supply static point two oh", "point two oh", log_prob=-1.01)
    assert judge((twenty, long), anything, LIMITS) == Accept(twenty)


def test_another_meaning_of_the_same_words_is_no_rival() -> None:
    choice = candidate("one twenty", Choice("primary", "120"))
    value = candidate("one twenty", Value(Measure(Decimal(120), None)))
    assert judge((choice, value), anything, LIMITS) == Accept(choice)


@pytest.mark.parametrize(
    ("one", "two"),
    [
        (Correction(Measure(Decimal(15), None)), Correction(Measure(Decimal(50), None))),
        (Value(Measure(Decimal(15), None)), Value(Measure(Decimal(50), None))),
        (Change(Measure(Decimal(15), "ft")), Change(Measure(Decimal(50), "ft"))),
        (Choice("duct", "metal"), Choice("duct", "board")),
        (
            Question("low-voltage-gauge", {"length": Measure(Decimal(15), "ft")}),
            Question("low-voltage-gauge", {"length": Measure(Decimal(50), "ft")}),
        ),
    ],
)
def test_answers_of_one_kind_are_asked_between(one: Meaning, two: Meaning) -> None:
    best, other = candidate("x fifteen", one), candidate("x fifty", two, log_prob=-1.5)
    assert judge((best, other), anything, LIMITS) == AskBetween(best, other)


def test_answers_of_two_kinds_are_said_again() -> None:
    other = volts("fifty", log_prob=-1.5)
    assert isinstance(judge((DONE, other), anything, LIMITS), AskAgain)


# ---------------------------------------------------------------- the plausible range


def test_an_implausible_rival_does_not_count() -> None:
    best, other = volts("fifteen"), volts("fifty", log_prob=-1.1)
    assert judge((best, other), below(20), LIMITS) == Accept(best)


def test_an_implausible_best_is_asked_against_a_plausible_rival_however_far() -> None:
    best, other = volts("fifty"), volts("fifteen", log_prob=-30.0)
    judged = judge((best, other), below(20), LIMITS)
    assert judged == AskBetween(best, other)


@pytest.mark.parametrize(
    ("name", "words", "is_it"),
    [
        ("no", "no i haven't", True),
        ("yes", "yes i have", True),
        ("go-to", "go to the neutral", True),
        ("done", "i'm done with it", False),
        ("strike-that", "strike that", False),
    ],
)
def test_what_anybody_says_of_anything_is_slight_however_long(
    name: str, words: str, *, is_it: bool
) -> None:
    assert is_slight(Candidate(Command(name), tuple(words.split()), 1.0, 0.0)) is is_it


def test_a_correction_is_slight_however_long() -> None:
    words = ("make", "it", "one", "hundred", "and", "ten", "degrees")
    meant = Correction(Measure(Decimal(110), "degF"))
    assert is_slight(Candidate(meant, words, 1.0, 0.0))


def test_an_implausible_best_alone_is_left_to_the_dialogue_to_ask_about() -> None:
    best = volts("ninety")
    assert judge((best,), below(5), LIMITS) == Accept(best)


@pytest.mark.parametrize(("margin", "expected"), [(5.99, AskBetween), (6.0, Accept)])
def test_a_reading_outside_its_limit_is_asked_against_one_within(
    margin: float, expected: type
) -> None:
    best, other = volts("ninety"), volts("thirty", log_prob=-1.0 - margin)
    likelihood = below(40, Likelihood.OUTSIDE)
    assert isinstance(judge((best, other), likelihood, LIMITS), expected)
    within, beside = volts("thirty"), volts("ninety", log_prob=-1.0 - margin)
    assert judge((within, beside), likelihood, LIMITS) == Accept(within)


def test_what_lost_a_word_that_is_no_number_is_said_again() -> None:
    full = Reading("supply-static", Measure(Decimal(5), None))
    best = candidate("supply static five", full)
    other = candidate("five", replace(full, point=""), log_prob=-1.5)
    assert isinstance(judge((best, other), anything, LIMITS), AskAgain)


# ---------------------------------------------------------------- what the search did not bring


@pytest.mark.parametrize(
    ("heard", "asked"),
    [("fifty", "fifteen"), ("forty", "fourteen"), ("one ninety", "one nineteen")],
)
def test_a_doubtful_ten_is_asked_against_its_teen(heard: str, asked: str) -> None:
    best = volts(heard, match=0.79)
    judged = judge((best,), anything, LIMITS)
    assert isinstance(judged, AskBetween)
    assert judged.second.words == ("primary", *asked.split(), "volts")
    assert judged.second.meaning == volts(asked).meaning


def test_a_sure_ten_is_taken() -> None:
    best = volts("fifty", match=0.8)
    assert judge((best,), anything, LIMITS) == Accept(best)


def test_an_unheard_confusion_that_is_implausible_is_not_asked_about() -> None:
    best = volts("fifteen", match=0.7)

    def only_fifteen(meaning: Meaning) -> Likelihood:
        fits = meaning == best.meaning
        return Likelihood.EXPECTED if fits else Likelihood.IMPLAUSIBLE

    assert judge((best,), only_fifteen, LIMITS) == Accept(best)


@pytest.mark.parametrize(
    "meaning",
    [
        Command("done"),
        Choice("duct", "metal"),
        Question("low-voltage-gauge", {"length": Measure(Decimal(50), "ft")}),
        Reading("supply-static", None, "over limit"),
    ],
)
def test_only_a_single_number_known_exactly_has_an_unheard_confusion(meaning: Meaning) -> None:
    best = candidate("say fifty", meaning, match=0.7)
    assert judge((best,), anything, LIMITS) == Accept(best)


def test_the_numbers_of_a_sentence_are_found_without_the_words_around_them() -> None:
    said = ("a", "fan", "and", "a", "half", "inch", "duct", "at", "one", "nineteen")
    assert [" ".join(run) for run in number_runs(said)][-1] == "one nineteen"
    assert number_runs(("a", "and", "minus", "point")) == ()


# ---------------------------------------------------------------- whatever comes


_matches = st.floats(0, 1)
_meanings = st.sampled_from(
    [
        Command("done"),
        Command("confirmed"),
        Choice("duct", "metal"),
        Emergency("gas"),
        Reading("primary", Measure(Decimal(15), None)),
        Reading("primary", Measure(Decimal(50), None)),
        Value(Measure(Decimal(5), None)),
        Value(None, "yes"),
        Correction(Measure(Decimal(9), None)),
        Change(Measure(Decimal(9), None)),
    ]
)
_words = st.lists(
    st.sampled_from(["fifteen", "fifty", "and", "half", "minus", "point", "primary", "oh", "nine"]),
    min_size=1,
    max_size=5,
).map(tuple)
_candidates = st.lists(
    st.builds(Candidate, _meanings, _words, _matches, st.floats(-50, 0)), max_size=5
).map(lambda found: tuple(sorted(found, key=lambda each: -each.log_prob)))


@given(_candidates, st.sampled_from(Likelihood))
def test_judging_never_fails_and_keeps_its_lines(
    candidates: tuple[Candidate, ...], likely: Likelihood
) -> None:
    judged = judge(candidates, lambda _: likely)
    limits = thresholds()
    if isinstance(judged, Accept):
        assert judged.candidate is candidates[0]
        assert judged.candidate.match >= min(limits.accept_match, limits.emergency_match)
    if isinstance(judged, AskBetween):
        assert judged.first.words != judged.second.words
        assert type(judged.first.meaning) is type(judged.second.meaning)
    most = max((each.match for each in candidates), default=0.0)
    if most < min(limits.ignore_match, limits.emergency_ask_match):
        assert judged == Ignore()


@pytest.mark.parametrize("calibrated", [True, False])
def test_the_packaged_lines_are_in_order(calibrated: bool) -> None:  # noqa: FBT001 - a parameter
    limits = thresholds(calibrated=calibrated)
    assert 0 < limits.ignore_match < limits.accept_match < limits.sure_match <= 1
    assert limits.accept_match <= limits.slight_match <= limits.slight_answer_match <= 1
    assert limits.slight_answer_match <= limits.slight_reading_match <= 1
    assert 0 < limits.emergency_ask_match <= limits.asleep_ask_match < limits.emergency_match < 1
    assert limits.emergency_match <= limits.asleep_match < 1
    assert 0 < limits.margin_nats < limits.confusion_margin_nats


# ---------------------------------------------------------------- the limit


def test_a_reading_outside_its_limit_is_asked_against_one_within_that_sounds_like_it() -> None:
    outside, within = volts("one hundred", log_prob=-1.0), volts("one nineteen", log_prob=-6.0)

    def likelihood(meaning: Meaning) -> Likelihood:
        return Likelihood.OUTSIDE if meaning == outside.meaning else Likelihood.EXPECTED

    assert judge((outside, within), likelihood) == AskBetween(outside, within)
    clearer, further = volts("one nineteen"), volts("one hundred", 0.9, log_prob=-6.0)
    assert judge((clearer, further), likelihood) == Accept(clearer)


def test_a_question_that_lost_its_words_is_said_again_not_asked_between() -> None:
    whole = candidate("what gauge for half an amp", Question("low-voltage-gauge", {"a": "1"}))
    cut = candidate("what gauge", Question("low-voltage-gauge", {}), log_prob=-1.2)
    assert judge((whole, cut), anything) == AskAgain(whole)


def test_margins_are_wider_in_noise_and_as_they_are_in_quiet() -> None:
    limits = replace(LIMITS, noise_nats=3.0)
    assert limits.in_noise(None) == limits.in_noise(40.0) == limits
    loud, louder = limits.in_noise(10.0), limits.in_noise(0.0)
    assert limits.margin_nats < loud.margin_nats < louder.margin_nats
    assert louder.margin_nats == pytest.approx(limits.margin_nats + 3.0)
    assert louder.confusion_margin_nats == pytest.approx(limits.confusion_margin_nats + 3.0)
    best, other = volts("fifty"), volts("fifteen", log_prob=-5.5)  # 4.5 nats apart
    assert judge((best, other), anything, limits) == Accept(best)
    assert judge((best, other), anything, louder) == AskBetween(best, other)


@pytest.mark.parametrize(
    ("words", "meaning", "is_taken"),
    [
        ("yes", Command("yes"), False),
        ("all done", Command("done"), False),
        ("one hundred and nineteen", Value(Measure(Decimal(119), None)), False),
        ("one hundred and nineteen volts", Value(Measure(Decimal(119), "V")), True),
        ("what comes after this", Command("what-next"), True),
        ("stop", Command("quiet"), True),  # it must be easy to silence, and to take back
        ("strike that", Command("strike-that"), True),
    ],
)
def test_a_slight_sentence_must_match_better_than_others(
    words: str,
    meaning: Meaning,
    is_taken: bool,  # noqa: FBT001 - a parameter
) -> None:
    limits = replace(LIMITS, accept_match=0.7, slight_match=0.9, slight_answer_match=0.9)
    heard = candidate(words, meaning, 0.85)
    assert judge((heard,), anything, limits) == (Accept(heard) if is_taken else AskAgain(heard))
    surer = replace(heard, match=0.91)
    assert judge((surer,), anything, limits) == Accept(surer)


@pytest.mark.parametrize(
    "meaning",
    [
        Reading("", Measure(Decimal(119), None)),
        Reading("", None, "open"),
        Correction(Measure(Decimal(119), None)),
    ],
)
def test_what_is_logged_and_slight_must_match_better_still(meaning: Meaning) -> None:
    limits = replace(LIMITS, slight_match=0.9, slight_reading_match=0.95)
    heard = candidate("one nineteen", meaning, 0.94)
    assert judge((heard,), anything, limits) == AskAgain(heard)
    surer = replace(heard, match=0.95)
    assert judge((surer,), anything, limits) == Accept(surer)


@pytest.mark.parametrize(
    ("words", "meaning", "match"),
    [
        ("six two six", Reading("", Measure(Decimal(626), None)), 0.976),
        ("not yet", Command("no"), 0.945),
    ],
)
def test_a_bare_reading_and_a_no_must_match_better_in_noise(
    words: str, meaning: Meaning, match: float
) -> None:
    limits = replace(
        LIMITS,
        slight_answer_match=0.94,
        slight_reading_match=0.97,
        noise_match=0.015,
        sure_match=0.9,
    )
    heard = candidate(words, meaning, match)
    for snr_db, judged in ((None, Accept(heard)), (20.0, Accept(heard)), (5.0, AskAgain(heard))):
        assert judge((heard,), anything, limits.in_noise(snr_db)) == judged


@pytest.mark.parametrize("name", ["yes", "no", "go-to"])
def test_what_anybody_says_of_anything_must_match_better_still(name: str) -> None:
    limits = replace(LIMITS, slight_match=0.9, slight_answer_match=0.94)
    heard = candidate("it is not", Command(name), 0.93)
    assert judge((heard,), anything, limits) == AskAgain(heard)
    surer = replace(heard, match=0.94)
    assert judge((surer,), anything, limits) == Accept(surer)


@pytest.mark.parametrize("words", ["fire", "i smell gas"])
def test_an_emergency_while_standing_by_is_asked_about_unless_it_matches_well(words: str) -> None:
    limits = replace(LIMITS, emergency_match=0.8, emergency_word_match=0.8, asleep_match=0.9)
    heard = candidate(words, Emergency("fire"), 0.85)
    assert judge((heard,), anything, limits) == Accept(heard)
    assert judge((heard,), anything, limits.asleep()) == AskAgain(heard)
    surer = replace(heard, match=0.9)
    assert judge((surer,), anything, limits.asleep()) == Accept(surer)


GO = Candidate(Talk(), ("go",), 0.9, -1.0)
NO = Candidate(Command("no"), ("no",), 0.95, -1.0)


def test_a_word_of_everyday_talk_is_nothing_unless_a_command_comes_very_near() -> None:
    limits = replace(LIMITS, everyday_margin_nats=2.0)
    assert judge((GO, replace(NO, log_prob=-3.1)), anything, limits) == Ignore()
    near = replace(NO, log_prob=-2.9)
    assert judge((GO, near), anything, limits) == AskAgain(near)
    assert judge((GO, replace(near, match=0.1)), anything, limits) == Ignore()


def test_a_command_that_everyday_talk_comes_near_to_is_asked_about() -> None:
    limits = replace(LIMITS, everyday_margin_nats=2.0)
    assert judge((NO, replace(GO, log_prob=-2.9)), anything, limits) == AskAgain(NO)
    assert judge((NO, replace(GO, log_prob=-3.1)), anything, limits) == Accept(NO)


def test_to_be_silenced_is_never_asked_about_for_everyday_talk() -> None:
    stop = candidate("stop", Command("quiet"))
    assert judge((stop, replace(GO, words=("top",))), anything, LIMITS) == Accept(stop)


def test_right_behind_talk_a_slight_sentence_is_never_taken_at_once() -> None:
    amid = replace(LIMITS, talk_accept_match=0.9).amid_talk()
    yes = candidate("yes", Command("yes"), 1.0)
    assert judge((yes,), anything, amid) == AskAgain(yes)
    stop = candidate("stop", Command("quiet"), 0.95)
    assert judge((stop,), anything, amid) == Accept(stop)


def test_right_behind_talk_more_is_needed_to_be_taken_or_asked_about() -> None:
    limits = replace(LIMITS, talk_ignore_match=0.7, talk_accept_match=0.97)
    amid = limits.amid_talk()
    assert judge((DONE,), anything, limits) == Accept(DONE)
    what = candidate("what comes after this", Command("what-next"))
    assert judge((what,), anything, limits) == Accept(what)
    assert judge((what,), anything, amid) == AskAgain(what)
    assert judge((replace(what, match=0.69),), anything, amid) == Ignore()
    gas = candidate("i smell gas", Emergency("gas"), 0.55)
    assert judge((gas,), anything, amid) == Accept(gas)


def test_an_emergency_near_the_best_sentence_is_asked_about_whatever_the_rest() -> None:
    five = reading("supply static five", "five", log_prob=3.8)
    fire = candidate("fire", Emergency("fire"), 0.55, log_prob=0.5)
    limits = replace(LIMITS, emergency_ask_match=0.2, emergency_margin_nats=4.0)
    assert judge((five, fire), anything, limits) == AskAgain(fire)
    faint, far = replace(fire, match=0.19), replace(fire, log_prob=-0.3)
    assert judge((five, faint), anything, limits) == Accept(five)
    assert judge((five, far), anything, limits) == Accept(five)


def amps(words: str, number: str, match: float = 0.95, log_prob: float = -1.0) -> Candidate:
    measure = Measure(parse(number.split()), "mA")
    return candidate(words, Reading("load", measure), match, log_prob)


@pytest.mark.parametrize(
    ("unit", "margin", "expected"),
    [
        ("milliamps", 11.9, AskBetween),
        ("milliamps", 12.1, Accept),
        ("amps", 5.0, Accept),
        ("minutes", 11.9, AskBetween),
    ],
)
def test_a_teen_that_runs_into_an_m_is_asked_about_from_far_off(
    unit: str, margin: float, expected: type
) -> None:
    # "seventy m..." is spoken like "seventeen m...": common practice, no source
    limits = replace(LIMITS, run_together_margin_nats=12.0, fitting_margin_nats=0.0)
    best = amps(f"load seventeen {unit}", "seventeen")
    other = amps(f"load seventy {unit}", "seventy", log_prob=-1.0 - margin)
    assert isinstance(judge((best, other), anything, limits), expected)


@pytest.mark.parametrize(("match", "margin", "expected"), [
    (0.96, 6.9, AskBetween), (0.96, 7.1, Accept), (0.94, 6.9, Accept),
])  # fmt: skip
def test_another_number_that_matches_as_well_is_asked_about(
    match: float, margin: float, expected: type
) -> None:
    limits = replace(LIMITS, fitting_match=0.95, fitting_margin_nats=7.0)
    best = reading("plate static one point two one", "one point two one")
    other = reading("plate static one point oh one", "one point oh one", match, -1.0 - margin)
    assert isinstance(judge((best, other), anything, limits), expected)
