"""What is seen at a glance: fits every terminal, and never hides a hold point or a caution."""

from __future__ import annotations

import string
from dataclasses import replace
from pathlib import Path
from textwrap import indent

import pytest
from hypothesis import given
from hypothesis import strategies as st

from companion.glance.drawing import Line, closing, draw, meter
from companion.glance.letters import HEIGHT, large
from companion.glance.state import EMERGENCY, GONE, HEARS, LISTENING, SPEAKING, STANDING_BY, Glance
from companion.glance.text import clean, clipped, columns, shortened, wrapped
from companion.procedures.loader import faults, procedures

EVERY = {**procedures(), **{fault.title: fault for fault in faults()}}
MODES = (LISTENING, HEARS, SPEAKING, STANDING_BY, GONE, EMERGENCY)
texts = st.text(st.sampled_from(string.ascii_letters + " .,'°测é̂"), max_size=120)
glances = st.builds(
    Glance,
    title=texts, to_go=st.integers(0, 120), mode=st.sampled_from(MODES), step=texts, caution=texts,
    hold=texts, asks=texts, point=texts,
    value=st.sampled_from(["", "119", "0.45", "-12.5", "open", "OL", "1234567890" * 3]),
    unit=st.sampled_from(["V", "inH2O", "°F"]),
    verdict=st.sampled_from(["", "within limits", "outside limits", "no limit"]),
    can_say=texts, heard=texts, said=texts, timers=st.lists(texts, max_size=4).map(tuple),
    level_dbfs=st.floats(-90, 0), peak_dbfs=st.floats(-90, 0),
)  # fmt: skip


def text(line: Line) -> str:
    return "".join(run.text for run in line)


def whole(shown: Glance, width: int, height: int) -> str:
    return "\n".join(text(line).rstrip() for line in draw(shown, width, height))


@given(glances, st.integers(1, 220), st.integers(1, 70), st.booleans())
def test_it_never_leaves_the_terminal(
    shown: Glance,
    width: int,
    height: int,
    ascii_only: bool,  # noqa: FBT001 - hypothesis gives it
) -> None:
    lines = draw(shown, width, height, ascii_only=ascii_only)
    assert len(lines) == height
    assert all(columns(text(line)) <= width for line in lines)
    if ascii_only:
        assert all(text(line).isascii() for line in lines)


FULL = Glance(
    title="Motorized fresh air damper", to_go=41, step="Measure line to neutral.",
    caution="Treat it as live until you have proved it dead.", hold="Locked out and proved dead",
    asks="Line to ground?", point="Line to neutral", value="119.5", unit="V",
    verdict="outside limits", can_say="Say the number, or: can't get it.",
    heard="line to neutral one nineteen point five", timers=("purge 4:12",),
    said="Line to neutral, one one nine point five volts. Outside limits.",
    level_dbfs=-28.0, peak_dbfs=-17.0,
)  # fmt: skip


@pytest.mark.parametrize(("width", "height"), [(40, 12), (80, 24), (120, 40), (200, 60), (24, 11)])
def test_hold_point_caution_and_step_are_always_there(width: int, height: int) -> None:
    seen = " ".join(whole(FULL, width, height).replace("│", "").split())
    assert "HOLD:" in seen
    assert "Caution. Treat it as live until you have proved it dead." in seen
    assert "Measure line to neutral." in seen


@given(glances, st.integers(12, 220), st.integers(2, 70))
def test_an_open_hold_point_and_a_caution_are_seen_at_any_size(
    shown: Glance, width: int, height: int
) -> None:
    shown = replace(shown, hold=shown.hold or "Dead", caution=shown.caution or "Live.")
    lines = [text(line) for line in draw(shown, width, height)]
    assert any("HOLD" in line for line in lines)
    barred = [line.strip().removeprefix("│ ") for line in lines if line.strip().startswith("│ ")]
    caution = clean(f"Caution. {shown.caution}")
    if not barred[-1].endswith("…") or barred[-1].endswith(caution[-1]):
        assert "".join("".join(barred).split()) == "".join(caution.split())
    else:
        assert height <= 2 + len(wrapped(caution, width - 4)) + 4


def test_a_caution_is_cut_only_where_it_cannot_fit_and_leaves_a_line_for_the_step() -> None:
    long = replace(FULL, caution="Keep clear of it. " * 30)
    seen = [line.strip() for line in whole(long, 40, 12).splitlines()]
    assert sum(line.startswith("│") for line in seen) == 8
    assert [line for line in seen if line.startswith("│")][-1].endswith("…")
    assert any(line.startswith("Measure") for line in seen)
    assert any(line.startswith("›") for line in seen)


