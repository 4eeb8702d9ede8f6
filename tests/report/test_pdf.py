"""The PDF says what the page says, opens in readers that are not ours, and nothing breaks out."""

from __future__ import annotations

import re
from datetime import timedelta
from io import BytesIO
from typing import Any

import pypdf
import pypdfium2
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from jobs import pdf_pages, played, squeezed
from test_page import OPENED, Page, _drafts, _hostile, joined, sample

from companion.chain import head
from companion.ports import Draft, Entry
from companion.report import report_page
from companion.report.pdf import PAPERS, paper_for, report_pdf
from companion.report.pdf.letters import MARK, showable

JOBS = (
    "sample",
    "fresh-air-damper",
    "fresh-air-damper.called-off",
    "transformer-replacement",
    "static-pressure-survey",
)


def entries_of(name: str) -> list[Entry]:
    return sample() if name == "sample" else list(played(name))


def body(pages: list[str]) -> str:
    """What stands on the pages but for their feet, without white space."""
    text = squeezed("".join(pages))
    return re.sub(r"Jobjob-1Page\d+of\d+Chain[0-9a-f]{64}", "", text)


def said(html: str) -> list[str]:
    """Every text of the page, but for its title, which stands in no page's text."""
    return [text for text in Page(html).texts if text.strip()][1:]


def job(*drafts: Draft) -> list[Entry]:
    return joined([Draft("job-opened", {"title": "T"}, OPENED), *drafts], "job-1")


def note(words: str) -> Draft:
    return Draft("note", {"words": words, "typed": True}, OPENED)


# ---------------------------------------------------------------- the same content


@pytest.mark.parametrize("name", JOBS)
def test_every_text_of_the_page_is_in_the_pdf(name: str) -> None:
    entries = entries_of(name)
    pages = pdf_pages(report_pdf(entries))
    feet = rf"Job{entries[0].job}Page\d+of\d+Chain[0-9a-f]{{64}}"
    whole = re.sub(feet, "", squeezed("".join(pages)))
    missing = [t for t in said(report_page(entries)) if squeezed(showable(t)) not in whole]
    assert missing == []


@pytest.mark.parametrize("name", JOBS)
def test_the_pdf_says_nothing_that_the_page_does_not(name: str) -> None:
    entries = entries_of(name)
    page = showable("".join(said(report_page(entries))))
    letters = "".join(re.findall(r"\w+", page)) + entries[0].job
    ours = "".join(f"Job{entries[0].job}Page{n}of99Chain{head(entries)}" for n in range(1, 100))
    for text in pdf_pages(report_pdf(entries)):
        for word in re.findall(r"[^\W\d]{3,}", text):
            assert word in letters or word in ours


def test_every_page_has_the_job_its_number_and_the_last_digest_at_its_foot() -> None:
    entries = sample()
    pages = pdf_pages(report_pdf(entries))
    for number, text in enumerate(pages, 1):
        assert "Job 2026-03-04-1" in text
        assert f"Page {number} of {len(pages)}" in text
        assert f"Chain {head(entries)}" in text


def test_how_an_open_job_stood_is_one_sentence_on_one_line() -> None:
    lines = pdf_pages(report_pdf(sample(1)))[1].splitlines()
    assert "What follows is how it stood at 4 March 2026, 15:06." in lines


# ---------------------------------------------------------------- paper


# ANSI/ASME Y14.1: letter is 8.5 by 11 inches. ISO 216: A4 is 210 by 297 mm. 72 points an inch.
@pytest.mark.parametrize(
    ("paper", "width_in", "height_in"), [("letter", 8.5, 11.0), ("a4", 210 / 25.4, 297 / 25.4)]
)
def test_another_reader_finds_its_pages_and_the_size_of_its_paper(
    paper: str, width_in: float, height_in: float
) -> None:
    pdf = report_pdf(sample(), paper=paper)
    opened = pypdfium2.PdfDocument(pdf)
    assert len(opened) == len(pdf_pages(pdf)) >= 2
    for page in opened:
        assert page.get_size() == pytest.approx((72 * width_in, 72 * height_in), abs=0.1)
        assert f"of {len(opened)}" in page.get_textpage().get_text_bounded()


@pytest.mark.parametrize(
    ("region", "paper"),
    [("OH", "letter"), ("Ohio", "letter"), ("BC", "letter"), ("", "letter"), ("Atlantis", "a4")],
)
def test_paper_is_what_is_in_use_where_the_job_was(region: str, paper: str) -> None:
    assert paper_for(region) == paper
    assert paper in PAPERS


