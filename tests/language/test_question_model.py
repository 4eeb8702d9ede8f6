"""The file of what was learnt from questions: kept, read back, and told where it is none."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_questions import SLOTS, model

from companion.bench.wordings.making import slot_tables, source_digest, write_model
from companion.errors import ModelError
from companion.language.question_model import (
    NO_QUESTION,
    QuestionModel,
    Slot,
    packaged_model,
    read_model,
    slot_of,
)
from companion.language.wordings import packaged_wordings
from companion.sizing import sizings

if TYPE_CHECKING:
    from pathlib import Path

SENTENCES = [["how", "far", "is", "it"], ["twenty", "feet", "of", "run"]]
REMEDY = "Install this program again: pip install --force-reinstall ."


@pytest.fixture
def kept(tmp_path: Path) -> Path:
    """A small model's file."""
    path = tmp_path / "questions.npz"
    write_model(path, model(SENTENCES), SLOTS)
    return path


def back(path: Path, whole: QuestionModel) -> QuestionModel:
    write_model(path, whole, SLOTS)
    return read_model(path)


# ------------------------------------------------------------ written and read back


@given(st.integers(0, 10_000))
def test_what_is_written_is_read_back_within_its_rounding(
    tmp_path_factory: pytest.TempPathFactory, seed: int
) -> None:
    whole = model(SENTENCES, seed)
    found = back(tmp_path_factory.mktemp("kept") / "questions.npz", whole)
    # A byte a weight: 127 steps to the largest of its subject, so half a step of rounding.
    steps = np.abs(whole.weights).max(axis=0) / 127
    assert (np.abs(found.weights - whole.weights) <= steps / 2 + 1e-5).all()
    # Half precision keeps eleven bits.
    np.testing.assert_allclose(found.rarity, whole.rarity, rtol=2**-11)
    np.testing.assert_allclose(found.filling, whole.filling, rtol=2**-11, atol=2**-24)
    assert np.array_equal(np.flatnonzero(found.filling), np.flatnonzero(whole.filling))


def test_all_else_is_read_back_as_it_was(kept: Path) -> None:
    whole, found = model(SENTENCES), read_model(kept)
    assert found.subjects == whole.subjects
    assert found.features == whole.features
    assert found.slots == whole.slots
    assert found.words == whole.words
    assert np.array_equal(found.alone, whole.alone)
    assert np.array_equal(found.pairs, whole.pairs)
    assert found.source == whole.source
    for name in ("weights", "rarity", "filling"):
        assert getattr(found, name).dtype == np.float32
        assert getattr(found, name).shape == getattr(whole, name).shape


def test_what_was_read_is_written_as_it_is(tmp_path: Path, kept: Path) -> None:
    once = read_model(kept)
    again = back(tmp_path / "again.npz", once)
    for name in ("weights", "rarity", "filling"):
        np.testing.assert_allclose(getattr(again, name), getattr(once, name), atol=1e-6)


def test_a_subject_that_nothing_speaks_for_stays_without_weight(tmp_path: Path) -> None:
    whole = model(SENTENCES)
    whole.weights[:, 1] = 0.0
    assert not back(tmp_path / "questions.npz", whole).weights[:, 1].any()


def test_an_input_is_read_with_exact_ranges_and_phrases_in_words() -> None:
    length, wire = (slot_of(table) for table in SLOTS[0][1])
    assert length == Slot(
        name="length",
        key=frozenset({"feet", "run"}),
        kind="measure",
        ranges=((Decimal(1), Decimal("500.5"), "ft"), (Decimal("0.3"), Decimal(150), "m")),
        options=(),
        many=False,
        is_asked_for=True,
        unless=frozenset(),
    )
    assert wire.options == (("cold", (("cold", "wire"), ("freezing",))), ("2/0", ()))
    assert wire.many
    assert not wire.is_asked_for


# ------------------------------------------------------------ files that are none


