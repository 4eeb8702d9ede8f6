"""The report: everything that happened is on it, and nothing in it can break out of it."""

from __future__ import annotations

import json
import re
from datetime import datetime, timedelta, timezone
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from companion.chain import GENESIS, chain, head
from companion.ports import Draft, Entry
from companion.procedures.loader import load
from companion.report import report_page
from companion.report.markup import VOID

SAMPLE = json.loads((Path(__file__).parents[1] / "joblog" / "sample_job.json").read_text("utf-8"))
OPENED = datetime.fromisoformat(SAMPLE["opened"])
SMALL = Path(__file__).parents[1] / "dialogue" / "small.toml"


def joined(drafts: list[Draft], job: str = "2026-03-04-1") -> list[Entry]:
    return list(chain(None, job, drafts, [bytes(16)] * len(drafts)))


def sample(count: int | None = None) -> list[Entry]:
    return joined(
        [
            Draft(row["kind"], row["payload"], OPENED + timedelta(seconds=row["after_s"]))
            for row in SAMPLE["entries"][:count]
        ]
    )


class Page(HTMLParser):
    """A page as read by a parser that is not ours: elements, attributes, texts by element."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.attributes: list[tuple[str, str | None]] = []
        self.texts: list[str] = []
        self.rows: list[tuple[str, list[str]]] = []
        self.tables: list[str] = []  # the class of the table of each row
        self._table = ""
        self._open: list[str] = []
        self.feed(html)
        self.close()
        assert self._open == [], "unclosed elements"

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.attributes += attrs
        if tag == "table":
            self._table = dict(attrs).get("class") or ""
        if tag == "tr":
            self.tables.append(self._table)
            self.rows.append((dict(attrs).get("class") or "", []))
        if tag in {"td", "th"}:
            self.rows[-1][1].append("")
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self._open.pop() == tag

    def handle_data(self, data: str) -> None:
        if "style" in self._open:
            return
        self.texts.append(data)
        if {"td", "th"} & set(self._open):
            self.rows[-1][1][-1] += data

    @property
    def text(self) -> str:
        return "".join(self.texts)

    def row(self, *cells: str, table: str = "") -> tuple[str, list[str]]:
        """Return the only row, of tables of a class, in which each of these begins a cell."""
        (found,) = (
            (kind, row)
            for (kind, row), of in zip(self.rows, self.tables, strict=True)
            if table in of and all(any(c.startswith(x) for c in row) for x in cells)
        )
        return found


@pytest.fixture(scope="module")
def page() -> Page:
    return Page(report_page(sample()))


def test_the_page_stands_alone(page: Page) -> None:
    assert not {"script", "link", "img", "iframe", "object"} & set(page.tags)
    names = {name for name, _ in page.attributes}
    assert not {"src", "href", "style"} & names
    assert not any(name.startswith("on") for name in names)
    html = report_page(sample())
    assert "url(" not in html
    assert "@import" not in html
    assert "default-src 'none'" in html.replace("&#x27;", "'")


def test_it_says_what_job_this_was_and_how_it_ended(page: Page) -> None:
    for said in (
        "Motorised fresh-air damper on a forced-air system",
        "2026-03-04-1",
        "fresh-air-damper, version 1.0",
        "Left safe, not finished",
        "Told: the homeowner.",
        "locked, openings closed, power off",
        "Ohio",
    ):
        assert said in page.text


def test_an_outside_reading_is_shown_so_and_first_of_all(page: Page) -> None:
    _, cells = page.row("Total external static, as left", table="readings")
    assert "0.54 in. w.c." in cells
    assert cells[-1].startswith("Outside")
    assert "Total external static, as left: 0.54 in. w.c., outside its limit" in page.text


def test_struck_and_corrected_readings_are_struck_through(page: Page) -> None:
    html = report_page(sample())
    assert set(re.findall(r"<del>([^<]*)</del>", html)) == {"190 V", "6.1 A", "OL (over range)"}
    kind, cells = page.row("Primary voltage", "190 V", table="readings")
    assert kind == "corrected"
    assert cells[-1] == "Corrected at 15:09"
    kind, cells = page.row("Blower current", "6.1 A", table="readings")
    assert kind == "struck"
    assert cells[-1] == "Struck at 15:10"
    kind, cells = page.row("Primary voltage", "119 V", table="readings")
    assert kind == ""
    assert "in place of 190 V" in cells[-1]


def test_as_found_stands_beside_as_left_with_the_change(page: Page) -> None:
    _, cells = page.row("Total external static", "0.48 in. w.c.", "0.54 in. w.c.")
    assert "+0.06 in. w.c." in cells
    _, cells = page.row("Return static", "-0.20 in. w.c.", "-0.23 in. w.c.")
    assert "-0.03 in. w.c." in cells


def test_every_entry_that_tells_something_is_told(page: Page) -> None:
    for row in SAMPLE["entries"]:
        said: dict[str, Any] = row["payload"]
        for key in ("reason", "why", "spoken", "caution", "words"):
            if row["kind"] in {"step-skipped", "step-deferred", "question", "asked-again"}:
                assert str(said.get(key, "")) in page.text
        for line in said.get("working", []) + said.get("assumptions", []) + said.get("sources", []):
            assert line in page.text


def test_hold_points_show_when_and_by_what_they_were_met(page: Page) -> None:
    assert page.text.count("H2 Locked out and proved dead") == 2
    assert "Met at 15:12. Opened at 15:11." in page.text
    assert "(after an emergency)" in page.text
    evidence = [cells for _, cells in page.rows if len(cells) == 3 and cells[2] == "120.4 V"]
    assert evidence == [["15:11", "Known live source", "120.4 V"]]


def test_an_emergency_is_told_with_its_end(page: Page) -> None:
    assert "Smell of gas at 15:15, said: “i smell gas”. Clear at 15:17." in page.text


def test_how_often_it_asked_again_is_told(page: Page) -> None:
    assert "Asked again 2 times." in page.text
    assert "“primary one nineteen”: or: primary one ninety" in page.text


def test_the_head_of_the_chain_closes_it(page: Page) -> None:
    assert head(sample()) in page.text
    assert f"{len(sample())} entries; the chain holds." in page.text


def test_every_start_of_a_job_can_be_shown() -> None:
    for count in range(1, len(SAMPLE["entries"])):
        page = Page(report_page(sample(count)))
        assert head(sample(count)) in page.text
        assert ("This job is still open" in page.text) == (count < len(SAMPLE["entries"]))


def test_a_job_only_opened_says_so_and_shows_no_empty_sections() -> None:
    page = Page(report_page(sample(1)))
    assert "This job is still open" in page.text
    assert "So far: nothing is outside its limit" in page.text
    for absent in ("Readings", "Hold points", "Steps", "Cautions given", "Notes"):
        assert absent not in page.texts
    assert "not asked" in page.text.lower()


def test_no_entries_at_all_can_be_shown() -> None:
    assert GENESIS in Page(report_page([])).text


def test_a_finished_job_says_so() -> None:
    entries = joined([Draft("job-opened", {"title": "T"}, OPENED), Draft("finished", {}, OPENED)])
    page = Page(report_page(entries))
    assert "Finished" in page.text
    assert "Nothing is outside its limit, skipped, deferred or left unmet." in page.text


def test_a_hold_point_left_open_is_to_be_looked_at() -> None:
    page = Page(report_page(sample(12)[:3]))
    assert "Hold point H1 Suitability was not met." in page.text
    assert "Not met" in page.text


def test_times_are_written_in_the_zone_asked_for_and_keep_utc_beside() -> None:
    html = report_page(sample(), zone=timezone(timedelta(hours=-7)))
    page = Page(html)
    assert "UTC−07:00" in page.text
    assert "4 March 2026, 08:06" in page.text
    assert ("datetime", "2026-03-04T15:06:07.250000Z") in page.attributes


def test_another_day_is_written_with_its_date() -> None:
    later = OPENED + timedelta(days=1)
    entries = joined([Draft("job-opened", {}, OPENED), Draft("resumed", {}, later)])
    assert "Taken up again at 5 Mar 15:06" in Page(report_page(entries)).text


def test_a_broken_chain_is_said_at_the_top_and_at_the_end() -> None:
    entries = sample()
    del entries[7]
    page = Page(report_page(entries))
    assert "The log is damaged (job 2026-03-04-1, entry 8:" in page.text
    assert "the chain does not hold" in page.text


def test_removed_content_is_said_to_be_removed() -> None:
    entries = [
        e
        if e.kind != "reading"
        else Entry(e.schema, e.job, e.number, e.kind, e.at, e.digest, e.previous)
        for e in sample()
    ]
    page = Page(report_page(entries))
    count = sum(e.kind == "reading" for e in entries)
    assert page.text.count("Removed on request") == count
    assert f"The content of {count} entries was removed on request." in page.text


def test_steps_and_cautions_are_told_in_the_procedures_own_words() -> None:
    text = SMALL.read_text("utf-8")
    procedure = load(text, SMALL.name, safety=False)
    cautioned = next(step for step in procedure.steps if step.caution)
    entries = joined(
        [
            Draft("job-opened", {"text": text, "procedure": procedure.slug}, OPENED),
            Draft("caution-given", {"step": cautioned.slug}, OPENED),
            Draft("step-done", {"step": cautioned.slug}, OPENED),
        ]
    )
    page = Page(report_page(entries))
    assert cautioned.caution in page.text
    assert cautioned.say in page.text


# ---------------------------------------------------------------- hostile texts

_KINDS = sorted({row["kind"] for row in SAMPLE["entries"]} | {"finished", "unheard-of"})
_KEYS = sorted({key for row in SAMPLE["entries"] for key in row["payload"]} - {"text"})
_hostile = st.text(max_size=20) | st.sampled_from(
    [
        "</style><script>alert(1)</script>",
        '"><img src=x onerror=alert(1)>',
        "<!--",
        "]]>",
        "&lt;b&gt;&amp;",
        "</title>",
        "' onload='x",
        "{}</del>",
        "a\0b\x1b[2J\ud800",
    ]
)
_values = (
    _hostile | st.lists(_hostile, max_size=3) | st.dictionaries(_hostile, _hostile, max_size=2)
)
_drafts = st.lists(
    st.builds(
        Draft,
        kind=st.sampled_from(_KINDS),
        payload=st.dictionaries(
            st.sampled_from(_KEYS), _values | st.none() | st.integers() | st.booleans(), max_size=8
        ),
        at=st.timedeltas(-timedelta(days=4000), timedelta(days=4000)).map(OPENED.__add__),
    ),
    max_size=12,
)
_TAGS = set(Page(report_page(sample())).tags) | {"circle", "polygon", "svg"}
_NAMES = {name for name, _ in Page(report_page(sample())).attributes} | {"points"}


@settings(max_examples=300, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(drafts=_drafts, job=_hostile)
def test_any_log_makes_a_whole_page_of_our_elements_only(drafts: list[Draft], job: str) -> None:
    page = Page(report_page(joined(drafts, job)))  # asserts that elements close in order
    assert set(page.tags) <= _TAGS
    assert {name for name, _ in page.attributes} <= _NAMES


@settings(max_examples=200, deadline=None)
@given(_hostile)
def test_a_hostile_text_is_shown_as_it_is(text: str) -> None:
    payload = {"step": "s", "reason": f"({text})"}
    page = Page(report_page(joined([Draft("step-skipped", payload, OPENED)])))
    shown = re.sub(
        "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]", "\N{REPLACEMENT CHARACTER}", text
    )
    assert f"({shown})".replace("\r\n", "\n").replace("\r", "\n") in page.text
