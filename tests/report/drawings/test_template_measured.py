"""The template is to scale: its ruler, opening and holes, as other libraries measure them."""

from __future__ import annotations

import math
import re
from fractions import Fraction
from io import BytesIO
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from readback import Line, Page, pages, together
from shapely import LineString, MultiLineString, Point, unary_union
from shapely.geometry import LinearRing, box

from companion.report.drawings.cutout import Cutout, screws_at
from companion.report.drawings.pdf import template_pdf
from companion.report.drawings.strokes import Stroke, Window, cut_off
from companion.report.drawings.svg import template_svg

if TYPE_CHECKING:
    from companion.report.drawings.sheets import PaperName

TOLERANCE_MM = 0.1
PAPERS: tuple[PaperName, ...] = ("letter", "a4")
# ANSI/ASME Y14.1 size A, and ISO 216: in millimeters.
SIZES = {"letter": (215.9, 279.4), "a4": (210.0, 297.0)}
BOTH = pytest.mark.parametrize("paper", PAPERS)
MODULE = Cutout(Fraction(29, 2), Fraction(25, 4), Fraction(1), Fraction(1, 2), 12, airflow="right")
SMALL = Cutout(Fraction(4), Fraction(3), Fraction(1, 2), Fraction(1, 4), 4, airflow="up")
COLLAR = Cutout(Fraction(8), None, Fraction(1), Fraction(1, 2), 3)


def columns_of(sheets: list[Page]) -> int:
    """How many sheets lie beside one another, from the names that are printed on them."""
    names = [re.search(r"sheet \d+ of \d+, ([A-Z]+)(\d+)", each.text) for each in sheets]
    return max(int(name[2]) for name in names if name)


def rulers(page: Page) -> list[float]:
    """The lengths of a page's level ruler lines, in millimeters."""
    level = [line for line in page.lines["ruler"] if abs(line[0][1] - line[-1][1]) < 1e-3]
    return sorted(abs(line[-1][0] - line[0][0]) for line in level)


def expected_outline(cutout: Cutout) -> LinearRing:
    """The opening by shapely's own geometry, around (0, 0)."""
    wide, high = float(cutout.width_in) * 25.4, float(cutout.high_in) * 25.4
    if cutout.height_in is None:
        return Point(0, 0).buffer(wide / 2, quad_segs=256).exterior
    return box(-wide / 2, -high / 2, wide / 2, high / 2).exterior


def check_assembled(cutout: Cutout, sheets: list[Page]) -> None:
    columns = columns_of(sheets)
    cut = unary_union(MultiLineString(together(sheets, columns, "cut")))
    left, bottom, right, top = cut.bounds
    middle = ((left + right) / 2, (bottom + top) / 2)
    wanted = expected_outline(cutout)
    moved = MultiLineString(
        [
            [(x - middle[0], y - middle[1]) for x, y in each.coords]
            for each in getattr(cut, "geoms", [cut])
        ]
    )
    assert right - left == pytest.approx(float(cutout.width_in) * 25.4, abs=TOLERANCE_MM)
    assert top - bottom == pytest.approx(float(cutout.high_in) * 25.4, abs=TOLERANCE_MM)
    # Nowhere off the opening's edge, and no part of the edge missing: the outline closes.
    assert moved.hausdorff_distance(wanted) < TOLERANCE_MM
    assert moved.buffer(0.06).covers(wanted)
    check_holes(cutout, together(sheets, columns, "hole"), middle)


def check_holes(cutout: Cutout, lines: list[Line], middle: tuple[float, float]) -> None:
    """Every hole stands once or more (on neighbours), and all stand where they should."""
    drawn = [MultiLineString([line]) for line in lines if len(line) > 2]
    whole = unary_union([each.buffer(0.02) for each in drawn])
    radius = float(cutout.pilot_in) * 25.4 / 2
    parts = list(getattr(whole, "geoms", [whole])) if lines else []
    assert len(parts) == cutout.screws
    centres = []
    for part in parts:
        left, bottom, right, top = part.bounds
        assert (right - left) / 2 == pytest.approx(radius + 0.02, abs=TOLERANCE_MM)
        centres.append(((left + right) / 2 - middle[0], (bottom + top) / 2 - middle[1]))
    beyond = float(cutout.setback_in) * 25.4
    line = (
        Point(0, 0).buffer(float(cutout.width_in) * 12.7 + beyond, quad_segs=512).exterior
        if cutout.height_in is None
        else expected_outline(cutout).buffer(beyond, join_style="mitre").exterior
    )
    for centre in centres:
        assert line.distance(Point(centre)) < TOLERANCE_MM
    check_steps(cutout, centres, line)


