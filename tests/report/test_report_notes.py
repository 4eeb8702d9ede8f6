"""Notes on the report: their words marked for what they are, their sound in the page or linked."""

from __future__ import annotations

import base64
import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.chain import chain
from companion.joblog import SoundFolder
from companion.joblog.export import entries_csv, job_json
from companion.ports import Draft
from companion.report import notes, report_page

if TYPE_CHECKING:
    from pathlib import Path

    from companion.ports import Entry, KeptSound

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
JOB = "2026-03-04-1"
SOUND = np.random.default_rng(3).integers(-2_000, 2_000, 8_000).astype(np.int16)


@pytest.fixture
def folder(tmp_path: Path) -> SoundFolder:
    return SoundFolder(tmp_path / "jobs.sqlite3")


def job(*payloads: dict[str, object]) -> list[Entry]:
    drafts = [Draft("note", payload, NOON) for payload in payloads]
    return list(chain(None, JOB, drafts, [bytes(16)] * len(drafts)))


def spoken(kept: KeptSound, words: str = "blue elephants") -> dict[str, object]:
    said = {"id": 1, "step": "", "words": words, "words_are": "unverified", "ended": "silence"}
    return {**said, "gaps": 0, "sound": kept.payload}


class Players(HTMLParser):
    """What plays on a page, and what is linked, as read by a parser that is not ours."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.sounds: list[bytes] = []
        self.links: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        has = dict(attrs)
        if tag == "audio":
            kind, _, data = str(has["src"]).partition(",")
            assert kind == "data:audio/flac;base64"
            assert "controls" in has
            self.sounds.append(base64.b64decode(data))
        if tag == "a":
            self.links.append(str(has["href"]))


def plain(page: str) -> str:
    return re.sub(r"<[^>]*>", "", page.partition("</style>")[2])


def test_the_sound_of_a_note_is_in_the_page_bit_for_bit(folder: SoundFolder) -> None:
    kept = folder.keep(JOB, SOUND, 16_000)
    page = report_page(job(spoken(kept)), sounds=folder)
    assert Players(page).sounds == [folder.path(kept).read_bytes()]
    assert "media-src data:" in page
    assert "“blue elephants” Words not verified: the sound counts." in plain(page)
    assert f"0.500 s, {kept.file}, sha256 {kept.sha256}" in plain(page)


def test_what_would_make_the_page_too_large_is_linked(
    folder: SoundFolder, monkeypatch: pytest.MonkeyPatch
) -> None:
    kept = [folder.keep(JOB, SOUND, 16_000) for _ in range(3)]
    size = folder.path(kept[0]).stat().st_size
    monkeypatch.setattr(notes, "MOST_EMBEDDED_BYTES", 2 * size)
    found = Players(report_page(job(*map(spoken, kept)), sounds=folder))
    assert len(found.sounds) == 2
    assert found.links == [folder.path(kept[2]).as_uri()]


def test_a_sound_that_is_gone_or_altered_is_told_and_not_in_the_page(folder: SoundFolder) -> None:
    gone, altered = (folder.keep(JOB, SOUND, 16_000) for _ in range(2))
    folder.path(gone).unlink()
    folder.path(altered).write_bytes(b"fLaC")
    page = report_page(job(spoken(gone), spoken(altered)), sounds=folder)
    assert Players(page).sounds == []
    assert "Not played: the sound cannot be read" in plain(page)
    assert "Not played: the sound is not what was kept: its digest differs." in plain(page)


def test_a_typed_note_is_told_as_typed_and_a_removed_one_as_removed() -> None:
    typed = {"id": 1, "step": "", "words": "two screws missing", "words_are": "typed"}
    text = plain(report_page(job(typed, {})))
    assert "“two screws missing” Typed." in text
    assert "Its content was removed on request." in text
    assert "not verified" not in text


def test_without_a_place_for_sounds_a_note_is_named_by_its_digest(folder: SoundFolder) -> None:
    kept = folder.keep(JOB, SOUND, 16_000)
    page = report_page(job(spoken(kept)))
    assert Players(page).sounds == []
    assert kept.sha256 in plain(page)


def test_no_name_or_words_in_a_note_break_out_of_the_page(folder: SoundFolder) -> None:
    evil = "</audio><script>alert(1)</script>"
    kept = folder.keep(JOB, SOUND, 16_000)
    payload = spoken(kept, evil)
    payload["sound"] = {"file": evil, "sha256": evil, "length_s": evil}
    assert "<script" not in report_page(job(payload), sounds=folder)


def test_exports_name_file_and_digest(folder: SoundFolder) -> None:
    kept = folder.keep(JOB, SOUND, 16_000)
    entries = job(spoken(kept))
    assert kept.sha256 in entries_csv(entries)
    for text in (entries_csv(entries), job_json(entries)):
        assert kept.file in text
        assert kept.sha256 in text
