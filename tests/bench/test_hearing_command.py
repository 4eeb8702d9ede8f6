"""The command: table, summary, stopped and gone on with, an engine that dies; and once for real.

The engine is a class that answers as `EngineProcess` does, with hearings that were laid out.
"""

from __future__ import annotations

import json
from argparse import ArgumentParser
from typing import TYPE_CHECKING, Any, ClassVar, Self

import numpy as np
import pytest
import soundfile

from companion.bench import hearing
from companion.bench.__main__ import main
from companion.bench.hearing import running
from companion.bench.hearing.results import FILE
from companion.bench.hearing.worker import Ask, Cost, HeardUtterance
from companion.bench.speller.split import is_for_fitting
from companion.errors import EngineError
from companion.ports import SAMPLE_RATE_HZ, Alternative, Hearing

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

SAID = ("one nineteen volts", "twenty six point two volts", "two oh eight volts")


class LaidOut:
    """An engine that hears what was laid out for each sound, by the order of the asks."""

    asked: ClassVar[int] = 0
    answer: ClassVar[Callable[[int], str]]

    def __init__(self, name: str, sentences: Sequence[tuple[str, ...]] = ()) -> None:
        self.name = name
        self.known = sentences

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Nothing to end."""

    def hear(self, ask: Ask) -> list[HeardUtterance]:
        assert len(ask.samples) > SAMPLE_RATE_HZ
        type(self).asked += 1
        words = tuple(type(self).answer(type(self).asked).split())
        hearing = Hearing((Alternative(words, match=1.0, log_prob=0.0),), free=" ".join(words))
        return [HeardUtterance(hearing, patience_s=0.3, decoding_s=0.2, late_s=0.1, response_s=0.4)]

    def cost(self) -> Cost:
        return Cost(100.0, 1.0, 2.0, 3.0, 10.0, 20.0)


@pytest.fixture
def engine(monkeypatch: pytest.MonkeyPatch) -> type[LaidOut]:
    """The engine, which hears the second sentence as another number unless told otherwise."""
    monkeypatch.setattr(LaidOut, "asked", 0)
    monkeypatch.setattr(running, "EngineProcess", LaidOut)
    hears(monkeypatch, lambda turn: [SAID[0], "twenty six point five volts", SAID[2]][turn - 1])
    return LaidOut


def hears(monkeypatch: pytest.MonkeyPatch, answer: Callable[[int], str]) -> None:
    monkeypatch.setattr(LaidOut, "answer", staticmethod(answer), raising=False)


@pytest.fixture
def corpus(tmp_path: Path) -> Path:
    """A user's own table of three recordings (a tone each: the engine here does not listen)."""
    tone = 0.1 * np.sin(np.arange(SAMPLE_RATE_HZ) / 5)
    lines = ["path\twords\tmoment"]
    for number, words in enumerate(SAID):
        soundfile.write(tmp_path / f"{number}.wav", tone, SAMPLE_RATE_HZ)
        lines.append(f"{number}.wav\t{words}\tvolts")
    table = tmp_path / "mine.tsv"
    table.write_text("\n".join(lines) + "\n", "utf-8")
    return table


def ran(corpus: Path, *more: str) -> int:
    out = corpus.parent / "out"
    return main(["hearing", "--corpus", str(corpus), "--out", str(out), *more])


