"""Cut-out and wiring say what the log holds, and 'not recorded' for what it does not."""

from __future__ import annotations

from fractions import Fraction
from typing import Any, TypeAlias
from xml.etree import ElementTree as ET

import pytest
from drawn_jobs import answer, asked, done, job, note

from companion.errors import InputError
from companion.report.drawings.cutout import Cutout, holes
from companion.report.drawings.from_log import ByHand, cutout_of
from companion.report.drawings.lengths import inches, sides
from companion.report.drawings.template import told_of
from companion.report.drawings.wiring import NOT_RECORDED, wiring
from companion.report.drawings.wiring_drawing import wiring_svg

MODULE = "air-treatment-module"
CENTRED = asked(
    "centre-cutout", face="20 in", face_height="18 in", hole="9 1/2 in", hole_height="6 in"
)


Logged: TypeAlias = tuple[str, dict[str, Any]]

# ---------------------------------------------------------------- the cut-out


def test_the_last_answered_cut_out_is_drawn() -> None:
    earlier = asked(
        "centre-cutout", face="20 in", face_height="18 in", hole="8 in", hole_height="6 in"
    )
    found = cutout_of(
        job(MODULE, earlier, CENTRED, asked("gasket-length", width="3 in", height="2 in"))
    )
    assert (found.width_in, found.height_in) == (Fraction(19, 2), Fraction(6))
    assert found.job == "2026-03-04-1"
    assert found.sources == ("Opening: log entry 3, centre-cutout.",)
    assert "Pilot holes: not recorded; take them from the flange." in told_of(found)


def test_an_older_opening_never_stands_in_for_one_that_is_not_whole() -> None:
    half = asked("centre-cutout", face="20 in", hole="9 in")
    with pytest.raises(InputError, match="entry 3 does not hold both sides"):
        cutout_of(job(MODULE, CENTRED, half))


def test_a_job_without_an_opening_says_what_to_type() -> None:
    with pytest.raises(InputError, match="companion template --opening"):
        cutout_of(job(MODULE, asked("voltage-drop", length="60 ft")))


@pytest.mark.parametrize(
    ("screws", "count"),
    [
        (asked("screw-spacing", width="9 1/2 in", height="6 in", spacing="4 in"), 10),
        (asked("screw-spacing", width="9 1/2 in", height="6 in", screws="12"), 12),
        (asked("screw-spacing", width="12 in", height="6 in", screws="12"), 0),
        (asked("screw-spacing", diameter="9 1/2 in", screws="12"), 0),
    ],
)
def test_screws_count_where_they_were_asked_for_an_opening_of_that_size(
    screws: tuple[str, dict[str, object]], count: int
) -> None:
    assert cutout_of(job(MODULE, CENTRED, screws)).screws == count


def test_a_round_opening_comes_from_its_gasket() -> None:
    found = cutout_of(job(MODULE, asked("gasket-length", diameter="8 in")))
    assert found.is_round
    assert found.size == "8 in round"


def test_the_side_of_the_blower_tells_which_way_the_air_flows() -> None:
    entries = job(MODULE, answer("side", "return"), CENTRED)
    assert cutout_of(entries).flows == "toward the blower"
    withdrawn = ("choice-withdrawn", {"step": "side", "choice": "side"})
    assert cutout_of(job(MODULE, answer("side", "return"), withdrawn, CENTRED)).flows == ""


def test_what_a_person_adds_goes_before_the_log() -> None:
    screws = asked("screw-spacing", width="9 1/2 in", height="6 in", screws="12")
    added = ByHand(flange_in=Fraction(1), screws=8, airflow="left", label="Attic")
    found = cutout_of(job(MODULE, CENTRED, screws), added)
    assert (found.screws, found.airflow, found.label) == (8, "left", "Attic")
    assert found.setback_in == Fraction(1, 2)


@pytest.mark.parametrize(
    ("made", "told"),
    [
        ({"width_in": Fraction(1, 2)}, "outside 1 to 72 in"),
        ({"height_in": Fraction(73)}, "outside 1 to 72 in"),
        ({"flange_in": Fraction(-1)}, "outside 0 to 6 in"),
        ({"screws": 5}, "5 screws do not go round"),
        ({"screws": 2}, "2 screws do not go round"),
        ({"screws": 4, "setback_in": Fraction(0)}, "are not whole"),
        ({"screws": 4, "flange_in": Fraction(1), "setback_in": Fraction(1)}, "are not whole"),
    ],
)
def test_what_cannot_be_cut_is_refused(made: dict[str, Fraction], told: str) -> None:
    sizes = {"width_in": Fraction(9), "height_in": Fraction(6), "setback_in": Fraction(1, 2)} | made
    with pytest.raises(InputError, match=told):
        Cutout(**sizes)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "text", ["", "x", "9", "9x", "nine by six", "9x6x3", "1/0x2", "-9x6", "9 ft x 6 ft"]
)
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="no size of an opening"):
        sides(text)


def test_lengths_are_exact() -> None:
    assert sides('14-1/2" x 6 1/4 in') == (Fraction(29, 2), Fraction(25, 4))
    assert inches("0.1") == Fraction(1, 10)
    with pytest.raises(InputError, match="no length in inches"):
        inches("1/0")


