"""What a condition or a limit hangs on was asked or read before, on every way."""

from __future__ import annotations

import pytest

from companion.procedures import BrokenProcedureError, Problem, load

HEAD = """
slug = "small"
title = "Small"
version = "1"
tools = ["meter"]
[points.base]
names = ["base"]
unit = "A"
low = 0
high = 9
decimals = 1
[points.current]
names = ["current"]
unit = "A"
low = 0
high = 9
decimals = 1
"""
KIND = """
[[steps]]
slug = "kind"
say = "Look at it."
choice = { slug = "kind", ask = "Old, or new?", options = [
  { slug = "old", names = ["old"] }, { slug = "new", names = ["new"]JUMP } ] }
"""
COLOR = """
[[steps]]
slug = "color"
say = "Look again."
WHEN
choice = { slug = "color", ask = "Red, or blue?", options = [
  { slug = "red", names = ["red"] }, { slug = "blue", names = ["blue"] } ] }
"""
RED = """
[[steps]]
slug = "red"
say = "Do it."
when = { color = "red" }
"""
BASE = """
[[steps]]
slug = "base"
say = "Read it."
WHEN
readings = [ { point = "base", ask = "Base?" } ]
"""
LIMIT = '{ high_of = "base", source = "label", otherwise = "Stop." }'
CURRENT = """
[[steps]]
slug = "current"
say = "Read it."
readings = [ { point = "current", ask = "Current?", WHEN limit = LIMIT } ]
""".replace("LIMIT", LIMIT)
END = """
[[steps]]
slug = "end"
say = "The end."
ends = "finished"
"""


def file(*steps: str) -> str:
    return HEAD + "".join(steps) + END


def problem(text: str) -> Problem:
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "small.toml")
    (found,) = raised.value.problems
    return found


def plain(step: str, when: str = "") -> str:
    return step.replace("WHEN", when).replace("JUMP", "")


ONLY_OLD = 'when = { kind = "old" }'


def test_a_choice_that_is_asked_under_a_condition_of_its_own_is_meant_so() -> None:
    load(file(plain(KIND), plain(COLOR, ONLY_OLD), RED), "small.toml")


def test_a_choice_that_is_jumped_over() -> None:
    jumping = KIND.replace("JUMP", ', goto = "red-first"')
    first = RED.replace('slug = "red"', 'slug = "red-first"').replace(
        'when = { color = "red" }\n', ""
    )
    found = problem(text := file(jumping, plain(COLOR), first, RED))
    assert (found.rule, found.way) == ("ask-first", ("kind new",))
    assert found.key == "steps[3].when"
    assert found.found == "'color' was not asked on this way, so it never holds"
    assert text.split("\n")[found.line - 1] == 'when = { color = "red" }'
    named = RED.replace('color = "red"', 'kind = "old", color = "red"')
    load(file(jumping, plain(COLOR), first, named), "small.toml")


def test_a_choice_that_is_left_to_the_licensed_trade() -> None:
    line = plain(COLOR, "line_voltage = true\npower = 'live'")
    found = problem(file(line, RED))
    assert found.rule == "ask-first"
    assert "licensed no" in found.way


@pytest.mark.parametrize("when", ["", ONLY_OLD])
def test_a_limit_that_hangs_on_what_one_way_does_not_read(when: str) -> None:
    text = file(plain(KIND), plain(BASE, when), CURRENT.replace("WHEN", ""))
    if not when:
        load(text, "small.toml")
        return
    found = problem(text)
    assert (found.rule, found.way) == ("read-first", ("kind new",))
    assert found.key == "steps[2].readings[0].limit.high_of"
    assert found.found == "'base' is not read before on this way"
    load(file(plain(KIND), plain(BASE, when), CURRENT.replace("WHEN", f"{when},")), "small.toml")


def test_a_text_that_a_job_keeps_is_not_held_to_it() -> None:
    text = file(plain(KIND), plain(BASE, ONLY_OLD), CURRENT.replace("WHEN", ""))
    load(text, "small.toml", safety=False)
