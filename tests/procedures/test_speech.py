"""How a procedure sounds: each rule on the smallest change that breaks it, with its place."""

from __future__ import annotations

import pytest

from companion.procedures import BrokenProcedureError, Problem, load, procedures
from companion.procedures.speech import MOST_SECONDS, MOST_WORDS, SPEECH_RULES, seconds
from companion.procedures.template import begun

TEXT = begun("attic-fan", "Attic fan")
FIT = "Seal it all round."
LONG = "electricity utility humidity particularly necessary " * 2
DIGIT = ("no-digits", "holds '5'", "Write it as it is said: 'one twenty', 'percent'")
ABBREVIATED = (
    "no-abbreviations",
    "'VAC' is an abbreviation",
    "Write the word, or its letters singly: 'C O', 'V A'",
)
CHOICE = """
[steps.choice]
slug = "damp"
ask = "Dry, or not dry?"
options = [
  { slug = "dry", names = ["dry"] },
  { slug = "wet", names = WET },
]
"""


def problem(text: str) -> Problem:
    """The one problem that a text has."""
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "attic-fan.toml")
    (found,) = raised.value.problems
    return found


def changed(new: str) -> Problem:
    assert FIT in TEXT
    return problem(TEXT.replace(FIT, new))


def test_one_word_too_many() -> None:
    before = next(step.say for step in load(TEXT, "f.toml").steps if FIT in step.say)
    room = MOST_WORDS - len(before.replace(FIT, "").split())
    load(TEXT.replace(FIT, " ".join(["so"] * room)), "f.toml")
    found = changed(" ".join(["so"] * (room + 1)))
    assert (found.rule, found.line) == ("one-breath", _line(FIT))
    assert found.key.endswith(".say")
    assert (found.found, found.allowed) == (
        "is 21 words",
        "Say it in at most 20 words; the rest goes into more",
    )


def test_long_words_take_long_however_few() -> None:
    found = changed(LONG.strip())
    assert found.rule == "eight-seconds"
    assert "seconds to say" in found.found


@pytest.mark.parametrize(
    ("new", "told"),
    [
        ("Use 5 screws.", DIGIT),
        ("Half of it, 5%.", DIGIT),
        ("Check the VAC there.", ABBREVIATED),
        ("Give it two psq.", ("no-abbreviations", "'psq' is an abbreviation", ABBREVIATED[2])),
        ("Give it two mA.", ("no-abbreviations", "'mA' is an abbreviation", ABBREVIATED[2])),
    ],
)
def test_what_a_voice_would_garble(new: str, told: tuple[str, str, str]) -> None:
    found = changed(new)
    assert (found.rule, found.allowed) == (told[0], told[2])
    assert found.found in {told[1], "holds '%'"}


@pytest.mark.parametrize("word", ["C O", "V A", "R to C", "don't", "rhythm", "hmm", "roll-out"])
def test_what_is_said_as_written(word: str) -> None:
    load(TEXT.replace(FIT, f"Look at {word}."), "f.toml")


def test_more_may_be_long_and_not_unreadable() -> None:
    load(TEXT.replace(FIT, f'{FIT}"\nmore = "{LONG} and so on'), "f.toml")
    assert changed(f'{FIT}"\nmore = "Five PSQ.').rule == "no-abbreviations"


def test_a_tool_and_a_name_are_held_to_it_as_well() -> None:
    found = problem(TEXT.replace("tools = [", 'tools = ["an MM rule", ', 1))
    assert (found.rule, found.key) == ("no-abbreviations", "tools[0]")


def with_choice(wet: str) -> str:
    say = f'say = "{_say()}"'
    return TEXT.replace(say, say + CHOICE.replace("WET", wet), 1)


def test_an_option_that_is_another_with_not() -> None:
    text = with_choice('["not dry", "wet"]')
    found = problem(text)
    assert found.rule == "no-denied-option"
    assert found.key.endswith("options[1].names[0]")
    assert found.line == _line('"wet"', text)
    assert found.found == "'not dry' is 'dry', another option, with one word more"


def test_a_denial_may_be_one_more_name_so_that_it_is_heard_as_itself() -> None:
    load(with_choice('["wet", "not dry"]'), "f.toml")


def test_a_text_that_a_job_keeps_is_not_held_to_it() -> None:
    load(TEXT.replace(FIT, "Use 5 screws."), "f.toml", safety=False)


def test_every_rule_tells_its_reason() -> None:
    for rule in SPEECH_RULES:
        assert rule.says.endswith(".")
        assert rule.reason.endswith(".")
        assert rule.source
        assert not rule.mend.endswith(".")


@pytest.mark.parametrize("slug", sorted(procedures()))
def test_the_longest_of_each_packaged_one_is_short_enough(slug: str) -> None:
    longest = max(procedures()[slug].steps, key=lambda step: seconds(step.say)).say
    assert 3 < seconds(longest) <= MOST_SECONDS


def _say() -> str:
    """A step that has nothing but what it says."""
    return next(
        step.say
        for step in load(TEXT, "f.toml").steps
        if TEXT.count(f'say = "{step.say}"\n\n') == 1
    )


def _line(piece: str, text: str = TEXT) -> int:
    return next(at for at, line in enumerate(text.split("\n"), 1) if piece in line)
