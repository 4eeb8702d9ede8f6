"""README's guide for authors, followed to the letter: its example is checked and worked through."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest

from companion.procedures import load
from companion.sizing import sizings

ROOT = Path(__file__).parents[2]
sys.path.append(str(ROOT / "tests" / "dialogue"))

from talk import Talk  # noqa: E402 - it stands beside the dialogue's tests

# What a technician says who finds a leaky rack and a full filter; invented.
SAID = (
    "nothing there", "clean", "yes", "yes", "confirmed", "air slips by", "done",
    "label drop point two five", "filter drop point four", "done", "filter drop point two", "yes",
    "confirmed", "done", "done", "yes",
)  # fmt: skip


@pytest.fixture(scope="module")
def text() -> str:
    readme = (ROOT / "README.md").read_text("utf-8")
    guide = readme.partition("### Writing a procedure of your own\n")[2].partition("\n### ")[0]
    return "\n".join(re.findall(r"```toml\n(.*?)```", guide, re.DOTALL))


def test_the_guides_example_passes_the_check(text: str) -> None:
    assert load(text, "filter-rack.toml", sizings=sizings()).slug == "filter-rack"


def test_the_guides_example_is_worked_through_to_its_end(text: str) -> None:
    talk = Talk(load(text, "filter-rack.toml", sizings=sizings()))
    for line in SAID:
        talk.say(line)
    assert talk.job.ended == "finished"
    verdicts = [reading.verdict for reading in talk.job.readings]
    assert verdicts == ["no limit", "outside", "within"]


def test_a_reading_that_was_mended_is_not_named_when_readings_are_accepted(text: str) -> None:
    talk = Talk(load(text, "filter-rack.toml", sizings=sizings()))
    accepting = SAID.index("confirmed", SAID.index("confirmed") + 1)
    assert (
        talk.say(*SAID[:accepting]) == "Logged. The readings are in. Say confirmed to accept them."
    )
