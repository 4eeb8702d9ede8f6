"""The sentences that the dialogue says: all used, none missing, each short enough to be heard."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import companion.dialogue
from companion.language.phrasing import phrase, phrases

FOLDER = Path(companion.dialogue.__file__).parent
SOURCE = "\n".join(path.read_text("utf-8") for path in sorted(FOLDER.glob("*.py")))
ONE_BREATH = 24  # words; about 20 is the aim
SPOKEN_ERROR = 12

# A key that the dialogue puts together from a table and what it holds.
MADE = {"emergency": r'f"emergency\.\{', "leaving": r'f"leaving\.\{', "licence": r'f"licence\.\{'}


def is_used(key: str) -> bool:
    table, _, name = key.partition(".")
    made = rf'f"{table}\.\{{' in SOURCE or re.search(rf'f"{table}\.\{{', SOURCE)
    return f'"{key}"' in SOURCE or bool(made and (f'"{name}"' in SOURCE or table in MADE))


@pytest.mark.parametrize("key", sorted(phrases()))
def test_every_sentence_is_said_somewhere(key: str) -> None:
    assert is_used(key)


def test_every_sentence_asked_for_is_there() -> None:
    asked = set(re.findall(r'(?:tell|tell_aside|phrase)\(\s*"([a-z]+\.[a-z-]+)"', SOURCE))
    assert len(asked) > 50
    assert asked <= set(phrases())


@pytest.mark.parametrize(("key", "sentence"), sorted(phrases().items()))
def test_a_sentence_is_one_breath(key: str, sentence: str) -> None:
    assert len(sentence.split()) <= ONE_BREATH
    assert not re.search(r"\d", sentence), f"{key}: figures are not spoken"


@pytest.mark.parametrize("key", sorted(key for key in phrases() if key.startswith("unclear.")))
def test_a_spoken_error_is_at_most_twelve_words(key: str) -> None:
    assert len(phrases()[key].split()) <= SPOKEN_ERROR


def test_a_slot_left_open_is_a_programming_error() -> None:
    with pytest.raises(KeyError):
        phrase("reading.within", name="Primary")
