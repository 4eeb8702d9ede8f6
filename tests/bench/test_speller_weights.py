"""The weights that are written are those that the product reads."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pytest

from companion.bench.speller.weights import fresh, read, shapes, write
from companion.errors import InputError, ModelError
from companion.hearing.model_files import catalogue, checked
from companion.hearing.speller import Speller

if TYPE_CHECKING:
    from pathlib import Path

STATES = np.random.default_rng(2).normal(size=(30, 288)).astype(np.float32)


def test_weights_written_are_read_by_the_speller(tmp_path: Path) -> None:
    drawn = fresh(3, width=24)
    write(drawn, tmp_path / "speller.npz")
    letters = Speller(tmp_path / "speller.npz").hear(STATES)
    assert letters.log_probs.shape == (30, 29)
    assert np.exp(letters.log_probs).sum(axis=1) == pytest.approx(np.ones(30), abs=1e-5)
    assert [path.name for path in tmp_path.iterdir()] == ["speller.npz"]


def test_what_is_written_is_half_precision_and_comes_back(tmp_path: Path) -> None:
    drawn = fresh(3, width=24)
    write(drawn, tmp_path / "speller.npz")
    with np.load(tmp_path / "speller.npz") as kept:
        assert {kept[name].dtype for name in kept.files} == {np.dtype(np.float16)}
    back = read(tmp_path / "speller.npz")
    assert back.keys() == drawn.keys()
    for name, weight in drawn.items():
        assert back[name].dtype == np.float32
        # Half precision keeps eleven bits.
        assert back[name] == pytest.approx(weight, rel=2**-11, abs=2**-24)


def test_the_shipped_weights_have_the_shapes_that_are_trained() -> None:
    shipped = read(checked(catalogue()["speller"]))
    assert {name: weight.shape for name, weight in shipped.items()} == shapes()


def test_fresh_weights_hang_on_the_seed_and_lie_within_their_bound() -> None:
    one, again, other = fresh(1), fresh(1), fresh(2)
    assert all(np.array_equal(one[name], again[name]) for name in one)
    assert not np.array_equal(one["first.weight"], other["first.weight"])
    # One over the root of the fan-in, 256 channels by five taps: common practice, no source.
    most = 1 / math.sqrt(256 * 5)
    assert 0.99 * most < np.abs(one["second.weight"]).max() <= most
    assert np.array_equal(one["norm.scale"], np.ones(288))
    assert not one["norm.shift"].any()


def test_a_file_that_holds_no_weights_is_told(tmp_path: Path) -> None:
    path = tmp_path / "mine.npz"
    with pytest.raises(ModelError, match="no weights"):
        read(path)
    path.write_text("letters")
    with pytest.raises(ModelError, match="no weights"):
        read(path)
    path.write_bytes(b"PK\x03\x04 cut short")
    with pytest.raises(ModelError, match="no weights"):
        read(path)
    np.save(tmp_path / "one.npy", np.zeros(3))
    with pytest.raises(ModelError, match="no weights"):
        read(tmp_path / "one.npy")


def test_weights_of_something_else_are_told(tmp_path: Path) -> None:
    path = tmp_path / "mine.npz"
    drawn = fresh(3, width=24)
    drawn["first.weight"] = drawn["first.weight"][:, :, :3]
    write(drawn, path)
    with pytest.raises(ModelError, match=r"not a speller's weights\. Name a speller.npz"):
        read(path)


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        write(fresh(1, width=8), tmp_path / "nowhere" / "speller.npz")
