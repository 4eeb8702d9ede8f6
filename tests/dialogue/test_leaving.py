"""'Call it off' leads from every step to 'left safe': of the packaged procedures, and where not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest
from talk import small

from companion.dialogue import awaiting
from companion.dialogue.leaving import held
from companion.dialogue.outcome import Turn
from companion.dialogue.placing import arrivals
from companion.procedures import load, procedures, walks
from companion.procedures.paths import ways_to
from companion.procedures.template import begun

if TYPE_CHECKING:
    from companion.procedures.model import Procedure

TEXT = begun("attic-fan", "Attic fan")


@pytest.mark.parametrize("slug", sorted(procedures()))
def test_the_way_out_is_open_at_every_step(slug: str) -> None:
    made = procedures()[slug]
    found = list(held(made))
    assert len(found) == len(made.steps)
    assert set(found) == {None}


@pytest.mark.parametrize("made", [small(), load(TEXT, "attic-fan.toml")])
def test_the_shortest_way_to_a_step_is_one_of_its_ways(made: Procedure) -> None:
    found = {walk.steps[-1].slug: walk for walk in ways_to(made)}
    every = [[step.slug for step in walk.steps] for walk in walks(made)]
    assert found.keys() == {step.slug for step in made.steps}
    for slug, walk in found.items():
        slugs = [step.slug for step in walk.steps]
        there = [way[: len(slugs)] for way in every if slug in way]
        assert slugs in there
        assert len(slugs) == min(way.index(slug) + 1 for way in every if slug in way)


@pytest.mark.parametrize("made", [small(), load(TEXT, "attic-fan.toml")])
def test_a_job_at_a_step_is_touched_as_one_that_was_walked_there(made: Procedure) -> None:
    for job, walk in arrivals(made):
        licensed = walk.answers.get("licensed") == "yes"
        worked = [
            step
            for step in walk.steps
            if step.needs_dead
            or (step.hold and step.hold.proves == "dead")
            or (step.line_voltage and licensed and "licensed" in walk.answers)
        ]
        asks_first = walk.steps[-1].line_voltage and "licensed" not in walk.answers
        assert job.touched is bool(worked) or asks_first


def test_the_power_is_asked_about_from_the_breaker_on() -> None:
    touched = {job.step for job, _ in arrivals(load(TEXT, "attic-fan.toml")) if job.touched}
    assert {"lock-out", "other-feeds", "cut", "first-power"} <= touched
    assert not {"arrival", "fan-use", "suitable"} & touched


def test_an_option_called_as_the_way_out_holds_him_there() -> None:
    text = TEXT.replace('"it may stop"', '"call it off"')
    assert text != TEXT
    (found,) = filter(None, held(load(text, "attic-fan.toml")))
    assert found.step == "fan-use"
    assert "'call it off' means something else here" in found.found


def test_what_the_dialogue_forgets_to_ask_on_the_way_out(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(awaiting, "LEAVING", ("power", "lock", "told"))
    found = [each for each in held(load(TEXT, "attic-fan.toml")) if each]
    assert {each.found for each in found} == {"it did not ask: openings"}
    assert {"cut", "first-power", "complete"} <= {each.step for each in found}
    assert "arrival" not in {each.step for each in found}  # nothing was touched there


def test_a_way_out_that_goes_on_with_the_work_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    log = Turn.log

    def astray(turn: Turn, kind: str, **payload: object) -> None:
        log(turn, kind, **payload)
        if kind == "called-off":
            log(turn, "step-skipped", step=turn.job.step, reason="")

    monkeypatch.setattr(Turn, "log", astray)
    found = next(filter(None, held(small())))
    assert found.found == "'yes' led to step-skipped on the way out"