def is_told_in_one_line(path: Path) -> None:
    with pytest.raises(ModelError) as caught:
        read_model(path)
    assert str(caught.value).startswith(f"{path}: What questions mean cannot be read: ")
    assert "\n" not in str(caught.value)
    assert caught.value.remedy == REMEDY


def test_a_missing_file_is_told(tmp_path: Path) -> None:
    is_told_in_one_line(tmp_path / "questions.npz")


def test_a_folder_in_its_place_is_told(tmp_path: Path) -> None:
    is_told_in_one_line(tmp_path)


@pytest.mark.parametrize("content", [b"", b"no model at all", b"PK\x03\x04 nor this"])
def test_a_file_of_another_kind_is_told(content: bytes, tmp_path: Path) -> None:
    path = tmp_path / "questions.npz"
    path.write_bytes(content)
    is_told_in_one_line(path)


def test_a_lone_array_is_told(tmp_path: Path) -> None:
    path = tmp_path / "questions.npy"
    np.save(path, np.zeros(3))
    is_told_in_one_line(path)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.99])
def test_a_truncated_file_is_told(share: float, kept: Path) -> None:
    content = kept.read_bytes()
    kept.write_bytes(content[: int(share * len(content))])
    is_told_in_one_line(kept)


def contents(path: Path) -> dict[str, Any]:
    with np.load(path) as arrays:
        return dict(arrays)


def names() -> list[str]:
    return [
        *("alone", "features", "filling", "filling_at", "pairs", "rarity"),
        *("scale", "slots", "source", "subjects", "weights", "words"),
    ]


def test_the_parts_of_a_file_are_these(kept: Path) -> None:
    assert sorted(contents(kept)) == names()


@pytest.mark.parametrize("name", names())
def test_a_part_that_is_left_out_is_told_with_its_name(name: str, kept: Path) -> None:
    arrays = contents(kept)
    del arrays[name]
    np.savez_compressed(kept, **arrays)
    is_told_in_one_line(kept)
    with pytest.raises(ModelError, match=f"'{name}"):
        read_model(kept)


@pytest.mark.parametrize(
    "text", ["", "[", "nothing", "{}x", json.dumps([["voltage-drop"]]), json.dumps([["a", [{}]]])]
)
def test_inputs_that_are_none_are_told(text: str, kept: Path) -> None:
    np.savez_compressed(kept, **(contents(kept) | {"slots": np.array(text)}))
    is_told_in_one_line(kept)


# ------------------------------------------------------------ the packaged model


def test_the_packaged_model_was_made_of_the_packaged_wordings() -> None:
    asked = packaged_wordings()
    assert packaged_model().source == source_digest(asked, slot_tables(asked)), (
        "wordings, talk or sizings are others than the model learnt from: "
        "run `python -m companion.bench wordings --out models/questions.npz`"
    )


def test_the_packaged_model_knows_every_sizing_and_its_inputs() -> None:
    kept_model = packaged_model()
    assert set(kept_model.subjects) == {NO_QUESTION, *sizings()}
    assert len(set(kept_model.subjects)) == len(kept_model.subjects)
    assert {slug: [slot.name for slot in slots] for slug, slots in kept_model.slots.items()} == {
        slug: [wanted.name for wanted in each.inputs] for slug, each in sizings().items()
    }


def test_the_packaged_weights_fit_together() -> None:
    kept_model = packaged_model()
    features, subjects = len(kept_model.features), len(kept_model.subjects)
    assert sorted(kept_model.features.values()) == list(range(features))
    assert kept_model.rarity.shape == (features,)
    assert kept_model.weights.shape == (features, subjects)
    assert kept_model.alone.shape == (len(kept_model.words) + 2,)
    for each in (kept_model.rarity, kept_model.weights, kept_model.filling):
        assert np.isfinite(each).all()


def test_the_packaged_model_is_read_once() -> None:
    assert packaged_model() is packaged_model()