def summary(corpus: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((corpus.parent / "out" / "summary.json").read_text("utf-8"))
    return found


def test_table_errors_and_one_json_object_come_out(
    engine: type[LaidOut], corpus: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ran(corpus, "--errors", "--json") == 0
    assert engine.asked == 3
    told = capsys.readouterr().out
    assert "66.7 (20.8-93.9)" in told  # Wilson's bound of 2 of 3, reckoned by hand
    assert "silent error: said 'twenty six point two volts'" in told
    printed = json.loads(told.splitlines()[-1])
    assert printed == summary(corpus)
    [row] = printed["rows"]
    assert (row["group"], row["cell"]) == ("people", "clean")
    assert row["silent_errors"]["hits"] == 1
    assert row["response_ms"] == [400, 400]
    assert printed["costs"]["bundled"]["real_time_factor"] == 0.2


def test_stopped_by_ctrl_c_it_tells_how_to_go_on_and_goes_on(
    engine: type[LaidOut],
    corpus: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def stop_at_the_third(turn: int) -> str:
        if turn > 2:
            raise KeyboardInterrupt
        return SAID[turn - 1]

    hears(monkeypatch, stop_at_the_third)
    assert ran(corpus) == 0
    assert "Go on with the same command" in capsys.readouterr().err
    assert summary(corpus)["rows"][0]["accuracy"]["of"] == 2
    hears(monkeypatch, lambda _: SAID[2])
    assert ran(corpus) == 0
    assert engine.asked == 4
    assert summary(corpus)["rows"][0]["accuracy"] == pytest.approx(
        {"hits": 3, "of": 3, "share": 1.0, "low95": 0.4385, "high95": 1.0}  # Wilson, by hand
    )
    assert ran(corpus) == 0
    assert engine.asked == 4


def test_what_an_engine_died_at_is_told_counted_and_tried_again(
    engine: type[LaidOut],
    corpus: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def die_at_the_second(turn: int) -> str:
        if turn == 2:
            raise EngineError("The engine died", "Run it again.")
        return SAID[turn - 1]

    hears(monkeypatch, die_at_the_second)
    assert ran(corpus) == 0
    told = capsys.readouterr()
    assert "The engine died. Run it again." in told.out + told.err
    [row] = summary(corpus)["rows"]
    assert (row["failed"], row["accuracy"]["of"]) == (1, 2)
    hears(monkeypatch, lambda _: SAID[1])
    assert ran(corpus) == 0
    assert engine.asked == 4
    [row] = summary(corpus)["rows"]
    assert (row["failed"], row["accuracy"]["hits"]) == (0, 3)


@pytest.mark.usefixtures("engine")
def test_two_at_once_in_every_cell_lose_nothing(
    corpus: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    hears(monkeypatch, lambda _: SAID[0])
    assert ran(corpus, "--jobs", "2", "--snr", "clean", "10", "--peer", "whisper") == 0
    lines = (corpus.parent / "out" / FILE).read_text("utf-8").splitlines()
    found = [json.loads(line) for line in lines]
    keys = {(r["engine"], r["cell"], r["case"]) for r in found if "case" in r}
    assert len(keys) == 2 * 2 * 3
    assert sum("cost" in each for each in found) == 4


def test_talk_is_heard_in_rounds_and_told_by_the_hour(
    engine: type[LaidOut],
    corpus: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    lines = corpus.read_text("utf-8").splitlines()
    lines = [f"{lines[0]}\taddressed", f"{lines[1]}\tyes", f"{lines[2]}\tno", f"{lines[3]}\tno"]
    corpus.write_text("\n".join(lines) + "\n", "utf-8")
    hears(monkeypatch, lambda _: "i smell gas")
    more = ("--rounds", "4", "--noise", "hum", "--noise", str(corpus.parent), "--snr", "10")
    assert ran(corpus, *more, "--errors") == 0
    assert engine.asked == 1 + 2 * 4
    told = capsys.readouterr().out
    assert told.count("false accept: said 'two oh eight volts' (yours-0002-round") == 4
    assert "heard 'i smell gas' at 1.00, logged: emergency (hazard gas)" in told
    talk = {(row["where"], row["cell"]): row for row in summary(corpus)["talk"]}
    assert talk["at work", "10"]["sounds"] == 6
    assert talk["standing by", "all"]["sounds"] == 2
    assert talk["at work", "all"]["commands"] == talk["at work", "all"]["false_accepts"] == 6
    assert talk["at work", "all"]["hours"] == pytest.approx(6 / 3600, abs=5e-4)  # a second each
    [_, phrase] = [row for row in summary(corpus)["phrases"] if row["phrase"] != "attention phrase"]
    assert phrase["false"] == 8
    assert len(summary(corpus)["errors"]) == 9
    assert ran(corpus, *more) == 0
    assert engine.asked == 9
    assert ran(corpus, "--rounds", "3", *more[2:]) == 3
    assert "results of other settings" in capsys.readouterr().err


def test_unseen_leaves_out_what_the_weights_hang_on() -> None:
    parser = ArgumentParser()
    hearing.add_options(parser)
    corpora = ["--corpus", "own", "--corpus", "remarks", "--corpus", "generated", "--count", "20"]
    every, unseen = (
        hearing._cases(parser.parse_args([*corpora, *more])) for more in ([], ["--unseen"])
    )
    left_out = set(every) - set(unseen)
    assert left_out == {case for case in every if case.corpus == "remarks" and is_for_fitting(case)}
    assert {case.corpus for case in unseen} == {"own", "remarks", "generated"}


def test_a_first_round_beyond_the_rounds_is_refused(
    corpus: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["hearing", "--corpus", str(corpus), "--rounds", "2", "--first-round", "3"])
    assert "--first-round is 3, of --rounds 2. Give as many" in capsys.readouterr().err


@pytest.mark.parametrize("rounds", ["0", "-1", "two", "1.5"])
def test_what_is_no_number_of_rounds_is_refused(
    corpus: Path, rounds: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        ran(corpus, f"--rounds={rounds}")
    assert "no whole number of rounds; give 1 or more" in capsys.readouterr().err


@pytest.mark.usefixtures("engine")
@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--engine", "parrot"), "No engine 'parrot'"),
        (("--noise", "/nowhere"), "no noise in '/nowhere'"),
        (("--corpus", "/nowhere.tsv"), "No file '/nowhere.tsv'"),
        (("--most", "0"), "hold no sentence"),
    ],
)
def test_what_is_not_there_is_told_in_a_line(
    corpus: Path, more: tuple[str, ...], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert ran(corpus, *more) == 3
    [line] = capsys.readouterr().err.splitlines()
    assert told in line


def test_a_ratio_that_is_no_number_is_refused(
    corpus: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit, match="2"):
        ran(corpus, "--snr", "loud")
    assert "neither 'clean' nor decibels" in capsys.readouterr().err


def test_help_has_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit, match="0"):
        main(["hearing", "--help"])
    assert "example: python -m companion.bench hearing" in capsys.readouterr().out


@pytest.mark.sound
def test_the_bundled_engine_hears_a_few_sentences_for_real(tmp_path: Path) -> None:
    out = tmp_path / "out"
    line = ["hearing", "--corpus", "own", "--most", "4", "--snr", "clean", "--out", str(out)]
    assert main(line) == 0
    found = [json.loads(each) for each in (out / FILE).read_text("utf-8").splitlines()]
    results = [each for each in found if "case" in each]
    assert len(results) == 4
    assert all(each["came"] != "failed" for each in results)
    assert any(each["heard"] for each in results)
    [cost] = [each["cost"] for each in found if "cost" in each]
    assert 50 < cost["peak_memory_mb"] < 2_000
    assert len(list((out / "spoken").glob("*.flac"))) == 4
