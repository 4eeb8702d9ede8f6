"""What the speller hears, against the definitions: every way to lay letters in time, every sum."""

from __future__ import annotations

import zipfile
from functools import cache
from itertools import groupby, product
from math import inf, log
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import Levenshtein
from saying import any_letters, letters

from companion.errors import ModelError
from companion.hearing.bundled import levelled
from companion.hearing.model_files import catalogue, checked
from companion.hearing.network import Network
from companion.hearing.speller import ALPHABET, NONE, PLACES, Letters, Speller
from companion.rehearsal.speakers import speaker

if TYPE_CHECKING:
    from pathlib import Path

    import numpy.typing as npt

    Weights = dict[str, npt.NDArray[np.float16]]
    Doubles = npt.NDArray[np.float64]

LETTERS = len(ALPHABET) + 1
SHORT = st.text("ab ", max_size=4)
SEEDS = st.integers(0, 100_000)


# ------------------------------------------------------------ letters in time


def collapsed(places: tuple[int, ...]) -> str:
    """The text of one way: repeats first, then gaps taken out."""
    return "".join(ALPHABET[at - 1] for at, _ in groupby(places) if at != NONE)


def by_every_way(heard: Letters, text: str) -> float:
    """The log-probability by its definition: the sum over all ways to lay the text in time."""
    chances = np.exp(heard.log_probs.astype(np.float64))
    places = [NONE, *sorted({PLACES[letter] for letter in text})]
    total = sum(
        float(np.prod([chances[state, place] for state, place in enumerate(way)]))
        for way in product(places, repeat=len(chances))
        if collapsed(way) == text
    )
    return log(total) if total else -inf


@settings(deadline=None, max_examples=60)  # a machine with other work
@given(st.integers(1, 6), SEEDS, st.floats(0.1, 4.0), st.lists(SHORT, min_size=1, max_size=4))
def test_a_text_is_as_likely_as_all_ways_to_lay_it_in_time(
    states: int, seed: int, spread: float, texts: list[str]
) -> None:
    heard = any_letters(states, seed, spread=spread)
    for text, found in zip(texts, heard.log_probs_of(texts), strict=True):
        expected = by_every_way(heard, text)
        if expected == -inf:
            assert found < -600.0  # more letters than states: as good as impossible, but finite
            assert np.isfinite(found)
        else:
            assert found == pytest.approx(expected, abs=1e-6), text


def test_a_double_letter_needs_a_gap() -> None:
    heard = letters("aa", "-a")
    assert heard.log_probs_of(["aa"])[0] < -600.0  # two states hold no gap between two letters
    longer = any_letters(7, 3)
    for text in ("aa", "aab", "bb aa"):
        assert longer.log_probs_of([text])[0] == pytest.approx(by_every_way(longer, text))


def test_the_empty_text_is_nothing_but_gaps() -> None:
    heard = any_letters(5, 1)
    expected = float(heard.log_probs[:, NONE].sum())
    assert heard.log_probs_of([""])[0] == pytest.approx(expected, abs=1e-5)
    assert heard.log_probs_of(["", "a"])[0] == pytest.approx(expected, abs=1e-5)


def test_no_texts_have_no_log_probabilities() -> None:
    assert letters("ab").log_probs_of([]).shape == (0,)


@given(SEEDS, st.lists(st.text("abc' ", max_size=12), min_size=2, max_size=6))
def test_a_text_is_as_likely_beside_others_as_alone(seed: int, texts: list[str]) -> None:
    heard = any_letters(20, seed)
    alone = [float(heard.log_probs_of([text])[0]) for text in texts]
    assert heard.log_probs_of(texts) == pytest.approx(alone)


def test_all_texts_together_are_as_likely_as_one() -> None:
    heard = any_letters(2, 5)
    texts = ["", *ALPHABET, *map("".join, product(ALPHABET, repeat=2))]
    assert float(np.exp(heard.log_probs_of(texts)).sum()) == pytest.approx(1.0, abs=1e-5)


