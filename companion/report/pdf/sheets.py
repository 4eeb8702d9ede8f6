"""The sheets of the PDF: paper, margins, and the foot of each page with the last digest."""

from __future__ import annotations

from datetime import UTC, tzinfo
from io import BytesIO
from typing import TYPE_CHECKING, Any

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.pdfbase.pdfmetrics import stringWidth
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Frame,
    KeepInFrame,
    PageBreak,
    PageTemplate,
)

from companion.dialogue.scopes import regions
from companion.report.document import document
from companion.report.drawing import QUIET
from companion.report.pdf.flowing import flowing
from companion.report.pdf.letters import PLAIN, faces, showable

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.ports import Entry
    from companion.report.document import Document
    from companion.report.notes import Sounds

PAPERS: dict[str, tuple[float, float]] = {"letter": LETTER, "a4": A4}  # points
_SIDE_PT, _TOP_PT, _BOTTOM_PT, _FOOT_PT = 50.0, 44.0, 60.0, 34.0
_SMALL_PT = 6.6
_MOST_JOB_PT = 240.0  # of a job's id in the foot


def paper_for(region: str) -> str:
    """Return the paper in use there: letter in the states and provinces, also where none is known.

    >>> paper_for("OH"), paper_for(""), paper_for("Kent")
    ('letter', 'letter', 'a4')
    """
    known = {name for code, names in regions().options for name in (code, *names)}
    return "letter" if not region or region in known or region.lower() in known else "a4"


def report_pdf(
    entries: Sequence[Entry],
    *,
    zone: tzinfo | None = UTC,
    sounds: Sounds | None = None,
    paper: str | None = None,
) -> bytes:
    """Return the report on a job as a PDF file.

    It says what `report_page` says. A character that its letters lack is a mark; sounds are told
    by their names, and what only a screen can do is left out.

    Args:
        entries: the job's entries, in order; at least the one that opens it.
        zone: the zone in which times are written, None for the machine's own.
        sounds: where the sound of notes is.
        paper: 'letter' or 'a4'; None for what is in use where the job was.
    """
    faces()
    report = document(entries, zone=zone, sounds=sounds)
    size = PAPERS[paper or paper_for(report.region)]
    width, height = size[0] - 2 * _SIDE_PT, size[1] - _TOP_PT - _BOTTOM_PT
    file = BytesIO()
    made = BaseDocTemplate(
        file,
        pagesize=size,
        title=showable(f"Commissioning report, job {report.job}"),
        creator="companion",
        lang="en",
    )
    frame = Frame(_SIDE_PT, _BOTTOM_PT, width, height, 0, 0, 0, 0)
    made.addPageTemplates(PageTemplate("sheet", [frame]))
    made.build(
        [
            KeepInFrame(width, height, list(flowing(report.customer, width)), mode="shrink"),
            PageBreak(),
            *flowing(report.technical, width),
        ],
        canvasmaker=lambda *args, **keys: _Footed(report, *args, **keys),
    )
    return file.getvalue()


class _Footed(Canvas):  # type: ignore[misc]
    """A canvas that writes the foot of every page at the end, when their number is known."""

    def __init__(self, report: Document, *args: object, **keys: object) -> None:
        super().__init__(*args, **keys)
        self._report = report
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802, reportlab's name
        """Keep the page for later."""
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write the kept pages, each with its foot, and the file."""
        pages = self._pages
        for number, page in enumerate(pages, 1):
            self.__dict__.update(page)
            self._foot(f"Page {number} of {len(pages)}")
            super().showPage()
        super().save()

    def _foot(self, page: str) -> None:
        right = self._pagesize[0] - _SIDE_PT
        self.setFont(PLAIN, _SMALL_PT)
        self.setFillColor(HexColor(QUIET))
        self.drawString(_SIDE_PT, _FOOT_PT, _fitting(f"Job {self._report.job}", _MOST_JOB_PT))
        self.drawRightString(right, _FOOT_PT, page)
        self.drawString(_SIDE_PT, _FOOT_PT - 10, f"Chain {self._report.head}")


def _fitting(text: str, most_pt: float) -> str:
    """Return a text on one line, its end cut off where it has no room."""
    shown = showable(" ".join(text.split()))
    if stringWidth(shown, PLAIN, _SMALL_PT) <= most_pt:
        return shown
    while shown and stringWidth(f"{shown}…", PLAIN, _SMALL_PT) > most_pt:
        shown = shown[: -max(1, len(shown) // 20)]
    return f"{shown}…"
