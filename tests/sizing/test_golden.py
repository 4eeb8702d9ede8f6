"""Every sizing against its golden file: value, trade wording, limits and refusals."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
from golden_cases import FOLDER, cases, given

from companion.errors import SizingError
from companion.sizing import answer, sizings

CASES = cases()
ANSWERED = [(slug, case) for slug, case in CASES if "refused" not in case]
REFUSED = [(slug, case) for slug, case in CASES if "refused" in case]
KINDS = {"hand", "published", "library", "independent derivation", "memory"}


@pytest.mark.parametrize(("slug", "case"), ANSWERED)
def test_the_value_is_the_sources(slug: str, case: dict[str, Any]) -> None:
    found = answer(slug, given(slug, case["given"]))
    assert found.unit == case["unit"]
    if "tolerance" in case:
        assert case["reason"]
        off = abs(Decimal(found.value) - Decimal(case["value"]))
        assert off <= Decimal(case["tolerance"])
    else:
        assert found.value == case["value"]


@pytest.mark.parametrize(("slug", "case"), ANSWERED)
def test_it_is_said_as_the_trade_does(slug: str, case: dict[str, Any]) -> None:
    found = answer(slug, given(slug, case["given"]))
    assert found.spoken.startswith(case.get("spoken", ""))
    assert found.caution.startswith(case.get("caution", ""))
    assert found.over_limit == case.get("over_limit", False)
    assert any(case.get("working", "") in line for line in found.working)
    if "defers" in case:
        assert found.defers == case["defers"]


@pytest.mark.parametrize(("slug", "case"), REFUSED)
def test_it_refuses_in_the_technicians_words(slug: str, case: dict[str, Any]) -> None:
    with pytest.raises(SizingError) as refused:
        answer(slug, given(slug, case["given"]))
    assert refused.value.spoken == case["refused"]


def test_every_sizing_has_a_golden_file_with_a_source_beside_each_value() -> None:
    assert {path.stem for path in FOLDER.glob("*.toml")} == set(sizings())
    for slug, case in CASES:
        assert case["source"], slug
        assert case["kind"] in KINDS, slug
