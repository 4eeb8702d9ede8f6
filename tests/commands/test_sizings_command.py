"""`companion sizings`: the list, and each sizing's page."""

from __future__ import annotations

import json

import pytest

from companion.cli import main
from companion.sizing import sizings


def test_all_are_listed_by_group_with_a_question_each(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sizings"]) == 0
    lines = capsys.readouterr().out.splitlines()
    for slug, each in sizings().items():
        (line,) = [line for line in lines if line.split()[:1] == [slug]]
        assert line.endswith(each.example)
    assert [line for line in lines if line in {each.group for each in sizings().values()}] == list(
        dict.fromkeys(each.group for each in sizings().values())
    )


def test_the_list_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sizings", "list", "--json"]) == 0
    rows = json.loads(capsys.readouterr().out)
    assert [row["name"] for row in rows] == list(sizings())
    assert all(row["formula"] and row["sources"] and row["inputs"] for row in rows)


@pytest.mark.parametrize("slug", sizings())
def test_a_page_tells_formula_inputs_sources_and_the_example_worked(
    slug: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["sizings", "show", slug]) == 0
    page = " ".join(capsys.readouterr().out.split())
    found = sizings()[slug]
    told = (found.title, found.formula, found.example, *found.sources)
    assert [one for one in told if " ".join(one.split()) not in page] == []
    assert [each.spoken for each in found.inputs if f"{each.spoken}: " not in page] == []
    assert "It answers: " in page or "It asks then: " in page


def test_an_unknown_name_is_told_what_to_do(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["sizings", "show", "nothing"]) == 3
    assert "No sizing 'nothing'. List their names" in capsys.readouterr().err