@pytest.mark.parametrize("slug", sorted(EVERY))
def test_every_packaged_step_is_seen_whole_with_its_caution_on_the_smallest_terminal(
    slug: str,
) -> None:
    for step in EVERY[slug].steps:
        hold = step.hold.title if step.hold else ""
        shown = replace(FULL, step=step.say, caution=step.caution, hold=hold, asks="")
        seen = " ".join(whole(shown, 40, 12).replace("│", "").split())
        assert clean(step.say) in seen, step.slug
        assert clean(step.caution) in seen, step.slug


def test_whatever_fits_is_seen_in_an_ordinary_terminal() -> None:
    seen = whole(FULL, 80, 24)
    told = (FULL.title, FULL.step, FULL.asks, FULL.point, FULL.verdict, *FULL.timers)
    for part in (*told, FULL.can_say, FULL.heard, FULL.said, "41 to go", "listening", "mic"):
        assert part in seen, part


def test_the_picture_in_the_readme_is_what_is_drawn() -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    assert indent("\n".join(whole(FULL, 80, 24).splitlines()), "    ").rstrip() in "\n".join(
        line.rstrip() for line in readme.splitlines()
    )


def test_where_there_is_room_the_last_reading_stands_in_large_figures() -> None:
    seen = whole(FULL, 80, 24)
    assert all(row.strip() in seen for row in large("119.5", 2) or ())
    seen = whole(FULL, 120, 40)
    assert all(row.strip() in seen for row in large("119.5", 3, 2) or ())
    assert "outside limits" in seen


def test_where_there_is_little_the_reading_stands_in_one_line() -> None:
    assert "119.5 V" in whole(FULL, 40, 12)


def test_what_is_outside_its_limit_and_what_is_urgent_stand_out_without_colour() -> None:
    styles = {run.text: run.style for line in draw(FULL, 80, 24) for run in line}
    assert styles["outside limits"] == "reverse"
    gone = Glance(mode=GONE, step="Wait.")
    assert any(r.style == "reverse" and "NO HEADSET" in r.text for r in draw(gone, 80, 24)[0])


def test_every_mode_says_what_it_is() -> None:
    seen = [text(draw(Glance(mode=mode), 60, 20)[0]) for mode in MODES]
    assert len(set(seen)) == len(MODES)
    for word in ("listening", "hears you", "speaking", "standing by", "NO HEADSET", "EMERGENCY"):
        assert any(word in line for line in seen)


def test_the_meter_fills_with_the_level_and_marks_the_peak() -> None:
    widths = [text(meter(dbfs, dbfs, 60)).count("━") for dbfs in (-60, -40, -20, -1)]
    assert widths == sorted(widths)
    assert widths[0] == 0
    assert text(meter(-40.0, -10.0, 60)).index("│") > text(meter(-40.0, -10.0, 60)).rindex("━")


@pytest.mark.parametrize("figures", ["0123456789", "-0.45", "1/2", "119"])
def test_large_figures_are_five_lines_and_each_its_own(figures: str) -> None:
    rows = large(figures)
    assert rows is not None
    assert len(rows) == HEIGHT
    assert len(set(map(len, rows))) == 1
    assert [len(row) for row in large(figures, 3, 2) or ()] == [3 * len(rows[0])] * 2 * HEIGHT
    assert len({large(figure) for figure in "0123456789.-/"}) == 13


@given(texts, st.integers(0, 60))
def test_a_shortened_text_fits_and_says_that_something_is_left_out(said: str, width: int) -> None:
    short = shortened(said, width)
    assert columns(short) <= width
    assert short == said or not short or short.endswith("…")


@given(texts, st.integers(2, 60))
def test_wrapped_text_fits_and_loses_nothing(said: str, width: int) -> None:
    lines = wrapped(said, width)
    assert all(0 < columns(line) <= width or not columns(line.strip()) for line in lines)
    assert "".join("".join(lines).split()) == "".join(clean(said).split())


@given(texts, st.integers(0, 6), st.integers(2, 60))
def test_what_is_clipped_says_so_and_still_fits(said: str, most: int, width: int) -> None:
    lines = wrapped(said, width)
    kept = clipped(lines, most, width)
    assert len(kept) <= most or kept == lines
    assert all(columns(line) <= width for line in kept)
    assert kept == lines or not kept or kept[-1].endswith("…")


def test_wide_letters_take_two_columns_when_wrapped() -> None:
    """East Asian Width: Unicode Standard Annex 11."""
    assert wrapped("測測測 測測測", 7) == ["測測測", "測測測"]
    assert wrapped("測測測測", 4) == ["測測", "測測"]


def test_when_the_view_is_gone_a_few_plain_lines_tell_how_the_job_stands() -> None:
    assert closing(FULL) == (
        "Motorized fresh air damper, 41 to go.",
        "HOLD: Locked out and proved dead.",
        "At: Measure line to neutral.",
        "Last reading: Line to neutral: 119.5 V, outside limits.",
    )
    assert closing(Glance()) == ()