def test_holes_are_shared_so_that_the_widest_step_is_smallest() -> None:
    made = Cutout(Fraction(11), Fraction(5), setback_in=Fraction(1, 2), screws=12)
    xs = sorted({x for x, _ in holes(made)})
    ys = sorted({y for _, y in holes(made)})
    assert xs == [-6, -3, 0, 3, 6]
    assert ys == [-3, 0, 3]
    assert len(set(holes(made))) == 12


# ---------------------------------------------------------------- the wiring


def facts(slug: str, *more: Logged) -> dict[str, str]:
    found = wiring(job(slug, *more))
    assert found is not None
    return {each.what: each.value for each in found.facts}


def test_nothing_is_made_up_where_the_log_is_silent() -> None:
    found = wiring(job("humidifier"))
    assert found is not None
    assert found.primary is not None
    assert found.primary.tap == ""
    told = {each.what: each.value for each in found.facts}
    for what in ("Supply", "Primary tap", "Fuse", "What proves the blower runs", "Ground"):
        assert NOT_RECORDED in told[what], what
    assert found.loop[1].symbol == "unknown"


@pytest.mark.parametrize(
    ("volts", "other"), [("120", "neutral"), ("208", "other hot"), ("240", "other hot")]
)
def test_the_tap_and_the_other_line_follow_the_answer(volts: str, other: str) -> None:
    found = wiring(job("humidifier", answer("primary", volts), done(f"wire-{volts}")))
    assert found is not None
    assert found.primary is not None
    assert found.primary.tap == volts
    assert found.primary.other.startswith(other)
    assert f"{volts} V tap and common" in {each.value for each in found.facts}


def test_a_withdrawn_answer_is_not_recorded() -> None:
    withdrawn: Logged = ("choice-withdrawn", {"step": "supply", "choice": "primary"})
    assert facts("humidifier", answer("primary", "120"), withdrawn)["Supply"] == NOT_RECORDED


def test_switch_or_relay_as_chosen() -> None:
    switch = wiring(job(MODULE, answer("interlock", "pressure-switch")))
    relay = wiring(job(MODULE, answer("interlock", "relay")))
    assert switch is not None
    assert relay is not None
    assert [part.name for part in switch.loop] == ["fuse", "air switch"]
    assert [part.name for part in relay.loop] == ["fuse", "relay contact"]
    assert (switch.coil, relay.coil) == (False, True)


def test_colours_are_those_that_notes_name_for_a_terminal() -> None:
    told = facts(
        "humidifier",
        answer("primary", "120"),
        note("black to the one twenty tap and white to common", "wire-120"),
        note("green to ground. red is the secondary hot", "wire-switch", typed=False),
        note("not blue, orange on c", "wire-humidistat"),
    )
    assert told["Lead on the tap"] == "black"
    assert told["Lead on the primary's common"] == "white"
    assert told["Ground"] == "green"
    assert told["24 V hot"] == "red"
    assert told["24 V common"] == "orange"
    assert told["Note 3"] == "not blue, orange on c"


def test_a_colour_that_is_denied_or_has_no_terminal_names_none() -> None:
    told = facts(
        "humidifier",
        answer("primary", "120"),
        note("black is not the hot", "wire-120"),
        note("the white one was loose", "wire-120"),
        note("white to common", "labels"),
    )
    assert NOT_RECORDED in told["Lead on the tap"]
    assert NOT_RECORDED in told["Lead on the primary's common"]


def test_a_fuse_is_what_was_read_and_a_sizing_is_only_that() -> None:
    worked_out = facts(MODULE, asked("secondary-fuse", "2", "A"))["Fuse"]
    assert worked_out == f"2 A worked out; the one fitted {NOT_RECORDED}"


def test_a_steps_being_done_is_told_apart_from_its_answer() -> None:
    told = facts(MODULE, answer("primary", "240"), done("fuse"))
    assert told["Steps logged as done"] == "fuse"
    assert "wire-240" in told["Steps not logged as done"]
    assert "wire-120" not in told["Steps not logged as done"]


def test_an_answer_of_a_fault_search_is_not_the_jobs() -> None:
    begun: Logged = ("fault-begun", {"procedure": "x", "title": "x", "text": ""})
    ended: Logged = ("fault-ended", {"how": "left"})
    told = facts(MODULE, begun, answer("primary", "240"), ended)
    assert told["Supply"] == NOT_RECORDED


def test_removed_payloads_leave_it_standing() -> None:
    gone: list[Logged] = [
        (kind, {}) for kind in ("choice", "note", "reading", "question", "step-done")
    ]
    assert facts(MODULE, *gone)["Supply"] == NOT_RECORDED


@pytest.mark.parametrize(
    ("slug", "words"),
    [
        ("humidifier", "humidistat"),
        ("fresh-air-damper", "mixed air limit"),
        (MODULE, "module"),
        ("transformer-replacement", "board and controls"),
        ("air-proving-switch", "24 V hot, at its source"),
        ("overflow-switch", "float switch"),
        ("common-wire-thermostat", "at the thermostat"),
    ],
)
def test_every_procedure_that_wires_is_drawn_with_its_caution(slug: str, words: str) -> None:
    svg = wiring_svg(job(slug))
    assert svg is not None
    told = " ".join("".join(each.itertext()) for each in ET.fromstring(svg).iter())  # noqa: S314
    plain = " ".join(told.split())
    for wanted in (words, NOT_RECORDED, "prove dead", "local code"):
        assert wanted in plain


def test_a_procedure_that_wires_nothing_has_no_drawing() -> None:
    assert wiring_svg(job("static-pressure-survey")) is None
    assert wiring_svg([]) is None
