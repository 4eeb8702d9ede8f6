"""The notes of a job: when, at which step, what was made out of them, and their sound.

The sound goes into the page itself, as long as all of it together stays small enough to be sent;
what does not fit any more is a link to the file. A sound that is gone, or that is not what was
kept, is told and not played. Words are unverified unless they were typed: it says so beside each.
"""

from __future__ import annotations

import base64
from typing import TYPE_CHECKING, Protocol

from companion.errors import SoundFileError
from companion.report.markup import Element, element
from companion.report.sections import section
from companion.report.wording import plural

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from companion.dialogue.record import LoggedNote
    from companion.ports import KeptSound
    from companion.report.steps import Wordings
    from companion.report.told import Story
    from companion.report.wording import Clock

MOST_EMBEDDED_BYTES = 5_000_000  # of FLAC, in one page: some four minutes


class Sounds(Protocol):
    """Where kept sounds are."""

    def data(self, kept: KeptSound) -> bytes:
        """Return a FLAC file's bytes, its digest checked; raise `SoundFileError` if not so."""

    def path(self, kept: KeptSound) -> Path:
        """Return where it lies."""


def notes(told: Story, words: Wordings, clock: Clock, sounds: Sounds | None) -> Element | None:
    """Return the section of notes, None where there are none.

    Args:
        told: the job.
        words: its procedure's words.
        clock: writes times.
        sounds: where their sound is; None where it can't be had.
    """
    players = _players(told.notes, sounds)
    return section(
        "Notes",
        *(
            _note(each, player, words, clock)
            for each, player in zip(told.notes, players, strict=True)
        ),
    )


def _note(logged: LoggedNote, player: list[Element], words: Wordings, clock: Clock) -> Element:
    note = logged.note
    step = words.step(note.step) if note.step else ""
    return element(
        "article",
        element(
            "h3", f"Note {note.number}", element("span", clock.time(logged.at), class_="aside")
        ),
        element("p", f"At: {step}", class_="worth") if step else None,
        element("p", *_said(logged)),
        player,
        class_="note-said",
    )


def _said(logged: LoggedNote) -> Iterator[Element]:
    note = logged.note
    if note.is_removed:
        yield element("span", "Its content was removed on request.", class_="worth")
        return
    if note.words:
        yield element("span", f"“{note.words}” ", class_="words")
    if note.is_typed:
        yield element("span", "Typed.", class_="worth")
    else:
        made_out = "Words not verified" if note.words else "No words made out"
        lost = f"; sound was lost in it {plural(note.gaps, 'time')}" if note.gaps else ""
        yield element("span", f"{made_out}: the sound counts{lost}.", class_="worth")


def _players(logged: tuple[LoggedNote, ...], sounds: Sounds | None) -> Iterator[list[Element]]:
    """Yield what plays each note; in order, so that the first ones are in the page."""
    room_bytes = MOST_EMBEDDED_BYTES
    for each in logged:
        kept = each.note.sound
        if kept is None:
            no_sound = not (each.note.is_typed or each.note.is_removed)
            yield [_told("Its sound could not be kept.")] if no_sound else []
            continue
        about = _told(f"{kept.length_s} s, {kept.file}, sha256 ", element("code", kept.sha256))
        if sounds is None:
            yield [about]
            continue
        try:
            data, path = sounds.data(kept), sounds.path(kept)
        except SoundFileError as problem:
            yield [_told(element("strong", f"Not played: {problem.problem}."), " "), about]
            continue
        if len(data) > room_bytes:
            yield [element("p", element("a", "Open the sound", href=path.as_uri())), about]
            continue
        room_bytes -= len(data)
        source = f"data:audio/flac;base64,{base64.b64encode(data).decode('ascii')}"
        yield [element("audio", controls="", preload="metadata", src=source), about]


def _told(*children: str | Element) -> Element:
    return element("p", *children, class_="worth")