def test_a_long_sound_is_told_from_none_without_losing_its_figures() -> None:
    said = "supply static point four five " * 5
    heard = letters("".join(f"--{letter}-" for letter in said.strip()))
    right, wrong = heard.log_probs_of([said.strip(), said.strip().replace("five", "nine")])
    assert np.isfinite(right)
    assert right > wrong + 50.0


@pytest.mark.parametrize(
    ("states", "text"),
    [
        ("--ff-oo--uurr--", "four"),
        ("o-ff--ff", "off"),
        ("aaaa", "a"),
        ("a-a-a", "aaa"),
        ("----", ""),
        ("i'-mm  -n-oott", "i'm not"),
        ("-", ""),
        ("x", "x"),
    ],
)
def test_the_text_has_no_repeats_and_no_gaps(states: str, text: str) -> None:
    assert letters(states).text == text


@given(st.integers(1, 12), SEEDS)
def test_the_text_is_that_of_the_likeliest_way(states: int, seed: int) -> None:
    heard = any_letters(states, seed)
    assert heard.text == collapsed(tuple(int(row.argmax()) for row in heard.log_probs))


@settings(deadline=None, max_examples=30)  # a machine with other work
@given(st.integers(1, 4), SEEDS)
def test_the_free_log_probability_is_that_of_the_text(states: int, seed: int) -> None:
    heard = any_letters(states, seed)
    assert heard.free_log_prob == pytest.approx(by_every_way(heard, heard.text), abs=1e-6)
    # not of the likeliest way alone: there are others that give the same text
    assert heard.free_log_prob >= float(heard.log_probs.max(axis=1).sum()) - 1e-5


# ------------------------------------------------------------ the network


def any_weights(seed: int, *, taken: int = 6, width: int = 4, taps: int = 5) -> Weights:
    """Weights of a small network as the file keeps them."""
    random = np.random.default_rng(seed)
    shapes: dict[str, tuple[int, ...]] = {
        "norm.scale": (taken,),
        "norm.shift": (taken,),
        "first.weight": (width, taken, taps),
        "letters.weight": (LETTERS, width),
        "letters.bias": (LETTERS,),
    }
    for name in ("second", "third"):
        shapes[f"{name}.weight"] = (width, width, taps)
    for name in ("first", "second", "third"):
        shapes[f"{name}.bias"] = (width,)
    return {
        name: random.normal(0.0, 0.7, shape).astype(np.float16) for name, shape in shapes.items()
    }


def kept(weights: Weights, folder: Path) -> Path:
    path = folder / "speller.npz"
    np.savez(path, **weights)  # type: ignore[arg-type]  # numpy's own types see no dictionary
    return path


def convolved(heard: Doubles, weight: Doubles, bias: Doubles) -> Doubles:
    """A convolution of odd length by its definition, a filter at a time; none below zero."""
    margin = weight.shape[2] // 2
    filters = [
        sum(
            np.convolve(np.pad(column, margin), taps[::-1], "valid")
            for column, taps in zip(heard.T, each, strict=True)
        )
        + shift
        for each, shift in zip(weight, bias, strict=True)
    ]
    return np.maximum(np.array(filters, np.float64).T, 0.0)


def by_definition(states: npt.NDArray[np.float32], kept_weights: Weights) -> Doubles:
    """The network in double precision: norm, three convolutions of which two add, softmax."""
    weights = {name: each.astype(np.float64) for name, each in kept_weights.items()}
    rows = []
    for state in states.astype(np.float64):
        centred = state - state.mean()
        evened = centred / np.sqrt((centred**2).mean() + 1e-5)
        rows.append(evened * weights["norm.scale"] + weights["norm.shift"])
    heard = convolved(np.array(rows), weights["first.weight"], weights["first.bias"])
    for name in ("second", "third"):
        heard = heard + convolved(heard, weights[f"{name}.weight"], weights[f"{name}.bias"])
    chances = np.exp([weights["letters.weight"] @ row + weights["letters.bias"] for row in heard])
    return np.asarray(np.log(chances / chances.sum(axis=1, keepdims=True)))


