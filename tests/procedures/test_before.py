"""What a condition or a limit hangs on was asked or read before, on every way."""

from __future__ import annotations

from dataclasses import replace

import pytest

from companion.procedures import BrokenProcedureError, Problem, load
from companion.procedures.template import begun
from companion.sizing import sizings

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


AGAIN = """
[[steps]]
slug = "again"
say = "Read it again."
readings = [ { point = "base", ask = "Base?"PHASE } ]
"""
WORK = """
[[steps]]
slug = "work"
say = "Work on it."
DOES
"""
LATER = ', phase = "as left"'


def test_a_test_point_is_read_once_where_nothing_changed_it() -> None:
    twice = file(plain(KIND), plain(BASE), AGAIN.replace("PHASE", ""))
    found = problem(twice)
    assert (found.rule, found.key) == ("read-once", "steps[2].readings[0].point")
    assert found.found == "'base' was read before, and nothing changed it since"
    load(file(plain(KIND), plain(BASE), AGAIN.replace("PHASE", LATER)), "small.toml")


def test_a_test_point_is_read_once_on_each_way_and_not_once_in_the_file() -> None:
    other = AGAIN.replace("PHASE", "").replace(
        'say = "Read it again."', f'say = "Read it."\n{ONLY_OLD.replace("old", "new")}'
    )
    load(file(plain(KIND), plain(BASE, ONLY_OLD), other), "small.toml")
    found = problem(file(plain(KIND), plain(BASE), other))
    assert (found.rule, found.way) == ("read-once", ("kind new",))


def test_what_was_worked_on_may_be_read_again() -> None:
    safe = begun("attic-fan", "Attic fan")
    at = safe.index('[[steps]]\nslug = "loaded"')
    known = '{ point = "secondary-voltage", ask = "Again?", phase = "as left" },\n]'
    before = '[[steps]]\nslug = "early"\nsay = "Read it."\nreadings = [\n  ' + known + "\n\n"
    with pytest.raises(BrokenProcedureError) as raised:
        load(safe[:at] + before + safe[at:], "attic-fan.toml")
    assert {each.rule for each in raised.value.problems} == {"read-once"}
    cold = safe.index('[[steps]]\nslug = "cold-check"')  # first power comes between
    load(safe[:cold] + before + safe[cold:], "attic-fan.toml")


def test_to_measure_on_a_dead_circuit_changes_nothing() -> None:
    safe = begun("attic-fan", "Attic fan")
    cold = safe.index('[[steps]]\nslug = "cold-check"')
    before = """[[steps]]
slug = "early"
say = "Read it."
needs_dead = true
readings = [ { point = "secondary-to-ground", ask = "Secondary to ground?" } ]

"""
    with pytest.raises(BrokenProcedureError) as raised:
        load(safe[:cold] + before + safe[cold:], "attic-fan.toml")
    assert {each.rule for each in raised.value.problems} == {"read-once"}


STATICS = """
[points.supply-static]
names = ["supply static"]
unit = "inH2O"
low = 0
high = 2
decimals = 2
[points.return-static]
names = ["return static"]
unit = "inH2O"
low = -2
high = 0
decimals = 2
"""
TOTAL = """
[[steps]]
slug = "total"
say = "Work it out."
works_out = "total-external-static"
"""
READ = """
[[steps]]
slug = "read"
say = "Read both."
readings = [
  { point = "supply-static", ask = "Supply static?" },
  { point = "return-static", ask = "Return static?" },
]
"""


def with_statics(*steps: str, points: str = STATICS) -> str:
    return HEAD + points + "".join(steps) + END


def test_a_sizing_comes_after_what_it_works_with() -> None:
    load(with_statics(READ, TOTAL), "small.toml", sizings=sizings())
    with pytest.raises(BrokenProcedureError) as raised:
        load(with_statics(TOTAL, READ), "small.toml", sizings=sizings())
    first, second = raised.value.problems
    assert {first.rule, second.rule} == {"inputs-first"}
    assert first.key == "steps[1].readings[0].point"
    asked = "'supply-static' is read after 'total-external-static', which works with it"
    assert first.found == asked


def test_what_is_assumed_where_it_is_left_out_is_read_first_too() -> None:
    plate = STATICS.replace("supply-static", "plate-static").split("[points.return-static]")[0]
    plate = plate.replace("supply static", "plate maximum")
    later = """
[[steps]]
slug = "plate"
say = "Read it."
readings = [ { point = "plate-static", ask = "Plate maximum?" } ]
"""
    with pytest.raises(BrokenProcedureError) as raised:
        load(with_statics(READ, TOTAL, later, points=STATICS + plate), "s.toml", sizings=sizings())
    (found,) = raised.value.problems
    assert found.rule == "inputs-first"
    load(with_statics(READ, later, TOTAL, points=STATICS + plate), "s.toml", sizings=sizings())


def test_what_a_procedure_never_reads_a_sizing_asks_for_aloud() -> None:
    load(with_statics(TOTAL), "small.toml", sizings=sizings())


def test_a_reading_of_another_unit_is_none_that_a_sizing_works_with() -> None:
    amps = STATICS.replace('unit = "inH2O"', 'unit = "A"', 1)
    with pytest.raises(BrokenProcedureError) as raised:
        load(with_statics(READ, TOTAL, points=amps), "small.toml", sizings=sizings())
    (found,) = raised.value.problems
    assert found.key == "points.supply-static.unit"
    assert "'A' is no unit of 'supply', which 'total-external-static' takes" in found.found


def test_a_reading_far_from_what_a_sizing_holds_for() -> None:
    far = STATICS.replace("low = 0\nhigh = 2", "low = 50\nhigh = 90", 1)
    with pytest.raises(BrokenProcedureError) as raised:
        load(with_statics(READ, TOTAL, points=far), "small.toml", sizings=sizings())
    (found,) = raised.value.problems
    assert found.key == "points.supply-static.low"
    assert found.found == "nothing of 50 to 90 inH2O is what 'total-external-static' holds for"


def test_an_input_that_nothing_gives() -> None:
    asked = sizings()["total-external-static"]
    unasked = replace(asked, inputs=tuple(replace(each, ask="") for each in asked.inputs))
    needs = {"total-external-static": unasked}
    load(with_statics(READ, TOTAL), "small.toml", sizings=needs)
    with pytest.raises(BrokenProcedureError) as raised:
        load(with_statics(TOTAL, points=""), "small.toml", sizings=needs)
    told = [each.found for each in raised.value.problems]
    assert "nothing gives 'supply', which 'total-external-static' works with" in told
