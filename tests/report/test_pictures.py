"""The pictures are true to the readings, missing ones are told, and hostile names stay texts."""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jobs import played
from test_page import OPENED, Page, joined, sample

from companion.ports import Draft, Entry
from companion.report import report_page
from companion.report.air_profile import air_profile, lines
from companion.report.folding import story
from companion.report.markup import text_of
from companion.report.power_budget import Budget, budget, power_budget

if TYPE_CHECKING:
    from companion.report.markup import Element


def reading(point: str, value: str, unit: str, phase: str = "", name: str = "") -> Draft:
    said = {"point": point, "name": name or point, "value": value, "unit": unit, "phase": phase}
    return Draft("reading", {"id": f"{point} {phase} {value}", **said}, OPENED)


def asked(sizing: str, value: str, **inputs: str) -> Draft:
    named = {key.replace("_", " "): text for key, text in inputs.items()}
    return Draft("question", {"sizing": sizing, "inputs": named, "value": value}, OPENED)


def job(*drafts: Draft) -> list[Entry]:
    return joined([Draft("job-opened", {"title": "T"}, OPENED), *drafts])


def drawn(section: Element | None) -> ET.Element:
    """The picture of a section, as an XML reader that is not ours reads it."""
    html = str(section)
    return ET.fromstring(html[html.index("<svg") : html.index("</svg>") + 6])  # noqa: S314


def figures(svg: ET.Element) -> list[str]:
    return [text.text or "" for text in svg.iter("text")]


# ---------------------------------------------------------------- static pressure


def test_found_and_left_are_two_lines_through_return_and_supply() -> None:
    ways = lines(story(sample()).standing())
    assert [(w.phase, w.return_inh2o, w.supply_inh2o) for w in ways] == [
        ("as found", -0.20, 0.28),
        ("as left", -0.23, 0.31),
    ]
    said = figures(drawn(air_profile(story(sample()))))
    assert {"\N{MINUS SIGN}0.20", "0.28", "\N{MINUS SIGN}0.23", "0.31", "As found"} <= set(said)


# Total external static is the supply's less the return's: common practice, no source.
def test_the_text_beside_tells_the_total_from_return_to_supply() -> None:
    section = air_profile(story(sample()))
    assert section
    assert "As found: 0.48 in. w.c. from return to supply." in text_of(section)
    assert "As left: 0.54 in. w.c. from return to supply." in text_of(section)


_statics = st.decimals(Decimal("0.01"), 2, places=2)


@given(supply=_statics, back=_statics, filter_drop=_statics, coil=_statics)
def test_the_picture_is_to_scale(
    supply: Decimal, back: Decimal, filter_drop: Decimal, coil: Decimal
) -> None:
    entries = job(
        reading("return-static", f"-{back}", "inH2O"),
        reading("supply-static", str(supply), "inH2O"),
        reading("filter-drop", str(filter_drop), "inH2O"),
        reading("coil-drop", str(coil), "inH2O"),
    )
    svg = drawn(air_profile(story(entries)))
    ways = [e for e in svg.iter("line") if e.get("stroke-width") == "1.8"][:5]
    heights = [float(ways[0].get("y1", "")), *(float(way.get("y2", "")) for way in ways)]
    room, ahead, after, before, behind, again = heights
    assert room == again
    per_inch = (after - before) / float(supply + back)
    assert per_inch > 0
    # A tenth of a unit is how fine the places are written, and the scale is taken from two of them.
    slack = 0.11 * (1 + float(max(filter_drop, coil) / (supply + back)))
    assert after - room == pytest.approx(float(back) * per_inch, abs=slack)
    assert room - before == pytest.approx(float(supply) * per_inch, abs=slack)
    assert after - ahead == pytest.approx(float(filter_drop) * per_inch, abs=slack)
    assert behind - before == pytest.approx(float(coil) * per_inch, abs=slack)
    assert all(0 <= height <= 276 for height in heights)


def test_another_unit_is_converted() -> None:
    # An inch of water is 249.089 Pa (conventional; NIST SP 811).
    entries = job(
        reading("return-static", "-49.8178", "Pa"), reading("supply-static", "74.7267", "Pa")
    )
    (way,) = lines(story(entries).standing())
    assert (way.return_inh2o, way.supply_inh2o) == pytest.approx((-0.2, 0.3), abs=1e-4)