@pytest.mark.parametrize("states", [1, 2, 3, 9])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_network_computes_what_it_is_said_to(states: int, seed: int, tmp_path: Path) -> None:
    weights = any_weights(seed)
    sound = np.random.default_rng(seed + 100).normal(0.3, 2.0, (states, 6)).astype(np.float32)
    heard = Speller(kept(weights, tmp_path)).hear(sound)
    assert heard.log_probs.dtype == np.float32
    assert heard.log_probs == pytest.approx(by_definition(sound, weights), abs=2e-4)


def test_the_letters_of_a_state_are_likely_to_one_in_all(tmp_path: Path) -> None:
    heard = Speller(kept(any_weights(7), tmp_path)).hear(np.full((5, 6), 3e4, np.float32))
    assert np.exp(heard.log_probs).sum(axis=1) == pytest.approx(np.ones(5), abs=1e-5)


# ------------------------------------------------------------ files that are none


def is_told_in_one_line(path: Path) -> None:
    with pytest.raises(ModelError) as caught:
        Speller(path)
    told = str(caught.value)
    assert told.startswith(str(path))
    assert "\n" not in told
    assert "pip install" in caught.value.remedy


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    is_told_in_one_line(tmp_path / "speller.npz")


def test_a_folder_in_its_place_is_told(tmp_path: Path) -> None:
    is_told_in_one_line(tmp_path)


@pytest.mark.parametrize("content", [b"", b"no weights at all", b"PK\x03\x04 nor these"])
def test_a_file_of_another_kind_is_told(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "speller.npz"
    path.write_bytes(content)
    is_told_in_one_line(path)


def test_a_lone_array_is_told(tmp_path: Path) -> None:
    path = tmp_path / "speller.npy"
    np.save(path, np.zeros(3))
    is_told_in_one_line(path)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.99])
def test_a_truncated_file_is_told(share: float, tmp_path: Path) -> None:
    path = kept(any_weights(1), tmp_path)
    content = path.read_bytes()
    path.write_bytes(content[: int(share * len(content))])
    is_told_in_one_line(path)


@pytest.mark.parametrize("compressed", [False, True])
def test_a_damaged_file_is_told(tmp_path: Path, *, compressed: bool) -> None:
    path = tmp_path / "speller.npz"
    save = np.savez_compressed if compressed else np.savez
    save(path, **any_weights(1))  # type: ignore[arg-type]  # as above
    with zipfile.ZipFile(path) as archive:
        weight = archive.getinfo("second.weight.npy")
    content = path.read_bytes()
    first = weight.header_offset + 80  # past the entry's own header, which nobody checks
    for at in range(first, weight.header_offset + weight.compress_size, 16):
        path.write_bytes(content[:at] + b"\xff\x00\xff\x55" + content[at + 4 :])
        is_told_in_one_line(path)


@pytest.mark.parametrize("name", sorted(any_weights(1)))
def test_weights_that_are_left_out_are_told_with_their_name(name: str, tmp_path: Path) -> None:
    weights = any_weights(1)
    del weights[name]
    path = kept(weights, tmp_path)
    is_told_in_one_line(path)
    with pytest.raises(ModelError, match=name):
        Speller(path)


# ------------------------------------------------------------ the packaged weights


@cache
def spelt(text: str) -> Letters:
    """What the packaged speller makes of a synthetic voice."""
    files = catalogue()
    network = Network(checked(files["encoder-hardened"]), checked(files["decoder"]))
    states = network.encode(levelled(speaker("espeak:en-us+m3").say(text)))
    return Speller(checked(files["speller"])).hear(states[0])


SENTENCES = ("supply static point four five", "line voltage one nineteen", "read it back")


@pytest.mark.sound
@pytest.mark.parametrize("text", SENTENCES)
def test_a_voice_is_spelt_nearly_right(text: str) -> None:
    # a quarter of the letters: far from chance, and no claim about accuracy
    assert Levenshtein.normalized_distance(spelt(text).text, text) <= 0.25


@pytest.mark.sound
@pytest.mark.parametrize("text", SENTENCES)
def test_what_was_said_is_likelier_than_other_sentences(text: str) -> None:
    found = dict(zip(SENTENCES, spelt(text).log_probs_of(SENTENCES), strict=True))
    assert max(found, key=lambda each: found[each]) == text
    assert spelt(text).free_log_prob >= found[text] - 25.0