def check_steps(cutout: Cutout, centres: list[tuple[float, float]], line: LinearRing) -> None:
    """Rectangle: a hole at each corner. Round: all steps alike."""
    if cutout.height_in is None:
        turns = sorted(math.atan2(y, x) for x, y in centres)
        steps = [b - a for a, b in zip(turns, [*turns[1:], turns[0] + 2 * math.pi], strict=True)]
        assert steps == pytest.approx([2 * math.pi / cutout.screws] * cutout.screws, abs=1e-3)
        return
    for corner in list(line.coords)[:4]:
        assert min(math.dist(corner, centre) for centre in centres) < TOLERANCE_MM


# ---------------------------------------------------------------- the ruler


@BOTH
@pytest.mark.parametrize("cutout", [SMALL, MODULE, COLLAR])
def test_every_sheet_has_a_ruler_of_4_inches_and_of_100_mm(
    cutout: Cutout, paper: PaperName
) -> None:
    for page in pages(template_pdf(cutout, paper)):
        assert rulers(page) == pytest.approx([100.0, 101.6], abs=0.01)
        assert "Print at 100 %, no scaling" in " ".join(page.text.split())


def test_every_tick_stands_at_its_mark() -> None:
    [page] = pages(template_pdf(SMALL, "letter"))
    upright = [line for line in page.lines["ruler"] if abs(line[0][0] - line[-1][0]) < 1e-3]
    level = min(line[0][0] for line in upright)
    ticks = {
        way: sorted(line[0][0] - level for line in upright if (line[-1][1] > line[0][1]) is way)
        for way in (True, False)
    }
    assert ticks[True] == pytest.approx([6.35 * each for each in range(17)], abs=0.01)
    assert ticks[False] == pytest.approx([5.0 * each for each in range(21)], abs=0.01)


@BOTH
def test_the_ruler_is_as_long_on_paper_as_it_says(paper: PaperName) -> None:
    """Measured in the pixels that another library prints: PDFium, at 1200 to the inch."""
    document = pypdfium2.PdfDocument(template_pdf(SMALL, paper))
    pixels = document[0].render(scale=1200 / 72, grayscale=True).to_numpy()
    dark = np.squeeze(pixels) < 128
    runs = sorted({longest_run(row) for row in dark} - {0})
    lengths_mm = [run * 25.4 / 1200 for run in runs]
    pen_mm = 0.25  # the line's ends are round or square: its ticks add half a pen on either side
    for wanted in (100.0, 101.6):
        assert min(abs(each - pen_mm - wanted) for each in lengths_mm) < TOLERANCE_MM


def longest_run(row: np.ndarray[tuple[int], np.dtype[np.bool_]]) -> int:
    edges = np.flatnonzero(np.diff(np.concatenate(([0], row.view(np.int8), [0]))))
    return int((edges[1::2] - edges[::2]).max()) if edges.size else 0


# ---------------------------------------------------------------- opening and holes


@BOTH
@pytest.mark.parametrize("cutout", [SMALL, MODULE, COLLAR])
def test_opening_and_holes_are_to_scale_when_the_sheets_are_joined(
    cutout: Cutout, paper: PaperName
) -> None:
    check_assembled(cutout, pages(template_pdf(cutout, paper)))


_lengths = st.integers(16, 60 * 16).map(lambda sixteenths: Fraction(sixteenths, 16))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    width=_lengths,
    height=_lengths | st.none(),
    spacing=st.integers(4, 12).map(Fraction),
    paper=st.sampled_from(PAPERS),
    airflow=st.sampled_from(["", "up", "down", "left", "right"]),
)
def test_any_opening_from_1_to_60_inches_is_to_scale(
    width: Fraction, height: Fraction | None, spacing: Fraction, paper: PaperName, airflow: str
) -> None:
    setback = Fraction(1, 2)
    screws = screws_at(width, height, setback, spacing)
    cutout = Cutout(width, height, Fraction(1), setback, screws, airflow=airflow)  # type: ignore[arg-type]
    sheets = pages(template_pdf(cutout, paper))
    check_assembled(cutout, sheets)
    for page in sheets:
        assert rulers(page) == pytest.approx([100.0, 101.6], abs=0.01)


