"""The fresh-air damper's procedure, proved over every combination of its choices.

What must hold comes from the design ('Cautions and hold points', 'Before any line-voltage step')
and from the trade's own workflow: seven hold points in order, dead before any wiring, a look
behind before any cut, cold checks before power, the interlock proved by losing the air.
"""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from itertools import product
from typing import TYPE_CHECKING

import pytest

from companion.procedures import (
    first_step,
    is_deferred,
    next_step,
    previous_step,
    procedure,
    steps_to_go,
    walks,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from companion.procedures.model import ReadingRequest, Step

DAMPER = procedure("fresh-air-damper")
HOLDS = ("H1", "H2", "H3", "H4", "H5", "H6", "H7")
CUTS = {"cut-metal", "cut-board", "tubes"}

# Conductors that must be measured dead, by supply voltage (DESIGN.md 5, NFPA 70E 120.5).
DEAD = {
    ("120", ""): ("line-to-neutral", "line-to-ground", "neutral-to-ground"),
    ("208", "absent"): ("leg-to-leg", "first-leg-to-ground", "second-leg-to-ground"),
    ("208", "present"): (
        "leg-to-leg", "first-leg-to-ground", "second-leg-to-ground",
        "first-leg-to-neutral", "second-leg-to-neutral", "neutral-to-ground",
    ),
}  # fmt: skip
DEAD |= {("240", neutral): DEAD["208", neutral] for neutral in ("absent", "present")}

# Points that only a probe on line-voltage parts can read.
LINE_POINTS = {
    "primary-voltage", "known-source", "primary-winding", "primary-to-case", "ground-bond",
    *DEAD["120", ""], *DEAD["208", "present"],
}  # fmt: skip

Answers = dict[str, str]


def _options() -> dict[str, dict[str, str]]:
    """Every choice with its options and where each leads ('' for on)."""
    found: dict[str, dict[str, str]] = {}
    for step in DAMPER.steps:
        if step.choice:
            options = {option.slug: option.goto for option in step.choice.options}
            found.setdefault(step.choice.slug, {}).update(options)
    return found


def _combinations() -> Iterator[Answers]:
    """Every combination of the options that go on, and each option that leaves, among them all."""
    going_on = {
        choice: [option for option, goto in options.items() if not goto]
        for choice, options in _options().items()
    }
    going_on |= {"licensed": ["yes", "no"], "region": ["elsewhere"]}
    for combination in product(*going_on.values()):
        answers = dict(zip(going_on, combination, strict=True))
        yield answers
        for choice, options in _options().items():
            for option, goto in options.items():
                if goto:
                    yield answers | {choice: option}


def _walked(answers: Answers) -> tuple[Step, ...]:
    steps = []
    step = first_step(DAMPER, answers)
    while step:
        steps.append(step)
        step = next_step(DAMPER, step.slug, answers)
    return tuple(steps)


@cache
def _ways() -> tuple[tuple[Answers, tuple[Step, ...]], ...]:
    """Each way once, with answers that lead along it."""
    found: dict[tuple[str, ...], tuple[Answers, tuple[Step, ...]]] = {}
    for answers in _combinations():
        steps = _walked(answers)
        found.setdefault(tuple(step.slug for step in steps), (answers, steps))
    return tuple(found.values())


def _done(answers: Answers, steps: tuple[Step, ...]) -> tuple[Step, ...]:
    """The steps that the technician does himself."""
    return tuple(step for step in steps if not is_deferred(step, answers))


def _finished() -> list[tuple[Answers, tuple[Step, ...]]]:
    return [(answers, steps) for answers, steps in _ways() if steps[-1].ends == "finished"]


def _asked(step: Step, answers: Answers) -> list[ReadingRequest]:
    return [request for request in step.readings if request.when.holds(answers)]


# ---------------------------------------------------------------- ways


def test_every_combination_ends_finished_or_left_safe() -> None:
    for answers in _combinations():
        steps = _walked(answers)
        assert steps[-1].ends in {"finished", "left safe"}, answers
        assert all(not step.ends for step in steps[:-1])


def test_product_of_choices_and_tree_of_choices_give_the_same_ways() -> None:
    by_product = {tuple(step.slug for step in steps) for _, steps in _ways()}
    by_tree = {tuple(step.slug for step in walk.steps) for walk in walks(DAMPER)}
    assert by_product == by_tree


def test_every_step_is_on_some_way_and_every_way_forks_as_asked() -> None:
    reached = {step.slug for _, steps in _ways() for step in steps}
    assert reached == {step.slug for step in DAMPER.steps}
    forks = {"duct", "transformer", "primary", "interlock", "neutral", "heat", "flow-by"}
    assert forks < set(_options())
    assert {"sheet-metal", "duct-board"} <= set(_options()["duct"])
    assert {"inside", "outside"} == set(_options()["transformer"])
    assert {"120", "208", "240"} <= set(_options()["primary"])
    assert {"pressure-switch", "relay"} == set(_options()["interlock"])


def test_about_forty_five_steps_on_a_finished_way() -> None:
    counts = [len(_done(*way)) for way in _finished()]
    assert min(counts) >= 40
    assert max(counts) <= 56


def test_going_back_and_counting_agree_with_going_on() -> None:
    for answers, steps in _ways()[::5]:  # a fifth of the ways, for time
        done = _done(answers, steps)
        for index, step in enumerate(done[1:], 1):
            before = previous_step(DAMPER, step.slug, answers)
            assert before is not None
            assert before.slug == done[index - 1].slug
        assert steps_to_go(DAMPER, done[0].slug, answers) == len(done) - 1


def test_ordinary_answers_come_first_so_that_the_count_is_the_full_job() -> None:
    assert steps_to_go(DAMPER, "arrival", {}) >= 45


@pytest.mark.parametrize(
    ("choice", "option"),
    [
        ("danger", "present"),
        ("wrap", "suspect"),
        ("fan-use", "never-stops"),
        ("intake", "missing"),
        ("duct", "flex"),
        ("static-room", "over"),
    ],
)
def test_where_it_does_not_belong_it_is_left_safe_with_nothing_opened(
    choice: str, option: str
) -> None:
    ways = [steps for answers, steps in _ways() if answers.get(choice) == option]
    assert ways
    for steps in ways:
        assert steps[-1].ends == "left safe"
        assert not any(step.needs_dead or step.line_voltage or step.hold for step in steps)


# ---------------------------------------------------------------- safety


def test_all_seven_hold_points_in_order_on_every_finished_way() -> None:
    for answers, steps in _finished():
        holds = tuple(step.hold.number for step in _done(answers, steps) if step.hold)
        assert holds == HOLDS, answers


def test_nothing_is_wired_or_cut_before_it_is_proved_dead() -> None:
    for answers, steps in _ways():
        dead = False
        for step in _done(answers, steps):
            if step.hold and step.hold.proves == "dead":
                dead = True
                continue
            assert dead or not step.needs_dead, (answers, step.slug)
            assert dead or not step.line_voltage or step.power == "live", (answers, step.slug)


def test_the_only_line_voltage_work_while_live_is_measuring() -> None:
    for step in DAMPER.steps:
        if step.line_voltage and step.power:
            assert step.readings or step.choice
            assert not step.needs_dead
        if step.line_voltage:
            assert step.needs_dead or step.power or (step.hold and step.hold.proves == "dead")


def test_dead_means_every_conductor_between_two_proofs_of_the_meter() -> None:
    step = next(step for step in DAMPER.steps if step.slug == "prove-dead")
    for (primary, neutral), conductors in DEAD.items():
        answers = {"primary": primary, "neutral": neutral}
        asked = _asked(step, answers)
        assert [request.point for request in asked] == [
            "known-source",
            *conductors,
            "known-source",
        ]
        for request in asked:
            assert request.limit is not None
            live = request.point == "known-source"
            expected = (Decimal(110), Decimal(126)) if live else (None, Decimal(1))
            assert (request.limit.low, request.limit.high) == expected


def test_a_live_conductor_is_plausible_so_that_it_is_heard_and_refused() -> None:
    for conductor in {point for points in DEAD.values() for point in points}:
        assert DAMPER.points[conductor].high >= 250


def test_cuts_come_after_the_look_behind() -> None:
    for answers, steps in _ways():
        slugs = [step.slug for step in steps]
        for cut in CUTS & set(slugs):
            assert slugs.index("behind") < slugs.index(cut), answers


def test_power_comes_once_and_only_after_the_cold_checks() -> None:
    for answers, steps in _finished():
        done = _done(answers, steps)
        numbers = [step.hold.number if step.hold else "" for step in done]
        powered = [index for index, step in enumerate(done) if step.power == "on"]
        assert powered == [numbers.index("H5")]
        assert numbers.index("H4") < powered[0]
        dead = numbers.index("H2")
        assert not any(step.power for step in done[dead : powered[0]])
        assert not any(step.needs_dead for step in done[powered[0] :])


def test_whoever_is_not_licensed_touches_no_line_voltage() -> None:
    unlicensed = [way for way in _ways() if way[0]["licensed"] == "no"]
    for answers, steps in unlicensed:
        for step in _done(answers, steps):
            assert not step.line_voltage
            asked = {request.point for request in _asked(step, answers)}
            assert not asked & LINE_POINTS, step.slug
    assert any(steps[-1].slug == "left-for-licensed" for _, steps in unlicensed)
    assert any(steps[-1].ends == "finished" for _, steps in unlicensed)


def test_whoever_is_not_licensed_passes_only_with_the_one_who_is() -> None:
    for answers, steps in _finished():
        if answers["licensed"] == "no":
            assert answers["licensed-person"] == "here"
            by_others = {step.slug for step in steps if is_deferred(step, answers)}
            assert "cap-and-ground" in by_others
            assert f"wire-{answers['primary']}" in by_others


def test_a_deferred_step_is_no_hold_point() -> None:
    for answers, steps in _ways():
        assert not any(step.hold for step in steps if is_deferred(step, answers))


def test_the_licence_can_be_asked_before_anything_depends_on_it() -> None:
    first = next(index for index, step in enumerate(DAMPER.steps) if step.line_voltage)
    for step in DAMPER.steps[: first + 1]:
        assert "licensed" not in dict(step.when.answers)


def test_interlock_is_proved_by_losing_the_air() -> None:
    step = next(step for step in DAMPER.steps if step.hold and step.hold.number == "H7")
    assert step.hold is not None
    for interlock, wanted in (
        ("pressure-switch", {"high-tube", "high-tube-back", "low-tube", "door"}),
        ("relay", {"fan-call", "fan-call-back", "door"}),
    ):
        checks = {one.slug for one in step.hold.checks if one.when.holds({"interlock": interlock})}
        assert checks == wanted
