"""The phrases that a user reads: each can be said at its moment and means one thing there."""

from __future__ import annotations

from companion.language.meanings import Emergency
from companion.language.sentences import accepts
from companion.numbers import NUMBER_WORDS
from companion.selftest.phrases import phrases

# What the issue asks to be among them: numbers that are mistaken for one another, a choice, the
# meter's "O L".
WANTED = (
    "fifteen", "fifty", "point oh five", "one nineteen", "two oh eight", "o l", "sheet metal",
    "what gauge",
)  # fmt: skip


def test_there_are_twenty_and_none_twice() -> None:
    assert len({phrase.words for phrase in phrases()}) == 20


def test_each_can_be_said_at_its_moment_and_means_one_thing() -> None:
    for phrase in phrases():
        parts = phrase.language.grammar.parts
        assert any(accepts(part, phrase.words) for part in parts), phrase.reads
        assert len(phrase.meanings) == 1, phrase.reads


def test_none_would_frighten_bystanders() -> None:
    for phrase in phrases():
        assert not any(isinstance(meaning, Emergency) for meaning in phrase.meanings)


def test_they_hold_what_is_often_mistaken_and_plain_commands() -> None:
    said = [" ".join(phrase.words) for phrase in phrases()]
    for wanted in WANTED:
        assert any(wanted in words for words in said), wanted
    assert sum(not NUMBER_WORDS & set(phrase.words) for phrase in phrases()) >= 6


def test_what_is_shown_is_what_is_heard() -> None:
    for phrase in phrases():
        assert phrase.reads.lower().split() == list(phrase.words)