# Whole hundredths: GEOS itself goes astray on lines that lie within 1e-250 of one another.
_along = st.integers(-30000, 30000).map(lambda hundredths: hundredths / 100)
_places = st.tuples(_along, _along)


@settings(max_examples=300)
@given(st.lists(_places, min_size=2, max_size=5, unique=True))
def test_what_a_sheet_shows_of_a_line_is_what_shapely_finds(
    points: list[tuple[float, float]],
) -> None:
    window = Window(-100, -80, 100, 80)
    found = [each.points for each in cut_off(Stroke("cut", tuple(points)), window)]
    wanted = LineString(points).intersection(box(-100, -80, 100, 80))
    if wanted.length < 1e-6:  # it touches the edge, or nothing
        assert sum(LineString(each).length for each in found) < 1e-6
        return
    assert MultiLineString(found).hausdorff_distance(wanted) < 1e-6
    assert MultiLineString(found).buffer(1e-6).covers(wanted)


@BOTH
def test_nothing_is_nearer_to_the_papers_edge_than_10_mm(paper: PaperName) -> None:
    for page in pypdfium2.PdfDocument(template_pdf(MODULE, paper)):
        pixels = np.squeeze(page.render(scale=254 / 72, grayscale=True).to_numpy())  # 10 a mm
        assert sorted(each / 10 for each in pixels.shape) == pytest.approx(SIZES[paper], abs=0.15)
        inner = pixels.copy()
        inner[100:-100, 100:-100] = 255
        assert inner.min() == 255


def test_the_pdf_asks_not_to_be_scaled_and_says_what_it_is() -> None:
    reader = PdfReader(BytesIO(template_pdf(MODULE, "letter")))
    assert reader.viewer_preferences is not None
    assert str(reader.viewer_preferences.print_scaling) == "/None"
    assert len(reader.pages) == 4
    told = " ".join(reader.pages[0].extract_text().split())
    for words in (
        "Opening 14 1/2 × 6 1/4 in",
        "12 pilot holes 1/8 in, 1/2 in from the edge",
        "sheet 1 of 4, A1",
        "Check what is behind before you cut",
        "Power off",
        "coils, heat exchanger, wiring, refrigerant and gas lines",
    ):
        assert words in told


def test_the_same_template_is_the_same_file() -> None:
    assert template_pdf(MODULE, "a4") == template_pdf(MODULE, "a4")


# ---------------------------------------------------------------- SVG

SVG = "{http://www.w3.org/2000/svg}"


def shapes(svg: str, role: str) -> list[list[tuple[float, float]]]:
    root = ET.fromstring(svg)  # noqa: S314 - our own
    view = [float(each) for each in str(root.get("viewBox")).split()]
    scale = float(str(root.get("width")).removesuffix("mm")) / view[2]
    assert float(str(root.get("height")).removesuffix("mm")) / view[3] == pytest.approx(scale)
    return [
        [
            tuple(float(number) * scale for number in each.split(","))  # type: ignore[misc]
            for each in str(shape.get("points")).split()
        ]
        for shape in root.iter()
        if shape.get("class") == role
    ]


@settings(max_examples=50, deadline=None)
@given(width=_lengths, height=_lengths | st.none())
def test_the_svg_is_in_real_units(width: Fraction, height: Fraction | None) -> None:
    cutout = Cutout(width, height, Fraction(1), Fraction(1, 2), 8)
    svg = template_svg(cutout)
    [outline] = shapes(svg, "cut")
    for axis, side in ((0, cutout.width_in), (1, cutout.high_in)):
        found = max(point[axis] for point in outline) - min(point[axis] for point in outline)
        assert found == pytest.approx(float(side) * 25.4, abs=0.01)
    assert len(shapes(svg, "hole")) == 8
    level = [line for line in shapes(svg, "ruler") if line[0][1] == line[-1][1]]
    lengths = sorted(line[-1][0] - line[0][0] for line in level)
    assert lengths == pytest.approx([100.0, 101.6], abs=0.01)