@pytest.mark.parametrize(
    ("drafts", "why"),
    [
        ([], "no reading of the return and the supply static"),
        ([reading("supply-static", "0.3", "inH2O")], "no reading of the return static"),
        (
            [
                reading("return-static", "-0.2", "inH2O", "as found"),
                reading("supply-static", "0.3", "inH2O", "as left"),
            ],
            "were not read together",
        ),
        (
            [reading("return-static", "OL", "inH2O"), reading("supply-static", "9e99", "inH2O")],
            "were not read together",
        ),
    ],
)
def test_without_the_readings_a_line_says_why_there_is_no_picture(
    drafts: list[Draft], why: str
) -> None:
    section = air_profile(story(job(*drafts)))
    assert "<svg" not in str(section)
    assert why in str(section)


# ---------------------------------------------------------------- 24 V


def test_the_budget_is_read_off_the_label_the_loads_and_the_meter() -> None:
    found = budget(story(list(played("transformer-replacement"))))
    assert isinstance(found, Budget)
    assert list(map(str, (found.rating_va, found.used_va, found.left_va))) == ["40", "26", "14"]
    assert found.measured_va == Decimal("0.8") * Decimal("25.6")


def test_several_loads_are_several_stretches_to_scale() -> None:
    entries = job(asked("transformer-size", "40", load="18 VA + 9 VA"))
    svg = drawn(power_budget(story(entries)))
    widths = [float(each.get("width", "")) for each in svg.iter("rect")]
    assert len(widths) == 3  # two loads, and what is left
    per_va = sum(widths) / 40
    assert widths == pytest.approx([18 * per_va, 9 * per_va, 13 * per_va], abs=0.2)
    assert {"18 VA", "9 VA", "13 VA left", "Transformer 40 VA"} <= set(figures(svg))


def test_a_present_load_in_amps_is_taken_times_the_volts() -> None:
    asked_at = asked(
        "transformer-room", "8", transformer="40 VA", present_load="0.5 A", added_load="6 VA"
    )
    found = budget(story(job(asked_at)))
    assert isinstance(found, Budget)
    assert list(map(float, found.loads_va)) == [12, 6]  # at 24 V, which the answer took


def test_an_overload_is_told_and_drawn_beyond_the_rating() -> None:
    entries = job(reading("transformer-rating", "20", "VA"), reading("load-total", "26", "VA"))
    section = power_budget(story(entries))
    assert section
    assert "6 VA too much" in text_of(section)
    assert "left" not in " ".join(figures(drawn(section)))


@pytest.mark.parametrize(
    ("drafts", "why"),
    [
        ([], "neither a reading of a transformer"),
        ([reading("transformer-rating", "40", "VA")], "no loads in V A"),
        ([reading("transformer-rating", "-1", "VA")], "neither a reading of a transformer"),
        ([asked("transformer-size", "nonsense")], "neither a reading of a transformer"),
    ],
)
def test_without_the_figures_a_line_says_why_there_is_no_budget(
    drafts: list[Draft], why: str
) -> None:
    section = power_budget(story(job(*drafts)))
    assert "<svg" not in str(section)
    assert why in str(section)


# ---------------------------------------------------------------- hostile names


@pytest.mark.parametrize(
    "evil", ['"/><script>alert(1)</script>', "</svg><img src=x onerror=alert(1)>", "&quot; <!--"]
)
def test_a_hostile_name_in_a_picture_stays_a_text(evil: str) -> None:
    entries = job(
        reading("transformer-rating", "40", "VA", name=evil),
        reading("load-total", "26", "VA", name=evil),
        reading("secondary-current", "0.8", evil),
        reading("secondary-voltage", "25", evil),
    )
    page = Page(report_page(entries))  # asserts that its elements close in order
    assert not {"script", "img"} & set(page.tags)
    assert not any(name.startswith("on") for name, _ in page.attributes)
    labels = [value or "" for name, value in page.attributes if name == "aria-label"]
    assert any(evil in label for label in labels)
    root = drawn(power_budget(story(entries)))
    assert {re.sub("{.*}", "", each.tag) for each in root.iter()} <= {"svg", "rect", "line", "text"}
