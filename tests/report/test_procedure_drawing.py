"""The diagram as SVG: it is XML, and all that a reviewer needs to read is in it."""

from __future__ import annotations

from dataclasses import replace
from xml.etree import ElementTree as ET

import pytest

from companion.procedures import procedure, procedures
from companion.report.procedure_drawing import drawn

NAMESPACE = "{http://www.w3.org/2000/svg}"


def read(svg: str) -> str:
    """The words of a drawing in reading order, and its root's name checked."""
    root = ET.fromstring(svg)  # noqa: S314 - our own
    assert root.tag == f"{NAMESPACE}svg"
    return " ".join(" ".join(each.itertext()) for each in root.iter(f"{NAMESPACE}text"))


@pytest.mark.parametrize("slug", procedures())
def test_every_procedure_is_drawn_with_all_its_words(slug: str) -> None:
    made = procedure(slug)
    told = read(drawn(made))
    wanted = [made.title, made.version, made.digest[:8]]
    for number, step in enumerate(made.steps, 1):
        wanted += [f"{number} {step.slug}", step.say, step.caution]
        wanted += [each.ask for each in step.readings]
        wanted += [f"END: {step.ends.upper()}"] if step.ends else []
        if step.choice:
            wanted.append(step.choice.ask)
            for option in step.choice.options:
                to = made.places.get(option.goto)
                jump = "" if to is None else f" to {to + 1} {option.goto}"
                wanted.append(f"{option.names[0]}{jump}")
        if step.hold:
            wanted += [f"HOLD {step.hold.number}: {step.hold.title}", step.hold.confirm]
            wanted += [each.ask for each in step.hold.checks]
    assert [each for each in wanted if " ".join(each.split()) not in " ".join(told.split())] == []


def test_limits_and_conditions_are_in_words() -> None:
    told = read(drawn(procedure("fresh-air-damper")))
    assert "only if duct: duct board" in told
    assert "= Known source, first time? (110 to 126 V)" in told
    assert "= Control voltage, R to C? (21.6 to 29 V; as found)" in told


def test_what_markup_or_a_formula_would_be_is_text() -> None:
    made = procedure("fresh-air-damper")
    say = 'Pay $5 & $6_a <b> "now" &amp; then.'
    step = replace(made.steps[0], say=say)
    told = read(drawn(replace(made, steps=(step, *made.steps[1:]))))
    assert say in told


def test_it_is_black_and_white() -> None:
    root = ET.fromstring(drawn(procedure("fresh-air-damper")))  # noqa: S314 - our own
    fills = {each.get("fill") for each in root.iter() if each.get("fill")}
    assert fills == {"black", "white"}
