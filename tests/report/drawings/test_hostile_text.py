"""Names and notes from outside: nothing in them gets out of its place, whatever it is made of."""

from __future__ import annotations

import os
import re
import unicodedata
from fractions import Fraction
from io import BytesIO
from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import pypdfium2
import pytest
from drawn_jobs import HOSTILE, answer, done, job, note
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from readback import pages

from companion.report.drawings.cutout import Cutout
from companion.report.drawings.pdf import template_pdf
from companion.report.drawings.svg import template_svg
from companion.report.drawings.wiring_drawing import wiring_svg
from companion.report.drawings.wiring_pdf import wiring_pdf
from companion.report.drawings.writing import file_part, one_line

if TYPE_CHECKING:
    from pathlib import Path

ALL = pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
NOTHING_ELSE = {"svg", "title", "rect", "polygon", "polyline", "text", "tspan", "path", "circle"}


def cutout(text: str) -> Cutout:
    return Cutout(
        Fraction(9), Fraction(6), Fraction(1), Fraction(1, 2), 8,
        label=text, job=text, date=text, flows=text, sources=(text,),
    )  # fmt: skip


def check_svg(svg: str) -> str:
    """It is XML, with no other elements than ours, and no attribute that acts; its words."""
    root = ET.fromstring(svg)  # noqa: S314 - our own
    assert {each.tag.rpartition("}")[2] for each in root.iter()} <= NOTHING_ELSE
    assert not [key for each in root.iter() for key in each.attrib if key.startswith("on")]
    texts = [each for each in root.iter() if each.tag.endswith("}text")]
    return " ".join("".join(each.itertext()) for each in texts)


def check_pdf(pdf: bytes) -> str:
    """Three readers open it, and nothing in it acts; its words."""
    reader = PdfReader(BytesIO(pdf), strict=True)
    assert not {"/OpenAction", "/AA", "/AcroForm"} & set(reader.root_object)
    assert all("/Annots" not in page for page in reader.pages)
    document = pypdfium2.PdfDocument(pdf)
    assert len(document) == len(reader.pages)
    return " ".join(page.text for page in pages(pdf))


@ALL
def test_a_hostile_label_stays_text_in_the_templates_pdf(text: str) -> None:
    told = check_pdf(template_pdf(cutout(text), "letter"))
    plain = re.sub(r"[^A-Za-z]", "", one_line(text))[:6]
    assert plain in re.sub(r"[^A-Za-z]", "", told)


@ALL
def test_a_hostile_label_stays_text_in_the_templates_svg(text: str) -> None:
    told = check_svg(template_svg(cutout(text)))
    assert re.sub(r"\s", "", one_line(text)) in re.sub(r"\s", "", told)


def wired(text: str) -> str:
    entries = job(
        "humidifier",
        answer("primary", text),
        answer("interlock", text),
        answer("transformer", text),
        done(text),
        note(f"{text} black to the one twenty tap", "wire-120"),
        name=text or "job",
    )
    svg = wiring_svg(entries)
    assert svg is not None
    return svg


@ALL
def test_hostile_answers_and_notes_stay_text_in_the_wirings_svg(text: str) -> None:
    told = check_svg(wired(text))
    assert re.sub(r"\s", "", one_line(text))[:60] in re.sub(r"\s", "", told)


def test_long_notes_leave_the_wiring_legible() -> None:
    root = ET.fromstring(wired("long " * 900))  # noqa: S314 - our own
    # One letter-size page, lying, takes some 730 × 540 points: nothing is scaled below two thirds.
    assert float(str(root.get("height"))) < 540 * 1.5


@ALL
def test_hostile_answers_and_notes_stay_text_in_the_wirings_pdf(text: str) -> None:
    assert "CAUTION" in check_pdf(wiring_pdf(wired(text), "a4"))


def test_what_the_typeface_has_is_shown_and_what_it_lacks_is_marked() -> None:
    told = check_pdf(template_pdf(cutout("Ελλάς Москва 日本"), "a4"))
    assert "Ελλάς" in told
    assert "Москва" in told
    assert "日" not in told
    assert "\N{REPLACEMENT CHARACTER}" in told


@settings(max_examples=300)
@given(st.text())
def test_a_line_has_no_character_that_steers(text: str) -> None:
    found = one_line(text)
    assert not {unicodedata.category(each) for each in found} & {"Cc", "Cf", "Cs", "Cn"}
    assert found == one_line(found)
    found.encode()


@settings(max_examples=300)
@given(st.text() | st.sampled_from(HOSTILE))
def test_a_files_name_is_one_plain_part(text: str) -> None:
    part = file_part(text)
    assert re.fullmatch(r"[A-Za-z0-9][A-Za-z0-9.-]{0,79}", part)
    for path in (PurePosixPath(f"{part}.pdf"), PureWindowsPath(f"{part}.pdf")):
        assert len(path.parts) == 1
        assert ".." not in path.parts
    # The devices of Windows' file names: from its own documentation, from memory.
    assert not re.fullmatch(r"(?i)(con|prn|aux|nul|(com|lpt)\d)", part.partition(".")[0])


@ALL
def test_a_files_name_can_be_written(text: str, tmp_path: Path) -> None:
    (tmp_path / f"template-{file_part(text)}.pdf").write_bytes(b"")
    assert len(os.listdir(tmp_path)) == 1  # noqa: PTH208
