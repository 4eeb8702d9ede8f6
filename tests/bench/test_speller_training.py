"""What is learnt from, how it is measured, and (with torch) that the two networks are one."""

from __future__ import annotations

import sys
from importlib.util import find_spec
from random import Random
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench.speller import shared_out
from companion.bench.speller.measuring import Rate, letter_errors, table
from companion.bench.speller.split import is_held_back
from companion.bench.speller.states import Example, Heard, States
from companion.bench.speller.training import Training, batches, log_probs_of, torch_module
from companion.bench.speller.weights import fresh, write
from companion.errors import EngineError, InputError
from companion.hearing.speller import PLACES, Speller

if TYPE_CHECKING:
    from pathlib import Path

NO_TORCH = find_spec("torch") is None
needs_torch = pytest.mark.skipif(NO_TORCH, reason="torch is missing: the extra 'train'")


def seeded(seed: int) -> Random:
    return Random(seed)  # noqa: S311 - an order is no secret


def example(text: str, count: int, kind: str = "grammar", snr_db: float = 30.0) -> Example:
    return Example(text, kind, snr_db, 0, count)


# By the rule of connectionist temporal classification: a state a letter, one between equal ones;
# and one to spare.
@pytest.mark.parametrize(
    ("text", "fewest"), [("", 1), ("a", 2), ("abc", 4), ("aab", 5), ("three", 7)]
)
def test_a_sound_needs_states_enough_for_its_letters(text: str, fewest: int) -> None:
    assert example(text, fewest).fits
    assert not example(text, fewest - 1).fits


def test_texts_held_back_are_not_learnt_from_and_noise_always_is() -> None:
    texts = [f"number {place}" for place in range(300)]
    noise = [example("", 10, "noise", -np.inf)] * 20
    learnt, held = shared_out([*(example(text, 40) for text in texts), *noise, example("x", 1)])
    assert {each.text for each in held} == set(filter(is_held_back, texts))
    assert held
    assert len(learnt) + len(held) == 320
    assert sum(each.kind == "noise" for each in learnt) == 20


def test_nothing_to_learn_from_is_told() -> None:
    with pytest.raises(InputError, match="nothing to learn from"):
        shared_out([example("far too many letters", 3), example("", 10, "noise", -np.inf)])


def test_batches_hold_every_example_once_and_like_lengths_together() -> None:
    examples = [example(f"{place}", 10 + place) for place in range(200)]
    found = batches(examples, seeded(1))
    assert sorted(each.count for batch in found for each in batch) == list(range(10, 210))
    assert all(max(e.count for e in b) - min(e.count for e in b) < 48 + 20 for b in found)
    assert batches(examples, seeded(1)) == found != batches(examples, seeded(2))


def test_states_come_back_from_their_file(tmp_path: Path) -> None:
    kept = States(tmp_path / "states")
    given = [np.random.default_rng(n).normal(size=(n, 288)).astype(np.float16) for n in (3, 1, 5)]
    for states in given:
        kept.add(Heard("a", "grammar", 20.0, states))
    for states, each in zip(given, kept.examples, strict=True):
        assert np.array_equal(kept.of(each), states.astype(np.float32))
    with pytest.raises(InputError, match="cannot be written"):
        States(tmp_path / "nowhere" / "states").add(Heard("a", "grammar", 20.0, given[0]))


def spelling(text: str, count: int, path: Path) -> Speller:
    """A speller that hears one letter everywhere: all of it lies in the last bias."""
    weights = {name: np.zeros_like(each) for name, each in fresh(1, width=8).items()}
    weights["letters.bias"][PLACES[text]] = 9.0
    write(weights, path)
    assert Speller(path).hear(np.zeros((count, 288), np.float32)).text == text
    return Speller(path)


def test_letters_that_come_out_wrong_are_counted_by_kind_and_noise(tmp_path: Path) -> None:
    kept = States(tmp_path / "states")
    said = [("grammar", "a", 20.0), ("grammar", "two", 20.0), ("grammar", "at", 5.0)]
    for kind, text, snr_db in (*said, ("people", "a", 10.0)):
        kept.add(Heard(text, kind, snr_db, np.zeros((9, 288), np.float16)))
    rates = letter_errors(spelling("a", 9, tmp_path / "speller.npz"), kept, kept.examples)
    assert rates == {  # by hand: 'a' for 'a', 'two', 'at'
        "grammar": Rate(3, 4, 2),
        "grammar, below 10 dB": Rate(1, 2, 1),
        "people": Rate(0, 1, 1),
    }
    assert rates["grammar"].percent == 75.0
    assert table(rates).splitlines()[1].split() == ["grammar", "2", "4", "75.0"]


def test_missing_torch_is_told_with_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "torch", None)  # as if it were not installed
    with pytest.raises(EngineError, match=r"not installed\. Install it: pip install -e '\.\[train"):
        torch_module()


@needs_torch
def test_what_is_trained_is_the_network_that_the_product_runs(tmp_path: Path) -> None:
    torch = torch_module()
    chance = np.random.default_rng(6)
    rounded = {n: w.astype(np.float16).astype(np.float32) for n, w in fresh(5, width=16).items()}
    write(rounded, tmp_path / "speller.npz")
    short, long = (chance.normal(size=(n, 288)).astype(np.float32) for n in (12, 30))
    both = np.zeros((2, 30, 288), np.float32)
    both[0, :12], both[1] = short, long
    weights = {name: torch.from_numpy(each) for name, each in rounded.items()}
    trained = log_probs_of(weights, torch.from_numpy(both), [12, 30], is_learning=False).numpy()
    speller = Speller(tmp_path / "speller.npz")
    assert trained[0, :12] == pytest.approx(speller.hear(short).log_probs, abs=1e-4)
    assert trained[1] == pytest.approx(speller.hear(long).log_probs, abs=1e-4)


@needs_torch
def test_two_sounds_are_learnt(tmp_path: Path) -> None:
    kept = States(tmp_path / "states")
    chance = np.random.default_rng(8)
    for text in ("one five", "fifty"):
        kept.add(Heard(text, "grammar", 30.0, chance.normal(size=(40, 288)).astype(np.float16)))
    training = Training(kept, kept.examples, epochs=60, seed=1)
    *_, last = epochs = list(training.run(fresh(1, width=32)))
    assert len(epochs) == 60
    write(last.weights, tmp_path / "speller.npz")
    rates = letter_errors(Speller(tmp_path / "speller.npz"), kept, kept.examples)
    assert rates["grammar"].percent == 0.0
    assert last.loss < epochs[0].loss / 5
