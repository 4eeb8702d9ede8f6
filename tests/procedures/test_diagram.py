"""The diagram's layout: nothing overlaps, all text is inside its shape, every step is there."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest

from companion.procedures import procedure, procedures
from companion.procedures.diagram import Line, Shape, diagram
from companion.procedures.lettering import width_of, wrapped

SHAPED = procedures()


def apart(one: Shape, other: Shape) -> bool:
    """Whether two shapes share no more than an edge."""
    return (
        one.x + one.width <= other.x + 0.01
        or other.x + other.width <= one.x + 0.01
        or one.y + one.height <= other.y + 0.01
        or other.y + other.height <= one.y + 0.01
    )


def left_of(line: Line) -> float:
    return line.x - (line.width / 2 if line.anchor == "center" else 0)


@pytest.mark.parametrize("slug", SHAPED)
def test_no_two_shapes_overlap_and_all_are_on_the_sheet(slug: str) -> None:
    sheet = diagram(SHAPED[slug])
    overlapping = [pair for pair in combinations(sheet.shapes, 2) if not apart(*pair)]
    assert overlapping == []
    for shape in sheet.shapes:
        assert shape.x >= 0
        assert shape.y >= 0
        assert shape.x + shape.width <= sheet.width
        assert shape.y + shape.height <= sheet.height


@pytest.mark.parametrize("slug", SHAPED)
def test_text_stays_in_its_shape_and_lines_stand_clear_of_one_another(slug: str) -> None:
    for shape in diagram(SHAPED[slug]).shapes:
        for line in shape.lines:
            assert left_of(line) >= shape.x - 0.01, line
            assert left_of(line) + line.width <= shape.x + shape.width + 0.01, line
            assert line.y - 0.8 * line.size >= shape.y - 0.01, line
            assert line.y <= shape.y + shape.height, line
        for one, other in combinations(shape.lines, 2):
            upper, lower = sorted((one, other), key=lambda line: line.y)
            assert lower.y - upper.y >= lower.size, (upper, lower)


@pytest.mark.parametrize("slug", SHAPED)
def test_text_in_a_diamond_is_inside_its_slopes(slug: str) -> None:
    for shape in (each for each in diagram(SHAPED[slug]).shapes if each.kind == "choice"):
        middle_x, middle_y = shape.x + shape.width / 2, shape.y + shape.height / 2
        for line in shape.lines:
            for y in (line.y, line.y - 0.75 * line.size):
                aside = abs(left_of(line) - middle_x) / (shape.width / 2)
                assert aside + abs(y - middle_y) / (shape.height / 2) <= 1.02, line


@pytest.mark.parametrize("slug", SHAPED)
def test_no_way_crosses_a_shape(slug: str) -> None:
    sheet = diagram(SHAPED[slug])
    for stroke in sheet.strokes:
        for begin, end in pairwise(stroke.points):
            x, y = min(begin[0], end[0]), min(begin[1], end[1])
            across, down = abs(begin[0] - end[0]), abs(begin[1] - end[1])
            way = Shape("plain", x + 0.1, y + 0.1, max(0, across - 0.2), max(0, down - 0.2))
            assert [each for each in sheet.shapes if not apart(way, each)] == [], stroke


@pytest.mark.parametrize("slug", SHAPED)
def test_marks_holds_jumps_and_ends_are_those_of_the_model(slug: str) -> None:
    made = SHAPED[slug]
    shapes = [each for each in diagram(made).shapes if each.step]
    for step in made.steps:
        own = [each for each in shapes if each.step == step.slug]
        signs = {each.sign for each in own if each.kind == "mark"}
        assert ("line voltage" in signs) == step.line_voltage
        assert ("proved dead" in signs) == step.needs_dead
        assert ("cuts" in signs) == step.cuts
        assert signs & {"power on", "live"} == (
            {"power on" if step.power == "on" else "live"} if step.power else set()
        )
        kinds = [each.kind for each in own]
        assert ("line step" in kinds) == step.line_voltage
        assert kinds.count("hold") == (step.hold is not None)
        assert kinds.count("end") == bool(step.ends)
        options = step.choice.options if step.choice else ()
        assert kinds.count("choice") == (step.choice is not None)
        assert kinds.count("goto") == sum(bool(each.goto) for each in options)
        assert own[0].dashed == bool(step.when.answers)


def test_a_jump_names_the_step_and_the_step_names_the_jump() -> None:
    shapes = diagram(procedure("fresh-air-damper")).shapes
    jump = next(each for each in shapes if each.kind == "goto" and each.step == "fan-use")
    assert [line.text for line in jump.lines] == ["it never stops", "to 71 not-here"]
    comes = next(each for each in shapes if each.kind == "from" and each.step == "not-here")
    assert [line.text for line in comes.lines] == ["from 3, 4, 5, 6, 9"]


def test_long_words_and_long_text_are_broken() -> None:
    lines = wrapped("x" * 200 + " end", 11, 100)
    assert "".join(lines).replace(" ", "") == "x" * 200 + "end"
    assert all(width_of(line, 11) <= 100 for line in lines)
    assert wrapped("  ", 11, 100) == ()
