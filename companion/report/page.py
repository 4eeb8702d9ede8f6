"""The report as one HTML page, complete in itself, for the screen and for paper."""

from __future__ import annotations

from datetime import UTC, tzinfo
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

from companion.report.document import document
from companion.report.markup import Sheet, element

if TYPE_CHECKING:
    from collections.abc import Sequence

    from companion.ports import Entry
    from companion.report.notes import Sounds

# Nothing is fetched and nothing runs, whatever a text in the log may try.
_POLICY = "default-src 'none'; style-src 'unsafe-inline'; media-src data:"


def report_page(
    entries: Sequence[Entry], *, zone: tzinfo | None = UTC, sounds: Sounds | None = None
) -> str:
    """Return the report on a job as a self-contained HTML page.

    Args:
        entries: the job's entries, in order; at least the one that opens it.
        zone: the zone in which times are written, None for the machine's own; each also carries
            its UTC time.
        sounds: where the sound of notes is; without it they are told by name and digest.
    """
    report = document(entries, zone=zone, sounds=sounds)
    page = element(
        "html",
        element(
            "head",
            element("meta", charset="utf-8"),
            element("meta", http_equiv="Content-Security-Policy", content=_POLICY),
            element("meta", name="viewport", content="width=device-width, initial-scale=1"),
            element("title", f"Commissioning report, job {report.job}"),
            element("style", _style()),
        ),
        element("body", element("main", report.customer), element("main", report.technical)),
        lang="en",
    )
    return f"<!DOCTYPE html>\n{page}\n"


@cache
def _style() -> Sheet:
    """The style sheet is ours and holds no '<', so it goes in as it is."""
    return Sheet((files("companion.report") / "page.css").read_text(encoding="utf-8"))
