"""The fit of the weights, on made-up opinions whose truth is known, and what it refuses."""

from __future__ import annotations

import tomllib
from argparse import ArgumentParser
from random import Random
from typing import TYPE_CHECKING

import pytest

from companion.bench import calibration
from companion.bench.calibration import fitting
from companion.bench.calibration.gathering import Gathered
from companion.bench.hearing.case import Case
from companion.bench.hearing.moments import DEFAULT
from companion.bench.speller.split import is_for_fitting
from companion.errors import EngineError, InputError
from companion.hearing.bundled import Decoded
from companion.hearing.combining import Opinion, Yardstick
from companion.hearing.utterance import Cut

if TYPE_CHECKING:
    from pathlib import Path

pytest.importorskip("scipy", reason="scipy is missing: the extra 'bench'")

SENTENCES = (("one", "fifteen", "volts"), ("one", "fifty", "volts"), ("one", "sixty", "volts"))


def gathered(
    said: tuple[str, ...], opinions: list[Opinion], free: Yardstick, *, addressed: bool = True
) -> Gathered:
    case = Case(f"made-{' '.join(said)}", "made", DEFAULT, said, addressed, "made:up")
    return Gathered(case, "clean", Decoded(Cut(0, 50), opinions, free, ""), 30.0, is_whole=True)


def heard(chance: Random, *, by: str) -> Gathered:
    """A sentence that one of the opinions knows and the other guesses."""
    said = chance.choice(SENTENCES)

    def nats(knows: bool, words: tuple[str, ...]) -> float:  # noqa: FBT001 - it does or not
        return -2.0 - (3.0 * chance.random() if knows and words == said else 6.0 * chance.random())

    opinions = [
        Opinion(words, True, nats(by == "written", words), nats(by == "spelt", words), 0.0)  # noqa: FBT003 - its second field
        for words in SENTENCES
    ]
    return gathered(said, opinions, Yardstick(-1.0, 4, -1.0))


@pytest.mark.parametrize(("by", "other"), [("written", "spelt"), ("spelt", "written")])
def test_the_opinion_that_knows_weighs_more(by: str, other: str) -> None:
    chance = Random(5)  # noqa: S311 - made-up data
    weights = fitting.fit_score([heard(chance, by=by) for _ in range(200)])
    assert set(weights) == set(fitting.SCORE)
    assert weights[by] > 3 * abs(weights[other])


def test_the_sentence_said_comes_out_on_top_under_weights_that_trust_who_knows() -> None:
    each = heard(Random(8), by="spelt")  # noqa: S311 - made-up data
    likeliest = max(each.decoded.opinions, key=lambda o: o.spelt)
    best = fitting.best_of(each, {"spelt": 1.0})
    assert best is not None
    assert best.words == likeliest.words
    assert fitting.is_right(each, best) is (likeliest.words == each.case.words)


def test_a_wide_gap_lowers_the_match_and_a_narrow_one_lifts_it() -> None:
    chance = Random(3)  # noqa: S311 - made-up data
    near, far = [], []
    for _ in range(60):
        words = chance.choice(SENTENCES)
        gap = chance.random()
        good = Opinion(words, True, -2.0 - gap, -2.0 - gap, 0.0)  # noqa: FBT003 - its second field
        bad = Opinion(words, True, -20.0 - 9 * gap, -30.0 - 9 * gap, 0.0)  # noqa: FBT003 - as above
        near.append(gathered(words, [good], Yardstick(-2.0, 4, -2.0)))
        far.append(gathered(("good", "day"), [bad], Yardstick(-2.0, 4, -2.0), addressed=False))
    weights = fitting.fit_match([*near, *far], {"written": 1.0, "spelt": 1.0})
    assert set(weights) == set(fitting.MATCH)
    assert weights["written_gap_whole"] + weights["spelt_gap_whole"] < 0


def test_sentences_that_the_moment_does_not_know_are_left_out_of_the_match() -> None:
    words = SENTENCES[0]
    opinion = Opinion(words, True, -2.0, -2.0, 0.0)  # noqa: FBT003 - its second field
    assert fitting.knows(gathered(words, [opinion], Yardstick(-1.0, 4, -1.0)))
    assert not fitting.knows(gathered(("good", "day"), [opinion], Yardstick(-1.0, 4, -1.0)))


def options(*arguments: str) -> object:
    parser = ArgumentParser()
    calibration.add_options(parser)
    return parser.parse_args(arguments)


def test_weights_that_cannot_be_written_are_told_before_anything_is_heard(tmp_path: Path) -> None:
    out = tmp_path / "nowhere" / "weights.toml"
    with pytest.raises(InputError, match="cannot be written"):
        calibration.run(options("--out", str(out)))  # type: ignore[arg-type]


def test_without_scipy_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fitting, "find_spec", lambda _: None)
    with pytest.raises(EngineError, match="bench"):
        fitting.require_scipy()


def test_the_weights_are_written_as_the_product_reads_them() -> None:
    tables = {"score": {"spelt": 0.34444}, "match": {"constant": -1.0}}
    read = tomllib.loads(calibration._toml(tables))
    assert read == {"score": {"spelt": 0.3444}, "match": {"constant": -1.0}}


def test_what_is_kept_for_measuring_is_not_fitted_to() -> None:
    taken = calibration._cases(options("--corpus", "remarks"))  # type: ignore[arg-type]
    assert taken
    assert all(map(is_for_fitting, taken))
    assert not any(case.speaker.startswith("festival") for case in taken)
    with pytest.raises(InputError, match="kept for fitting"):
        calibration._cases(options("--corpus", "own"))  # type: ignore[arg-type]