def test_the_customers_page_is_one_page_whatever_was_left() -> None:
    why = "the part is on order and the office calls " * 20
    steps = [
        Draft("step-deferred", {"step": f"s{n}", "why": why}, OPENED + timedelta(minutes=n))
        for n in range(40)
    ]
    pages = pdf_pages(report_pdf(job(*steps)))
    assert "For the customer" in pages[0]
    assert "And 34 more, on the technical pages." in pages[0]
    assert "Technician, licence, date" in pages[0]
    assert pages[1].lstrip().startswith("Commissioning report")


def test_a_table_over_several_pages_repeats_its_head() -> None:
    readings = [
        Draft(
            "reading",
            {"id": n, "point": f"p{n}", "name": f"Point {n}", "value": str(n), "unit": "V"},
            OPENED + timedelta(seconds=n),
        )
        for n in range(120)
    ]
    pages = pdf_pages(report_pdf(job(*readings)))
    with_rows = [text for text in pages if re.search(r"Point \d+", text)]
    assert len(with_rows) > 4
    assert all("Test point" in text for text in with_rows)


# ---------------------------------------------------------------- hostile texts


HOSTILE = (
    "</style><script>alert(1)</script>",
    '<a href="https://example.invalid/">press</a>',
    '<img src="/etc/hostname"/>',
    "<b>bold</i> &lt; &#x41; &amp;",
    "(unbalanced \\) [ /JS (x) ] endobj stream",
    "${x} %(x)s {0} <para><font size=99>",
    "<onDraw name=x/><seq/><br/>",
)


@pytest.mark.parametrize("text", HOSTILE)
def test_a_hostile_name_or_note_stands_in_the_pdf_as_it_is(text: str) -> None:
    reading = {"id": 1, "point": "p", "name": text, "value": "1", "unit": "V", "words": text}
    entries = job(
        note(text),
        Draft("reading", reading, OPENED),
        Draft("step-skipped", {"step": text, "reason": text}, OPENED),
    )
    pdf = report_pdf(entries)
    assert body(pdf_pages(pdf)).count(squeezed(text)) >= 4
    assert nothing_runs(pdf)


def nothing_runs(pdf: bytes) -> bool:
    """Whether the file has no link, no script and nothing that is done when it is opened."""
    reader = pypdf.PdfReader(BytesIO(pdf))
    root: Any = reader.trailer["/Root"]
    names = {"/OpenAction", "/AA", "/AcroForm", "/Names"} & set(root)
    return not names and not any("/Annots" in page or "/AA" in page for page in reader.pages)


@settings(max_examples=25, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(drafts=_drafts, name=_hostile)
def test_any_log_makes_a_pdf_that_opens(drafts: list[Draft], name: str) -> None:
    pdf = report_pdf(joined(drafts, name))
    assert len(pypdfium2.PdfDocument(pdf)) == len(pdf_pages(pdf)) >= 2
    assert nothing_runs(pdf)


@given(st.text(max_size=40))
def test_letters_that_the_face_lacks_become_marks_and_never_a_failure(text: str) -> None:
    shown = showable(text)
    assert showable(shown) == shown
    assert len(shown) <= 20 * len(text)


def test_what_the_face_lacks_is_marked_in_the_pdf() -> None:
    text = body(pdf_pages(report_pdf(job(note("valve 中文 José shut 😀 off")))))
    assert f"valve{MARK}{MARK}Joséshut{MARK}off" in text


@pytest.mark.parametrize(
    "words", ["a" * 60_000, "the rack is bent " * 6_000, "W\n" * 20_000], ids=["one word", "", "W"]
)
def test_a_gigantic_note_goes_over_pages_and_nothing_of_it_is_lost(words: str) -> None:
    whole = body(pdf_pages(report_pdf(job(note(words)))))
    assert squeezed(words) in whole


def test_a_gigantic_name_of_the_job_or_its_procedure_goes_over_pages_too() -> None:
    long = "W" * 9_000
    opened = {"title": long, "procedure": long, "version": long}
    met = [Draft("hold-met", {"step": f"s{n}", "title": long}, OPENED) for n in range(3)]
    pages = pdf_pages(report_pdf(joined([Draft("job-opened", opened, OPENED), *met], long)))
    assert "Technician, licence, date" in pages[0]
    assert squeezed("".join(pages)).count("W") >= 7 * 9_000


def test_gigantic_cells_go_over_pages_and_nothing_of_them_is_lost() -> None:
    long = "W" * 9_000
    reading = {"id": 1, "point": "p", "name": long, "value": long, "unit": "V", "words": long}
    why = {"step": "s", "reason": long}
    entries = job(Draft("reading", reading, OPENED), Draft("step-skipped", why, OPENED))
    pdf = report_pdf(entries)
    assert body(pdf_pages(pdf)).count("W") >= 5 * 9_000
