"""Every packaged procedure, played from beginning to end: said, answered and recorded as written.

With COMPANION_REWRITE_PLAYS=1 in the environment the plays are written anew from what the
technician says in them; look at what changed before you commit it.
"""

from __future__ import annotations

import os
from functools import cache
from typing import TYPE_CHECKING

import pytest
from plays import CALLED_OFF, FOLDER, Play, perform, read, slug_of

from companion.procedures import slugs

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from plays import Turn
    from talk import Talk

REWRITE = "COMPANION_REWRITE_PLAYS"
PATHS = sorted(FOLDER.glob("*.txt"))


@cache
def played(path: Path) -> tuple[Play, Play, Talk]:
    """The play as written, as it went now, and the talk that it was."""
    written = read(path)
    said = [turn.said for turn in written.turns[1:]]
    now, talk = perform(slug_of(path), written.scenario, said)
    if os.environ.get(REWRITE) == "1":
        path.write_text(now.written(), "utf-8")
        written = now
    return written, now, talk


def every_play(test: Callable[[Path], None]) -> Callable[[Path], None]:
    return pytest.mark.parametrize("path", PATHS, ids=lambda path: path.stem)(test)


@cache
def turns() -> list[Turn]:
    return [turn for path in PATHS for turn in read(path).turns]


def recorded(beginning: str) -> list[str]:
    return [line for turn in turns() for line in turn.recorded if line.startswith(beginning)]


@every_play
def test_a_play_goes_as_written(path: Path) -> None:
    written, now, _ = played(path)
    for number, (before, after) in enumerate(zip(written.turns, now.turns, strict=True), 1):
        assert before == after, f"{path.name}, turn {number}, '{after.said}': {after.written()}"
    assert path.read_text("utf-8") == now.written()


@every_play
def test_a_play_ends_as_it_is_meant_to(path: Path) -> None:
    written, _, talk = played(path)
    is_called_off = written.scenario.startswith(CALLED_OFF)
    assert talk.job.ended == ("left safe" if is_called_off else "finished")


@every_play
def test_every_hold_point_on_the_way_was_met(path: Path) -> None:
    _, _, talk = played(path)
    procedure = talk.job.procedure
    assert procedure
    entered = {entry.payload["step"] for entry in talk.entries if entry.kind == "step-entered"}
    holds = {step.slug for step in procedure.steps if step.hold and step.slug in entered}
    assert holds == {slug for slug, progress in talk.job.holds.items() if progress.met}


def test_every_packaged_procedure_is_played_and_nothing_else() -> None:
    assert {slug_of(path) for path in PATHS} == set(slugs())


@pytest.mark.parametrize("slug", slugs())
def test_each_procedure_is_played_to_its_end(slug: str) -> None:
    scenarios = [read(path).scenario for path in PATHS if slug_of(path) == slug]
    assert not all(scenario.startswith(CALLED_OFF) for scenario in scenarios)


@pytest.mark.parametrize(
    "way",
    ["choice: primary, 240", "choice: duct, duct-board", "choice: licensed, no"],
)
def test_the_other_ways_are_played_as_well(way: str) -> None:
    assert way in recorded(way)


@pytest.mark.parametrize(
    ("said", "answer", "entry"),
    [
        ("", "Outside limits", "reading: "),
        ("make it ", "", "correction: "),
        ("strike that", "Struck", "struck: "),
        ("no", "", "hold-check: "),
        ("no", "Struck. Say it again", "struck: "),
        ("what gauge ", "gauge, for", "question: low-voltage-gauge"),
        ("what was the last ", "Last ", ""),
        ("call it off", "Call it off", ""),
        ("yes", "Calling it off", "called-off"),
        ("skip this ", "Skipped", "step-skipped: "),
        ("i got shocked", "Get help now", "emergency: shock"),
        ("c o alarm", "Get everyone out", "emergency: co"),
        ("i'm clear", "Prove dead again", "hold-opened: H2"),
        ("go back", "", "step-entered: "),
        ("tell me more", "", ""),
        ("repeat", "", ""),
        ("caution", "Caution. ", ""),
    ],
)
def test_the_plays_hold_what_happens_on_a_job(said: str, answer: str, entry: str) -> None:
    assert any(
        turn.said.startswith(said)
        and any(answer in line for line in turn.answered)
        and (not entry or any(line.startswith(entry) for line in turn.recorded))
        for turn in turns()
    )


def test_a_line_of_no_kind_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "play.txt"
    path.write_text("A house.\n\n> done\nDone.\n", "utf-8")
    with pytest.raises(AssertionError, match=r"play.txt:4: begins with none of"):
        read(path)
