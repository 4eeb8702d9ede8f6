"""The safety rules, each on the smallest change that breaks it; and what the template keeps.

What must hold is in the rules themselves with its source; here the changes are made by hand.
"""

from __future__ import annotations

import re

import pytest

from companion.procedures import BrokenProcedureError, load
from companion.procedures.outline import figures
from companion.procedures.rules import RULES
from companion.procedures.template import begun

TEXT = begun("attic-fan", "Attic fan")
CUT = "needs_dead = true\ncuts = true"


def step(slug: str) -> str:
    """A step of the template, as it is written there."""
    start = TEXT.index(f'[[steps]]\nslug = "{slug}"')
    return TEXT[start : TEXT.index("\n[[steps]]", start + 1) + 1]


def moved(slug: str, before: str) -> str:
    without = TEXT.replace(step(slug), "")
    place = without.index(f"[[steps]]\n{before}")
    return without[:place] + step(slug) + without[place:]


FIT = 'slug = "fit"\n'
BLOWER = 'caution = "The blower starts: keep hair, sleeves and tools clear."\n'
SECONDARY = """
[points.secondary-voltage]
names = ["secondary"]
unit = "V"
low = 0
high = 60
decimals = 1
"""
LOADED = '{ point = "secondary-voltage", ask'

BROKEN = {
    "suitable-first": TEXT.replace(step("suitable"), ""),
    "dead-first": TEXT.replace('[[steps]]\npart = "lock-out"\n', ""),
    "line-voltage-dead": TEXT.replace(FIT, f"{FIT}line_voltage = true\n").replace(
        'Seal it all round."\nneeds_dead = true', 'Seal it all round."'
    ),
    "licensed-only": TEXT.replace(LOADED, LOADED.replace("secondary", "primary")),
    "look-before-cut": moved("behind", 'slug = "fit"'),
    "cold-before-power": moved("cold-check", 'part = "wire-primary"'),
    "power-held": TEXT.replace(f'{BLOWER}power = "live"', f'{BLOWER}power = "on"'),
    "left-by-choice": TEXT.replace('ends = "finished"\n', ""),
    "power-restored": f"{TEXT}{SECONDARY}".replace('[[steps]]\npart = "first-power"\n', ""),
    "accepted-by-limits": re.sub(r", limit = { low = 21.6[^}]*}", "", TEXT),
    "proved-at-the-end": TEXT.replace(step("interlock-proved"), ""),
}


def rules_of(text: str) -> set[str]:
    with pytest.raises(BrokenProcedureError) as raised:
        load(text, "attic-fan.toml")
    return {problem.rule for problem in raised.value.problems}


def test_the_template_keeps_every_rule_and_holds_all_seven_points() -> None:
    made = load(TEXT, "attic-fan.toml")
    assert figures(made).holds == ("H1", "H2", "H3", "H4", "H5", "H6", "H7")


@pytest.mark.parametrize("slug", sorted(BROKEN))
def test_a_broken_rule_is_named(slug: str) -> None:
    assert BROKEN[slug] != TEXT
    assert slug in rules_of(BROKEN[slug])


def reading(point: str, ask: str, limit: str) -> str:
    rest = 'source = "x", otherwise = "Stop."'
    return f'  {{ point = "{point}", ask = "{ask}?", limit = {{ {limit}, {rest} }} }},\n'


LIVE, DEAD = "low = 110, high = 126", "high = 1"
FIRST, AGAIN = reading("known-source", "First", LIVE), reading("known-source", "Again", LIVE)
NEUTRAL = reading("line-to-neutral", "Neutral", DEAD)
GROUND = reading("line-to-ground", "Ground", DEAD)
BOTH = reading("neutral-to-ground", "Both", DEAD)
PROOF = f"""
[[steps]]
slug = "our-proof"
say = "Prove it dead."
line_voltage = true
readings = [
{FIRST}{NEUTRAL}{GROUND}{BOTH}{AGAIN}]
[steps.hold]
number = "H2"
title = "Dead"
confirm = "Say confirmed."
proves = "dead"
"""


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (GROUND, reading("line-to-ground", "Ground", "high = 50")),
        (AGAIN, ""),
        (FIRST, reading("known-source", "First", "low = 0, high = 126")),
    ],
)
def test_live_dead_live_is_held_to(old: str, new: str) -> None:
    place = TEXT.index('[[steps]]\nslug = "behind"')
    load(TEXT[:place] + PROOF + "\n" + TEXT[place:], "attic-fan.toml")
    broken = PROOF.replace(old, new)
    assert broken != PROOF
    assert "live-dead-live" in rules_of(TEXT[:place] + broken + "\n" + TEXT[place:])


def test_every_rule_has_reason_source_and_what_mends_it() -> None:
    for rule in RULES:
        assert all((rule.says, rule.reason, rule.source, rule.mend)), rule.slug
    assert {rule.slug for rule in RULES} == {*BROKEN, "live-dead-live"}


def test_the_way_to_a_broken_rule_is_told() -> None:
    with pytest.raises(BrokenProcedureError) as raised:
        load(BROKEN["cold-before-power"], "attic-fan.toml")
    problem = next(each for each in raised.value.problems if each.rule == "cold-before-power")
    assert "danger none" in problem.way
    assert (
        "primary 120" in problem.way or "primary 240" in problem.way or "primary 208" in problem.way
    )


def test_what_a_job_keeps_is_read_whatever_the_rules_say_by_now() -> None:
    for text in BROKEN.values():
        load(text, "attic-fan.toml", safety=False)
