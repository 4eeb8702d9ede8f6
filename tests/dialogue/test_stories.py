"""Stories as data: said, answered, recorded."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from talk import Talk, at_the_lock, proved_dead

FOLDER = Path(__file__).parent / "stories"
BEGINNINGS = {"start": Talk, "lock": at_the_lock, "dead": proved_dead}


def stories() -> list[Any]:
    return [
        pytest.param(story, id=f"{path.stem}: {story['name']}")
        for path in sorted(FOLDER.glob("*.toml"))
        for story in tomllib.loads(path.read_text("utf-8"))["story"]
    ]


@pytest.mark.parametrize("story", stories())
def test_a_story_goes_as_told(story: dict[str, Any]) -> None:
    talk = BEGINNINGS[story["from"]]()
    before = len(talk.entries)
    for said, answer in story["turns"]:
        answered = talk.say(said)
        assert answer in answered, f"'{said}' was answered: {answered}"
        if not answer:
            assert answered == ""
    kinds = {entry.kind for entry in talk.entries[before:]}
    assert kinds >= set(story.get("with", []))
    assert not kinds & set(story.get("without", []))
